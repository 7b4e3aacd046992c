"""What the plant holds, to close balances of energy and water against the totals."""

import numpy as np
from numpy.typing import NDArray

from . import moist_air, water
from . import param as P
from . import state as X


def stored_energy_j(x: NDArray[np.float64], p: NDArray[np.float64]) -> float:
    """Return the energy held [J] against liquid water, metal and dry air at 0 °C."""
    energy = 0.0
    layer_kg = x[X.STORE_KG] / X.LAYERS
    for i in range(X.LAYERS):
        ice_kg = x[X.ICE_KG + i]
        energy += (layer_kg - ice_kg) * water.enthalpy_j_kg(x[X.WATER_C + i])
        energy -= ice_kg * water.LATENT_FUSION_J_KG
    energy += p[P.EVAPORATOR_J_K] * x[X.EVAPORATOR_C]
    energy += p[P.CONDENSER_J_K] * x[X.CONDENSER_C]
    energy += p[P.WINDING_J_K] * x[X.WINDING_C]
    energy += p[P.SHELL_J_K] * x[X.SHELL_C]
    energy += p[P.PLACE_J_K] * x[X.PLACE_C]
    energy += p[P.TUBE_KG] * water.enthalpy_j_kg(x[X.SUPPLY_C])
    energy += p[P.TUBE_KG] * water.enthalpy_j_kg(x[X.RETURN_C])
    energy += p[P.COIL_J_K] * x[X.COIL_C]
    energy -= x[X.FROST_KG] * water.LATENT_FUSION_J_KG
    energy += p[P.ROOM_AIR_J_K] * x[X.ROOM_AIR_C]
    energy += p[P.ROOM_MASS_J_K] * x[X.ROOM_MASS_C]
    energy += p[P.MOISTURE_KG] * x[X.ROOM_HUMIDITY_RATIO] * moist_air.LATENT_J_KG
    energy += 3600.0 * x[X.BATTERY_WH]
    return float(energy)


def energy_in_j(x: NDArray[np.float64]) -> float:
    """Return the net energy that has crossed the boundary inward since the start [J]."""
    return float(
        x[X.MAINS_J]
        + x[X.OUTDOOR_TO_PLACE_J]
        + x[X.GROUND_TO_PLACE_J]
        + x[X.OUTDOOR_TO_ROOM_J]
        + x[X.INFILTRATION_SENSIBLE_J]
        + x[X.INFILTRATION_LATENT_J]
        + x[X.SUN_J]
        + x[X.PEOPLE_SENSIBLE_J]
        + x[X.PEOPLE_LATENT_J]
        + x[X.EQUIPMENT_J]
        + x[X.PLACE_GAIN_J]
        - x[X.LEAK_J]
    )


def stored_water_kg(x: NDArray[np.float64], p: NDArray[np.float64]) -> float:
    """Return the water held in store, room air, frost and tray [kg]; the loop's is constant."""
    return float(
        x[X.STORE_KG] + p[P.MOISTURE_KG] * x[X.ROOM_HUMIDITY_RATIO] + x[X.FROST_KG] + x[X.TRAY_L]
    )


def water_in_kg(x: NDArray[np.float64]) -> float:
    """Return the net water that has crossed the boundary inward since the start [kg]."""
    return float(
        x[X.PEOPLE_MOISTURE_KG]
        + x[X.INFILTRATION_MOISTURE_KG]
        + x[X.TRAY_FILLED_KG]
        - x[X.TRAY_EMPTIED_KG]
        - x[X.DRAINED_KG]
        - x[X.SPILL_L]
        - x[X.LEAKED_KG]
    )

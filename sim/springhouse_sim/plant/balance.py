"""What the plant holds, to close balances of energy and water against the totals."""

import numpy as np
from numpy.typing import NDArray

from . import moist_air, param, state, water


def stored_energy_j(x: NDArray[np.float64], p: NDArray[np.float64]) -> float:
    """Return the energy held [J] against liquid water, metal and dry air at 0 °C."""
    energy = 0.0
    layer_kg = x[state.STORE_KG] / state.LAYERS
    for i in range(state.LAYERS):
        ice_kg = x[state.ICE_KG + i]
        energy += (layer_kg - ice_kg) * water.enthalpy_j_kg(x[state.WATER_C + i])
        energy -= ice_kg * water.LATENT_FUSION_J_KG
    energy += p[param.EVAPORATOR_J_K] * x[state.EVAPORATOR_C]
    energy += p[param.CONDENSER_J_K] * x[state.CONDENSER_C]
    energy += p[param.WINDING_J_K] * x[state.WINDING_C]
    energy += p[param.SHELL_J_K] * x[state.SHELL_C]
    energy += p[param.PLACE_J_K] * x[state.PLACE_C]
    energy += p[param.TUBE_KG] * water.enthalpy_j_kg(x[state.SUPPLY_C])
    energy += p[param.TUBE_KG] * water.enthalpy_j_kg(x[state.RETURN_C])
    energy += p[param.COIL_J_K] * x[state.COIL_C]
    energy -= x[state.FROST_KG] * water.LATENT_FUSION_J_KG
    energy += p[param.ROOM_AIR_J_K] * x[state.ROOM_AIR_C]
    energy += p[param.ROOM_MASS_J_K] * x[state.ROOM_MASS_C]
    energy += p[param.MOISTURE_KG] * x[state.ROOM_HUMIDITY_RATIO] * moist_air.LATENT_J_KG
    energy += 3600.0 * x[state.BATTERY_WH]
    return float(energy)


def energy_in_j(x: NDArray[np.float64]) -> float:
    """Return the net energy that has crossed the boundary inward since the start [J]."""
    return float(
        x[state.MAINS_J]
        + x[state.OUTDOOR_TO_PLACE_J]
        + x[state.GROUND_TO_PLACE_J]
        + x[state.OUTDOOR_TO_ROOM_J]
        + x[state.INFILTRATION_SENSIBLE_J]
        + x[state.INFILTRATION_LATENT_J]
        + x[state.SUN_J]
        + x[state.PEOPLE_SENSIBLE_J]
        + x[state.PEOPLE_LATENT_J]
        + x[state.EQUIPMENT_J]
        + x[state.PLACE_GAIN_J]
        - x[state.LEAK_J]
    )


def stored_water_kg(x: NDArray[np.float64], p: NDArray[np.float64]) -> float:
    """Return the water held in store, room air, frost and tray [kg]; the loop's is constant."""
    return float(
        x[state.STORE_KG]
        + p[param.MOISTURE_KG] * x[state.ROOM_HUMIDITY_RATIO]
        + x[state.FROST_KG]
        + x[state.TRAY_L]
    )


def water_in_kg(x: NDArray[np.float64]) -> float:
    """Return the net water that has crossed the boundary inward since the start [kg]."""
    return float(
        x[state.PEOPLE_MOISTURE_KG]
        + x[state.INFILTRATION_MOISTURE_KG]
        + x[state.TRAY_FILLED_KG]
        - x[state.TRAY_EMPTIED_KG]
        - x[state.DRAINED_KG]
        - x[state.SPILL_L]
        - x[state.LEAKED_KG]
    )

"""The best that plant parts can do, as numbers for the bound: machine, coil, store."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from springhouse_sim.plant import coil, freezer, moist_air, param, store, water

Array = NDArray[np.float64]

ROUNDS = 400
EASE = 0.1  # share of the way to the balance taken in each round
J_PER_KWH = 3.6e6
THIN_AIR_M3_KG = 0.84  # dense room air: 20 °C at sea level


@dataclass(frozen=True)
class Bands:
    """The water by temperature: what may be cold in each band, the coldest first.

    A band is the cooling of all the water from ``high_c`` to ``low_c``; the first is ice.
    """

    low_c: Array
    high_c: Array
    kwh: Array
    start_kwh: Array  # cold of the store's first temperature

    @property
    def count(self) -> int:
        """How many bands of the water's temperature there are."""
        return len(self.kwh)


def bands(p: Array, water_kg: float, start_c: float, ice_kg: float, warmest_c: float) -> Bands:
    """Return the bands of a store up to ``warmest_c``, as warm as anything that is of use."""
    edges = np.unique([0.0, 4.0, 10.0, 16.0, max(20.0, warmest_c, start_c)])
    heat = np.array([water.enthalpy_j_kg(float(t)) for t in edges]) * water_kg / J_PER_KWH
    low, high = edges[:-1], edges[1:]
    share = np.clip((high - start_c) / (high - low), 0.0, 1.0)
    ice_kwh = ice_kg * water.LATENT_FUSION_J_KG / J_PER_KWH
    kwh = np.concatenate(([ice_kwh], np.diff(heat)))
    return Bands(
        np.concatenate(([0.0], low)),
        np.concatenate(([0.0], high)),
        kwh,
        kwh * np.concatenate(([0.0], share)),
    )


def wall_w_k(p: Array, water_kg: float) -> float:
    """Return the conductance from refrigerant to water without the film [W/K]."""
    level_m = water_kg / 997.0 / p[param.STORE_AREA_M2]
    high_m = store.overlap_m(0.0, level_m, p[param.EVAPORATOR_FROM_M], p[param.EVAPORATOR_TO_M])
    return float(p[param.STORE_PERIMETER_M] * high_m * p[param.EVAPORATOR_WALL_W_M2_K])


def at_work(p: Array, ua_w_k: float, water_c: float, place_c: float) -> tuple[float, float]:
    """Return cooling and input [W] of the running machine, evaporator and condenser settled.

    Only the wall stands between refrigerant and water, and the place is no warmer than without
    the freezer's heat.
    """
    evaporator_c, condenser_c = water_c - 5.0, place_c + 5.0
    out = 1.0 - p[param.WINDING_LOSS_FRACTION] - p[param.SHELL_GAIN_FRACTION]
    cooling_w = input_w = 0.0
    for _ in range(ROUNDS):
        cooling_w = freezer.capacity_w(p, evaporator_c, condenser_c)
        input_w = freezer.input_w(p, evaporator_c, condenser_c)
        evaporator_c += EASE * (water_c - cooling_w / ua_w_k - evaporator_c)
        rejected_w = cooling_w + out * input_w
        condenser_c += EASE * (place_c + rejected_w / p[param.CONDENSER_UA_W_K] - condenser_c)
    return cooling_w, input_w


def over_places(p: Array, ua_w_k: float, water_c: float, places_c: Array) -> tuple[Array, Array]:
    """Return cooling [W] and cooling over input [-] for every place temperature."""
    grid = np.arange(np.floor(places_c.min()), np.ceil(places_c.max()) + 2.0)
    table = np.array([at_work(p, ua_w_k, water_c, float(c)) for c in grid])
    ratio = table[:, 0] / table[:, 1]
    # the better of the two neighbours, so that a straight line between them flatters nobody else
    k = np.floor(places_c - grid[0]).astype(int)
    return np.maximum(table[k, 0], table[k + 1, 0]), np.maximum(ratio[k], ratio[k + 1])


def coil_w_k(p: Array) -> float:
    """Return the most sensible heat that coil and tubes take from the room [W/K over 0 °C]."""
    air_m3_h = coil.air_m3_h(p, 1.0, 0.0)
    air_w_k = air_m3_h / 3600.0 / THIN_AIR_M3_KG * moist_air.CP_MOIST_J_KG_K
    touched = 1.0 - coil.bypass_factor(coil.air_side_w_k(p, air_m3_h) / air_w_k)
    return float(touched * air_w_k + 2.0 * p[param.TUBE_ROOM_UA_W_K])


def gain_w_k(p: Array) -> float:
    """Return the heat gain through sides and evaporator band [W/K]; lid and floor left out."""
    return float(p[param.CABINET_SIDE_UA_W_K] + p[param.CABINET_BAND_UA_W_K])


def place_drop(p: Array) -> float:
    """Return how far, as a share, a store at 0 °C could cool its place at most."""
    taken = gain_w_k(p) + p[param.CABINET_FLOOR_UA_W_K] + p[param.LID_UA_W_K]
    taken += 2.0 * p[param.TUBE_PLACE_UA_W_K]
    return float(taken / (taken + p[param.PLACE_UA_W_K] + p[param.PLACE_GROUND_UA_W_K]))

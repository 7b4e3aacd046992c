"""The store: layered water in a chest freezer, with ice on its cooled walls.

Six layers of equal water mass; ice stays with the layer whose wall it grows on and counts as held
at 0 °C (its sensible heat, a few per cent of the latent, is left out).  Once the wall has warmed
the ice is a loose ring that floats: a twelfth of it stands above the water, so it still reaches
down beside the layers it grew on, and water melts it from both sides.  Heat goes from water
through a natural-convection film, the ice if any and the wall to the evaporator, which is a node
of its own.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from . import lookup, param, state, wall_table, water
from .check import ordered, slow_enough, within

MIXING = 0.3  # share of the free-fall speed; order of magnitude from mixing-length practice
COVER_M2_K_W = 0.16  # air gap between cover and lid, downward heat flow; from memory of ISO 6946


@dataclass(frozen=True, kw_only=True)
class Store:
    """The water, the box around it and where tubes and probes hang.

    Heights are metres above the floor of the store.  ``water_l`` counts liquid and ice together
    as liquid.  ``evaporator_wall_w_m2_k`` runs from the refrigerant to the inner wall surface,
    tube contact and fin effect of the liner included.  ``covered``: a float or sheet on the water
    puts an air gap under the lid.  The high probe hangs ``probe_high_wall_mm`` from the
    evaporator wall.

    Raises:
        ValueError: on a parameter outside its range, or water that does not fit.
    """

    water_l: float
    inner_length_m: float
    inner_width_m: float
    cabinet_ua_w_k: float
    lid_ua_w_k: float
    evaporator_from_m: float
    evaporator_to_m: float
    evaporator_wall_w_m2_k: float
    draw_m: float
    return_m: float
    probe_low_m: float
    probe_high_m: float
    covered: bool
    initial_c: float
    initial_ice_kg: float = 0.0
    inner_depth_m: float = 0.0  # 0: a tenth above the water line
    probe_high_wall_mm: float = 15.0
    probe_lag_s: float = 30.0
    evaporator_j_k: float = 4000.0
    liner_w_m_k: float = 0.05
    return_bore_mm: float = 6.0
    supercooling_k: float = 0.0  # how far below 0 °C a surface must be before the first ice
    film_factor: float = 1.0  # of what film.py says of the water's film

    def __post_init__(self) -> None:
        within("Store", "water_l", self.water_l, 5.0, 2000.0, "L")
        within("Store", "inner_length_m", self.inner_length_m, 0.2, 3.0, "m")
        within("Store", "inner_width_m", self.inner_width_m, 0.2, 2.0, "m")
        within("Store", "inner_depth_m", self.inner_depth_m, 0.2, 2.0, "m")
        within("Store", "cabinet_ua_w_k", self.cabinet_ua_w_k, 0.05, 20.0, "W/K")
        within("Store", "lid_ua_w_k", self.lid_ua_w_k, 0.01, 10.0, "W/K")
        within("Store", "evaporator_from_m", self.evaporator_from_m, 0.0, 2.0, "m")
        within("Store", "evaporator_to_m", self.evaporator_to_m, 0.05, 2.0, "m")
        within(
            "Store", "evaporator_wall_w_m2_k", self.evaporator_wall_w_m2_k, 5.0, 2000.0, "W/(m2 K)"
        )
        for name in ("draw_m", "return_m", "probe_low_m", "probe_high_m"):
            within("Store", name, getattr(self, name), 0.0, self.depth_m, "m")
        within("Store", "initial_c", self.initial_c, 0.0, 40.0, "°C")
        within("Store", "initial_ice_kg", self.initial_ice_kg, 0.0, 0.6 * self.water_l, "kg")
        within("Store", "probe_high_wall_mm", self.probe_high_wall_mm, 0.0, 500.0, "mm")
        within("Store", "probe_lag_s", self.probe_lag_s, 5.0, 600.0, "s")
        within("Store", "evaporator_j_k", self.evaporator_j_k, 1000.0, 1e5, "J/K")
        within("Store", "liner_w_m_k", self.liner_w_m_k, 0.0, 5.0, "W m/K")
        within("Store", "return_bore_mm", self.return_bore_mm, 2.0, 50.0, "mm")
        within("Store", "supercooling_k", self.supercooling_k, 0.0, 8.0, "K")
        within("Store", "film_factor", self.film_factor, 0.2, 3.0)
        ordered("Store", "evaporator_from_m", self.evaporator_from_m, "to", self.evaporator_to_m)
        ordered("Store", "evaporator_to_m", self.evaporator_to_m, "depth", self.depth_m + 1e-9)
        capacity_l = 1000.0 * self.area_m2 * self.depth_m
        within("Store", "water_l", self.water_l, 5.0, capacity_l, "L (what the inside holds)")
        perimeter_m = 2.0 * (self.inner_length_m + self.inner_width_m)
        band_m2 = perimeter_m * (self.evaporator_to_m - self.evaporator_from_m)
        wall_w_k = self.evaporator_wall_w_m2_k * band_m2
        slow_enough("Store", "evaporator_j_k", self.evaporator_j_k, wall_w_k)

    @property
    def area_m2(self) -> float:
        """Plan area of the inside [m2]."""
        return self.inner_length_m * self.inner_width_m

    @property
    def depth_m(self) -> float:
        """Depth of the inside [m]; where not given, a tenth more than the water needs."""
        if self.inner_depth_m > 0.0:
            return self.inner_depth_m
        return max(1.1 * self.water_l / 1000.0 / self.area_m2, self.evaporator_to_m)

    def put(self, p: NDArray[np.float64]) -> None:
        """Write the slots of this part into the parameter record ``p``."""
        p[param.STORE_AREA_M2] = self.area_m2
        p[param.STORE_PERIMETER_M] = 2.0 * (self.inner_length_m + self.inner_width_m)
        p[param.STORE_DEPTH_M] = self.depth_m
        self.put_gain(p)
        p[param.EVAPORATOR_FROM_M] = self.evaporator_from_m
        p[param.EVAPORATOR_TO_M] = self.evaporator_to_m
        p[param.EVAPORATOR_WALL_W_M2_K] = self.evaporator_wall_w_m2_k
        p[param.EVAPORATOR_J_K] = self.evaporator_j_k
        p[param.LINER_W_M_K] = self.liner_w_m_k
        p[param.DRAW_M] = self.draw_m
        p[param.RETURN_M] = self.return_m
        reach_m = 0.5 * self.inner_width_m
        p[param.JET_ENTRAINMENT] = 0.32 * reach_m / (self.return_bore_mm / 1000.0)
        p[param.PROBE_LOW_M] = self.probe_low_m
        p[param.PROBE_HIGH_M] = self.probe_high_m
        p[param.PROBE_HIGH_WALL_M] = self.probe_high_wall_mm / 1000.0
        p[param.STORE_PROBE_S] = self.probe_lag_s
        p[param.SUPERCOOL_K] = self.supercooling_k
        band_m = self.evaporator_to_m - self.evaporator_from_m
        ice = self.film_factor * wall_table.ice_film_w_m2_k(band_m)
        p[param.ICE_FILM_W_M2_K : param.ICE_FILM_W_M2_K + ice.size] = ice
        dry = wall_table.dry_wall_w_m2(self.evaporator_wall_w_m2_k, band_m, self.film_factor)
        p[param.DRY_WALL_W_M2 : param.DRY_WALL_W_M2 + dry.size] = dry.ravel()

    def put_gain(self, p: NDArray[np.float64]) -> None:
        """Write the slots of what leaks in through cabinet and lid."""
        perimeter_m = 2.0 * (self.inner_length_m + self.inner_width_m)
        band_m = self.evaporator_to_m - self.evaporator_from_m
        cooled_m2 = perimeter_m * self.depth_m + self.area_m2
        ua_w_m2_k = self.cabinet_ua_w_k / cooled_m2
        p[param.CABINET_BAND_UA_W_K] = ua_w_m2_k * perimeter_m * band_m
        p[param.CABINET_SIDE_UA_W_K] = ua_w_m2_k * perimeter_m * (self.depth_m - band_m)
        p[param.CABINET_FLOOR_UA_W_K] = ua_w_m2_k * self.area_m2
        lid_m2_k_w = self.area_m2 / self.lid_ua_w_k + (COVER_M2_K_W if self.covered else 0.0)
        p[param.LID_UA_W_K] = self.area_m2 / lid_m2_k_w

    def start(self, x: NDArray[np.float64]) -> None:
        """Write the initial state into ``x``: one temperature, ice spread over the band."""
        depth_m = self.water_l / 1000.0 / self.area_m2
        share = [
            overlap_m(
                i * depth_m / state.LAYERS,
                (i + 1) * depth_m / state.LAYERS,
                self.evaporator_from_m,
                self.evaporator_to_m,
            )
            for i in range(state.LAYERS)
        ]
        x[state.STORE_KG] = self.water_l / 1000.0 * water.density_kg_m3(self.initial_c)
        for i in range(state.LAYERS):
            x[state.WATER_C + i] = self.initial_c
            x[state.ICE_KG + i] = self.initial_ice_kg * share[i] / sum(share)
        x[state.NUCLEI] = 1.0 if self.supercooling_k == 0.0 or self.initial_ice_kg > 0.0 else 0.0
        x[state.STORE_LOW_PROBE_C] = self.initial_c
        x[state.STORE_HIGH_PROBE_C] = self.initial_c


def dry_wall_w_m2(p: NDArray[np.float64], water_c: float, evaporator_c: float) -> float:
    """Return the heat from water to evaporator through film and dry wall [W/m2], from the table.

    Below 0 °C in proportion to the difference.
    """
    flux = lookup.bilinear(
        p,
        param.DRY_WALL_W_M2,
        param.FILM_WATER_FROM_C,
        param.FILM_WATER_STEP_C,
        param.FILM_WATER_POINTS,
        param.FILM_WALL_FROM_C,
        param.FILM_WALL_STEP_C,
        param.FILM_WALL_POINTS,
        water_c,
        evaporator_c,
    )
    if water_c < 0.0 and evaporator_c < 0.0:
        flux *= (water_c - evaporator_c) / -evaporator_c
    return flux


def ice_film_w_m2_k(p: NDArray[np.float64], water_c: float) -> float:
    """Return the film coefficient of water against ice at 0 °C [W/(m2 K)]."""
    return lookup.linear(
        p,
        param.ICE_FILM_W_M2_K,
        param.FILM_WATER_FROM_C,
        param.FILM_WATER_STEP_C,
        param.FILM_WATER_POINTS,
        water_c,
    )


def overlap_m(a_from: float, a_to: float, b_from: float, b_to: float) -> float:
    """Return the length two intervals have in common [m]."""
    return max(0.0, min(a_to, b_to) - max(a_from, b_from))


def ice_to_evaporator_w_m2(evaporator_c: float, ice_m: float, wall_w_m2_k: float) -> float:
    """Return the heat from an ice surface at 0 °C to the evaporator [W/m2].

    Conduction through ice and wall in series, the quasi-steady picture of Stefan.
    """
    return (water.FREEZING_C - evaporator_c) / (1.0 / wall_w_m2_k + ice_m / water.ICE_W_M_K)


def mixing_w_k(lower_kg_m3: float, upper_kg_m3: float, area_m2: float, layer_m: float) -> float:
    """Return the conductance of buoyant mixing between two layers [W/K], 0 while stable.

    Mixing length: where the upper layer is the denser, parcels fall one layer height at MIXING
    of the free-fall speed sqrt(g layer drho/rho).  That it works both ways about 3.98 °C follows
    from the density.
    """
    heavier = upper_kg_m3 - lower_kg_m3
    if heavier <= 0.0:
        return 0.0
    speed = math.sqrt(9.80665 * layer_m * heavier / lower_kg_m3)
    return MIXING * lower_kg_m3 * water.CP_0 * area_m2 * speed


def layer_at(height_m: float, level_m: float) -> int:
    """Return the number of the layer at a height, the nearest one outside the water."""
    if level_m <= 0.0:
        return 0
    return int(min(state.LAYERS - 1.0, max(0.0, height_m / level_m * state.LAYERS)))


def middle_at(height_m: float, level_m: float) -> float:
    """Return a height in middles of layers, 0 at the lowest, held at the outermost ones."""
    if level_m <= 0.0:
        return 0.0
    return min(state.LAYERS - 1.0, max(0.0, height_m / level_m * state.LAYERS - 0.5))

"""The water-to-air coil and its fans.

Dry: effectiveness-NTU.  Wet: enthalpy potential (Threlkeld; effectiveness form after Braun, Klein
and Mitchell 1989) with the fictitious specific heat of saturated air taken as the secant between
the entering air and the effective surface.  With a Lewis number of one that is the dry problem
with air-side capacity and conductance both multiplied by total over sensible heat, so dry and wet
meet without a jump.  The surface is the apparatus dew point of the bypass-factor method:
BF = exp(-NTU of the air side).

The surface has one effective temperature, so a coil is wet all over or dry all over, and air
leaves on the straight line to that surface: entering above about 75 % humidity it may come out a
few per cent oversaturated, which is fog; the heat is right, its split a little on the wet side.
"""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from . import exchanger, hydraulics, lookup, moist_air, param, state
from .check import PartError, ordered, within
from .loop import Loop

ARRANGEMENTS = ("cross", "counter")
FILM_C = 8.0  # at which the water's film is worked out


@dataclass(frozen=True, kw_only=True)
class Coil:
    """A fin coil described by one rating point, its fans and enough geometry for frost.

    ``ua_w_k`` is the dry overall conductance at ``rated_air_m3_h`` (the air this coil really
    gets with all fans at full duty) and ``rated_water_l_min``.  ``air_side_fraction`` is the
    air side's share of the thermal resistance at that point.  ``free_air_m3_h`` and
    ``fan_power_w`` are per fan; ``fans`` blow side by side unless ``fans_in_series``.
    ``tube_pass_m`` is straight tube between bends, 0 where the water's film is a developed one;
    ``fin_parameter`` the m r phi of dry fins at the rated air (``fins.py``), 0 without loss.

    Raises:
        ValueError: on a parameter outside its range.
    """

    ua_w_k: float
    rated_air_m3_h: float
    rated_water_l_min: float
    free_air_m3_h: float
    fan_power_w: float
    fans: int = 1
    fans_in_series: bool = False
    arrangement: str = "cross"
    air_side_fraction: float = 0.7
    tube_pass_m: float = 0.0
    fin_parameter: float = 0.0
    heat_capacity_j_k: float = 1500.0  # metal and the water in the tubes
    fin_area_m2: float = 1.5
    fin_gap_mm: float = 1.8
    frost_kg_m3: float = 200.0
    still_air_fraction: float = 0.03  # air moved by buoyancy with the fans off, of the rated
    coil_in_probe_lag_s: float = 15.0
    coil_air_probe_lag_s: float = 30.0

    def __post_init__(self) -> None:
        within("Coil", "ua_w_k", self.ua_w_k, 0.1, 2000.0, "W/K")
        within("Coil", "rated_air_m3_h", self.rated_air_m3_h, 10.0, 5000.0, "m3/h")
        within("Coil", "rated_water_l_min", self.rated_water_l_min, 0.1, 10.0, "L/min")
        within("Coil", "free_air_m3_h", self.free_air_m3_h, 10.0, 10000.0, "m3/h")
        within("Coil", "fan_power_w", self.fan_power_w, 0.1, 500.0, "W")
        within("Coil", "fans", self.fans, 1, 12)
        if self.arrangement not in ARRANGEMENTS:
            raise PartError(
                "Coil",
                "arrangement",
                f"{self.arrangement!r} is not one of {', '.join(ARRANGEMENTS)}",
            )
        within("Coil", "air_side_fraction", self.air_side_fraction, 0.1, 0.95)
        within("Coil", "tube_pass_m", self.tube_pass_m, 0.0, 10.0, "m")
        within("Coil", "fin_parameter", self.fin_parameter, 0.0, 5.0)
        within("Coil", "heat_capacity_j_k", self.heat_capacity_j_k, 100.0, 1e5, "J/K")
        within("Coil", "fin_area_m2", self.fin_area_m2, 0.05, 100.0, "m2")
        within("Coil", "fin_gap_mm", self.fin_gap_mm, 0.5, 20.0, "mm")
        within("Coil", "frost_kg_m3", self.frost_kg_m3, 50.0, 900.0, "kg/m3")
        within("Coil", "still_air_fraction", self.still_air_fraction, 0.005, 0.2)
        within("Coil", "coil_in_probe_lag_s", self.coil_in_probe_lag_s, 5.0, 600.0, "s")
        within("Coil", "coil_air_probe_lag_s", self.coil_air_probe_lag_s, 5.0, 600.0, "s")
        ordered("Coil", "rated_air_m3_h", self.rated_air_m3_h, "free air", self.total_free_air_m3_h)

    @property
    def total_free_air_m3_h(self) -> float:
        """Air all fans move together without the coil [m3/h]."""
        return self.free_air_m3_h * (1 if self.fans_in_series else self.fans)

    def put(self, p: NDArray[np.float64], loop: Loop) -> None:
        """Write the slots of this part into ``p``; ``loop`` holds the tube of the coil."""
        bore_m = loop.coil_bore_mm / 1000.0
        along_m = math.inf
        if self.tube_pass_m > 0.0:
            # Between a film that no bend stirs and one that each bend begins anew.
            along_m = math.sqrt(self.tube_pass_m * loop.coil_length_m / loop.coil_circuits)

        ratios = water_ratios(bore_m, along_m, loop.coil_circuits, self.rated_water_l_min)
        p[param.COIL_WATER_RATIO : param.COIL_WATER_RATIO + len(ratios)] = ratios
        p[param.COIL_AIR_W_K] = self.ua_w_k / self.air_side_fraction
        p[param.COIL_WATER_W_K] = self.ua_w_k / (1.0 - self.air_side_fraction)
        p[param.FIN_PARAMETER] = self.fin_parameter
        # Never lighter than eight seconds of its rated air flow, so that 5 s steps are stable.
        air_w_k = self.rated_air_m3_h / 3600.0 * 1.2 * moist_air.CP_MOIST_J_KG_K
        p[param.COIL_J_K] = max(self.heat_capacity_j_k, 8.0 * air_w_k)
        p[param.RATED_AIR_M3_H] = self.rated_air_m3_h
        p[param.FREE_AIR_M3_H] = self.total_free_air_m3_h
        p[param.STILL_AIR_M3_H] = self.still_air_fraction * self.rated_air_m3_h
        p[param.COUNTERFLOW] = float(self.arrangement == "counter")
        p[param.FIN_AREA_M2] = self.fin_area_m2
        p[param.FIN_GAP_M] = self.fin_gap_mm / 1000.0
        p[param.FROST_KG_M3] = self.frost_kg_m3
        p[param.FAN_POWER_W] = self.fan_power_w * self.fans
        p[param.COIL_IN_PROBE_S] = self.coil_in_probe_lag_s
        p[param.COIL_AIR_PROBE_S] = self.coil_air_probe_lag_s

    def start(self, x: NDArray[np.float64]) -> None:
        """Write the initial state into ``x``: as warm as the place, without frost."""
        x[state.COIL_C] = x[state.PLACE_C]
        x[state.COIL_IN_PROBE_C] = x[state.PLACE_C]
        x[state.COIL_AIR_PROBE_C] = x[state.PLACE_C]


@lru_cache(maxsize=16)
def water_ratios(
    bore_m: float, along_m: float, circuits: int, rated_l_min: float
) -> tuple[float, ...]:
    """Return the water's film over that at the rated flow, by flow on the axis of ``param``."""

    def film(flow_l_min: float) -> float:
        return hydraulics.water_film_w_m2_k(flow_l_min / circuits, bore_m, FILM_C, along_m)

    rated = film(rated_l_min)
    return tuple(
        film(n * param.COIL_WATER_STEP_L_MIN) / rated for n in range(param.COIL_WATER_POINTS)
    )


def open_fraction(p: NDArray[np.float64], frost_kg: float) -> float:
    """Return the share of the fin gap that frost leaves open [-], never below 0.05."""
    thickness_m = frost_kg / (p[param.FROST_KG_M3] * p[param.FIN_AREA_M2])
    return float(max(0.05, 1.0 - 2.0 * thickness_m / p[param.FIN_GAP_M]))


def air_m3_h(p: NDArray[np.float64], duty: float, frost_kg: float) -> float:
    """Return the air through the coil [m3/h].

    A straight fan curve from stall pressure to free air meets laminar flow between fins, whose
    resistance grows with the inverse cube of the gap (Poiseuille between plates); duty scales the
    fan by the affinity laws.  Buoyancy moves a little air with the fans off.
    """
    free = p[param.FREE_AIR_M3_H]
    clean = 1.0 / p[param.RATED_AIR_M3_H] - 1.0 / free
    gap = open_fraction(p, frost_kg)
    blown = duty / (1.0 / free + clean / (gap * gap * gap))
    still = p[param.STILL_AIR_M3_H] * gap
    return float(math.sqrt(blown * blown + still * still))


def fan_w(p: NDArray[np.float64], duty: float) -> float:
    """Return the electric input of all fans [W]: affinity law, the cube of duty."""
    return float(p[param.FAN_POWER_W] * duty**3)


def air_side_w_k(p: NDArray[np.float64], air_m3_h: float) -> float:
    """Return the dry air-side conductance [W/K].

    Proportional to flow to the power 0.6, from j falling with Re to the power -0.4 as in
    published plate-fin correlations.
    """
    return float(p[param.COIL_AIR_W_K] * (air_m3_h / p[param.RATED_AIR_M3_H]) ** 0.6)


def wet_fins(p: NDArray[np.float64], air_m3_h: float, wet: float) -> float:
    """Return the efficiency of wet fins over that of dry ones [-].

    The film times total over sensible heat (``wet``) takes more along the fin (`fins.efficiency`).
    """
    if wet <= 1.0 or p[param.FIN_PARAMETER] <= 1e-3:
        return 1.0
    dry = p[param.FIN_PARAMETER] * (air_m3_h / p[param.RATED_AIR_M3_H]) ** 0.3
    root = math.sqrt(wet)
    return math.tanh(dry * root) / (root * math.tanh(dry))


def water_side_w_k(p: NDArray[np.float64], flow_l_min: float) -> float:
    """Return the water-side conductance [W/K]."""
    return float(p[param.COIL_WATER_W_K]) * lookup.linear(
        p,
        param.COIL_WATER_RATIO,
        0.0,
        param.COIL_WATER_STEP_L_MIN,
        param.COIL_WATER_POINTS,
        flow_l_min,
    )


def bypass_factor(air_side_ntu: float) -> float:
    """Return the share of the air that leaves as it came [-]."""
    return math.exp(-air_side_ntu)


def latent_drop(humidity: float, surface_c: float, pressure_pa: float) -> float:
    """Return entering less saturated surface humidity ratio [kg/kg], 0 while the coil is dry."""
    return max(0.0, humidity - moist_air.saturated_humidity_ratio(surface_c, pressure_pa))


def wet_multiplier(air_c: float, surface_c: float, drop: float) -> float:
    """Return total over sensible heat [-], 1 while dry, at most 8."""
    difference = air_c - surface_c
    if difference < 0.05 or drop <= 0.0:
        return 1.0
    return min(8.0, 1.0 + moist_air.LATENT_J_KG * drop / (moist_air.CP_MOIST_J_KG_K * difference))


def exchange_w_k(
    counter: float, air_w_k: float, water_w_k: float, hot_ua_w_k: float, cold_ua_w_k: float
) -> float:
    """Return heat over inlet temperature difference [W/K] by effectiveness-NTU.

    Args:
        counter: 1 counterflow, else cross-flow with both streams unmixed.
        air_w_k: capacity rate of the air, wet multiplier included.
        water_w_k: capacity rate of the water.
        hot_ua_w_k: air-side conductance, wet multiplier included.
        cold_ua_w_k: water-side conductance.
    """
    low = min(air_w_k, water_w_k)
    if low <= 1e-6:
        return 0.0
    c = low / max(air_w_k, water_w_k)
    ntu = 1.0 / (1.0 / hot_ua_w_k + 1.0 / cold_ua_w_k) / low
    if counter > 0.5:
        return low * exchanger.counterflow(ntu, c)
    return low * exchanger.cross_unmixed(ntu, c)


def surface_to_water_w_k(total_w_k: float, surface_w_k: float, limit_w_k: float) -> float:
    """Return the conductance from effective surface to entering water [W/K].

    Chosen so that in the steady state air-to-surface (``surface_w_k``) and surface-to-water in
    series give the effectiveness-NTU result ``total_w_k``.
    """
    if total_w_k <= 0.0:
        return 0.0
    gap = 1.0 / total_w_k - 1.0 / surface_w_k
    if gap <= 1.0 / limit_w_k:
        return limit_w_k
    return 1.0 / gap

"""Both sides of a site's coil: what its tubes let through to the water, its fins to the air.

A tube every 25 mm across the air in rows 22 mm apart, aluminium fins 0.15 mm thick; flat tubes
every 10 mm, 24 mm wide. Common practice for small coils.
"""

import math

from springhouse_sim.plant import fins, hydraulics, water

from .fan_air import FIN_MM, ROW_DEPTH_M
from .tables import CoilTable

TUBE_PITCH_M = 0.025
TUBE_WALL_M = 0.0005
FLAT_TUBE_PITCH_M = 0.010
FLAT_TUBE_M = 0.024  # across, along the air
FLAT_NUSSELT = 7.54  # laminar between parallel plates of one temperature
MOST_CIRCUITS = 20  # as many as the plant's loop takes
FLAT_FIN = 0.3  # m L of louvred fins 0.1 mm thick between tubes 10 mm apart
WATER_C = 8.0

# Over plain fins evenly blown on. Bypass factors of trade tables (two rows 0.42 to 0.55, four 0.19
# to 0.30, from memory) are 0.8 to 1.2 times it, wavy fins and Wang, Chi and Chang 2000 up to 1.4;
# a small fan leaves corners in still air, a quarter less: a guess.
AIR_SIDE = (0.6, 1.0, 1.4)
LEAST_AIR_SHARE, MOST_AIR_SHARE = 0.1, 0.95  # of the resistance, what the plant's coil accepts


def circuits(coil: CoilTable) -> int:
    """Return how many ways the water has: every flat tube of a core is one."""
    if coil.kind == "finned-tube":
        return coil.circuits
    return min(MOST_CIRCUITS, max(1, int(coil.face_width_m / FLAT_TUBE_PITCH_M)))


def tube_m(coil: CoilTable) -> float:
    """Return the tube in the coil [m]: a pass every 25 mm of every row, flat tubes every 10 mm."""
    if coil.kind == "flat-tube":
        return coil.rows * circuits(coil) * coil.face_height_m
    return coil.rows * max(1.0, coil.face_height_m // TUBE_PITCH_M) * coil.face_width_m


def pass_m(coil: CoilTable) -> float:
    """Return the straight tube between two bends [m]."""
    return coil.face_height_m if coil.kind == "flat-tube" else coil.face_width_m


def along_m(coil: CoilTable) -> float:
    """Return the tube over which water warms up undisturbed [m], between a pass and a circuit."""
    if coil.kind == "flat-tube":
        return math.inf
    whole_m = tube_m(coil) / coil.circuits
    return math.sqrt(whole_m * min(pass_m(coil), whole_m))


def water_film_w_m2_k(coil: CoilTable, flow_l_min: float) -> float:
    """Return the film of the water in round tubes at a flow through the whole coil [W/(m2 K)]."""
    one_l_min = flow_l_min / circuits(coil)
    return hydraulics.water_film_w_m2_k(
        one_l_min, coil.tube_bore_mm / 1000.0, WATER_C, along_m(coil)
    )


def water_side_w_k(coil: CoilTable) -> tuple[float, float, float]:
    """Return what the tubes pass at the rated flow [W/K], least first.

    Laminar water warms up along a tube and a bend stirs it: the film of the whole circuit as if
    no bend did is the least, that of a single pass as if each did fully the most.
    """
    bore_m = coil.tube_bore_mm / 1000.0
    length_m = tube_m(coil)
    if coil.kind == "flat-tube":
        across_m = math.pi / 4.0 * bore_m**2 / FLAT_TUBE_M  # of the gap, same cross-section
        film = FLAT_NUSSELT * water.conductivity_w_m_k(WATER_C) / (2.0 * across_m)
        passed = film * 2.0 * FLAT_TUBE_M * length_m
        return 0.7 * passed, passed, 1.3 * passed
    one_m = min(pass_m(coil), length_m / coil.circuits)
    whole_m = length_m / coil.circuits
    flow = coil.rated_l_min / coil.circuits
    least, middle, most = (
        math.pi * bore_m * length_m * hydraulics.water_film_w_m2_k(flow, bore_m, WATER_C, stirred_m)
        for stirred_m in (whole_m, along_m(coil), one_m)
    )
    return least, middle, most


def air_film_w_m2_k(coil: CoilTable, air_m3_h: float) -> float:
    """Return the film of air on plain fins [W/(m2 K)]."""
    gap_m, fin_m = coil.fin_gap_mm / 1000.0, FIN_MM / 1000.0
    collar_m = coil.tube_bore_mm / 1000.0 + 2.0 * (TUBE_WALL_M + fin_m)
    open_share = max(0.2, 1.0 - collar_m / TUBE_PITCH_M) * gap_m / (gap_m + fin_m)
    speed = air_m3_h / 3600.0 / (coil.face_width_m * coil.face_height_m) / open_share
    reynolds = fins.AIR_KG_M3 * speed * collar_m / fins.AIR_PA_S
    held_re = max(300.0, reynolds)
    j = fins.colburn_j(held_re, coil.rows, TUBE_PITCH_M, ROW_DEPTH_M, gap_m / collar_m)
    return float(j * fins.AIR_KG_M3 * speed * fins.AIR_J_KG_K * fins.AIR_PRANDTL ** (-2.0 / 3.0))


def fin_parameter(coil: CoilTable, air_m3_h: float) -> float:
    """Return m r phi of the dry fins at so much air [-], flat tubes' fins as straight ones."""
    if coil.kind == "flat-tube":
        return FLAT_FIN
    radius_m = 0.5 * coil.tube_bore_mm / 1000.0 + TUBE_WALL_M + FIN_MM / 1000.0
    fin_radius_m = max(1.1 * radius_m, fins.annulus_m(TUBE_PITCH_M, ROW_DEPTH_M))
    film = air_film_w_m2_k(coil, air_m3_h)
    return fins.fin_parameter(film, radius_m, fin_radius_m, FIN_MM / 1000.0)


def air_side_w_k(coil: CoilTable, air_m3_h: float) -> tuple[float, float, float]:
    """Return what dry fins of round tubes pass at so much air [W/K], least first.

    Tube and fin surface count alike, both at the fins' efficiency.
    """
    gap_m, fin_m = coil.fin_gap_mm / 1000.0, FIN_MM / 1000.0
    collar_m = coil.tube_bore_mm / 1000.0 + 2.0 * (TUBE_WALL_M + fin_m)
    cell_m2 = TUBE_PITCH_M * ROW_DEPTH_M
    fin_m2 = 2.0 * max(0.2 * cell_m2, cell_m2 - math.pi / 4.0 * collar_m**2)
    per_m = (fin_m2 + math.pi * collar_m * gap_m) / (gap_m + fin_m)
    held = fins.efficiency(fin_parameter(coil, air_m3_h))
    plain = air_film_w_m2_k(coil, air_m3_h) * held * per_m * tube_m(coil)
    low, mid, high = (share * plain for share in AIR_SIDE)
    return low, mid, high


def overall_w_k(coil: CoilTable, air_m3_h: float) -> tuple[float, float, float]:
    """Return the dry conductance of a coil of round tubes at its rated flow [W/K], least first."""
    sides = zip(air_side_w_k(coil, air_m3_h), water_side_w_k(coil), strict=True)
    low, mid, high = (1.0 / (1.0 / air + 1.0 / water) for air, water in sides)
    return low, mid, high


def air_share(coil: CoilTable, air_m3_h: float, ua_w_k: float) -> float:
    """Return the air side's share of the resistance of a coil of such conductance [-].

    Both sides in the proportion of their middle values, the water side inside its own range: what
    that does not explain is the air's.
    """
    least, middle, most = water_side_w_k(coil)
    if coil.kind == "flat-tube":
        water_w_k = middle
    else:
        share = 1.0 / (1.0 + air_side_w_k(coil, air_m3_h)[1] / middle)  # of the air
        water_w_k = min(most, max(least, ua_w_k / (1.0 - share)))
    return held_share(1.0 - ua_w_k / water_w_k)


def held_share(share: float) -> float:
    """Return an air side's share of the resistance inside what the plant's coil accepts."""
    return min(MOST_AIR_SHARE, max(LEAST_AIR_SHARE, share))

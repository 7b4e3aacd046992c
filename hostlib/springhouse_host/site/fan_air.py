"""Air of fans against a coil's fins: the two numbers of a fan's label and a line between them.

A label gives the air moved against nothing and the pressure held against a shut outlet. What lies
between is taken as a straight line: trade practice, real fans sag below it or stall. Fins resist as
laminar slots, in proportion to the air.
"""

from .tables import CoilTable

FIN_MM = 0.15
AIR_PA_S = 1.85e-5  # viscosity at 25 °C
ROW_DEPTH_M = 0.022
CORE_DEPTH_M = 0.026  # of flat tubes
# Tubes in the way, collars, louvres and edges over plain slots; common practice, no source.
OVER_SLOTS = (1.5, 2.5, 4.0)


def slots_pa(coil: CoilTable, air_m3_h: float) -> float:
    """Return the pressure that air loses between the fins as plain slots [Pa].

    Laminar flow between parallel plates: dp = 12 mu L v / s2 (Poiseuille; Shah and London, f Re =
    24, from memory).
    """
    gap_m = coil.fin_gap_mm / 1000.0
    open_share = coil.fin_gap_mm / (coil.fin_gap_mm + FIN_MM)
    face_m_s = air_m3_h / 3600.0 / (coil.face_width_m * coil.face_height_m)
    depth_m = coil.rows * (CORE_DEPTH_M if coil.kind == "flat-tube" else ROW_DEPTH_M)
    return 12.0 * AIR_PA_S * depth_m * face_m_s / open_share / gap_m**2


def one_fan_shares(coil: CoilTable, fan_pa: float) -> tuple[float, float, float]:
    """Return what share of its free air one fan moves through the coil, least first.

    Where the line from ``fan_pa`` at no air to none at free air meets the fins' own.
    """
    free_pa = slots_pa(coil, coil.fan_m3_h)
    low, mid, high = (1.0 / (1.0 + over * free_pa / fan_pa) for over in reversed(OVER_SLOTS))
    return low, mid, high


def free_air_share(one_fan: float, fans: int, in_series: bool) -> float:
    """Return the air through a coil over what all fans move freely.

    Straight fan curve against laminar fins, as in the plant: one fan keeps ``one_fan``; side by
    side each has the same pressure and less of the fins, one behind the other the reverse.
    """
    fins = 1.0 / one_fan - 1.0
    return 1.0 / (1.0 + (fins / fans if in_series else fins * fans))


def static_pa(
    fan_pa: float, free_m3_h: float, fans: int, in_series: bool, air_m3_h: float
) -> float:
    """Return the static pressure of some equal fans that move so much air together [Pa]."""
    one_m3_h = air_m3_h if in_series else air_m3_h / fans
    return fan_pa * (fans if in_series else 1) * (1.0 - one_m3_h / free_m3_h)

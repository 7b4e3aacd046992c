"""Air side of a coil with continuous plate fins: heat transfer and what the fins hold back.

Sources from memory: Gray and Webb 1986 (plain fins on staggered tubes); Schmidt 1949 (the fin of a
tube as an annulus); wet fins with the same form, the film times total over sensible heat.
"""

import math

AIR_KG_M3 = 1.19
AIR_J_KG_K = 1006.0
AIR_PA_S = 1.85e-5  # at 25 °C
AIR_PRANDTL = 0.71
FIN_W_M_K = 200.0  # aluminium strip


def colburn_j(
    reynolds: float, rows: int, pitch_m: float, depth_m: float, gap_over_tube: float
) -> float:
    """Return the Colburn factor of plain fins on staggered tubes [-].

    Gray and Webb 1986: four rows and more, and their correction for fewer; Re by tube diameter and
    the air between the tubes, 500 to 24,700.

    Args:
        reynolds: by collar diameter and greatest velocity.
        rows: tubes behind each other.
        pitch_m: between tubes across the air.
        depth_m: between rows.
        gap_over_tube: gap between fins over collar diameter.
    """
    four: float = 0.14 * reynolds**-0.328 * (pitch_m / depth_m) ** -0.502 * gap_over_tube**0.0312
    if rows >= 4:
        return four
    fewer = 2.24 * reynolds**-0.092 * (rows / 4.0) ** -0.031
    return float(four * 0.991 * fewer ** (0.607 * (4 - rows)))


def annulus_m(pitch_m: float, depth_m: float) -> float:
    """Return the radius of the round fin that stands for a tube's share of a plate [m].

    Schmidt's sector method for staggered tubes: 1.27 M (L / M - 0.3)**(1/2), M half of the pitch
    across and L half of the distance to the tube in the next row, the longer of the two as L.
    """
    across = 0.5 * pitch_m
    slanting = 0.5 * math.hypot(0.5 * pitch_m, depth_m)
    short, long = min(across, slanting), max(across, slanting)
    return float(1.27 * short * (long / short - 0.3) ** 0.5)


def fin_parameter(
    film_w_m2_k: float, tube_radius_m: float, fin_radius_m: float, fin_m: float
) -> float:
    """Return m r phi of a round fin [-]; its efficiency is tanh of it over it (Schmidt 1949)."""
    m = math.sqrt(2.0 * film_w_m2_k / (FIN_W_M_K * fin_m))
    ratio = fin_radius_m / tube_radius_m
    return m * tube_radius_m * (ratio - 1.0) * (1.0 + 0.35 * math.log(ratio))


def efficiency(parameter: float) -> float:
    """Return the efficiency of a fin [-], 1 where it conducts without loss.

    >>> round(efficiency(1.0), 3)
    0.762
    """
    return math.tanh(parameter) / parameter if parameter > 1e-3 else 1.0

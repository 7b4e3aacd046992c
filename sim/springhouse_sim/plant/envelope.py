"""Heat through the walls of the cabinet, from foam thickness and films."""

import math

FOAM_W_M_K = 0.022  # cyclopentane-blown polyurethane, 0.020 to 0.024 fresh; from memory
AGED_FOAM_W_M_K = 0.034  # its cells filled with air in the end: 0.0333 to 0.0345 (Wu et al. 1999)
FILM_W_M2_K = 8.0  # still air, convection and radiation together


def wall_w_m2_k(
    foam_m: float, foam_w_m_k: float = FOAM_W_M_K, film_w_m2_k: float = FILM_W_M2_K
) -> float:
    """Return the conductance of foam between two films [W/(m2 K)]: series resistances.

    An infinite film leaves the foam alone.
    """
    return 1.0 / (foam_m / foam_w_m_k + 2.0 / film_w_m2_k)


def box_w_k(
    length_m: float,
    width_m: float,
    depth_m: float,
    foam_m: float,
    foam_w_m_k: float = FOAM_W_M_K,
    film_w_m2_k: float = FILM_W_M2_K,
) -> float:
    """Return the conductance of a box [W/K] over the geometric mean of inside and outside area.

    The mean area stands for the edges; ±15 % with edges and lid seal.

    Args:
        length_m: inside.
        width_m: inside.
        depth_m: inside.
        foam_m: thickness all around.
        foam_w_m_k: conductivity of the foam.
        film_w_m2_k: of the air on either side.
    """

    def area_m2(grown_m: float) -> float:
        a, b, c = length_m + grown_m, width_m + grown_m, depth_m + grown_m
        return 2.0 * (a * b + b * c + a * c)

    mean_m2 = math.sqrt(area_m2(0.0) * area_m2(2.0 * foam_m))
    return wall_w_m2_k(foam_m, foam_w_m_k, film_w_m2_k) * mean_m2

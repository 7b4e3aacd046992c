"""Natural convection of water at a vertical wall, through its density maximum near 4 °C.

Between 0 and 8 °C water beside a cold wall is driven up by what is colder than 4 °C and down by
what is warmer. What is left of the two follows from the laminar similarity equations with the
density law of Gebhart and Mollendorf 1977 (J. Fluid Mech. 89, 1978); ``BUOYANCY`` is their
solution in one number. tests/reference/test_film.py solves them again.
"""

from typing import Any, NamedTuple

import numpy as np

from . import water

# Density of water under 1 atm up to 20 °C, rho = rho_m (1 - a |T - T_m|**q), from memory.
DENSEST_C = 4.029325
LAW_POWER = 1.894816
LAW_1_K = 9.297173e-6  # per kelvin to the power q

# Driving buoyancy over that of the law at T_m + (wall - water): what a Boussinesq fluid would need
# for the same heat, over R = (T_m - water) / (wall - water), at Pr 11.6; Pr 9 to 13.6 is within
# 1.5 % of the heat. From R 0.1515 to 0.2918 neither an upward nor a downward flow exists, both run
# side by side; between the ends a straight line is the best there is.
BUOYANCY = (
    (-0.5, 1.474),
    (-0.2, 0.9327),
    (0.0, 0.5423),
    (0.05, 0.4336),
    (0.1, 0.3211),
    (0.13, 0.2501),
    (0.145, 0.2109),
    (0.1515, 0.1885),
    (0.2918, 0.030),
    (0.293, 0.0386),
    (0.296, 0.0517),
    (0.3, 0.0649),
    (0.31, 0.0926),
    (0.32, 0.1176),
    (0.34, 0.1642),
    (0.36, 0.2088),
    (0.4, 0.2951),
    (0.5, 0.5024),
    (0.6, 0.7017),
    (0.8, 1.0815),
    (1.0, 1.4415),
)
REFERENCE = 0.26  # beyond the table the expansion holds so far from water to wall

LAMINAR_END_RA = 1e9  # textbooks' limit, of gases and liquids alike
# Bejan and Lage 1990 (from memory): transition near a Grashof number of 1e9 whatever the fluid.
TURBULENT_START_GR = 1e9
COLDEST_WALL_C = -5.0  # as far as the properties reach


def driving_1(water_c: Any, wall_c: Any) -> Any:
    """Return the density difference over density that drives water along a wall [-].

    Times g, height cubed, over kinematic viscosity and thermal diffusivity it is the Rayleigh
    number of a Boussinesq fluid that takes the same heat. Takes arrays, element by element.
    """
    across_k = np.asarray(wall_c - water_c, dtype=float)
    across_k = np.where(np.abs(across_k) < 1e-6, 1e-6, across_k)
    ratio = (DENSEST_C - water_c) / across_k
    known_r, known = np.array(BUOYANCY).T
    inside = (known_r[0] < ratio) & (ratio < known_r[-1])
    beyond = LAW_POWER * np.abs(ratio - REFERENCE) ** (LAW_POWER - 1.0)
    return (
        LAW_1_K
        * np.abs(across_k) ** LAW_POWER
        * np.where(inside, np.interp(ratio, known_r, known), beyond)
    )


def laminar_nusselt(rayleigh: Any, prandtl: Any) -> Any:
    """Return the mean Nusselt number of laminar flow (Churchill and Chu 1975, Ra up to 1e9)."""
    shape = (1.0 + (0.492 / prandtl) ** 0.5625) ** (4.0 / 9.0)
    return 0.68 + 0.670 * rayleigh**0.25 / shape


def every_nusselt(rayleigh: Any, prandtl: Any) -> Any:
    """Return Churchill and Chu's form for every Rayleigh number up to 1e12, turbulent too."""
    shape = (1.0 + (0.492 / prandtl) ** 0.5625) ** (8.0 / 27.0)
    return (0.825 + 0.387 * rayleigh ** (1.0 / 6.0) / shape) ** 2


class Facing(NamedTuple):
    """What a film owes to its temperatures alone, without the height of the wall; arrays."""

    grashof_1_m3: Any
    prandtl: Any
    conductivity_w_m_k: Any


def facing(water_c: Any, wall_c: Any) -> Facing:
    """Return what of a film does not depend on the wall's height, for `film_at`.

    Properties at the film temperature; the wall is held at -5 °C and above, as far as they reach.
    Takes arrays, element by element.
    """
    wall_c = np.maximum(COLDEST_WALL_C, wall_c)
    film_c: Any = np.minimum(40.0, np.maximum(0.0, 0.5 * (water_c + wall_c)))
    k, mu = water.conductivity_w_m_k(film_c), water.viscosity_pa_s(film_c)
    rho, cp = water.density_kg_m3(film_c), water.heat_capacity_j_kg_k(film_c)
    grashof_1_m3 = 9.80665 * driving_1(water_c, wall_c) * (rho / mu) ** 2
    return Facing(grashof_1_m3, mu * cp / k, k)


def film_at(known: Facing, height_m: float) -> Any:
    """Return the mean film coefficient at a vertical wall in still water [W/(m2 K)].

    Laminar up to a Rayleigh number of 1e9, the form for every Rayleigh number from a Grashof
    number of 1e9, geometric between: where water becomes turbulent the sources differ by that
    much.

    Args:
        known: of water and wall, arrays.
        height_m: wetted height of the wall [m].
    """
    grashof_1_m3, pr, k = known
    rayleigh = grashof_1_m3 * height_m**3 * pr
    span = np.log10(TURBULENT_START_GR * pr / LAMINAR_END_RA)
    turbulent = np.clip(np.log10(rayleigh / LAMINAR_END_RA) / span, 0.0, 1.0)
    slow, fast = laminar_nusselt(rayleigh, pr), every_nusselt(rayleigh, pr)
    return slow ** (1.0 - turbulent) * fast**turbulent * k / height_m


def film_w_m2_k(water_c: Any, wall_c: Any, height_m: float) -> Any:
    """Return `film_at` for undisturbed water and a wall surface [°C], element by element."""
    return film_at(facing(water_c, wall_c), height_m)

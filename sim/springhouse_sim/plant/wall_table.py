"""Natural convection at the evaporator wall, over water and evaporator: the tables of the store.

A bare wall is film and wall in series. Near 4 °C a warmer surface may take more from the water, so
that two surfaces and more can be in balance, and no substitution is sure to converge. By bisection
one of them is found, always the same one. Which evaporator belongs to a surface is explicit, so it
is worked out on a fine grid of surfaces, halved there without any equation, and made exact by one
step of Newton's method.
"""

from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from . import film, param, water

GRID_STEP_C = 1.0 / 32.0  # of surfaces; water and evaporator of the table lie on it
PER_WATER = round(param.FILM_WATER_STEP_C / GRID_STEP_C)
PER_WALL = round(param.FILM_WALL_STEP_C / GRID_STEP_C)
FIRST_WATER = round((param.FILM_WATER_FROM_C - param.FILM_WALL_FROM_C) / GRID_STEP_C)
NODES = (param.FILM_WALL_POINTS - 1) * PER_WALL + 1
# A colder wall has the film of this node.
HELD = round((film.COLDEST_WALL_C - param.FILM_WALL_FROM_C) / GRID_STEP_C)
HALVINGS = (NODES - 1).bit_length()

Floats = NDArray[np.float64]


def waters_c() -> Floats:
    """Return the water's axis of the table, shape (waters,)."""
    return (
        param.FILM_WATER_FROM_C
        + np.arange(param.FILM_WATER_POINTS, dtype=np.float64) * param.FILM_WATER_STEP_C
    )


def evaporators_c() -> Floats:
    """Return the evaporator's axis of the table, shape (evaporators,)."""
    return (
        param.FILM_WALL_FROM_C
        + np.arange(param.FILM_WALL_POINTS, dtype=np.float64) * param.FILM_WALL_STEP_C
    )


def _surfaces_c() -> Floats:
    return param.FILM_WALL_FROM_C + np.arange(NODES, dtype=np.float64) * GRID_STEP_C


@lru_cache(maxsize=1)
def _facing() -> film.Facing:
    """Return what is known of the film on the grid without the height, kept: it is the dearest."""
    return film.facing(waters_c()[:, np.newaxis], _surfaces_c()[HELD:])


@lru_cache(maxsize=4)
def _grid_w_m2(height_m: float) -> Floats:
    """Return what the film brings to each surface [W/m2], signed, shape (waters, NODES)."""
    coefficient = film.film_at(_facing(), height_m)
    held = np.broadcast_to(coefficient[:, :1], (coefficient.shape[0], HELD))
    brought: Floats = np.concatenate([held, coefficient], axis=1)
    brought *= waters_c()[:, np.newaxis] - _surfaces_c()
    return brought


@lru_cache(maxsize=4)
def ice_film_w_m2_k(height_m: float) -> Floats:
    """Return the film against ice at 0 °C [W/(m2 K)], shape (waters,)."""
    coefficient: Floats = film.film_w_m2_k(waters_c(), water.FREEZING_C, height_m)
    coefficient.flags.writeable = False
    return coefficient


@lru_cache(maxsize=16)
def dry_wall_w_m2(wall_w_m2_k: float, height_m: float, film_factor: float = 1.0) -> Floats:
    """Return the heat from water to evaporator through film and wall [W/m2], without ice.

    Args:
        wall_w_m2_k: of the wall, from its surface to the evaporator.
        height_m: wetted height of the wall [m].
        film_factor: of the film's coefficient.

    Returns:
        on the axes of ``param``, shape (waters, evaporators).
    """
    # The evaporator at which each surface is in balance, by the nodes of the grid.
    balanced_c = (_surfaces_c() - film_factor / wall_w_m2_k * _grid_w_m2(height_m)).ravel()
    row = np.arange(param.FILM_WATER_POINTS)[:, np.newaxis]
    shape = (param.FILM_WATER_POINTS, param.FILM_WALL_POINTS)
    water_c, evaporator_c = waters_c()[:, np.newaxis], np.broadcast_to(evaporators_c(), shape)
    at_wall: Any = np.broadcast_to(np.arange(param.FILM_WALL_POINTS) * PER_WALL, shape)
    at_water: Any = np.broadcast_to(FIRST_WATER + row * PER_WATER, shape)
    colder = at_wall < at_water
    for _ in range(HALVINGS):
        middle = (at_wall + at_water) >> 1
        # Towards the water while the film brings more than the wall passes, by magnitude.
        toward = (balanced_c[row * NODES + middle] < evaporator_c) == colder
        at_wall = np.where(toward, middle, at_wall)
        at_water = np.where(toward, at_water, middle)
    low, apart = np.minimum(at_wall, at_water), at_wall != at_water
    low_c = balanced_c[row * NODES + low]
    rise = np.where(apart, balanced_c[row * NODES + low + apart] - low_c, 1.0) / GRID_STEP_C
    surface_c = _surfaces_c()[low] + (evaporator_c - low_c) / rise
    exact = film_factor * film.film_w_m2_k(water_c, surface_c, height_m)
    passed_k = exact / wall_w_m2_k * (water_c - surface_c)
    surface_c = surface_c + (evaporator_c - surface_c + passed_k) / rise
    table: Floats = wall_w_m2_k * (surface_c - evaporator_c)
    table.flags.writeable = False
    return table

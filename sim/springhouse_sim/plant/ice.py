"""Supercooled water: ice that does not start at 0 °C, and what happens when it does."""

import numpy as np
from numpy.typing import NDArray

from . import param, state, tap, water

SEED_S = 10.0  # in which the first ice spreads through supercooled water
FORGET_S = 600.0  # in which water without ice loses what would seed it
SLUSH_S = 30.0  # in which seeded water below 0 °C turns to slush and rises to 0 °C
TRACE_KG = 1e-3  # less ice than this seeds nothing


def nucleates(
    x: NDArray[np.float64],
    p: NDArray[np.float64],
    dx: NDArray[np.float64],
    t: NDArray[np.float64],
) -> None:
    """Start ice in supercooled water, and turn that water to slush at 0 °C (after the walls).

    Ice starts where a surface or the water is SUPERCOOL_K below 0 °C.  The heat of what freezes
    warms the rest: 6.3 % of the mass from -5 °C.  Without supercooling nothing happens here.
    """
    if p[param.SUPERCOOL_K] <= 0.0:
        return
    ice_kg = 0.0
    for i in range(state.LAYERS):
        ice_kg += x[state.ICE_KG + i]
    nuclei = x[state.NUCLEI]
    if min(t[tap.WALL_MIN_C], t[tap.STORE_MIN_C]) <= -p[param.SUPERCOOL_K] or ice_kg > TRACE_KG:
        dx[state.NUCLEI] = (1.0 - nuclei) / SEED_S
    else:
        dx[state.NUCLEI] = -nuclei / FORGET_S
    layer_kg = x[state.STORE_KG] / state.LAYERS
    for i in range(state.LAYERS):
        below_j_kg = -min(0.0, water.enthalpy_j_kg(x[state.WATER_C + i]))
        liquid_kg = layer_kg - x[state.ICE_KG + i]
        frozen = nuclei * liquid_kg * below_j_kg / (water.LATENT_FUSION_J_KG * SLUSH_S)
        dx[state.ICE_KG + i] += frozen
        dx[state.WATER_C + i] += frozen * (water.LATENT_FUSION_J_KG - below_j_kg)

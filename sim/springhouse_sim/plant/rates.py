"""The complete right-hand side of the plant, and the few changes that are not continuous.

Both work on the flat records of ``state``, ``given``, ``param`` and ``tap``; they allocate
nothing and know no time.
"""

import numpy as np
from numpy.typing import NDArray

from . import circuit, electricity, layers, machine, spaces, state

# What dies away exponentially, and below which it is nothing: left alone it would end as denormal
# numbers, and a step with those takes three times as long.
TRACES = (
    state.FLOW_L_MIN,
    state.LOOP_AIR,
    state.FROST_KG,
    state.NUCLEI,
    state.REFRIGERANT_SPREAD,
    state.PRESSURE_HEAD,
    *range(state.ICE_KG, state.ICE_KG + state.LAYERS),
)
LEAST_TRACE = 1e-12


def rates(
    x: NDArray[np.float64],
    u: NDArray[np.float64],
    p: NDArray[np.float64],
    dx: NDArray[np.float64],
    t: NDArray[np.float64],
) -> None:
    """Fill ``dx`` with the time derivative of ``x`` [unit/s] and ``t`` with algebraic results.

    The order matters: a part reads the heat flows that earlier parts left in ``dx`` and ``t``.

    Args:
        x: state, shape (state.SIZE,).
        u: given, shape (given.SIZE,).
        p: parameters, shape (param.SIZE,).
        dx: out, shape (state.SIZE,).
        t: out, shape (tap.SIZE,).
    """
    for i in range(state.SIZE):
        dx[i] = 0.0
    layers.measure(x, p, t)
    electricity.power(x, u, p, dx, t)
    circuit.flow(x, u, p, dx, t)
    flow_kg_s = x[state.FLOW_L_MIN] / 60.0
    layers.store_rates(x, u, p, dx, t, flow_kg_s)
    machine.machine(x, u, p, dx, t)
    circuit.air_coil(x, u, p, dx, t, flow_kg_s)
    circuit.tubes(x, p, dx, t, flow_kg_s)
    spaces.tray_water(x, u, p, dx, t)
    spaces.room_air(x, u, p, dx, t)
    spaces.place(x, u, p, dx)


def switch(
    x: NDArray[np.float64],
    u: NDArray[np.float64],
    p: NDArray[np.float64],
    t: NDArray[np.float64],
) -> None:
    """Change the discrete states of ``x`` where their conditions hold; call after each step.

    ``t`` is not needed today; it is part of the call so that every part sees the same records.
    """
    for i in TRACES:
        if abs(x[i]) < LEAST_TRACE:
            x[i] = 0.0
    machine.switch_motor(x, u, p)
    electricity.switch_battery(x, u, p)

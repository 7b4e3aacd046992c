"""Fixed-step integration of the plant, without allocation."""

import numpy as np
from numpy.typing import NDArray

from . import state
from .rates import rates, switch

QUICK_L_MIN = 0.02  # change of flow in a step above which the step is taken in two halves


def work_size() -> int:
    """Return the length of the work array that ``advance`` needs."""
    return 3 * state.SIZE


def advance(
    x: NDArray[np.float64],
    u: NDArray[np.float64],
    p: NDArray[np.float64],
    work: NDArray[np.float64],
    t: NDArray[np.float64],
    dt_s: float,
    steps: int,
) -> None:
    """Advance ``x`` by ``steps`` steps of ``dt_s`` with Heun's method (explicit, second order).

    Discrete states are settled before the first step and after each one.  ``t`` is left at the
    predicted end of the last step.  Meant for steps of 1 s; the parts refuse
    nodes faster than three seconds, which leaves 5 s steps stable, though less exact.  While flow
    builds up or dies away, the quickest thing here, steps are halved.

    Args:
        x: state, shape (state.SIZE,), changed in place.
        u: given, shape (given.SIZE,), held constant.
        p: parameters, shape (param.SIZE,).
        work: scratch, shape (work_size(),).
        t: out, shape (tap.SIZE,).
        dt_s: step [s].
        steps: number of steps.
    """
    first = work[: state.SIZE]
    second = work[state.SIZE : 2 * state.SIZE]
    ahead = work[2 * state.SIZE : 3 * state.SIZE]
    switch(x, u, p, t)
    for _ in range(steps):
        rates(x, u, p, first, t)
        if abs(first[state.FLOW_L_MIN]) * dt_s > QUICK_L_MIN:
            heun(x, u, p, first, second, ahead, t, 0.5 * dt_s)
            rates(x, u, p, first, t)
            heun(x, u, p, first, second, ahead, t, 0.5 * dt_s)
        else:
            heun(x, u, p, first, second, ahead, t, dt_s)
        switch(x, u, p, t)


def heun(
    x: NDArray[np.float64],
    u: NDArray[np.float64],
    p: NDArray[np.float64],
    first: NDArray[np.float64],
    second: NDArray[np.float64],
    ahead: NDArray[np.float64],
    t: NDArray[np.float64],
    dt_s: float,
) -> None:
    """Take one step; ``first`` holds the rates at its beginning, the others are scratch."""
    for i in range(state.SIZE):
        ahead[i] = x[i] + dt_s * first[i]
    rates(ahead, u, p, second, t)
    for i in range(state.SIZE):
        x[i] += 0.5 * dt_s * (first[i] + second[i])

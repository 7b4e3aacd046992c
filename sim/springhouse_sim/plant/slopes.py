"""How the plant's rates change with its state, by differences."""

import numpy as np
from numpy.typing import NDArray

from .rates import rates


def slopes(
    x: NDArray[np.float64],
    u: NDArray[np.float64],
    p: NDArray[np.float64],
    slots: NDArray[np.int64],
    r: NDArray[np.float64],
    tilt: float,
    dx: NDArray[np.float64],
    t: NDArray[np.float64],
    slope: NDArray[np.float64],
) -> None:
    """Fill the Jacobian of the rates of some slots of the state by these slots, column by column.

    Args:
        x: state, shape (state.SIZE,), handed back as it was.
        u: given, shape (given.SIZE,).
        p: parameters, shape (param.SIZE,).
        slots: of the state, shape (n,).
        r: their rates at ``x`` [unit/s], shape (n,).
        tilt: forward difference as a share of a slot, or of 1 where it is smaller.
        dx: spoiled, shape (state.SIZE,).
        t: spoiled, shape (tap.SIZE,).
        slope: out [1/s], shape (n, n).
    """
    for k in range(len(slots)):
        value = x[slots[k]]
        tilted = value + tilt * max(1.0, abs(value))
        x[slots[k]] = tilted
        rates(x, u, p, dx, t)
        x[slots[k]] = value
        for i in range(len(slots)):
            slope[i, k] = (dx[slots[i]] - r[i]) / (tilted - value)

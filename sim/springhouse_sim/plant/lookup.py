"""Interpolation in equidistant tables that lie inside the parameter record."""

import numpy as np
from numpy.typing import NDArray


def linear(
    p: NDArray[np.float64], base: int, low: float, step: float, points: int, value: float
) -> float:
    """Return the straight-line interpolation at ``value``, held constant beyond the ends."""
    place = min(points - 1.000001, max(0.0, (value - low) / step))
    n = int(place)
    f = place - n
    return float(p[base + n] * (1.0 - f) + p[base + n + 1] * f)


def bilinear(
    p: NDArray[np.float64],
    base: int,
    low_a: float,
    step_a: float,
    points_a: int,
    low_b: float,
    step_b: float,
    points_b: int,
    a: float,
    b: float,
) -> float:
    """Return the bilinear interpolation at (a, b), held constant beyond the ends.

    Row ``i`` (first axis) starts at ``base + i * points_b``.
    """
    place_a = min(points_a - 1.000001, max(0.0, (a - low_a) / step_a))
    place_b = min(points_b - 1.000001, max(0.0, (b - low_b) / step_b))
    i = int(place_a)
    j = int(place_b)
    f = place_a - i
    g = place_b - j
    k = base + i * points_b + j
    return float(
        (p[k] * (1.0 - g) + p[k + 1] * g) * (1.0 - f)
        + (p[k + points_b] * (1.0 - g) + p[k + points_b + 1] * g) * f
    )

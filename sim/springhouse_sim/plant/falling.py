"""Where falling functions reach zero, many at once."""

from collections.abc import Callable
from typing import Any

import numpy as np

MOST_ROUNDS = 100
LEAST = 1e-300


def root(function: Callable[[Any], Any], most: Any, within: float) -> Any:
    """Return where a falling function is zero between 0 and ``most``, element by element.

    Regula falsi after Dowell and Jarratt 1971 (the Illinois algorithm, from memory): the end that
    stays is given half its weight, so both ends close in. At 0 the function is taken as not below
    zero, at ``most`` as not above it.

    Args:
        function: of an array, or a number, of places.
        most: the upper ends, 0 or more.
        within: how exactly the place is found, in its unit.
    """
    at_high: Any = function(most)
    low: Any = np.zeros_like(at_high)
    high: Any = low + most
    at_low = low + function(low)
    kept: Any = low  # 1 where the upper end stayed in the last round, -1 where the lower one did
    place = high
    for _ in range(MOST_ROUNDS):
        before = place
        drop = np.maximum(at_low - at_high, LEAST)
        place = low + (high - low) * np.clip(at_low / drop, 0.0, 1.0)
        if np.all(np.abs(place - before) <= within):
            break
        here = function(place)
        over = here > 0.0
        at_high = np.where(over, np.where(kept > 0.0, 0.5, 1.0) * at_high, here)
        at_low = np.where(over, here, np.where(kept < 0.0, 0.5, 1.0) * at_low)
        low, high = np.where(over, place, low), np.where(over, high, place)
        kept = np.where(over, 1.0, -1.0)
    return place if place.ndim else float(place)

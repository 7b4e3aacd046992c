"""Refusals shared by the part classes."""

import math

LEAST_TIME_CONSTANT_S = 3.0


def within(part: str, name: str, value: float, low: float, high: float, unit: str = "") -> None:
    """Refuse a number outside its allowed range.

    Raises:
        ValueError: naming part, parameter, value and allowed range, when ``value`` is not a
            finite number from ``low`` to ``high`` inclusive.
    """
    if not math.isfinite(value) or not low <= value <= high:
        suffix = f" {unit}" if unit else ""
        raise ValueError(f"{part}.{name}: {value:g} is outside {low:g} to {high:g}{suffix}")


def ordered(part: str, low_name: str, low: float, high_name: str, high: float) -> None:
    """Refuse a pair whose first value is not below its second.

    Raises:
        ValueError: naming both parameters.
    """
    if not low < high:
        raise ValueError(f"{part}.{low_name}: {low:g} must be below {high_name} ({high:g})")


def slow_enough(part: str, name: str, heat_capacity_j_k: float, ua_w_k: float) -> None:
    """Refuse a node that answers faster than LEAST_TIME_CONSTANT_S.

    An explicit step of 5 s would not be stable on it.

    Raises:
        ValueError: naming the parameter and its least value.
    """
    least = LEAST_TIME_CONSTANT_S * ua_w_k
    if heat_capacity_j_k < least:
        raise ValueError(
            f"{part}.{name}: {heat_capacity_j_k:g} J/K is too little beside {ua_w_k:g} W/K, "
            f"at least {least:g} J/K is needed"
        )

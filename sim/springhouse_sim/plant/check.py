"""Refusals shared by the part classes."""

import math


class PartError(ValueError):
    """A part refuses one of its parameters.

    Args:
        part: name of the class.
        name: the parameter.
        why: its value and what is allowed.
    """

    def __init__(self, part: str, name: str, why: str) -> None:
        self.part, self.name, self.why = part, name, why
        super().__init__(f"{part}.{name}: {why}")

    def __reduce__(self) -> tuple[type["PartError"], tuple[str, str, str]]:
        return type(self), (self.part, self.name, self.why)


LEAST_TIME_CONSTANT_S = 3.0


def within(part: str, name: str, value: float, low: float, high: float, unit: str = "") -> None:
    """Refuse a number outside its allowed range.

    Raises:
        PartError: naming part, parameter, value and allowed range, when ``value`` is not a
            finite number from ``low`` to ``high`` inclusive.
    """
    if not math.isfinite(value) or not low <= value <= high:
        suffix = f" {unit}" if unit else ""
        raise PartError(part, name, f"{value:g} is outside {low:g} to {high:g}{suffix}")


def ordered(part: str, low_name: str, low: float, high_name: str, high: float) -> None:
    """Refuse a pair whose first value is not below its second.

    Raises:
        PartError: naming both parameters.
    """
    if not low < high:
        raise PartError(part, low_name, f"{low:g} must be below {high_name} ({high:g})")


def slow_enough(part: str, name: str, heat_capacity_j_k: float, ua_w_k: float) -> None:
    """Refuse a node that answers faster than LEAST_TIME_CONSTANT_S.

    An explicit step of 5 s would not be stable on it.

    Raises:
        PartError: naming the parameter and its least value.
    """
    least = LEAST_TIME_CONSTANT_S * ua_w_k
    if heat_capacity_j_k < least:
        raise PartError(
            part,
            name,
            f"{heat_capacity_j_k:g} J/K is too little beside {ua_w_k:g} W/K, "
            f"at least {least:g} J/K is needed",
        )

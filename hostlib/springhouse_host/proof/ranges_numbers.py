"""What the operators of the core's text do to intervals."""

import ast
from collections.abc import Callable, Iterator
from typing import Any, TypeAlias

from springhouse import memory as cell

from .intervals import Interval, IntervalRecord, RangeError

Checked: TypeAlias = Callable[[int, int, ast.AST], Interval]


def operate(op: ast.operator, left: Any, right: Any, node: ast.AST, checked: Checked) -> Interval:
    """Return what an operation may give; ``checked`` looks at results that may grow.

    Raises:
        RangeError: when the text does what the core never should, or from ``checked``.
    """
    a, b = number(left), number(right)
    match op:
        case ast.Add():
            return checked(a.low + b.low, a.high + b.high, node)
        case ast.Sub():
            return checked(a.low - b.high, a.high - b.low, node)
        case ast.Mult() | ast.RShift() | ast.LShift():
            corners = [_exactly(op, x, y) for x in a[:2] for y in b[:2]]
            return checked(min(corners), max(corners), node)
        case ast.Mod():
            if b.low != b.high or b.low <= 0:
                raise RangeError(f"not understood: {ast.unparse(node)}")
            if a.low // b.low == a.high // b.low:
                return Interval(a.low % b.low, a.high % b.low)
            return Interval(0, b.low - 1)
        case ast.BitAnd() | ast.BitOr():
            return _bits(op, a, b, node, checked)
    raise RangeError(f"not understood: {ast.unparse(node)}")


def _bits(op: ast.operator, a: Interval, b: Interval, node: ast.AST, checked: Checked) -> Interval:
    both = isinstance(op, ast.BitAnd)
    if a.low == a.high and b.low == b.high:
        exact = a.low & b.low if both else a.low | b.low
        return Interval(exact, exact)
    if max(a.low, b.low) < 0 or (not both and min(a.low, b.low) < 0):
        raise RangeError(f"not understood: {ast.unparse(node)}")
    if both:
        return Interval(0, min(x.high for x in (a, b) if x.low >= 0))
    bits = max(a.high.bit_length(), b.high.bit_length())
    return checked(max(a.low, b.low), (1 << bits) - 1, node)


def _exactly(op: ast.operator, x: int, y: int) -> int:
    if isinstance(op, ast.Mult):
        return x * y
    return x >> y if isinstance(op, ast.RShift) else x << y


def wrapped(value: Any) -> Any:
    """Return a whole number as an interval, anything else as it is."""
    if isinstance(value, int):  # True and False too
        return Interval(int(value), int(value))
    return value


def number(value: Any) -> Interval:
    """Return an interval that must be one.

    Raises:
        RangeError: when it is none.
    """
    if not isinstance(value, Interval):
        raise RangeError(f"{value!r} is no number on every way")
    return value


def exact(value: Interval) -> int:
    """Return the one number of an interval.

    Raises:
        RangeError: when there are several.
    """
    if value.low != value.high:
        raise RangeError(f"a loop over {value} must have a fixed length")
    return value.low


def without(a: Interval, one: int) -> Interval:
    """Return the interval without a number at its edge."""
    if a.low == one:
        return a._replace(low=one + 1)
    return a._replace(high=one - 1) if a.high == one else a


def running(record: IntervalRecord, slot: int, value: Interval) -> Interval:
    """Mark the tick of a timer that surely runs, and the tick of now."""
    if record.name == "memory" and slot >= cell.TIMERS and value.low >= 0:
        return value._replace(mark="timer")
    return value


class Span:
    """`range` up to a number that is known as an interval."""

    def __init__(self, begin: list[int], stop: Interval) -> None:
        first = begin[0] if begin else 0
        self._longest = range(first, stop.high)
        self.least = len(range(first, stop.low))

    def __iter__(self) -> Iterator[int]:
        return iter(self._longest)

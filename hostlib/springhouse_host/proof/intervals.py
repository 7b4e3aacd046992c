"""Intervals of whole numbers, and what is known on one way through a text."""

from dataclasses import dataclass, field
from typing import Any, NamedTuple

MOST = (1 << 30) - 1  # the largest small integer of a 32-bit board


class Interval(NamedTuple):
    """All numbers from low to high.

    The mark "timer" is the tick at which a running timer falls due, "now" the tick of this scan.
    """

    low: int
    high: int
    mark: str = ""

    def join(self, other: "Interval") -> "Interval":
        """Return the smallest interval that holds both."""
        mark = self.mark if self.mark == other.mark else ""
        return Interval(min(self.low, other.low), max(self.high, other.high), mark)

    def inside(self, other: "Interval") -> bool:
        """Return whether all of it lies in the other."""
        return other.low <= self.low and self.high <= other.high


class RangeError(Exception):
    """Some number may leave its range; says where and what."""


@dataclass
class State:
    """What is known on one way through the text."""

    records: dict[str, dict[int, Interval]]
    names: dict[str, Any] = field(default_factory=dict)

    def copy(self) -> "State":
        """Return a state of its own."""
        return State({name: dict(slots) for name, slots in self.records.items()}, dict(self.names))


@dataclass(frozen=True)
class IntervalRecord:
    """One of the flat records, as a value of the text."""

    name: str


def join_values(a: Any, b: Any) -> Any:
    """Return what is known of a value that comes from one of two ways; None if not to be used."""
    if isinstance(a, Interval) and isinstance(b, Interval):
        return a.join(b)
    return a if a == b else None


def join(a: "State | None", b: "State | None") -> "State | None":
    """Return what is known whichever of two ways was taken; None is no way at all."""
    if a is None or b is None:
        return a or b
    records = {
        name: {slot: a.records[name][slot].join(b.records[name][slot]) for slot in a.records[name]}
        for name in a.records
    }
    names = {n: join_values(a.names[n], b.names[n]) for n in a.names.keys() & b.names.keys()}
    return State(records, names)

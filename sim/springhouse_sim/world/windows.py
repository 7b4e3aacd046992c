"""Windows of the week, as people state them: weekdays, from, to, local time."""

from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

from .stage import WEEK_MIN

DAY_MIN = 1440
EVERY_DAY = 0b1111111


@dataclass(frozen=True)
class Window:
    """From ``start_min`` to ``end_min`` of the day on the days of the bit mask, Monday first.

    An end at or before the start lies on the next day; both the same is a whole day.

    Raises:
        ValueError: naming the value out of range.
    """

    start_min: int
    end_min: int
    days: int = EVERY_DAY

    def __post_init__(self) -> None:
        if not 0 <= self.start_min < DAY_MIN:
            raise ValueError(f"Window.start_min: {self.start_min} is outside 0 to {DAY_MIN - 1}")
        if not 0 <= self.end_min <= DAY_MIN:
            raise ValueError(f"Window.end_min: {self.end_min} is outside 0 to {DAY_MIN}")
        if not 0 < self.days <= EVERY_DAY:
            raise ValueError(f"Window.days: {self.days} is outside 1 to {EVERY_DAY}")

    @property
    def length_min(self) -> int:
        """Minutes from start to end, 1 to 1440."""
        length = self.end_min - self.start_min
        return length if length > 0 else length + DAY_MIN

    def contains(self, week_min: int) -> bool:
        """Return whether a local minute of the week lies inside."""
        day, since_min = divmod((week_min - self.start_min) % WEEK_MIN, DAY_MIN)
        return bool(self.days & (1 << day)) and since_min < self.length_min

    def edges(self) -> set[int]:
        """Return the minutes of the week at which it opens or closes."""
        found = set()
        for day in range(7):
            if self.days & (1 << day):
                opens = (day * DAY_MIN + self.start_min) % WEEK_MIN
                found |= {opens, (opens + self.length_min) % WEEK_MIN}
        return found


def minutes_to_edge(windows: Iterable[Window], week_min: int) -> int:
    """Return the minutes until any window next opens or closes, 1 to 10080 (10080 if never)."""
    edges = _edges(tuple(windows))
    return min(((edge - week_min - 1) % WEEK_MIN + 1 for edge in edges), default=WEEK_MIN)


@lru_cache(maxsize=64)
def _edges(windows: tuple[Window, ...]) -> frozenset[int]:
    """Return all edges; asked for at every event of a run."""
    return frozenset(edge for window in windows for edge in window.edges())

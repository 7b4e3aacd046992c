"""What a world process may touch, and the calendar of a scenario."""

from collections.abc import Generator
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Protocol, TypeAlias

import simpy

from ..records import FloatRecord, IntRecord

TICK_MS = 1000
HALF_TICK_MS = 500
MINUTE_MS = 60_000
DAY_MS = 86_400_000
WEEK_MIN = 10_080

Events: TypeAlias = Generator[simpy.Event, Any, None]


@dataclass(frozen=True)
class Calendar:
    """When a scenario begins.

    ``start`` is the station's standard time, without summer time, as weather files count.
    ``clock_ahead_min`` is what the clock on the wall shows more than that.
    """

    start: datetime
    clock_ahead_min: int = 0

    def local(self, ms: int) -> datetime:
        """Return what the clock on the wall shows ``ms`` after the start."""
        return self.start + timedelta(minutes=self.clock_ahead_min, milliseconds=ms)

    def standard(self, ms: int) -> datetime:
        """Return standard time ``ms`` after the start."""
        return self.start + timedelta(milliseconds=ms)

    def week_s(self, ms: int = 0) -> int:
        """Return the local second of the week, Monday 00:00:00 = 0."""
        t = self.local(ms)
        return t.weekday() * 86_400 + t.hour * 3600 + t.minute * 60 + t.second

    def week_min(self, ms: int = 0) -> int:
        """Return the local minute of the week, Monday 00:00 = 0."""
        return self.week_s(ms) // 60


@dataclass
class Stage:
    """The records of a run. A process may write ``given`` and ``sense``; ``state`` it only reads.

    But for the age of the weather, which belongs to whoever writes the weather. What leaves the
    plant by a person's hand goes through the given record too.
    """

    env: simpy.Environment
    given: FloatRecord
    sense: IntRecord
    state: FloatRecord
    calendar: Calendar

    def until(self, ms: int) -> simpy.Event:
        """Return the event half a tick before ``ms`` (rounded up to a whole tick).

        At the start of the scenario, and for times gone by, it is now.
        """
        at = -(-ms // TICK_MS) * TICK_MS - HALF_TICK_MS
        return self.env.timeout(max(0, at - int(self.env.now)))

    @property
    def now_ms(self) -> int:
        """The control tick that will see what is written now, ms since the start."""
        return -(-int(self.env.now) // TICK_MS) * TICK_MS


class Actor(Protocol):
    """Anything that acts in a scenario."""

    def act(self, stage: Stage) -> Events:
        """Run as a SimPy process from the start of the scenario to its end."""
        ...

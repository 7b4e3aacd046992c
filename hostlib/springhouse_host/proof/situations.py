"""What must be true of an installation when a fault comes, found in a run without it."""

from array import array
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray
from springhouse import output, week
from springhouse_sim import ticks
from springhouse_sim.trace import Trace
from springhouse_sim.world.stage import DAY_MS, MINUTE_MS, WEEK_MIN

SETTLED_S = 60  # outputs have been so long as they are: the pump is primed, currents are steady
LEAST_ONSET_S = 3600  # of a run, so that the waits after power-up are over
LOOK_EVERY_S = 300  # within a span of unchanged outputs


@dataclass(frozen=True)
class Situation:
    """Outputs, plan and store of a moment, and how long they last if nothing breaks.

    ``on`` and ``off`` are output bits that are so for `SETTLED_S` before and ``for_s`` after.
    ``plan`` are bits of `week.py` in force for ``plan_s`` from then on. ``then_on`` are outputs
    that come on within ``then_s``. ``clear_of_s`` is a part of the day, (from, to) in s after the
    run's midnight, in which a person would interfere. ``store_*_c`` bound the mean of the
    store at the moment.
    """

    never: str  # how a row says that an installation is never so
    on: int = 0
    off: int = 0
    for_s: int = SETTLED_S
    plan: int = 0
    plan_s: int = 0
    then_on: int = 0
    then_s: int = 0
    clear_of_s: tuple[int, int] | None = None
    store_at_most_c: float | None = None
    store_at_least_c: float | None = None

    def moment_s(self, trace: Trace, least_s: int = LEAST_ONSET_S) -> int | None:
        """Return the first moment of a run at which this is true, s after its start."""
        fitting = (self._plan_holds, self._store_fits, self._then_on, self._is_clear)
        for begin_s, end_s in self._spans(trace):
            first_s = max(begin_s + SETTLED_S, least_s)
            for at_s in range(first_s, end_s - self.for_s + 1, LOOK_EVERY_S):
                if all(fits(trace, at_s) for fits in fitting):
                    return at_s
        return None

    def _spans(self, trace: Trace) -> Iterator[tuple[int, int]]:
        """Yield (begin, end) of the times at which the outputs are as they should be [s]."""
        events = trace.events
        fits = (events[:, ticks.OUT] & self.on == self.on) & (events[:, ticks.OUT] & self.off == 0)
        fits &= events[:, ticks.ALIVE] != 0
        begin: int | None = None
        for at_ms, fit in zip(events[:, ticks.AT_MS], fits, strict=True):
            if fit and begin is None:
                begin = -(-int(at_ms) // 1000)
            elif not fit and begin is not None:
                yield begin, int(at_ms) // 1000
                begin = None
        if begin is not None:
            yield begin, trace.end_ms // 1000

    def _plan_holds(self, trace: Trace, at_s: int) -> bool:
        if not self.plan:
            return True
        first = trace.calendar.week_min(at_s * 1000)
        minutes = np.arange(first, first + self.plan_s // 60 + 1) % WEEK_MIN
        return bool((plan_minutes(bytes(trace.settings))[minutes] & self.plan == self.plan).all())

    def _store_fits(self, trace: Trace, at_s: int) -> bool:
        if self.store_at_most_c is None and self.store_at_least_c is None:
            return True
        minute = min(at_s * 1000 // MINUTE_MS, len(trace.samples) - 1)
        mean_c = float(trace.column("store_mean_c")[minute])
        low_c = -np.inf if self.store_at_least_c is None else self.store_at_least_c
        high_c = np.inf if self.store_at_most_c is None else self.store_at_most_c
        return bool(low_c <= mean_c <= high_c)

    def _is_clear(self, trace: Trace, at_s: int) -> bool:
        if self.clear_of_s is None:
            return True
        return not self.clear_of_s[0] <= at_s % (DAY_MS // 1000) <= self.clear_of_s[1]

    def _then_on(self, trace: Trace, at_s: int) -> bool:
        if not self.then_on:
            return True
        at = trace.events[:, ticks.AT_MS]
        soon = (at > at_s * 1000) & (at < (at_s + self.then_s) * 1000)
        return bool((trace.events[soon, ticks.OUT] & self.then_on == self.then_on).any())


@lru_cache(maxsize=64)
def plan_minutes(settings: bytes) -> NDArray[np.int64]:
    """Return the plan bits of each minute of the week under a settings record."""
    record: Any = array("i", settings)
    table = np.zeros(WEEK_MIN, np.int64)
    minute = 0
    while minute < WEEK_MIN:
        ahead = min(week.minutes_to_edge(record, minute), WEEK_MIN - minute)
        table[minute : minute + ahead] = week.plan_at(record, minute)
        minute += ahead
    table.flags.writeable = False
    return table


def charging(for_s: int = SETTLED_S) -> Situation:
    """Return the situation of a compressor that runs and would go on for a time."""
    return Situation(_words("charges", for_s), on=output.COMPRESSOR, for_s=for_s)


def charging_deep(store_c: float, for_s: int = SETTLED_S) -> Situation:
    """Return the situation of a compressor that runs with the store at ``store_c`` or colder."""
    words = f"{_words('charges', for_s)} with the store at {store_c:g} °C"
    return Situation(words, on=output.COMPRESSOR, for_s=for_s, store_at_most_c=store_c)


def delivering(for_s: int = SETTLED_S, wanted_s: int = 0) -> Situation:
    """Return the situation of a running pump and fan, in wanted hours that go on for a time."""
    words = _words("delivers", max(for_s, wanted_s))
    on = output.PUMP | output.FAN
    return Situation(words, on=on, for_s=for_s, plan=week.PLAN_WANTED, plan_s=wanted_s)


def both(for_s: int = SETTLED_S) -> Situation:
    """Return the situation of charge and delivery at the same time."""
    on = output.COMPRESSOR | output.PUMP | output.FAN
    return Situation("never charges and delivers at once", on=on, for_s=for_s)


def before_delivery(off_s: int, within_s: int) -> Situation:
    """Return the situation of a pump that has rested and will be started within a time."""
    return Situation(
        f"never rests its pump for {off_s} s before it delivers again",
        off=output.PUMP,
        for_s=off_s,
        then_on=output.PUMP,
        then_s=within_s,
    )


def anywhen() -> Situation:
    """Return what is true at any time of a run."""
    return Situation("never runs", for_s=0)


def _words(verb: str, for_s: int) -> str:
    if for_s <= SETTLED_S:
        return f"never {verb}"
    return f"never {verb} for {for_s / 60:.0f} min on end"

"""What must follow a fault, and how soon it did, read from the events of a run."""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from springhouse import condition, statechart, words
from springhouse_sim import gauge, ticks
from springhouse_sim.trace import Trace

from . import rule

DAY_S = 86_400


@dataclass(frozen=True)
class Expect:
    """Outputs that go off after a fault, or a latch that is set, within a time.

    ``off`` are output bits; they are on when the fault comes unless ``idle``, go off within
    ``within_s`` of it and stay off for ``stay_s``. ``latch`` are bits of `latch.py` of which one is
    set within ``within_s``. ``go_on`` are output bits that are still on ``within_s`` later.
    ``lock`` are bits of the interlock's word of which one must be the reason. ``while_on`` and
    ``while_off`` are outputs: only time counts towards ``within_s`` in which the controller asks
    for the first and not for the second; ``asked`` leaves out the time in which the room side rests
    because nothing is asked of it. ``ice_at_most_kg`` bounds the true ice of the whole
    run, where a part has failed that only hardware can stand in for.
    """

    onset_s: int
    within_s: int
    off: int = 0
    stay_s: int = 0
    idle: bool = False
    latch: int = 0
    go_on: int = 0
    lock: int = 0
    while_on: int = 0
    while_off: int = 0
    asked: bool = False
    ice_at_most_kg: float | None = None

    def words(self) -> str:
        """Return it as a line of a table."""
        if self.ice_at_most_kg is not None:
            return f"true ice at most {self.ice_at_most_kg:.3g} kg"
        if self.latch:
            return f"latched: {named(self.latch, words.LATCHES)}"
        if self.go_on:
            return f"goes on: {named(self.go_on, words.OUTPUTS)}"
        stay = f" for {self.stay_s} s" if self.stay_s else ""
        never = "not on" if self.idle else "off"
        why = f", {_LOCKS[self.lock]}" if self.lock else ""
        return f"{never}: {named(self.off, words.OUTPUTS)}{stay}{why}"


_LOCKS = {condition.LOCK_BLIND: "no probe believed", condition.LOCK_REST: "for a rest"}


def named(bits: int, names: Sequence[str]) -> str:
    """Return the names of the bits set, as a person would list them."""
    return " and ".join(name for n, name in enumerate(names) if bits >> n & 1)


@dataclass(frozen=True)
class Response:
    """What was expected, and what came of it; ``value`` is None if it never came about.

    Not ``met``: the fault came when there was nothing to answer, or the run was too short for what
    was to follow; so nothing is shown. ``never`` says of an installation that it was nowhere seen
    in the situation: nothing was run, and nothing is shown. ``lacks`` are keys of the site file:
    what should answer is not there, so nothing was expected; ``happened`` is what then did, which
    the promises judge.
    """

    row: int
    expected: str
    limit: float
    value: float | None
    unit: str = "s"
    why_not: str = ""
    met: bool = True
    never: str = ""
    change: str = ""  # what to change if it is not kept
    lacks: tuple[str, ...] = ()
    happened: str = ""

    @property
    def kept(self) -> bool:
        """Whether it was tried, came in time and nothing else was wrong."""
        return rule.response_kept(vars(self))

    @property
    def hardness(self) -> float:
        """How near its limit it came: 1 on it, and endless where it is not kept."""
        if not (self.kept or self.lacks) or self.value is None:
            return math.inf if not self.lacks else 0.0
        return self.value / self.limit if self.limit > 0.0 else self.value


def unanswered(row: int, lacks: tuple[str, ...], summary: Mapping[str, Any]) -> Response:
    """Return what happened where nothing could answer, from the summary of the run."""
    off_s = summary["off_gap_min_s"]
    off = f"compressor off for {off_s:.0f} s at least" if off_s < DAY_S else ""
    told = (
        off,
        f"{summary['starts_per_hour_max']} starts in an hour at most",
        f"pump dry for {summary['dry_seconds_max']} s at most",
        f"{summary['max_ice_kg']:.2f} kg of ice",
        f"{summary['spill_l']:.2f} L spilled",
    )
    happened = ", ".join(part for part in told if part)
    return Response(row, "", 0.0, None, lacks=lacks, happened=happened)


def _in_force(events: Any, at_ms: int) -> int:
    """Return the number of the last event not later than ``at_ms``."""
    return int(np.searchsorted(events[:, ticks.AT_MS], at_ms, side="right")) - 1


def respond(row: int, expect: Expect, trace: Trace) -> Response:
    """Judge one expectation on a run."""
    said = expect.words()
    if expect.ice_at_most_kg is not None:
        ice_kg = float(trace.peaks[gauge.ICE_MAX_KG])
        return Response(row, said, expect.ice_at_most_kg, ice_kg, "kg")
    events = trace.events
    onset_ms = expect.onset_s * 1000
    out, latch = events[:, ticks.OUT], events[:, ticks.LATCH]
    asked = expect.go_on | (0 if expect.idle else expect.off)
    if int(out[_in_force(events, onset_ms - 1000)]) & asked != asked:
        return Response(row, said, expect.within_s, None, met=False)
    if expect.go_on:
        at = _in_force(events, onset_ms + expect.within_s * 1000)
        on = int(out[at]) & expect.go_on == expect.go_on
        return Response(row, said, expect.within_s, expect.within_s if on else None)
    first = max(0, _in_force(events, onset_ms))
    done = (latch & expect.latch != 0) if expect.latch else (out & expect.off == 0)
    if expect.lock:
        done &= events[:, ticks.LOCK_WORD] & expect.lock != 0
    counted_s = _counted(expect, events, trace.end_ms)
    later = np.flatnonzero(done[first:])
    if later.size == 0:
        enough = counted_s(trace.end_ms) > expect.within_s
        return Response(row, said, expect.within_s, None, met=enough)
    came = first + int(later[0])
    took_s = counted_s(int(events[came, ticks.AT_MS]))
    return Response(row, said, expect.within_s, took_s, why_not=_again(expect, events, came))


def _counted(expect: Expect, events: Any, end_ms: int) -> Callable[[int], float]:
    """Return how many seconds after the onset count until a time [ms]."""
    onset_ms = expect.onset_s * 1000
    if not (expect.while_on or expect.asked):
        return lambda at_ms: max(0, at_ms - onset_ms) / 1000
    out = events[:, ticks.OUT]
    counts = (out & expect.while_on == expect.while_on) & (out & expect.while_off == 0)
    if expect.asked:
        counts &= events[:, ticks.ROOM_STATE] != statechart.WAITING
    begin = np.maximum(events[:, ticks.AT_MS], onset_ms)
    end = np.append(events[1:, ticks.AT_MS], end_ms)

    def until(at_ms: int) -> float:
        spans = np.maximum(0, np.minimum(end, at_ms) - begin)
        return float(spans[counts].sum()) / 1000

    return until


def _again(expect: Expect, events: Any, came: int) -> str:
    """Return when an output came on again too soon, empty if it did not."""
    at, out = events[:, ticks.AT_MS], events[:, ticks.OUT]
    onset_ms = expect.onset_s * 1000
    came_ms = int(at[came])
    begin = came_ms if expect.while_on else max(onset_ms + expect.within_s * 1000, came_ms)
    stay_from_ms = came_ms if expect.while_on else onset_ms
    again = (at > begin) & (at < stay_from_ms + expect.stay_s * 1000) & (out & expect.off != 0)
    if expect.latch or not again.any():
        return ""
    return f"on again {int(at[again][0] - onset_ms) // 1000} s after the fault"

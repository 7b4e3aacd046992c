"""What must follow a fault, and how soon it did, read from the events of a run."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from springhouse import words
from springhouse_sim import gauge as G
from springhouse_sim import ticks as K
from springhouse_sim.trace import Trace

from . import rule


@dataclass(frozen=True)
class Expect:
    """Outputs that go off after a fault, or a latch that is set, within a time.

    ``off`` are output bits; they are on when the fault comes unless ``idle``, go off within
    ``within_s`` of it and stay off for ``stay_s``. ``latch`` are bits of `latch.py` of which one is
    set within ``within_s``. ``go_on`` are output bits that are still on ``within_s`` later.
    ``ice_at_most_kg`` bounds the true ice of the whole run, where a part has failed that only
    hardware can stand in for.
    """

    onset_s: int
    within_s: int
    off: int = 0
    stay_s: int = 0
    idle: bool = False
    latch: int = 0
    go_on: int = 0
    ice_at_most_kg: float | None = None

    def words(self) -> str:
        """Return it as a line of a table."""
        if self.ice_at_most_kg is not None:
            return "ice bounded by the cut-out"
        if self.latch:
            return f"latched: {_named(self.latch, words.LATCHES)}"
        if self.go_on:
            return f"goes on: {_named(self.go_on, words.OUTPUTS)}"
        stay = f" for {self.stay_s} s" if self.stay_s else ""
        never = "not on" if self.idle else "off"
        return f"{never}: {_named(self.off, words.OUTPUTS)}{stay}"


def _named(bits: int, names: Sequence[str]) -> str:
    """Return the names of the bits set, as a person would list them."""
    return " and ".join(name for n, name in enumerate(names) if bits >> n & 1)


@dataclass(frozen=True)
class Response:
    """What was expected, and what came of it; ``value`` is None if it never came about.

    Not ``met``: there was nothing to answer, for the outputs were off when the fault came.
    """

    row: int
    expected: str
    limit: float
    value: float | None
    unit: str = "s"
    why_not: str = ""
    met: bool = True

    @property
    def kept(self) -> bool:
        """Whether it came in time and nothing else was wrong, or there was nothing to answer."""
        return rule.response_kept(vars(self))


def _in_force(events: Any, at_ms: int) -> int:
    """Return the number of the last event not later than ``at_ms``."""
    return int(np.searchsorted(events[:, K.AT_MS], at_ms, side="right")) - 1


def respond(row: int, expect: Expect, trace: Trace) -> Response:
    """Judge one expectation on a run."""
    said = expect.words()
    if expect.ice_at_most_kg is not None:
        ice_kg = float(trace.peaks[G.ICE_MAX_KG])
        return Response(row, said, expect.ice_at_most_kg, ice_kg, "kg")
    events = trace.events
    onset_ms = expect.onset_s * 1000
    out, latch = events[:, K.OUT], events[:, K.LATCH]
    asked = expect.go_on | (0 if expect.idle else expect.off)
    if int(out[_in_force(events, onset_ms - 1000)]) & asked != asked:
        return Response(row, said, expect.within_s, None, met=False)
    if expect.go_on:
        at = _in_force(events, onset_ms + expect.within_s * 1000)
        on = int(out[at]) & expect.go_on == expect.go_on
        return Response(row, said, expect.within_s, expect.within_s if on else None)
    first = max(0, _in_force(events, onset_ms))
    done = (latch & expect.latch != 0) if expect.latch else (out & expect.off == 0)
    later = np.flatnonzero(done[first:])
    if later.size == 0:
        return Response(row, said, expect.within_s, None)
    came = first + int(later[0])
    took_s = max(0, int(events[came, K.AT_MS]) - onset_ms) / 1000
    return Response(row, said, expect.within_s, took_s, why_not=_again(expect, events, came))


def _again(expect: Expect, events: Any, came: int) -> str:
    """Return when an output came on again too soon, empty if it did not."""
    at, out = events[:, K.AT_MS], events[:, K.OUT]
    onset_ms = expect.onset_s * 1000
    begin = max(onset_ms + expect.within_s * 1000, int(at[came]))
    again = (at > begin) & (at < onset_ms + expect.stay_s * 1000) & (out & expect.off != 0)
    if expect.latch or not again.any():
        return ""
    return f"on again {int(at[again][0] - onset_ms) // 1000} s after the fault"

"""When something is on, as (from, to) pairs in seconds of a run."""

from datetime import datetime
from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from springhouse import output
from springhouse_sim import ticks
from springhouse_sim.trace import Trace
from springhouse_sim.world.stage import MINUTE_MS
from springhouse_sim.world.tariff import Prices

from ..proof.scenarios import Scenario

Spans = list[tuple[float, float]]

OUTPUTS = {
    "compressor": output.COMPRESSOR,
    "pump": output.PUMP,
    "fan": output.FAN,
    "fan_full": output.FAN_FULL,
    "alarm": output.ALARM,
}


class Priced(NamedTuple):
    """A time of one price."""

    from_s: float
    to_s: float
    rate: str
    price_kwh: float


def where(at_s: NDArray[Any], on: NDArray[np.bool_], end_s: float) -> Spans:
    """Return the spans of a signal that holds each value until the next time."""
    edges = np.flatnonzero(np.diff(on.astype(np.int8), prepend=0, append=0))
    times = np.append(at_s, end_s)
    return [(float(times[a]), float(times[b])) for a, b in edges.reshape(-1, 2)]


def priced(tariff: Prices, trace: Trace) -> list[Priced]:
    """Return what electricity costs when, in the order of time."""
    found = []
    ms = 0
    while ms < trace.end_ms:
        local: datetime = trace.calendar.local(ms)
        rate = tariff.rate(local)
        ahead_ms = tariff.minutes_to_change(local) * MINUTE_MS - local.second * 1000
        end_ms = min(trace.end_ms, ms + ahead_ms)
        found.append(Priced(ms / 1000, end_ms / 1000, rate.name, rate.price_kwh))
        ms = end_ms
    return found


def cheap(prices: list[Priced]) -> Spans:
    """Return when electricity costs less than on the mean of the run; joined where they touch."""
    length_s = sum(p.to_s - p.from_s for p in prices)
    mean = sum(p.price_kwh * (p.to_s - p.from_s) for p in prices) / length_s
    found: Spans = []
    for p in prices:
        if p.price_kwh >= mean - 1e-9:
            continue
        if found and found[-1][1] == p.from_s:
            found[-1] = (found[-1][0], p.to_s)
        else:
            found.append((p.from_s, p.to_s))
    return found


def broken(scenario: Scenario, end_s: float) -> Spans:
    """Return when a fault of the scenario is in force."""
    return [
        (float(f.onset_s), float(f.onset_s + f.duration_s) if f.duration_s else end_s)
        for f in scenario.faults
    ]


def strips(scenario: Scenario, trace: Trace, prices: list[Priced]) -> dict[str, Spans]:
    """Return the spans of every row of `series.STRIPS`."""
    end_s = trace.end_ms / 1000
    events = trace.events
    at_s, out = events[:, ticks.AT_MS] / 1000, events[:, ticks.OUT]
    found = {key: where(at_s, out & bit != 0, end_s) for key, bit in OUTPUTS.items()}
    found["wanted"] = where(trace.samples[:, 0], trace.wanted(), end_s)
    found["cheap"] = cheap(prices)
    found["away"] = [
        (float(o.onset_s), float(min(end_s, o.onset_s + o.duration_s))) for o in scenario.outages
    ]
    found["fault"] = broken(scenario, end_s)
    return found


def states(trace: Trace) -> list[tuple[float, int, int]]:
    """Return (s, store state, room state) at each change; -1 while the board has no supply."""
    rows = trace.events[:, (ticks.AT_MS, ticks.STORE_STATE, ticks.ROOM_STATE)].copy()
    rows[trace.events[:, ticks.ALIVE] == 0, 1:] = -1
    found = [tuple(int(v) for v in rows[0])]
    found += [tuple(int(v) for v in b) for a, b in pairwise(rows) if (a[1:] != b[1:]).any()]
    return [(at_ms / 1000, store, room) for at_ms, store, room in found]


def seconds(spans: Spans) -> float:
    """Return their length in all."""
    return sum(b - a for a, b in spans)

"""The hottest week again, with the real controller, for one reading of the labels."""

import json
from dataclasses import dataclass, replace
from datetime import timedelta
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from springhouse import output

from ..proof import running
from ..proof.running import Result
from ..proof.scenarios import HOTTEST_DAYS, Scenario, single
from ..site.known import Variant
from ..site.site import Site
from .newest import StaleError, Ticket

if TYPE_CHECKING:
    from springhouse_sim.trace import Trace

EVERY_MIN = 15  # of the curves
DAY_MIN = 1440


@dataclass(frozen=True)
class Day:
    """One day of the week."""

    date: str
    outdoor_c: float  # highest
    room_c: float | None  # highest in the wanted hours; None: none are wanted
    store_c: float  # coldest mean
    wanted_h: float
    cool_h: float  # of these


@dataclass(frozen=True)
class Week:
    """One reading's week: figures as a proof has them, and curves every EVERY_MIN minutes."""

    variant: Variant
    result: Result
    room_c: tuple[float, ...]
    store_c: tuple[float, ...]
    outdoor_c: tuple[float, ...]
    wanted: tuple[tuple[int, int], ...]  # minutes from the start
    charging: tuple[tuple[int, int], ...]  # compressor on
    days: tuple[Day, ...]


def readings(site: Site) -> tuple[Variant, ...]:
    """Return the readings of the labels that a proof runs: the one that decides, the longest."""
    return ("low", "high", "mid") if site.evidence == "ESTIMATE" else ("mid",)


def scenarios(site: Site) -> list[Scenario]:
    """Return the hottest week, once for each reading; the same days as `springhouse run`.

    Raises:
        SiteError: when the weather cannot be read.
    """
    base = single(site, None, HOTTEST_DAYS)
    return [replace(base, variant=variant) for variant in readings(site)]


def run_week(ticket: Ticket, site_path: str, changed: str, scenario: Scenario) -> Week | None:
    """Run one reading's week, in any process; None where a newer request has come meanwhile.

    Raises:
        SiteError: when a part refuses its numbers.
        ArithmeticError: when the store leaves what its equations hold for.
    """
    try:
        ticket.check()
        site = running.site_of(site_path, changed)
        trace = running.bench(site, scenario).run(scenario.days, ticket.check)
    except StaleError:
        return None
    return of_trace(site, scenario, trace)


def warm(site_path: str, scenario: Scenario) -> None:
    """Load all that a week needs, and compile it where nobody has yet."""
    running.run_one(site_path, replace(scenario, days=1), changed=json.dumps({}))


def of_trace(site: Site, scenario: Scenario, trace: "Trace") -> Week:
    """Return what the page shows of a trace."""
    limit_c = running.room_limit_c(site)
    room_c, outdoor_c = trace.column("room_air_c"), trace.column("outdoor_c")
    store_c, wanted = trace.column("store_mean_c"), trace.wanted()
    compressor = trace.column("out").astype(np.int64) & output.COMPRESSOR != 0
    days = []
    for first in range(0, len(room_c), DAY_MIN):
        part = slice(first, first + DAY_MIN)
        asked = wanted[part]
        days.append(
            Day(
                (trace.calendar.local(0) + timedelta(minutes=first)).date().isoformat(),
                float(outdoor_c[part].max()),
                float(room_c[part][asked].max()) if asked.any() else None,
                float(store_c[part].min()),
                float(asked.sum() / 60.0),
                float((asked & (room_c[part] <= limit_c)).sum() / 60.0),
            )
        )
    return Week(
        scenario.variant,
        running.summarise(site, scenario, trace),
        _curve(room_c),
        _curve(store_c),
        _curve(outdoor_c),
        _spans(wanted),
        _spans(compressor),
        tuple(days),
    )


def _curve(values: NDArray[np.float64]) -> tuple[float, ...]:
    return tuple(round(float(v), 2) for v in values[::EVERY_MIN])


def _spans(on: NDArray[np.bool_]) -> tuple[tuple[int, int], ...]:
    edges = np.flatnonzero(np.diff(np.concatenate(([False], on, [False])).astype(np.int8)))
    return tuple((int(a), int(b)) for a, b in edges.reshape(-1, 2))

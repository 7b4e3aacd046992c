"""Puts each case of the catalogue on a day and at a moment at which it can be tried.

What a case needs is looked for in runs of the same installation with nothing broken. They are few:
the days tried are shared by all cases that begin with the store equally warm.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import timedelta
from math import ceil

from springhouse_sim.trace import Trace

from ..site.site import Site
from .case import Case
from .scenarios import Scenario

DAY_S = 86_400
AFTER_S = 8 * 3600  # a run goes on so long after the last that is expected
LONG_DAYS = 2  # runs longer than this are cut to begin the day before what was found


@dataclass(frozen=True)
class Absent:
    """A case that this installation can never be in, and the words for it."""

    row: int
    name: str
    never: str


class Healthy:
    """Runs with nothing broken, each made once."""

    def __init__(self, site: Site) -> None:
        self._site = site
        self._made: dict[Scenario, Trace] = {}

    def trace(self, scenario: Scenario) -> Trace:
        """Return the run of a scenario as it is without its faults."""
        from .running import bench

        plain = replace(scenario, name="", group="nominal", faults=(), outages=(), expects=())
        plain = replace(plain, row=0)
        if plain not in self._made:
            self._made[plain] = bench(self._site, plain).run(plain.days)
        return self._made[plain]


@dataclass(frozen=True)
class Place:
    """A scenario without its fault, and when in it the fault comes."""

    scenario: Scenario
    at_s: int


def find(case: Case, tried: list[Scenario], healthy: Healthy) -> Place | None:
    """Return where a case can be tried: in the first of some scenarios in which it can."""
    for scenario in tried:
        start = scenario
        if scenario.days <= LONG_DAYS and case.store_start_c is not None:
            start = replace(scenario, store_start_c=case.store_start_c)
        at_s = case.at.moment_s(healthy.trace(start))
        if at_s is None:
            continue
        return _nearer(case, start, at_s, healthy)
    return None


def _nearer(case: Case, long: Scenario, at_s: int, healthy: Healthy) -> Place:
    """Return the same situation in a run that begins the day before, if it is there too."""
    skipped = at_s // DAY_S - 1
    if long.days > LONG_DAYS and skipped > 0:
        start = long.start + timedelta(days=skipped)
        for store_c in dict.fromkeys((case.store_start_c, long.store_start_c)):
            near = replace(long, start=start, days=LONG_DAYS, store_start_c=store_c)
            found_s = case.at.moment_s(healthy.trace(near))
            if found_s is not None:
                return Place(near, found_s)
    return Place(long, at_s)


def place(
    cases: list[Case], tried: list[Scenario], healthy: Healthy
) -> Iterator[Scenario | Absent]:
    """Yield for each case the run in which it is tried, or that there is none."""
    for case in cases:
        found = find(case, tried, healthy)
        if found is None:
            yield Absent(case.row, case.name, case.at.never)
            continue
        shift = 0 if case.from_start else found.at_s
        needed_s = found.at_s + case.after_s + AFTER_S
        days = max(case.days + found.at_s // DAY_S, ceil(needed_s / DAY_S))
        yield replace(
            found.scenario,
            name=case.name,
            group="fault",
            days=days,
            faults=tuple(replace(f, onset_s=f.onset_s + shift) for f in case.faults),
            outages=tuple(replace(o, onset_s=o.onset_s + shift) for o in case.outages),
            row=case.row,
            lacks=case.lacks,
            expects=tuple(replace(e, onset_s=e.onset_s + shift) for e in case.expects),
        )

"""Puts each case of the catalogue on a day and at a moment at which it can be tried.

What a case needs is looked for in runs of the same installation with nothing broken. They are few:
the days tried are shared by all cases that begin with the store equally warm. What the hours of an
installation never bring about its owner may: the days are looked through again with a mode asked
for all the time. A case for which no moment is found anywhere is not shown, which breaks a proof.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import timedelta
from math import ceil

from springhouse import mode as W
from springhouse import words
from springhouse_sim.trace import Trace
from springhouse_sim.world.owner import AskMode

from ..site.site import Site
from .case import Case
from .scenarios import Scenario
from .situations import Situation

DAY_S = 86_400
AFTER_S = 8 * 3600  # a run goes on so long after the last that is expected
LONG_DAYS = 2  # runs longer than this are cut to begin the day before what was found
ASKED_DAYS = 7  # the owner's modes are tried in runs of so many days at most
ASKED = tuple(
    AskMode(60, mode, W.LIMIT_MIN[mode], again=True) for mode in (W.COOL_NOW, W.CHARGE_NOW)
)


@dataclass(frozen=True)
class Absent:
    """A case for which no moment was found in this installation, and the words for it."""

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
        plain = replace(plain, row=0, lacks=())
        if plain not in self._made:
            self._made[plain] = bench(self._site, plain).run(plain.days)
        return self._made[plain]


@dataclass(frozen=True)
class Place:
    """A scenario without its fault, and when in it the fault comes."""

    scenario: Scenario
    at_s: int


def asked(scenario: Scenario, situation: Situation) -> Iterator[tuple[Scenario, Situation]]:
    """Yield a scenario with each mode asked for that runs a motor, and what to look for in it."""
    for mode in ASKED:
        # The wanted hours are all hours then.
        wanted = mode.mode == W.COOL_NOW
        sought = replace(situation, plan=0) if wanted else situation
        yield replace(scenario, owner=(mode,)), sought


def find(case: Case, tried: list[Scenario], healthy: Healthy) -> Place | None:
    """Return where a case can be tried: in the first of some scenarios in which it can."""
    found = _look(case, tried, healthy)
    for scenario in tried:
        if found is None and scenario.days <= ASKED_DAYS:
            for run, situation in asked(scenario, case.at):
                found = found or _look(replace(case, at=situation), [run], healthy)
    return found


def _look(case: Case, tried: list[Scenario], healthy: Healthy) -> Place | None:
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
    """Yield for each case the run in which it is tried, or that none was found."""
    for case in cases:
        found = find(case, tried, healthy)
        if found is None:
            yield Absent(case.row, case.name, case.at.never)
            continue
        shift = 0 if case.from_start else found.at_s
        needed_s = found.at_s + case.after_s + AFTER_S
        days = max(case.days + found.at_s // DAY_S, ceil(needed_s / DAY_S))
        owner = "".join(f" ('{words.MODES[deed.mode]}' asked for)" for deed in found.scenario.owner)
        yield replace(
            found.scenario,
            name=case.name + owner,
            group="fault",
            days=days,
            faults=tuple(replace(f, onset_s=f.onset_s + shift) for f in case.faults),
            outages=tuple(replace(o, onset_s=o.onset_s + shift) for o in case.outages),
            row=case.row,
            case=case.name,
            lacks=case.lacks,
            expects=tuple(replace(e, onset_s=e.onset_s + shift) for e in case.expects),
        )

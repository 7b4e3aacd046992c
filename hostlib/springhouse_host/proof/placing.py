"""Puts each case of the catalogue on a day and at a moment at which it can be tried.

What a case needs is looked for in runs of the same installation with nothing broken. They are few:
the days tried are shared by all cases that begin with the store equally warm. What the hours of an
installation never bring about its owner may: the days are looked through again with a mode asked
for all the time. A case for which no moment is found anywhere is not shown, which breaks a proof.
"""

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import timedelta
from functools import lru_cache
from math import ceil
from typing import TypeAlias

from springhouse import mode as modes
from springhouse import words
from springhouse_sim.trace import Trace
from springhouse_sim.world import days as world_days
from springhouse_sim.world.owner import AskMode

from ..site.known import Variant
from ..site.site import Site, load_site
from . import catalogue
from .case import FaultCase
from .running import bench
from .scenarios import (
    CORNER_DAYS,
    FAULT_DAYS,
    HOTTEST_DAYS,
    Scenario,
    hot_wanted_days,
    read_as,
    readings,
    unbroken,
)
from .situations import Situation
from .weather_days import days_of

DAY_S = 86_400
AFTER_S = 8 * 3600  # a run goes on so long after the last that is expected
LONG_DAYS = 2  # runs longer than this are cut to begin the day before what was found
ASKED_DAYS = 7  # the owner's modes are tried in runs of so many days at most
ASKED = tuple(
    AskMode(60, mode, modes.LIMIT_MIN[mode], again=True)
    for mode in (modes.COOL_NOW, modes.CHARGE_NOW)
)


@dataclass(frozen=True)
class Absent:
    """A case for which no moment was found in this installation, and the words for it."""

    row: int
    name: str
    never: str


Places: TypeAlias = tuple[Scenario | Absent, ...]  # of every case on one reading


class Healthy:
    """Runs with nothing broken, each made once."""

    def __init__(self, site: Site) -> None:
        self._site = site
        self._made: dict[Scenario, Trace] = {}

    def trace(self, scenario: Scenario) -> Trace:
        """Return the run of a scenario as it is without its faults."""
        plain = replace(scenario, name="", group="nominal", faults=(), outages=(), expects=())
        plain = replace(plain, row=0, lacks=())
        if plain not in self._made:
            self._made[plain] = bench(self._site, plain).run(plain.days)
        return self._made[plain]


@dataclass(frozen=True)
class CasePlace:
    """A scenario without its fault, and when in it the fault comes."""

    scenario: Scenario
    at_s: int


def asked(scenario: Scenario, situation: Situation) -> Iterator[tuple[Scenario, Situation]]:
    """Yield a scenario with each mode asked for that runs a motor, and what to look for in it."""
    for mode in ASKED:
        # The wanted hours are all hours then.
        wanted = mode.mode == modes.COOL_NOW
        sought = replace(situation, plan=0) if wanted else situation
        yield replace(scenario, owner=(mode,)), sought


def find(case: FaultCase, tried: list[Scenario], healthy: Healthy) -> CasePlace | None:
    """Return where a case can be tried: in the first of some scenarios in which it can."""
    found = _look(case, tried, healthy)
    for scenario in tried:
        if found is None and scenario.days <= ASKED_DAYS:
            for run, situation in asked(scenario, case.at):
                found = found or _look(replace(case, at=situation), [run], healthy)
    return found


def _look(case: FaultCase, tried: list[Scenario], healthy: Healthy) -> CasePlace | None:
    for scenario in tried:
        start = scenario
        if scenario.days <= LONG_DAYS and case.store_start_c is not None:
            start = replace(scenario, store_start_c=case.store_start_c)
        at_s = case.at.moment_s(healthy.trace(start))
        if at_s is None:
            continue
        return _nearer(case, start, at_s, healthy)
    return None


def _nearer(case: FaultCase, long: Scenario, at_s: int, healthy: Healthy) -> CasePlace:
    """Return the same situation in a run that begins the day before, if it is there too."""
    skipped = at_s // DAY_S - 1
    if long.days > LONG_DAYS and skipped > 0:
        start = long.start + timedelta(days=skipped)
        for store_c in dict.fromkeys((case.store_start_c, long.store_start_c)):
            near = replace(long, start=start, days=LONG_DAYS, store_start_c=store_c)
            found_s = case.at.moment_s(healthy.trace(near))
            if found_s is not None:
                return CasePlace(near, found_s)
    return CasePlace(long, at_s)


def place(
    cases: list[FaultCase], tried: list[Scenario], healthy: Healthy
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


@lru_cache(maxsize=6)
def places(
    path: str, changed: str, sha256: str, changes: tuple[tuple[int, int], ...], variant: Variant
) -> Places:
    """Return every case of the catalogue where it can be tried, or that it was nowhere.

    To be called in any process; ``sha256`` is that of the site's file.
    """
    site = load_site(path, json.loads(changed))
    hottest = days_of(site, lambda weather: world_days.hottest(weather, HOTTEST_DAYS))
    summer = days_of(site, world_days.summer)
    weather = site.read_weather()
    one = hot_wanted_days(site, weather, hottest, FAULT_DAYS)
    two = hot_wanted_days(site, weather, hottest, CORNER_DAYS)
    tried = [
        Scenario("", "fault", start, days, variant, changes=changes)
        for start, days in (
            (one, FAULT_DAYS),
            (two, CORNER_DAYS),
            (hottest.start, hottest.count),
            (summer.start, summer.count),
        )
    ]
    return tuple(place(catalogue.cases(site), tried, Healthy(site)))


def placed(
    site: Site,
    changes: tuple[tuple[int, int], ...] = (),
    variants: Sequence[Variant] | None = None,
    known: Mapping[Variant, Places] | None = None,
) -> tuple[list[Scenario], list[Absent]]:
    """Return one run a fault and reading, and the faults for which no moment was found.

    ``known`` are the `places` of each reading, where they were looked for already.

    Each fault comes at a moment at which what it needs is true, found by running the installation
    with nothing broken; ``changes`` are settings that differ. What comes about
    with one reading of the labels and not with another is tried where it does.
    """
    runs: list[Scenario] = []
    absent: dict[str, Absent] = {}
    shown: set[str] = set()
    for variant in readings(site) if variants is None else variants:
        asked = (site.path, site.changed, site.site_sha256, changes, variant)
        for one in places(*asked) if known is None else known[variant]:
            if isinstance(one, Scenario):
                runs.append(read_as(one))
                shown.add(one.case)
            else:
                absent[one.name] = one
    return runs, [one for name, one in absent.items() if name not in shown]


def standard(
    site: Site,
    changes: tuple[tuple[int, int], ...] = (),
    variants: Sequence[Variant] | None = None,
) -> list[Scenario]:
    """Return every scenario of a proof, nominal ones first.

    Corners and faults are run on every reading of the labels, or on ``variants`` of it.

    The faults come when they can be answered, which is looked for in runs under ``changes`` of the
    settings; the scenarios themselves carry no changes but their own.

    Raises:
        SiteError: when the weather cannot be read or holds no summer.
    """
    return [*unbroken(site, variants), *broken(site, changes, variants)]


def broken(
    site: Site,
    changes: tuple[tuple[int, int], ...] = (),
    variants: Sequence[Variant] | None = None,
) -> list[Scenario]:
    """Return the faults, which come when they can be answered, see `standard`."""
    return [replace(run, changes=()) for run in placed(site, changes, variants)[0]]

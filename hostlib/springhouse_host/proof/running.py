"""Runs scenarios: builds the bench for each and keeps what the verdict needs of its trace."""

import json
from collections.abc import Callable, Sequence
from concurrent.futures import Executor, Future, as_completed
from dataclasses import dataclass, replace
from datetime import timedelta
from functools import lru_cache
from typing import Any, TypeAlias

import numpy as np
from springhouse import reading, setting
from springhouse_sim import sense
from springhouse_sim.bench import Bench, Pace, World
from springhouse_sim.plant.plant import Plant
from springhouse_sim.trace import Trace
from springhouse_sim.world.ground import Wave
from springhouse_sim.world.outdoors import Outdoors
from springhouse_sim.world.owner import EmptyTray
from springhouse_sim.world.plan import FollowPlan
from springhouse_sim.world.stage import Actor
from springhouse_sim.world.sun import Glazing

from ..errors import SiteError
from ..site import drawn
from ..site.site import Site, load_site
from . import advice
from .case import TRAY_EMPTIED_S
from .limits import Shortfall, shortfall
from .responses import Expect, Response, respond, unanswered
from .scenarios import Scenario

# The independent cut-out is a mechanical part with a wide band of its own.
CUT_OUT_OPENS_MC = 0
CUT_OUT_CLOSES_MC = 5000
LEVEL_LOW_SHARE = 0.8  # the level float opens this far down

Jobs: TypeAlias = "dict[Future[Result], Scenario]"


@dataclass(frozen=True)
class Result:
    """What is kept of one run; ``summary`` are the figures of `Trace.summary`."""

    scenario: Scenario
    summary: dict[str, Any]
    cases: tuple[int, ...]
    violations: tuple[int, ...]
    shortfall: Shortfall
    responses: tuple[Response, ...] = ()
    latched: int = 0  # bits of every fault that was latched in it
    warmth_c: float = 0.0  # below this the room is in the promised share of its wanted hours


@lru_cache(maxsize=12)  # readings of the labels, each as it is, warmer, and with its shade open
def _kept_outdoors(
    site_name: str, glazing: tuple[Glazing, ...], ground: Wave | None, warmer_k: float
) -> Outdoors:
    return _made_outdoors(site_of(site_name, "{}"), glazing, ground, warmer_k)


def _made_outdoors(
    site: Site, glazing: tuple[Glazing, ...], ground: Wave | None, warmer_k: float
) -> Outdoors:
    weather = site.read_weather()
    return Outdoors(weather.warmer(warmer_k) if warmer_k else weather, glazing, ground)


def _outdoors(site: Site, scenario: Scenario) -> Outdoors:
    """Return the weather on the site's windows; a site with other weather reads its own."""
    if scenario.draw:
        return Outdoors(site.read_weather(), drawn.panes(site, scenario.draw), site.ground)
    glazing, ground = site.glazing(scenario.variant, scenario.shade_open), site.ground
    if site.weather != site_of(site.path, "{}").weather:
        return _made_outdoors(site, glazing, ground, scenario.warmer_k)
    return _kept_outdoors(site.path, glazing, ground, scenario.warmer_k)


@lru_cache(maxsize=3)
def site_of(site_name: str, changed: str = "{}") -> Site:
    """Return a site as it is in its file, or with changes, read once a process."""
    return load_site(site_name, json.loads(changed))


def sensors(site: Site, scenario: Scenario) -> sense.Sensors:
    """Return the sensors of an installation as a scenario has them.

    A calibrated probe errs by what its offset takes back.
    """
    settings = site.settings()
    errs = [-settings[setting.STORE_LOW_OFFSET_MK + i] for i in range(reading.PROBES)]
    for i in (0, 1):
        errs[i] += scenario.store_offset_mk
    errs = [err + off for err, off in zip(errs, drawn.offsets_mk(scenario.draw), strict=True)]
    protected = site.file.protection.independent_freeze_cutout
    store = site.plant(scenario.variant).store
    depth_mm = store.water_l / (store.inner_length_m * store.inner_width_m)  # L/m2 = mm
    return sense.Sensors(
        offset_mk=(errs[0], errs[1], errs[2], errs[3], errs[4]),
        level_low_mm=round(depth_mm * LEVEL_LOW_SHARE),
        cut_out_opens_mc=CUT_OUT_OPENS_MC if protected else sense.NO_CUT_OUT,
        cut_out_closes_mc=CUT_OUT_CLOSES_MC if protected else sense.NO_CUT_OUT,
    )


def bench(
    site: Site,
    scenario: Scenario,
    *,
    compile_ticks: bool = True,
    kind: Callable[..., Bench] = Bench,
    pace: Pace = Pace.SKIP,
) -> Bench:
    """Return the bench of a scenario, ready to run; ``kind`` makes it, e.g. with a virtual board.

    Raises:
        SiteError: when the weather cannot be read or a part refuses its numbers.
    """
    _check_weather(site, scenario)
    actors: list[Actor] = [_outdoors(site, scenario), site.people()]
    actors += [*scenario.faults, *scenario.outages, *scenario.owner]
    if scenario.plan:
        actors.append(FollowPlan(scenario.plan, again=True))
    if not site.file.tray.open_drain:
        actors.append(EmptyTray(TRAY_EMPTIED_S, daily=True))
    plant = _plant(site, scenario)
    if scenario.store_start_c is not None:
        plant = replace(plant, store=replace(plant.store, initial_c=scenario.store_start_c))
    settings = site.settings()
    for slot, value in scenario.changes:
        settings[slot] = value
    return kind(
        plant,
        settings,
        World(site.calendar(scenario.start), tuple(actors), site.tariff()),
        sensors=sensors(site, scenario),
        given_slots=dict(scenario.given),
        seed=scenario.seed,
        with_controller=scenario.with_controller,
        compile_ticks=compile_ticks,
        pace=pace,
    )


def _plant(site: Site, scenario: Scenario) -> Plant:
    return drawn.plant(site, scenario.draw) if scenario.draw else site.plant(scenario.variant)


def _check_weather(site: Site, scenario: Scenario) -> None:
    """Refuse days that the weather does not cover, before they are run."""
    weather = site.read_weather()
    try:
        for end in (scenario.start, scenario.start + timedelta(days=scenario.days)):
            weather.hour_of(end)
    except ValueError as error:
        raise SiteError(f"{site.path}: weather: {error}") from None


def room_limit_c(site: Site) -> float:
    """Return the promised room temperature [°C]."""
    return float(site.file.promises.room_below_c)


def summarise(site: Site, scenario: Scenario, trace: Trace) -> Result:
    """Return what a proof keeps of a trace."""
    limit_c = room_limit_c(site)
    summary = trace.summary(limit_c)
    responses = tuple(_answer(site, scenario.row, expect, trace) for expect in scenario.expects)
    if scenario.lacks:
        responses = (unanswered(scenario.row, scenario.lacks, summary),)
    return Result(
        scenario,
        summary,
        tuple(int(n) for n in trace.cases),
        tuple(int(n) for n in trace.violations),
        shortfall(trace, limit_c),
        responses,
        trace.latched(),
        _warmth_c(site, trace),
    )


def _warmth_c(site: Site, trace: Trace) -> float:
    room_c = trace.column("room_air_c")
    wanted = room_c[trace.wanted()]
    share = site.file.promises.room_share_percent / 100.0
    return float(np.quantile(wanted if wanted.size else room_c, share))


def _answer(site: Site, row: int, expect: Expect, trace: Trace) -> Response:
    """Return what came of an expectation, with what to change if it is not kept."""
    found = respond(row, expect, trace)
    if found.kept:
        return found
    change = advice.of_response(expect.off, expect.latch, site)
    return replace(found, change=change if found.met else advice.NOT_TRIED)


def run_one(
    site_name: str, scenario: Scenario, pace: Pace = Pace.SKIP, changed: str = "{}"
) -> Result:
    """Run one scenario of a site, to be called in any process; ``changed`` as in `Site`."""
    site = site_of(site_name, changed)
    return summarise(site, scenario, bench(site, scenario, pace=pace).run(scenario.days))


def begin(
    site: Site, scenarios: Sequence[Scenario], pool: Executor, pace: Pace = Pace.SKIP
) -> Jobs:
    """Hand scenarios to a pool, longest first, so that the last one to end is a short one."""
    longest_first = sorted(scenarios, key=lambda scenario: -scenario.days)
    return {pool.submit(run_one, site.path, s, pace, site.changed): s for s in longest_first}


def finish(jobs: Jobs, on_done: Callable[[int], None]) -> dict[Scenario, Result]:
    """Return what came of scenarios; calls ``on_done`` with the number of those just done."""
    found: dict[Scenario, Result] = {}
    for job in as_completed(jobs):
        found[jobs[job]] = job.result()
        on_done(1)
    return found

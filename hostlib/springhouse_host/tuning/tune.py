"""Tunes a site: search, check in all corners, trade-off curve, lower bound, comparisons."""

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor
from dataclasses import asdict, dataclass, replace
from functools import partial
from typing import Any

from springhouse import setting
from springhouse_sim.bench import Bench, World
from springhouse_sim.plant.plant import Plant
from springhouse_sim.world import days as world_days
from springhouse_sim.world.thermostat import FrozenSolid, PlainThermostat

from ..errors import KnownError
from ..proof import running
from ..proof.placing import broken, standard
from ..proof.scenarios import (
    HOTTEST_DAYS,
    Scenario,
    unbroken,
    whole_summer,
    without_store,
)
from ..proof.weather_days import days_of
from ..site.site import Site
from ..workers import Workers
from .bound import Bound, BoundProgramme
from .knobs import Change, Knob, changes_of, keys_of, knobs
from .search import SEED, Trials, search
from .trying import Task, Tried, binding, violation, with_changes

CANDIDATES = 6
CURVE_POINTS = 7
# (on, off) of the plain thermostat [°C]: common practice, no source; and one that makes no ice.
THERMOSTATS = ((7.0, 0.0), (7.0, 4.0))
DEAREST_DAY_KWH = 24.0 * 1.5  # more than any freezer of the site file's range draws

OnStep = Callable[[int], None]  # steps done


@dataclass(frozen=True)
class Point:
    """One set of settings over the season; ``bound`` is the least cost with as many hours."""

    name: str
    values: dict[str, float]
    cost: float
    kwh: float
    hours_over: float
    share_within: float
    max_ice_kg: float
    bound: float | None = None

    @property
    def gap_percent(self) -> float | None:
        """How much more it costs than the bound."""
        return None if not self.bound else 100.0 * (self.cost / self.bound - 1.0)


@dataclass(frozen=True)
class Cold:
    """Where the cold of a season went [kWh]: the room's warmth, its moisture, lost on the way."""

    to_room: float
    moisture: float
    lost: float


@dataclass(frozen=True)
class Plain:
    """A season under the plain thermostat; no figures where the store freezes solid on the way."""

    name: str
    point: Point | None
    frozen_after_days: float | None = None


@dataclass(frozen=True)
class Tuned:
    """What tuning found. ``changes`` are values of the site file, empty where none is better.

    ``own_kept`` says whether the site's own settings keep every promise, None if it was not asked:
    only where what was found costs more than they do.
    """

    season: str
    tried: int
    kept: int  # of the points tried keep every promise in the subset
    subset: tuple[str, ...]
    own: Point
    tuned: Point | None
    thermostats: tuple[Plain, ...]
    curve: tuple[Point, ...]
    allowed_h: float  # hours too warm that the promise allows in the season
    bound: float | None  # with so many
    changes: dict[str, Any]
    own_kept: bool | None = None
    cold: Cold | None = None  # of the tuned site, None without one
    bound_cold: Cold | None = None  # of the bound for as many hours too warm

    def as_json(self) -> dict[str, Any]:
        """Return plain data."""
        return {"schema": 1} | asdict(self)


@dataclass(frozen=True)
class Effort:
    """How much is tried: points, and days of the cost (None: the season)."""

    budget: int
    days: int | None
    processes: int

    def steps(self, short: int) -> int:
        """Return about how many steps of work there are."""
        return short + self.budget + CANDIDATES


def cost_days(site: Site, days: int | None) -> Scenario:
    """Return the days of the cost: the most typical ones in a row, or the season."""
    if days is None:
        return whole_summer(site)
    typical = days_of(site, lambda weather: world_days.typical(weather, days))
    return Scenario(f"{days} typical days", "nominal", typical.start, typical.count)


def short_scenarios(site: Site) -> list[Scenario]:
    """Return the scenarios of the proof that are quick: the fast subset is chosen among them."""
    return [s for s in standard(site) if s.days <= HOTTEST_DAYS]


def _dearest(site: Site, days: int) -> float:
    tariff = site.file.tariff
    price = max(tariff.price_per_kwh or 1e4, tariff.cheap_price_per_kwh or 0.0)
    return days * (DEAREST_DAY_KWH * price + tariff.standing_per_day)


def tune(site: Site, effort: Effort, on_step: OnStep = lambda done: None) -> Tuned:
    """Tune a site.

    Raises:
        KnownError: when the promises leave nothing to turn.
        SiteError: when the weather cannot be read or holds no summer.
    """
    turned = knobs(site)
    season = whole_summer(site)
    costed = cost_days(site, effort.days)
    short = short_scenarios(site)
    with Workers(effort.processes) as pool:
        bounded = pool.submit(_bounds, site.path, season)
        run = partial(running.run_one, site.path)
        own = []
        for result in pool.map(run, short):
            own.append(result)
            on_step(len(own))
        subset = binding(site, own)
        dearest = _dearest(site, costed.days)
        task = Task(site.path, turned, subset, costed, dearest, len(subset))
        half = effort.budget // 2
        first = search(task, half, pool, lambda n: on_step(len(short) + n))
        # What refuses the best of the first half is asked about every point of the second.
        check = Check(site, pool)
        check.first_that_holds(first, 1)
        task = replace(task, binding=(*subset, *check.refusing))
        seeds = [t.point for t in first.best()]
        done = len(short) + half
        trials = search(task, half, pool, lambda n: on_step(done + n), seeds, SEED + 1)
        best = check.first_that_holds(trials, CANDIDATES)
        on_step(effort.steps(len(short)) - 1)
        points = _curve_points([*first.found.values(), *trials.found.values()])
        wanted = [*points, *([best.point] if best else [])]
        plain = [pool.submit(thermostat, site.path, season, *at_c) for at_c in THERMOSTATS]
        point = partial(season_point, site.path, turned, season)
        now, *figures = pool.map(point, (None, *wanted))
        dearer = best is not None and figures[-1].cost >= now.cost
        own_kept = check.holds(()) if dearer else None
        spent = cold_of(site.path, turned, season, best.point) if best else None
        told = Told(site, season, turned, bounded.result(), now, spent)
        return told.tuned(trials, best, figures, [job.result() for job in plain], own_kept)


def _bounds(path: str, season: Scenario) -> BoundProgramme | None:
    """Return the programme of the lower bound, None where there is none for such a site."""
    try:
        return BoundProgramme(running.site_of(path), season)
    except KnownError:
        return None


class Check:
    """Asks every scenario of the proof about points; what refused one is asked first the next."""

    def __init__(self, site: Site, pool: Executor) -> None:
        self.site = site
        self.refusing: list[Scenario] = []
        self._pool = pool

    def first_that_holds(self, trials: Trials, most: int) -> Tried | None:
        """Return the cheapest point that nothing refuses; ``most`` are asked about everything."""
        asked = 0
        for tried in trials.best():
            changes = changes_of(self.site, trials.task.turned, tried.point)
            assert changes is not None
            if not self._refusing_hold(changes):
                continue
            if self._rest_hold(changes):
                return tried
            asked += 1
            if asked == most:
                return None
        return None

    def holds(self, changes: tuple[Change, ...]) -> bool:
        """Return whether nothing refuses these settings."""
        return self._refusing_hold(changes) and self._rest_hold(changes)

    def _refusing_hold(self, changes: tuple[Change, ...]) -> bool:
        left = {s.name for s in self.refusing}
        for scenarios in self._in_turn(changes):
            asked = [s for s in scenarios if s.name in left]
            run = partial(running.run_one, self.site.path)
            if not all(self._kept(run(with_changes(s, changes))) for s in asked):
                return False
            left -= {s.name for s in asked}
            if not left:
                break
        return True

    def _in_turn(self, changes: tuple[Change, ...]) -> Iterator[list[Scenario]]:
        """Yield the scenarios of a proof: faults last, for their moments have to be looked for."""
        yield unbroken(self.site)
        yield broken(self.site, changes)

    def _kept(self, result: running.Result) -> bool:
        return violation(self.site.promises(), [result], placed=True) <= 0.0

    def _rest_hold(self, changes: tuple[Change, ...]) -> bool:
        known = {s.name for s in self.refusing}
        for scenarios in self._in_turn(changes):
            if not self._all_hold([s for s in scenarios if s.name not in known], changes):
                return False
        return True

    def _all_hold(self, rest: list[Scenario], changes: tuple[Change, ...]) -> bool:
        rest.sort(key=lambda s: s.days)
        run = partial(running.run_one, self.site.path)
        jobs = [self._pool.submit(run, with_changes(s, changes)) for s in rest]
        for scenario, job in zip(rest, jobs, strict=True):
            if not self._kept(job.result()):
                for left in jobs:
                    left.cancel()
                self.refusing.append(scenario)
                return False
        return True


def _curve_points(tried: Sequence[Tried]) -> list[tuple[float, ...]]:
    """Return points that no other beats in both cost and hours too warm, spread over the cost."""
    front: list[Tried] = []
    for one in sorted(tried, key=lambda t: (t.cost, t.hours_over)):
        if one.ran and (not front or one.hours_over < front[-1].hours_over):
            front.append(one)
    count = min(CURVE_POINTS, len(front))
    picked = [front[round(i * (len(front) - 1) / max(1, count - 1))] for i in range(count)]
    return list(dict.fromkeys(t.point for t in picked))


def season_point(
    path: str, turned: Sequence[Knob], season: Scenario, point: tuple[float, ...] | None
) -> Point:
    """Return a point over the season; None is the site as it is."""
    site = running.site_of(path)
    values = point if point is not None else tuple(k.now for k in turned)
    changes = changes_of(site, turned, values)
    assert changes is not None
    summary = running.run_one(path, with_changes(season, changes)).summary
    return _point("", dict(zip((k.name for k in turned), values, strict=True)), summary)


def cold_of(path: str, turned: Sequence[Knob], season: Scenario, point: tuple[float, ...]) -> Cold:
    """Return where the cold of a season went at a point."""
    site = running.site_of(path)
    changes = changes_of(site, turned, point)
    assert changes is not None
    trace = running.bench(site, with_changes(season, changes)).run(season.days)
    room, store = trace.room_heat_kwh(), trace.store_heat_kwh()
    to_room, moisture = -room["coil_sensible"] - room["tubes"], -room["coil_latent"]
    into = sum(heat for cause, heat in store.items() if cause != "evaporator")
    return Cold(to_room, moisture, into - to_room - moisture)


def _point(name: str, values: dict[str, float], summary: dict[str, Any]) -> Point:
    return Point(
        name,
        values,
        summary["cost"],
        summary["energy_kwh"],
        summary["room_hours_over"],
        summary["wanted_share_within"],
        summary["max_ice_kg"],
    )


def thermostat(path: str, season: Scenario, on_c: float, off_c: float) -> Plain:
    """Return the season under the plain thermostat, with the room's own target."""
    site = running.site_of(path)
    settings = site.settings()
    target_c = settings[setting.ROOM_TARGET_MC] / 1000.0
    band_k = settings[setting.ROOM_BAND_MK] / 1000.0
    plain = PlainThermostat(on_c, off_c, target_c + band_k, target_c, site.file.schedule.wanted)

    def make(plant: Plant, record: Sequence[int], world: World, **rest: Any) -> Bench:
        return Bench(plant, record, replace(world, actors=(*world.actors, plain)), **rest)

    name = f"plain thermostat {off_c:g}/{on_c:g} °C"
    try:
        trace = running.bench(site, without_store(season), kind=make).run(season.days)
    except FrozenSolid as frozen:
        return Plain(name, None, frozen.days)
    return Plain(name, _point(name, {}, trace.summary(running.room_limit_c(site))))


@dataclass(frozen=True)
class Told:
    """Puts the bound beside every figure; the standing charge belongs to both."""

    site: Site
    season: Scenario
    turned: Sequence[Knob]
    programme: BoundProgramme | None
    now: Point  # the site as it is
    cold: Cold | None  # of the best point

    def solved(self, hours: float) -> Bound | None:
        """Return the bound with so many hours too warm."""
        return self.programme.solve(hours) if self.programme is not None else None

    def bound(self, hours: float) -> float | None:
        """Return the least cost of the season with so many hours too warm."""
        found = self.solved(hours)
        standing = self.site.tariff().standing_per_day * self.season.days
        return None if found is None else found.cost + standing

    def bounded(self, point: Point, name: str) -> Point:
        """Return a point with its name and the bound for its hours."""
        return replace(point, name=name, bound=self.bound(point.hours_over))

    @property
    def allowed_h(self) -> float:
        """Hours too warm that the promise allows in the season."""
        now, share = self.now, self.site.file.promises.room_share_percent / 100.0
        wanted_h = now.hours_over / (1.0 - now.share_within) if now.share_within < 1.0 else 0.0
        if self.programme is not None:
            wanted_h = self.programme.wanted_h
        return wanted_h * (1.0 - share)

    def tuned(
        self,
        trials: Trials,
        best: Tried | None,
        figures: list[Point],
        plain: Sequence[Plain],
        own_kept: bool | None,
    ) -> Tuned:
        """Return all of it; the last of the figures is of the best point, if there is one."""
        found = self.bounded(figures.pop(), "tuned") if best else None
        better = found is not None and (found.cost < self.now.cost or own_kept is False)
        least = self.solved(found.hours_over) if found is not None else None
        curve = front(sorted(figures, key=lambda p: (p.hours_over, p.cost)))
        return Tuned(
            season=self.season.name,
            tried=len(trials.found),
            kept=len(trials.best()),
            subset=tuple(s.name for s in trials.task.binding),
            own=self.bounded(self.now, "the site's own"),
            tuned=found,
            thermostats=tuple(
                replace(p, point=self.bounded(p.point, p.name)) if p.point else p for p in plain
            ),
            curve=tuple(self.bounded(p, "") for p in curve),
            allowed_h=self.allowed_h,
            bound=self.bound(self.allowed_h),
            changes=keys_of(self.site, self.turned, best.point) if best and better else {},
            own_kept=own_kept,
            cold=self.cold,
            bound_cold=Cold(least.to_room_kwh, 0.0, least.lost_kwh) if least else None,
        )


def front(points: Sequence[Point]) -> list[Point]:
    """Return the points that no other beats in both, from few hours too warm to many."""
    found: list[Point] = []
    for point in points:
        if not found or point.cost < found[-1].cost:
            found.append(point)
    return found

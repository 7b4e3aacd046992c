"""Tunes a site: search, check in all corners, trade-off curve, lower bound, comparisons."""

from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass, replace
from functools import partial
from typing import Any

from springhouse import setting as S
from springhouse_sim.bench import Bench, World
from springhouse_sim.plant.plant import Plant
from springhouse_sim.world import days as D
from springhouse_sim.world.thermostat import PlainThermostat

from ..errors import KnownError
from ..proof import running
from ..proof.scenarios import HOTTEST_DAYS, Scenario, standard, whole_summer, without_store
from ..proof.weather_days import days_of
from ..site.site import Site
from .bound import Bound, Programme
from .knobs import Change, Knob, changes_of, keys_of, knobs
from .search import Trials, search
from .trying import Task, Tried, binding, violation, with_changes

CANDIDATES = 6
CURVE_POINTS = 7
THERMOSTAT_ON_C, THERMOSTAT_OFF_C = 7.0, 0.0  # common practice, no source
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
class Tuned:
    """What tuning found. ``changes`` are values of the site file, empty where none is better."""

    season: str
    tried: int
    kept: int  # of the points tried keep every promise in the subset
    subset: tuple[str, ...]
    own: Point
    tuned: Point | None
    thermostat: Point
    curve: tuple[Point, ...]
    allowed_h: float  # hours too warm that the promise allows in the season
    bound: float | None  # with so many
    changes: dict[str, Any]

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
    typical = days_of(site, lambda weather: D.typical(weather, days))
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
    with ProcessPoolExecutor(effort.processes) as pool:
        bounded = pool.submit(_bounds, site.path, season)
        run = partial(running.run_one, site.path)
        own = []
        for result in pool.map(run, short):
            own.append(result)
            on_step(len(own))
        subset = binding(site, own)
        task = Task(site.path, turned, subset, costed, _dearest(site, costed.days))
        half = effort.budget // 2
        first = search(task, half, pool, lambda n: on_step(len(short) + n))
        # What refuses the best of the first half is asked about every point of the second.
        check = Check(site, pool)
        check.first_that_holds(first, 1)
        task = replace(task, binding=(*subset, *check.refusing))
        seeds = [t.point for t in first.best()]
        done = len(short) + half
        trials = search(task, half, pool, lambda n: on_step(done + n), seeds)
        best = check.first_that_holds(trials, CANDIDATES)
        on_step(effort.steps(len(short)) - 1)
        points = _curve_points([*first.found.values(), *trials.found.values()])
        wanted = [*points, *([best.point] if best else [])]
        plain = pool.submit(thermostat_point, site.path, season)
        point = partial(season_point, site.path, turned, season)
        now, *figures = pool.map(point, (None, *wanted))
        thermostat, programme = plain.result(), bounded.result()
    return _told(
        site, season, trials, task.binding, turned, best, figures, now, thermostat, programme
    )


def _bounds(path: str, season: Scenario) -> Programme | None:
    """Return the programme of the lower bound, None where there is none for such a site."""
    try:
        return Programme(running.site_of(path), season)
    except KnownError:
        return None


class Check:
    """Asks every scenario of the proof about points; what refused one is asked first the next."""

    def __init__(self, site: Site, pool: ProcessPoolExecutor) -> None:
        self.site = site
        self.refusing: list[Scenario] = []
        self._rest = sorted(standard(site), key=lambda s: s.days)
        self._pool = pool

    def first_that_holds(self, trials: Trials, most: int) -> Tried | None:
        """Return the cheapest point that nothing refuses; ``most`` are asked about everything."""
        asked = 0
        for tried in trials.best():
            changes = changes_of(self.site, trials.task.turned, tried.point)
            assert changes is not None
            if not all(self._kept(s, changes) for s in self.refusing):
                continue
            if self._rest_hold(changes):
                return tried
            asked += 1
            if asked == most:
                return None
        return None

    def _kept(self, scenario: Scenario, changes: tuple[Change, ...]) -> bool:
        result = running.run_one(self.site.path, with_changes(scenario, changes))
        return violation(self.site.promises(), [result]) <= 0.0

    def _rest_hold(self, changes: tuple[Change, ...]) -> bool:
        changed = [with_changes(s, changes) for s in self._rest]
        jobs = [self._pool.submit(running.run_one, self.site.path, s) for s in changed]
        for scenario, job in zip(self._rest, jobs, strict=True):
            if violation(self.site.promises(), [job.result()]) > 0.0:
                for left in jobs:
                    left.cancel()
                self._rest.remove(scenario)
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


def thermostat_point(path: str, season: Scenario) -> Point:
    """Return the season under the plain thermostat, with the room's own target."""
    site = running.site_of(path)
    settings = site.settings()
    target_c = settings[S.ROOM_TARGET_MC] / 1000.0
    band_k = settings[S.ROOM_BAND_MK] / 1000.0
    plain = PlainThermostat(
        THERMOSTAT_ON_C, THERMOSTAT_OFF_C, target_c + band_k, target_c, site.file.schedule.wanted
    )

    def make(plant: Plant, record: Sequence[int], world: World, **rest: Any) -> Bench:
        return Bench(plant, record, replace(world, actors=(*world.actors, plain)), **rest)

    trace = running.bench(site, without_store(season), kind=make).run(season.days)
    return _point("plain thermostat 0/7 °C", {}, trace.summary(running.room_limit_c(site)))


def _told(
    site: Site,
    season: Scenario,
    trials: Trials,
    subset: Sequence[Scenario],
    turned: Sequence[Knob],
    best: Tried | None,
    figures: list[Point],
    now: Point,
    thermostat: Point,
    programme: Programme | None,
) -> Tuned:
    """Put the bound beside every figure; the standing charge belongs to both."""
    standing = site.tariff().standing_per_day * season.days

    def bound(hours: float) -> float | None:
        found: Bound | None = programme.solve(hours) if programme is not None else None
        return None if found is None else found.cost + standing

    def bounded(point: Point, name: str) -> Point:
        return replace(point, name=name, bound=bound(point.hours_over))

    tuned = bounded(figures.pop(), "tuned") if best else None
    better = tuned is not None and tuned.cost < now.cost
    wanted_h = now.hours_over / (1.0 - now.share_within) if now.share_within < 1.0 else 0.0
    if programme is not None:
        wanted_h = programme.wanted_h
    allowed_h = wanted_h * (1.0 - site.file.promises.room_share_percent / 100.0)
    curve = sorted(figures, key=lambda p: (p.hours_over, p.cost))
    return Tuned(
        season=season.name,
        tried=len(trials.found),
        kept=len(trials.best()),
        subset=tuple(s.name for s in subset),
        own=bounded(now, "the site's own"),
        tuned=tuned,
        thermostat=bounded(thermostat, thermostat.name),
        curve=tuple(bounded(p, "") for p in front(curve)),
        allowed_h=allowed_h,
        bound=bound(allowed_h),
        changes=keys_of(site, turned, best.point) if best and better else {},
    )


def front(points: Sequence[Point]) -> list[Point]:
    """Return the points that no other beats in both, from few hours too warm to many."""
    found: list[Point] = []
    for point in points:
        if not found or point.cost < found[-1].cost:
            found.append(point)
    return found

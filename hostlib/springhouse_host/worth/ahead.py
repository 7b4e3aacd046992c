"""The season planned ahead beside the fixed schedule and the lower bound, on three tariffs."""

from collections.abc import Callable, Mapping
from concurrent.futures import as_completed
from dataclasses import dataclass
from functools import partial
from typing import Any

from ..errors import KnownError
from ..planning import season
from ..planning.season import Figures
from ..proof.scenarios import Scenario
from ..site.site import Site, load_site
from ..site.tables import PLAN_DECIDES
from ..tuning.bound import BoundProgramme
from ..workers import Workers

DECIDES = "schedule.plan_decides"
FIXED = "fixed schedule"


@dataclass(frozen=True)
class PlannedRow:
    """A way on a tariff; ``closed`` is its share of the way from fixed schedule to bound."""

    tariff: str
    decides: str  # what the plan does, "" for the fixed schedule
    way: str  # the forecast, or FIXED
    figures: Figures
    closed: float | None


@dataclass(frozen=True)
class PlannedSummer:
    """All rows, and by tariff the least that the season can cost with as many hours too warm."""

    rows: tuple[PlannedRow, ...]
    bound: dict[str, float | None]


def words_of(site: Site) -> tuple[str, ...]:
    """Return what a plan may decide: the owner's word, or each where plans are not allowed yet."""
    word = site.file.schedule.plan_decides
    return PLAN_DECIDES[1:] if word == PLAN_DECIDES[0] else (word,)


def jobs_of(site: Site) -> int:
    """Return how many runs `ahead` makes."""
    return 1 + len(season.TARIFFS) * (1 + len(words_of(site)) * len(season.FORECASTS))


def closed(fixed: float, planned: float, bound: float | None) -> float | None:
    """Return the share of the way from the cost of the fixed schedule to the bound."""
    if bound is None or fixed == bound:
        return None
    return (fixed - planned) / (fixed - bound)


def least(
    path: str, changes: Mapping[str, Any], scenario: Scenario, tariff: str, hours_over: float
) -> float | None:
    """Return the lower bound on a season's cost, None where there is none for such a site."""
    site = load_site(path, changes)
    prices = season.tariff_of(site, scenario, tariff)
    try:
        found = BoundProgramme(site, scenario, prices).solve(hours_over)
    except KnownError:
        return None
    return None if found is None else found.cost + prices.standing_per_day * scenario.days


def ahead(
    site: Site,
    changes: Mapping[str, Any],
    scenario: Scenario,
    processes: int,
    on_done: Callable[[], None],
) -> PlannedSummer:
    """Simulate all of it, so many runs at a time; calls ``on_done`` after each."""
    with Workers(processes) as pool:
        plans = {}
        for word in words_of(site):
            changed = dict(changes) | {DECIDES: word}
            for tariff in season.TARIFFS:
                for forecast in season.FORECASTS:
                    run = partial(season.run_planned, site.path, changed, scenario)
                    plans[pool.submit(run, tariff, forecast)] = (tariff, word, forecast)
        fixed = pool.submit(season.run_fixed, site.path, dict(changes), scenario).result()
        on_done()
        hours = {tariff: fixed[tariff].hours_over for tariff in season.TARIFFS}
        bound_of = partial(least, site.path, dict(changes), scenario)
        bounds = {pool.submit(bound_of, tariff, hours[tariff]): tariff for tariff in season.TARIFFS}
        for _ in as_completed(plans):
            on_done()
        for _ in as_completed(bounds):
            on_done()
        bound = {tariff: job.result() for job, tariff in bounds.items()}
        found = {key: job.result() for job, key in plans.items()}
    rows = []
    for tariff in season.TARIFFS:
        rows.append(PlannedRow(tariff, "", FIXED, fixed[tariff], None))
        for (of, word, forecast), came in found.items():
            if of == tariff:
                share = closed(fixed[tariff].cost, came.cost, bound[tariff])
                rows.append(PlannedRow(tariff, word, forecast, came, share))
    return PlannedSummer(tuple(rows), bound)

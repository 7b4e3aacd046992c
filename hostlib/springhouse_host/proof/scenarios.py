"""Which runs a proof is made of."""

import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Literal

from springhouse import advice, setting
from springhouse import week as weeks
from springhouse.ahead import QUARTER_MIN
from springhouse_sim.plant import given as given_slot
from springhouse_sim.world import days as world_days
from springhouse_sim.world.faults import Fault
from springhouse_sim.world.outage import Outage
from springhouse_sim.world.owner import AskMode
from springhouse_sim.world.plan import Quarter
from springhouse_sim.world.weather import Weather

from ..site.drawn import Draw
from ..site.known import VARIANTS, Variant
from ..site.site import Site
from .case import nearly_charged_c
from .responses import Expect
from .weather_days import days_of

Group = Literal["nominal", "corner", "beyond", "fault"]

HOTTEST_DAYS = 7
TYPICAL_DAYS = 3
CORNER_DAYS = 2
FAULT_DAYS = 1
HEAT_WAVES_K = (2.0, 4.0)  # on top of the hottest week of the weather, outdoors
WARMER_PLACE_W = 300.0  # heat of another appliance where the freezer stands
SEED = 20
MIDDLE: tuple[Variant, ...] = ("mid",)


@dataclass(frozen=True)
class Scenario:
    """One run. ``given`` holds (slot, value) of the plant's given record throughout."""

    name: str
    group: Group
    start: datetime  # standard time
    days: int
    variant: Variant = "mid"
    given: tuple[tuple[int, float], ...] = ()
    store_offset_mk: int = 0  # both store probes read so much too high
    faults: tuple[Fault, ...] = ()
    outages: tuple[Outage, ...] = ()
    store_start_c: float | None = None  # None: as the site says
    with_controller: bool = True
    seed: int = SEED
    changes: tuple[tuple[int, int], ...] = ()  # settings that differ: slot, value
    row: int = 0  # of the failure mode, for a case of the catalogue
    expects: tuple[Expect, ...] = ()  # what must follow its faults
    lacks: tuple[str, ...] = ()  # keys of what should answer its faults and is not there
    owner: tuple[AskMode, ...] = ()  # what the owner asks for
    case: str = ""  # its name in the catalogue
    draw: Draw = ()  # one plausible installation instead of a reading of the labels
    warmer_k: float = 0.0  # of the air outdoors, its dew point kept
    shade_open: bool = False  # the window's shade is left open
    plan: tuple[Quarter, ...] = ()  # what advises the board, over and over

    @property
    def unbroken(self) -> bool:
        """Whether nothing is broken here, so that nothing may latch."""
        return self.group != "fault"

    @property
    def comfort_promised(self) -> bool:
        """Whether the room must be as promised: nothing broken, nor beyond the promise."""
        return self.group in ("nominal", "corner")

    @property
    def welded_ice_kg(self) -> float | None:
        """What bounds the ice with a relay welded shut; None: the promise, as in any other run.

        Only a case that declares a bound of its own is judged by it.
        """
        if not any(fault.kind == "relay_welded" for fault in self.faults):
            return None
        declared = (expect.ice_at_most_kg for expect in self.expects)
        return min((kg for kg in declared if kg is not None), default=None)


def unbroken(site: Site, variants: Sequence[Variant] | None = None) -> list[Scenario]:
    """Return those in which nothing breaks, for which nothing has to be looked for.

    Raises:
        SiteError: when the weather cannot be read or holds no summer.
    """
    typical = days_of(site, lambda weather: world_days.typical(weather, TYPICAL_DAYS))
    hottest = days_of(site, lambda weather: world_days.hottest(weather, HOTTEST_DAYS))
    summer = days_of(site, world_days.summer)
    weather = site.read_weather()
    found = []
    for variant in readings(site):
        for days, word in ((typical, "typical"), (hottest, "hottest"), (summer, "summer")):
            name = f"{days.count} {word} days from {days.first:%d %B}{reading_of(variant)}"
            found.append(Scenario(name, "nominal", days.start, days.count, variant))
    two = hot_wanted_days(site, weather, hottest, CORNER_DAYS)
    # Nearly charged: the guards near freezing are wanted, not another pull-down.
    nearly_c = nearly_charged_c(site)
    for variant in readings(site) if variants is None else variants:
        short = Scenario("", "corner", two, CORNER_DAYS, variant, store_start_c=nearly_c)
        whole = Scenario("", "corner", summer.start, summer.count, variant)
        found += [read_as(corner) for corner in corners(site, short)]
        for corner in corners(site, whole):
            name = f"{corner.name}, {summer.count} summer days"
            found.append(read_as(replace(corner, name=name)))
        for extreme in site.extremes():
            name = f"owner's range: {extreme.name}"
            found.append(read_as(replace(short, name=name, changes=extreme.changes)))
    for variant in readings(site) if variants is None else variants:
        week = Scenario("", "beyond", hottest.start, hottest.count, variant)
        found += [read_as(run) for run in beyond(site, week)]
    return found


def readings(site: Site) -> tuple[Variant, ...]:
    """Return the readings of the labels that a proof runs: one where all is measured."""
    return VARIANTS if site.evidence == "ESTIMATE" else ("mid",)


def reading_of(variant: Variant) -> str:
    """Return what a scenario's name says of its reading of the labels."""
    return "" if variant == "mid" else f", {variant} reading of the labels"


def without_reading(name: str) -> str:
    """Return a scenario's name without its reading of the labels."""
    for variant in VARIANTS:
        name = name.removesuffix(reading_of(variant))
    return name


def read_as(scenario: Scenario) -> Scenario:
    """Return it with its reading in its name."""
    return replace(scenario, name=scenario.name + reading_of(scenario.variant))


def hot_wanted_days(site: Site, weather: Weather, hottest: world_days.Days, count: int) -> datetime:
    """Return the start of the hottest ``count`` days in a row that hold most wanted hours."""
    days, means = world_days.daily_means(weather)
    first = days.index(hottest.first)
    settings = site.settings()

    def key(i: int) -> tuple[int, float]:
        start = datetime.combine(days[i], datetime.min.time())
        begin = site.calendar(start).week_min()
        minutes = range(begin, begin + count * weeks.DAY_MIN, 10)
        wanted = sum(
            1 for m in minutes if weeks.plan_at(settings, m % weeks.WEEK_MIN) & weeks.PLAN_WANTED
        )
        return wanted, float(means[i : i + count, 0].mean())

    best = max(range(first, first + hottest.count - count + 1), key=key)
    return datetime.combine(days[best], datetime.min.time())


def corners(site: Site, base: Scenario) -> Iterator[Scenario]:
    """Yield the corners: what is likely to be worse than described, one at a time."""
    error_mk = round(1000 * site.probe_errors_k["store_low"])
    yield replace(base, name=f"store probes read {error_mk} mK high", store_offset_mk=error_mk)
    yield replace(base, name=f"store probes read {error_mk} mK low", store_offset_mk=-error_mk)
    yield replace(base, name="compressor 20 % weaker", given=((given_slot.CAPACITY_FACTOR, 0.8),))
    yield replace(base, name="flow 30 % lower", given=((given_slot.FLOW_FACTOR, 0.7),))
    yield replace(
        base,
        name=f"{WARMER_PLACE_W:g} W more where the freezer stands",
        given=((given_slot.PLACE_GAIN_W, WARMER_PLACE_W),),
    )


def beyond(site: Site, week: Scenario) -> Iterator[Scenario]:
    """Yield what the promise of comfort is not made for: heat waves, an open shade, bad plans.

    What it comes to is told; ice, water, pump and compressor are as safe there as anywhere.
    """
    days = f"{week.days} hottest days"
    for by_k in HEAT_WAVES_K:
        yield replace(week, name=f"{days}, {by_k:g} K warmer", warmer_k=by_k)
    if site.has_shade:
        yield replace(week, name=f"{days}, shade forgotten", shade_open=True)
    for name, quarters in bad_plans(site):
        yield replace(week, name=f"{days}, {name}", plan=quarters)


def bad_plans(site: Site) -> Iterator[tuple[str, tuple[Quarter, ...]]]:
    """Yield plans that mean harm, where the owner allows plans: what an adversary would send."""
    settings = site.settings()
    if settings[setting.ADVISED] == advice.NOTHING:
        return
    deep_mc, shallow_mc = settings[setting.DEEP_MC], settings[setting.SHALLOW_MC]
    charge, wait = Quarter(advice.CHARGE, 1, deep_mc), Quarter(advice.WAIT)
    yield "a plan that charges at all hours", (charge,)
    yield "a plan that always waits", (wait,)
    yield (
        "a plan that turns each quarter hour",
        (Quarter(advice.CHARGE, 0, deep_mc), Quarter(advice.WAIT, 1)),
    )
    dice = random.Random(SEED)
    thrown = [
        Quarter(dice.randrange(advice.SIZE), dice.randrange(2), dice.randint(deep_mc, shallow_mc))
        for _ in range(HOTTEST_DAYS * weeks.DAY_MIN // QUARTER_MIN)
    ]
    yield "a plan by dice", tuple(thrown)


def wanted_begins_s(site: Site, start: datetime) -> int:
    """Return when the first wanted hours of a scenario begin, s after its start."""
    settings = site.settings()
    begin = site.calendar(start).week_min()
    for minute in range(weeks.DAY_MIN):
        if weeks.plan_at(settings, (begin + minute) % weeks.WEEK_MIN) & weeks.PLAN_WANTED:
            return minute * 60
    return 0


def without_store(scenario: Scenario) -> Scenario:
    """Return the same days with everything off."""
    return replace(scenario, name=f"{scenario.name}, without the store", with_controller=False)


def whole_summer(site: Site) -> Scenario:
    """Return one run of all summer days of the weather.

    Raises:
        SiteError: when the weather cannot be read or holds no summer.
    """
    summer = days_of(site, world_days.summer)
    name = f"{summer.count} summer days from {summer.first:%d %B}"
    return Scenario(name, "nominal", summer.start, summer.count)


def single(site: Site, start: datetime | None, days: int) -> Scenario:
    """Return one run for looking at: from ``start``, or the hottest days of the weather."""
    if start is None:
        longest = min(days, HOTTEST_DAYS)
        start = days_of(site, lambda weather: world_days.hottest(weather, longest)).start
    return Scenario(f"{days} days from {start:%d %B}", "nominal", start, days)

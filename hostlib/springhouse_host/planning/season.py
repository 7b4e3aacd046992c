"""A season planned ahead: the real controller in the full plant, a new plan each day.

Each evening the state of the plant is taken as it is, two days are planned on what is then known,
and the first of them is followed until the next evening.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from springhouse.ahead import QUARTER_MIN, QUARTERS
from springhouse_sim import sense
from springhouse_sim.bench import parameters
from springhouse_sim.plant import state
from springhouse_sim.trace import Trace
from springhouse_sim.world.stage import MINUTE_MS, Events, Stage
from springhouse_sim.world.tariff import Prices

from ..proof.running import room_limit_c
from ..proof.scenarios import Scenario
from ..site.owner_prices import each_minute
from ..site.site import Site, load_site
from . import around as weather_around
from . import misforecast, optimise, quarters, reduced
from .ahead import Ahead, of_trace
from .around import Array
from .case import aim_of, mean_store_c, store_of
from .clock import DAY_QUARTERS, inside_minutes
from .example_prices import example
from .room_response import RoomResponse

PERFECT, NOISE, PERSISTENCE = "perfect", "1-3 K off", "yesterday"
NOISE_US = "2-5 °F off"  # the same, for US units
FORECASTS = (NOISE, PERSISTENCE, PERFECT)
MARGIN_K = {PERFECT: 0.2, NOISE: 0.7, PERSISTENCE: 1.2}
PLANNED_AT_H = 18  # by the clock on the wall: tomorrow's prices are known, the room's day is over
OWN = "the site's own"
BY_HOUR, BY_QUARTER = "made up, by the hour", "made up, by the quarter hour"
TARIFFS = (OWN, BY_HOUR, BY_QUARTER)


@dataclass(frozen=True)
class Figures:
    """What a season came to."""

    cost: float
    kwh: float
    hours_over: float
    mean_c: float | None
    starts: int
    store_off_k: float | None = None  # root mean square of the reduced model over its first day


def tariff_of(site: Site, scenario: Scenario, name: str) -> Prices:
    """Return prices by their name."""
    if name == OWN:
        return site.tariff()
    own = each_minute(site.tariff(), site.calendar(scenario.start), 7 * 1440)
    step = 60 if name == BY_HOUR else 15
    calendar, weather = site.calendar(scenario.start), site.read_weather()
    return example(weather, calendar, scenario.days, float(own.mean()), step)


@dataclass(frozen=True, eq=False)
class KnownAhead:
    """The season without a store, and what is known beforehand of its days."""

    whole: Ahead
    outdoor_c: Array  # each quarter hour
    sun_w: Array
    response: RoomResponse
    forecast: str
    surely: bool  # prices are known for ever, not for tomorrow alone

    def ahead(self, k: int, midnight: int) -> Ahead:
        """Return what is known at a quarter hour; ``midnight`` ends the prices that are known."""
        found = self.whole.cut(k, min(QUARTERS, self.whole.quarters - k))
        if self.forecast == PERFECT:
            return found
        count = found.quarters
        if not self.surely:
            price = found.price.copy()
            for n in range(midnight - k, count):
                price[n] = price[n - DAY_QUARTERS]
            found = found.with_price(price)
        if self.forecast == NOISE:
            lead_h = np.arange(count // 4 + 1, dtype=np.float64)
            hourly = misforecast.errors_k(lead_h, k)
            outdoor_k, sun_w = np.repeat(hourly, 4)[:count], np.zeros(count)
        else:
            back = np.arange(k, k + count) - DAY_QUARTERS
            back = np.where(back < k, back, back - DAY_QUARTERS)
            back = np.maximum(back, 0)
            outdoor_k = self.outdoor_c[back] - self.outdoor_c[k : k + count]
            sun_w = self.sun_w[back] - self.sun_w[k : k + count]
        return found.with_room(*self.response.warmer(outdoor_k, sun_w))


@dataclass(eq=False)
class PlansDaily:
    """Plans each evening and gives the board its quarter hours; keeps how far the model was off."""

    site: Site
    known: KnownAhead
    model: reduced.Reduced
    off_k: list[float]

    def act(self, stage: Stage) -> Events:
        """Plan and advise for as long as the season lasts."""
        whole = self.known.whole
        margin_k = MARGIN_K[self.known.forecast]
        aim = aim_of(self.site, margin_k)
        plan: tuple[Any, ...] = ()
        begun = 0
        expected = np.zeros(1)
        for k in range(whole.quarters):
            yield stage.until(k * QUARTER_MIN * MINUTE_MS)
            store_c = mean_store_c(stage.state)
            local = stage.calendar.local(k * QUARTER_MIN * MINUTE_MS)
            if k and k - begun < len(expected):
                self.off_k.append(float(expected[k - begun] - store_c))
            if not k or (local.hour, local.minute) == (PLANNED_AT_H, 0):
                midnight = k + (48 - local.hour) * 4 - local.minute // QUARTER_MIN
                depth = (
                    float(whole.air_c[k] - stage.state[state.ROOM_AIR_C]),
                    float(whole.mass_c[k] - stage.state[state.ROOM_MASS_C]),
                )
                ahead = self.known.ahead(k, midnight)
                store = store_of(self.site, store_c)
                found = optimise.best(self.model, ahead, aim, store, depth)
                plan, begun = quarters.advice(found, aim.plan_tells), k
                expected = found.store_c
            advice = plan[k - begun]
            stage.sense[sense.ADVICE] = advice.what
            stage.sense[sense.ADVICE_WANTED] = advice.wanted
            stage.sense[sense.ADVICE_MC] = advice.target_mc
            stage.sense[sense.ADVICE_MIN] = QUARTER_MIN
            stage.sense[sense.ADVICE_SEQ] += 1


def planned(site: Site, scenario: Scenario, tariff: str, forecast: str) -> Figures:
    """Simulate the season planned ahead."""
    around = weather_around.Around(
        site.read_weather(), site.calendar(scenario.start), (site.people(),)
    )
    days = scenario.days
    model = reduced.identify(site, around)
    free = weather_around.without_store(site, around, days)
    prices = tariff_of(site, scenario, tariff)
    price = each_minute(prices, around.calendar, days * 1440)[::QUARTER_MIN]
    week = (
        around.calendar.week_s() // 60 + np.arange(0, days * 1440, QUARTER_MIN, dtype=np.int64)
    ) % 10080
    no_start = site.file.schedule.no_start
    may_run = ~(inside_minutes(no_start, week) | inside_minutes(no_start, (week + 14) % 10080))
    wanted = free.wanted()[::QUARTER_MIN][: len(price)]
    known = KnownAhead(
        of_trace(free, price, wanted, may_run),
        free.column("outdoor_c")[::QUARTER_MIN],
        free.column("sun_w")[::QUARTER_MIN],
        RoomResponse(parameters(site.plant())),
        forecast,
        tariff == OWN,
    )
    daily = PlansDaily(site, known, model, [])
    trace = weather_around.bench(site, around, actors=[daily]).run(days)
    off_k = float(np.sqrt(np.mean(np.square(daily.off_k))))
    return figures(site, scenario, trace, prices, off_k)


def fixed(site: Site, scenario: Scenario) -> Trace:
    """Simulate the season by the week plan, which knows neither weather nor prices."""
    around = weather_around.Around(
        site.read_weather(), site.calendar(scenario.start), (site.people(),)
    )
    return weather_around.follow(site, around, scenario.days, ())


def figures(
    site: Site, scenario: Scenario, trace: Trace, prices: Prices, off_k: float | None = None
) -> Figures:
    """Return what a season came to at some prices."""
    kwh = np.diff(np.append(trace.column("mains_j"), trace.ended[state.MAINS_J])) / 3.6e6
    price = each_minute(prices, trace.calendar, len(kwh))
    limit_c = room_limit_c(site)
    return Figures(
        cost=float(kwh @ price) + prices.standing_per_day * scenario.days,
        kwh=float(kwh.sum()),
        hours_over=trace.hours_over(limit_c),
        mean_c=trace.wanted_mean_c(),
        starts=int(trace.summary(limit_c)["starts"]),
        store_off_k=off_k,
    )


def run_planned(
    path: str, changes: Mapping[str, Any], scenario: Scenario, tariff: str, forecast: str
) -> Figures:
    """Simulate a planned season, in any process."""
    return planned(load_site(path, changes), scenario, tariff, forecast)


def run_fixed(path: str, changes: Mapping[str, Any], scenario: Scenario) -> dict[str, Figures]:
    """Simulate the fixed season and price it by each tariff, in any process."""
    site = load_site(path, changes)
    trace = fixed(site, scenario)
    return {t: figures(site, scenario, trace, tariff_of(site, scenario, t)) for t in TARIFFS}

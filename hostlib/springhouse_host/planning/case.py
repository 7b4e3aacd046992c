"""What a plan is made of: the next two days as files and site tell them, and where the store is."""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
from springhouse import advice, setting
from springhouse.ahead import QUARTERS
from springhouse_sim.plant import state as state_slot
from springhouse_sim.trace import wanted_minutes
from springhouse_sim.world.stage import Calendar
from springhouse_sim.world.weather import RANGES, Weather

from ..errors import KnownError
from ..site.site import Site
from ..units import show
from . import around as weather_around
from .ahead import Aim
from .around import Around, Array
from .bookings import Span, booked
from .clock import (
    DAY_QUARTERS,
    QUARTER,
    Flags,
    changes_s,
    inside,
    locals_of,
    minute_of_week,
    quarter_of,
)
from .presence import ClockChanges, Presence
from .reading import SUN, Forecast, Stamped
from .store import ReducedStore

RUN_UP_QUARTERS = DAY_QUARTERS
BELOW_WARM_FILL_K = 0.8  # soon the controller calls the store spent
HOUR = timedelta(hours=1)


@dataclass(frozen=True)
class State:
    """What is known of the installation now [°C]; None: as the fixed schedule leaves it."""

    store_c: float | None = None
    room_c: float | None = None
    said: str = ""  # by whom


@dataclass(frozen=True, eq=False)
class PlanCase:
    """All that goes into a plan."""

    site: Site
    start: datetime  # UTC, beginning of a quarter hour
    zone: ZoneInfo
    weather: Weather  # in the station's standard time
    price: Array
    wanted: Flags
    may_run: Flags
    around: Around  # from the start on
    initial: Array  # state of the plant at the start
    notes: tuple[str, ...]  # what was assumed

    @property
    def local(self) -> list[datetime]:
        """What the clock on the wall shows at the beginning of each quarter hour."""
        return locals_of(self.start, QUARTERS, self.zone)

    @property
    def lead_h(self) -> Array:
        """Hours from the start to each hour of the weather."""
        first = _instant(self.site, self.weather.first)
        hours = np.arange(self.weather.hours)
        return np.asarray((first - self.start) / HOUR + hours)

    def aim(self, margin_k: float) -> Aim:
        """Return what the room is held to."""
        return aim_of(self.site, margin_k)

    def store(self) -> ReducedStore:
        """Return the store: the owner's range and how warm it is."""
        return store_of(self.site, mean_store_c(self.initial))


def aim_of(site: Site, margin_k: float) -> Aim:
    """Return what the room of a site is held to."""
    settings = site.settings()
    target_c = settings[setting.ROOM_TARGET_MC] / 1000.0
    limit_c = max(float(site.file.promises.room_below_c), target_c)
    tells = settings[setting.ADVISED] == advice.CHARGING_AND_ROOM
    return Aim(limit_c, target_c, margin_k, tells, settings[setting.USEFUL_MK] / 1000.0)


def store_of(site: Site, now_c: float) -> ReducedStore:
    """Return what the owner of a site lets its store be, and how warm it is."""
    settings = site.settings()
    deep, shallow, band = (
        settings[n] / 1000.0 for n in (setting.DEEP_MC, setting.SHALLOW_MC, setting.BAND_MK)
    )
    return ReducedStore(
        now_c, deep, shallow, band, settings[setting.WARM_FILL_MC] / 1000.0 - BELOW_WARM_FILL_K
    )


def mean_store_c(state: Array) -> float:
    """Return the mean temperature of the water [°C]."""
    return float(np.mean(state[state_slot.WATER_C : state_slot.WATER_C + state_slot.LAYERS]))


def gather(
    site: Site,
    begin: datetime,
    zone: ZoneInfo,
    forecast: Forecast | None,
    prices: Stamped | None,
    bookings: list[Span] | None,
    state: State,
    us: bool = False,
) -> PlanCase:
    """Put together what is known; what is not is taken from the site, and said.

    Raises:
        KnownError: a file does not cover the time, or nothing tells the weather of these days.
    """
    start = quarter_of(begin)
    local = locals_of(start, QUARTERS, zone)
    notes: list[str] = []
    weather = _weather(site, start, forecast, notes)
    price = _prices(site, start, local, prices, notes)
    schedule = site.file.schedule
    week = wanted_minutes(bytes(site.settings()))
    wanted = np.array([bool(week[minute_of_week(t)]) for t in local])
    if bookings is not None:
        there = np.array(booked(bookings, start, QUARTERS), np.bool_)
        if site.settings()[setting.ADVISED] == advice.CHARGING_AND_ROOM:
            wanted = there
        else:
            wanted &= there
            notes.append("the board cools the room in its week plan's hours, booked or not")
    last = [t + timedelta(minutes=14) for t in local]
    may_run = ~(inside(schedule.no_start, local) | inside(schedule.no_start, last))
    run_up = _around(site, start - RUN_UP_QUARTERS * QUARTER, RUN_UP_QUARTERS, zone, weather, None)
    initial = _state(site, run_up, state, notes, us)
    around = _around(site, start, QUARTERS, zone, weather, bookings)
    return PlanCase(
        site, start, zone, weather, price, wanted, may_run, around, initial, tuple(notes)
    )


def _standard(site: Site, t: datetime) -> datetime:
    """Return an instant in the station's standard time, without a zone."""
    offset = timedelta(hours=site.read_weather().place.utc_offset_h)
    return t.astimezone(UTC).replace(tzinfo=None) + offset


def _instant(site: Site, standard: datetime) -> datetime:
    return (standard - timedelta(hours=site.read_weather().place.utc_offset_h)).replace(tzinfo=UTC)


def _around(
    site: Site,
    start: datetime,
    quarters: int,
    zone: ZoneInfo,
    weather: Weather,
    bookings: list[Span] | None,
) -> Around:
    standard = _standard(site, start)
    local = start.astimezone(zone)
    ahead = local.replace(tzinfo=None) - standard
    room = site.file.room
    times = locals_of(start, quarters, zone)
    people, equipment = inside(room.people_hours, times), inside(room.equipment_hours, times)
    if bookings is not None:
        people = np.array(booked(bookings, start, quarters), np.bool_)
        equipment = people if room.equipment_hours else equipment
    there = Presence(
        (people * room.people).tolist(),
        room.people_activity,
        (equipment * room.equipment_w + room.idle_w).tolist(),
    )
    calendar = Calendar(standard, round(ahead / timedelta(minutes=1)))
    return Around(weather, calendar, (there, ClockChanges(changes_s(start, quarters, zone))))


def _weather(site: Site, start: datetime, forecast: Forecast | None, notes: list[str]) -> Weather:
    """Return hourly weather from the run-up to behind the horizon."""
    typical = site.read_weather()
    first = (start - RUN_UP_QUARTERS * QUARTER).replace(minute=0) - HOUR
    if forecast is not None:
        first += timedelta(minutes=forecast.first.minute)
        if forecast.first - start > HOUR:
            raise KnownError(
                f"--forecast: begins at {forecast.first:%Y-%m-%d %H:%M} UTC, the plan at "
                f"{start:%Y-%m-%d %H:%M} UTC"
            )
    hours = (RUN_UP_QUARTERS + QUARTERS) // 4 + 4
    times = [first + k * HOUR for k in range(hours)]
    columns: dict[str, Any] = {name: np.full(hours, np.nan) for name in ("temp_air_c", *_OTHERS)}
    wanting = [name for name in columns if forecast is None or name not in forecast.columns]
    if forecast is not None:
        for name, known in forecast.columns.items():
            columns[name] = _spread(known, forecast, times)
        told = forecast.hours + (forecast.first - start) / HOUR
        if told < QUARTERS / 4:
            if told < 24.0:
                raise KnownError(f"--forecast: tells {max(0.0, told):.0f} hours, at least 24")
            notes.append(f"weather: forecast for {told:.0f} hours, then the day before again")
    else:
        notes.append("weather: no --forecast, the site's typical days of the date")
    if wanting:
        if forecast is not None:
            names = ", ".join(n for n in wanting if n != "pressure_pa")
            if names:
                notes.append(f"weather: {names} of typical days")
        places = [_row(site, typical, t) for t in times]
        for name in wanting:
            column = getattr(typical, name)
            columns[name] = np.array([typical.between_rows(column, at) for at in places])
    columns["dew_point_c"] = np.minimum(columns["dew_point_c"], columns["temp_air_c"])
    source = "forecast" if forecast is not None else typical.source
    first = _standard(site, times[0])
    given = {name: columns[name] for name in RANGES}
    return Weather(source, typical.place, first, cyclic=False, **given)


_OTHERS = ("dew_point_c", "pressure_pa", *SUN)


def _row(site: Site, typical: Weather, t: datetime) -> float:
    standard = _standard(site, t)
    day = 28 if (standard.month, standard.day) == (2, 29) else standard.day
    for year in (typical.first.year, typical.first.year + 1):
        try:
            return typical.hour_of(standard.replace(year=year, day=day))
        except ValueError as error:
            last = error
    raise KnownError(f"{site.path}: weather: {last}: --forecast with all columns is needed")


def _spread(known: Array, forecast: Forecast, times: list[datetime]) -> Array:
    """Return a column at these hours; outside of the forecast the nearest day of it again."""
    found = np.empty(len(times))
    for k, t in enumerate(times):
        at = round((t - forecast.first) / HOUR)
        if at < 0:
            at %= 24
        elif at >= forecast.hours:
            at = forecast.hours - 24 + (at - forecast.hours) % 24
        found[k] = known[at]
    return found


def _prices(
    site: Site,
    start: datetime,
    local: list[datetime],
    prices: Stamped | None,
    notes: list[str],
) -> Array:
    if prices is None:
        notes.append("prices: no --prices, the site's own tariff")
        tariff = site.tariff()
        return np.array([tariff.rate(t.replace(tzinfo=None)).price_kwh for t in local])
    found = np.empty(QUARTERS)
    told = QUARTERS
    for k in range(QUARTERS):
        price = prices.at(start + k * QUARTER)
        if price is None:
            told = min(told, k)
            if k < DAY_QUARTERS:
                hours = f"{told / 4:g} hours"
                raise KnownError(
                    f"--prices: tell {hours} from {start:%Y-%m-%d %H:%M} UTC on, at least 24"
                )
            price = float(found[k - DAY_QUARTERS])
        found[k] = price
    if told < QUARTERS:
        notes.append(f"prices: told for {told / 4:g} hours, then those of the day before again")
    return found


def _state(site: Site, run_up: Around, state: State, notes: list[str], us: bool) -> Array:
    """Return the state of the plant after a day of the fixed schedule, put to what is known."""
    found = np.array(weather_around.follow(site, run_up, RUN_UP_QUARTERS / DAY_QUARTERS, ()).ended)
    if state.said:
        notes.append(state.said)
    if state.store_c is None:
        shown = show(mean_store_c(found), "°C", us=us)
        notes.append(
            f"store: no --store-c and no --record, {shown} as the fixed schedule leaves it"
        )
    else:
        found[state_slot.WATER_C : state_slot.WATER_C + state_slot.LAYERS] = state.store_c
        found[state_slot.ICE_KG : state_slot.ICE_KG + state_slot.LAYERS] = 0.0
        found[state_slot.STORE_LOW_PROBE_C] = found[state_slot.STORE_HIGH_PROBE_C] = state.store_c
    if state.room_c is not None:
        by_k = state.room_c - found[state_slot.ROOM_AIR_C]
        for slot in (state_slot.ROOM_AIR_C, state_slot.ROOM_MASS_C, state_slot.ROOM_PROBE_C):
            found[slot] += by_k
    return found

"""The sizing sheet: does the cold of one charge cover the heat of the hottest day, and what else?

Every heat flow is read off the plant model, held steady at a few working points; between them
straight lines are drawn. No controller runs here: what the installation really does, with its
hysteresis, tariff and faults, is for `springhouse prove` to say.
"""

from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, replace
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np
from springhouse import setting
from springhouse_sim.plant import given, moist_air, state, tap, water
from springhouse_sim.world.days import Days, hottest, typical
from springhouse_sim.world.sun import through_window_w
from springhouse_sim.world.weather import Weather
from springhouse_sim.world.windows import Window

from ..site import VARIANTS, Site, Variant
from ..site.probes import probe_error_k
from . import advice, curves, lasting, parts_asked, running, surfaces
from .charge import LONGEST_H as LONGEST_H
from .charge import Discharge, cold_kwh, discharge, hours_between
from .gain import Gain, room_gain
from .working_point import Array, Case, Delivery, battery_hours, charging_w, delivery

if TYPE_CHECKING:
    from springhouse_sim.plant.plant import Plant

DELIVERY_POINTS = 4
HUMIDITY_POINTS = 3
CHARGING_POINTS = 4
DUTY_POINTS = 3
STEPS = len(VARIANTS) * (DELIVERY_POINTS * HUMIDITY_POINTS + CHARGING_POINTS)  # for progress

FILL_C = 20.0  # cool tap water in summer
DRY_DEW_C = 8.0  # drier than a chilled coil leaves a room
UNMEASURED_DEW_K = 3.0  # allowance on the weather's dew point where humidity is not measured
NO_TRIP_C = 180.0  # most it accepts: how warm a motor would get is what is asked
BLIND_C = 4.0  # below it a probe near the bottom cannot see ice


@dataclass(frozen=True)
class Duty:
    """The coil at full fans and one store temperature, in the room's most humid air."""

    store_c: float
    sensible_w: float
    latent_w: float
    air_off_c: float


@dataclass(frozen=True)
class Sheet:
    """The sizing sheet for one reading of the labels."""

    gain: Gain
    flow_l_min: float
    air_off_c: float
    cooling_w: float  # of the room at full fans, store at the deep target
    coil_duty: tuple[Duty, ...]
    loop: curves.Curves
    cold_stored_kwh: float  # from the deep target to the end of discharge, ice included
    cold_in_ice_kwh: float  # of that, in ice of a declared bank
    second_probe_kwh: float  # of the water's, only usable with a probe at the wall
    discharge_h: float  # of planning: held_h, or useful_h where not even a full store holds it
    held_h: float
    useful_h: float
    discharge_end_c: float
    condensate_l_day: float
    tray_full_h: float | None  # delivery until the tray's float opens; None: nothing condenses
    pull_down_h: float | None  # back from the end of discharge; None: never gets there
    first_chill_h: float | None  # from tap water, its rests included; None: never gets there
    battery_h: float | None  # None: no battery
    coil_share: float  # of the wanted hours' mean gain that full delivery covers, store full
    dry_store_c: float | None  # lowest store temperature without condensate; None: there is none
    surfaces: tuple[surfaces.Surface, ...]
    at_work: running.Charging
    mean_day: running.Continuous
    worst_day: running.Continuous
    mean_use: running.Day  # a mean summer day's wanted hours
    design_day: running.Day
    limits: tuple[advice.Limit, ...]
    hold_days: float | None  # all off, from the deep target to the end of discharge
    power_cut: lasting.PowerCut
    sun_h: float | None  # a day, of pump, fans and board; None: no panel
    water: tuple[lasting.Water, ...]
    fan_ways: tuple[parts_asked.Fans, ...]
    sound_db: float | None  # at the listener, full fans; None: no label
    quiet_db: float | None
    brines: tuple[parts_asked.Brine, ...]
    open_lid: tuple[parts_asked.Lid, ...]


@dataclass(frozen=True)
class Sizing:
    """The sheet for the low, middle and high reading of the labels."""

    site: str
    evidence: str
    day: Days
    wanted_h: float
    charging_h: float
    dew_point_c: float
    sheets: dict[Variant, Sheet]
    places: tuple[str, ...]  # where draw, return and probes belong
    standing: tuple[str, ...]  # where the freezer stands
    real_year: int | None = None  # of the day; None where the weather is a typical year

    @property
    def whose_day(self) -> str:
        """Which year the hottest day is of, in words."""
        return "a typical year" if self.real_year is None else f"the year {self.real_year}"

    def as_json(self) -> dict[str, Any]:
        """Return plain data in SI units, the unit at the end of each key."""
        day = {
            "date_of_typical_year": self.day.first.strftime("%m-%d"),
            "mean_c": self.day.mean_c,
            "mean_dew_point_c": self.day.mean_dew_c,
        }
        return {"schema": 2} | asdict(self) | {"day": day}

    def spread(self, value: Callable[[Sheet], Any]) -> Mapping[Variant, Any]:
        """Return one figure for each reading of the labels."""
        return {variant: value(sheet) for variant, sheet in self.sheets.items()}


@lru_cache(maxsize=64)
def minutes_of_day(windows: tuple[Window, ...], weekday: int) -> int:
    """Return the minutes of a weekday (Monday 0) inside the windows; all where there are none."""
    if not windows:
        return 1440
    return sum(any(w.contains(weekday * 1440 + m) for w in windows) for m in range(1440))


def busiest_weekday(windows: tuple[Window, ...]) -> int:
    """Return the first day of the week (Monday 0) with the most minutes inside the windows."""
    return max(range(7), key=lambda day: (minutes_of_day(windows, day), -day))


def coil_duty(case: Case, u: Array, store_c: Array, humidity: float) -> tuple[Duty, ...]:
    """Return what the coil takes at each store temperature."""
    found = []
    for temperature in store_c:
        _, _, t = case.steady(u, float(temperature), humidity)
        duty = (t[tap.COIL_SENSIBLE_W], t[tap.COIL_LATENT_W], t[tap.AIR_OFF_C])
        found.append(Duty(float(temperature), *(float(value) for value in duty)))
    return tuple(found)


def _slot(site: Site, slot: int) -> int:
    return site.settings()[slot]


def second_probe_kwh(site: Site, deep_c: float) -> float:
    """Return the cold that only a probe near surface and wall makes usable [kWh].

    With the low probe alone the compressor has to stop at 4 °C and that probe's error.
    """
    blind_c = BLIND_C + probe_error_k("store_low", site.file.sensors.ice_point_checked)
    return cold_kwh(site.file.store.water_litres, min(deep_c, blind_c), blind_c)


@dataclass(frozen=True)
class Use:
    """A day's wanted hours out of the store, and the compressor that makes up for them."""

    gain: Gain
    spent: Discharge
    hours: float  # of delivery
    day: running.Day
    at_work: running.Charging


def use(case: Case, d: Delivery, humid: float, u: Array) -> Use:
    """Return what the wanted hours of a day take."""
    file = case.site.file
    gain = room_gain(case, humid)
    wanted_h = minutes_of_day(file.schedule.wanted, case.weekday) / 60.0
    spent = discharge(case, d, gain.mean_w, u, wanted_h)
    at_work = running.charging(case, 0.5 * (case.deep_c + spent.end_c), file.schedule.charging)
    hours = min(wanted_h, spent.hours)
    charge_kwh = cold_kwh(file.store.water_litres, case.deep_c, spent.end_c, bank_kg(case.site))
    store_kwh = charge_kwh * hours / max(spent.hours, 1e-9)
    day = running.day_of(case, at_work, store_kwh, hours, float(u[given.FAN_DUTY]))
    return Use(gain, spent, hours, day, at_work)


def bank_kg(site: Site) -> float:
    """Return the ice of a declared ice bank [kg], 0 without one."""
    return site.file.store.ice_limit_kg if site.file.store.ice_bank else 0.0


def on_duty(case: Case) -> Array:
    """Return what acts on the plant in the mean of the wanted hours, pump and fans running."""
    u = np.mean(case.day_given(case.site.file.schedule.wanted), axis=0)
    u[given.PUMP_DUTY] = 1.0
    u[given.FAN_DUTY] = _slot(case.site, setting.FAN_FULL_PM) / 1000.0
    return np.asarray(u)


def sheet(case: Case, mean: Days, dew_point_c: float, tick: Callable[[], None]) -> Sheet:
    """Return the sheet for one plant; ``mean`` is a mean summer day."""
    site, file = case.site, case.site.file
    litres = file.store.water_litres
    u = on_duty(case)
    pressure_pa = float(u[given.PRESSURE_PA])
    ratios = [moist_air.saturated_humidity_ratio(c, pressure_pa) for c in (DRY_DEW_C, dew_point_c)]
    humidity = np.linspace(min(ratios), max(ratios), HUMIDITY_POINTS)
    humid = float(humidity[-1])

    useful_k = (_slot(site, setting.USEFUL_MK) - _slot(site, setting.USEFUL_BAND_MK)) / 1000.0
    warmest_c = max(case.deep_c + 1.0, case.room_c - useful_k)
    d = delivery(case, u, np.linspace(case.deep_c, warmest_c, DELIVERY_POINTS), humidity, tick)
    design = use(case, d, humid, u)
    mean_case = running.on_day(case, mean)
    usual = use(mean_case, d, humid, on_duty(mean_case))
    gain, spent, at_work = design.gain, design.spent, design.at_work
    duty = coil_duty(case, u, np.linspace(case.deep_c, spent.end_c, DUTY_POINTS), humid)

    charge = np.mean(case.day_given(file.schedule.charging), axis=0)
    charge[given.COMPRESSOR_RELAY] = 1.0
    chilling_c = np.linspace(case.deep_c, max(FILL_C, warmest_c), CHARGING_POINTS)
    net_w = charging_w(case, charge, chilling_c, tick)
    ice_j = bank_kg(site) * water.LATENT_FUSION_J_KG
    pull_down_h = hours_between(chilling_c, net_w, litres, spent.end_c, case.deep_c)
    if pull_down_h is not None:
        pull_down_h += ice_j / float(net_w[0]) / 3600.0
    first_h = hours_between(chilling_c, net_w, litres, FILL_C, case.deep_c)
    run, rest = _slot(site, setting.PULL_DOWN_RUN_MIN), _slot(site, setting.PULL_DOWN_REST_MIN)

    condensate_l_h = spent.condensate_kg / max(design.hours, 1e-9)
    drips = condensate_l_h > 1e-6
    tray_full_h = file.tray.float_opens_litres / condensate_l_h if drips else None
    battery_h = battery_hours(case)
    room_w = float(d.room_w[0, -1])
    amounts = lasting.amounts(case, d, gain.mean_w, u, chilling_c, net_w, spent.end_c)
    load = case.at_once(u, humid)
    load_w = float(load[state.PUMP_J] + load[state.FAN_J] + load[state.BOARD_J])
    coil = file.coil

    def sound(duty: float) -> float | None:
        if coil.fan_db_a is None:
            return None
        return parts_asked.sound_db(coil.fan_db_a, coil.fans, duty, coil.listener_m)

    return Sheet(
        gain=gain,
        flow_l_min=d.flow_l_min,
        air_off_c=d.air_off_c,
        cooling_w=room_w,
        coil_duty=duty,
        loop=curves.curves(case.plant.loop),
        cold_stored_kwh=cold_kwh(litres, case.deep_c, spent.end_c, bank_kg(site)),
        cold_in_ice_kwh=ice_j / 3.6e6,
        second_probe_kwh=second_probe_kwh(site, case.deep_c),
        discharge_h=spent.hours,
        held_h=spent.held_h,
        useful_h=spent.useful_h,
        discharge_end_c=spent.end_c,
        condensate_l_day=spent.condensate_kg,
        tray_full_h=tray_full_h,
        pull_down_h=pull_down_h,
        first_chill_h=None if first_h is None else first_h * (run + rest) / run,
        battery_h=battery_h,
        coil_share=spent.room_share,
        dry_store_c=surfaces.dry_store_c(case, u, dew_point_c),
        surfaces=surfaces.surfaces(case, dew_point_c, at_work.place_mean_c),
        at_work=at_work,
        mean_day=running.continuous(mean_case, "mean summer day", usual.gain.day_w),
        worst_day=running.continuous(case, "design day", gain.day_w),
        mean_use=usual.day,
        design_day=design.day,
        hold_days=next(w.hold_days for w in amounts if w.litres == litres),
        power_cut=lasting.PowerCut(spent.hours, battery_h),
        sun_h=lasting.sun_h(case, load_w),
        water=amounts,
        fan_ways=parts_asked.fan_ways(case, u, humid),
        sound_db=sound(float(u[given.FAN_DUTY])),
        quiet_db=sound(_slot(site, setting.FAN_QUIET_PM) / 1000.0),
        brines=parts_asked.brines(case, d.flow_l_min),
        open_lid=parts_asked.open_lid(case, u, at_work.place_mean_c),
        limits=advice.limits(
            discharge_h=spent.hours,
            wanted_h=minutes_of_day(file.schedule.wanted, case.weekday) / 60.0,
            compressor_h=design.day.run_h,
            charging_h=minutes_of_day(file.schedule.charging, case.weekday) / 60.0,
            room_w=room_w,
            gain_peak_w=gain.peak_w,
            tray_full_h=tray_full_h,
            open_drain=file.tray.open_drain,
            at_work=at_work,
            climate_class=file.freezer.climate_class,
            battery_h=battery_h,
        ),
    )


def case_for(site: Site, variant: Variant, plant: "Plant", weather: Weather, day: Days) -> Case:
    """Return one plant on the design day, its motor without protector."""
    plant = replace(plant, freezer=replace(plant.freezer, overload_trip_c=NO_TRIP_C))
    sun_w = np.zeros(weather.hours)
    for pane in site.glazing(variant):
        sun_w += through_window_w(weather, pane)
    return Case(
        plant=plant,
        p=plant.params(),
        weather=weather,
        sun_w=sun_w,
        site=site,
        day=day,
        weekday=busiest_weekday(site.file.schedule.wanted),
        room_c=_slot(site, setting.ROOM_TARGET_MC) / 1000.0,
        deep_c=max(0.0, _slot(site, setting.DEEP_MC) / 1000.0),
    )


def size(
    site: Site,
    tick: Callable[[], None] = lambda: None,
    variants: tuple[Variant, ...] = VARIANTS,
) -> Sizing:
    """Return the sizing sheet of a site.

    Args:
        site: a validated site.
        tick: called ``STEPS`` times on the way for all three readings, for a progress bar.
        variants: the readings of the labels wanted.

    Raises:
        SiteError: when the weather cannot be read or a part refuses what its label leads to.
    """
    weather = site.read_weather()
    day = hottest(weather, 1)
    mean = _mean_day(weather, day)
    schedule, freezer = site.file.schedule, site.file.freezer
    weekday = busiest_weekday(schedule.wanted)
    allowance_k = UNMEASURED_DEW_K if site.file.sensors.humidity == "absent" else 0.0
    dew_point_c = min(
        day.mean_dew_c + allowance_k, _slot(site, setting.ROOM_TARGET_MC) / 1000.0 - 1.0
    )
    sheets = {
        variant: sheet(
            case_for(site, variant, site.plant(variant), weather, day), mean, dew_point_c, tick
        )
        for variant in variants
    }
    middle = sheets["mid" if "mid" in sheets else variants[0]]
    is_room = site.file.place.is_cooled_room
    standing = advice.standing(
        is_room, middle.at_work, freezer.climate_class, middle.mean_day, middle.gain.mean_w
    )
    return Sizing(
        site=site.name,
        evidence=site.evidence,
        day=day,
        wanted_h=minutes_of_day(schedule.wanted, weekday) / 60.0,
        charging_h=minutes_of_day(schedule.charging, weekday) / 60.0,
        dew_point_c=dew_point_c,
        sheets=sheets,
        places=tuple(advice.places(site.plant())),
        standing=tuple(standing),
        real_year=None if weather.cyclic else day.first.year,
    )


def _mean_day(weather: Weather, hottest_day: Days) -> Days:
    """Return a mean summer day; of a file without a summer the hottest stands in."""
    try:
        return typical(weather, 1)
    except ValueError:
        return hottest_day

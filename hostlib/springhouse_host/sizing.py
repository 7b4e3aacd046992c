"""The first sizing sheet: does the cold of one charge cover the heat of the hottest day?

Every heat flow is read off the plant model, held steady at a few working points; between them
straight lines are drawn. No controller runs here: what the installation really does, with its
hysteresis, tariff and faults, is for `springhouse prove` to say.
"""

from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np
from springhouse import setting as S
from springhouse_sim.plant import given as U
from springhouse_sim.plant import moist_air, water
from springhouse_sim.plant import param as P
from springhouse_sim.plant import state as X
from springhouse_sim.plant.plant import Plant
from springhouse_sim.world.days import Days, hottest
from springhouse_sim.world.sun import through_window_w
from springhouse_sim.world.weather import Weather
from springhouse_sim.world.windows import Window

from .site import VARIANTS, Site, Variant
from .working_point import Array, Case, Delivery, battery_hours, charging_w, delivery

DELIVERY_POINTS = 4
HUMIDITY_POINTS = 3
CHARGING_POINTS = 4
STEPS = len(VARIANTS) * (DELIVERY_POINTS * HUMIDITY_POINTS + CHARGING_POINTS)  # for progress

FILL_C = 20.0  # cool tap water in summer
DRY_DEW_C = 8.0  # drier than a chilled coil leaves a room
UNMEASURED_DEW_K = 3.0  # allowance on the weather's dew point where humidity is not measured
QUICK_PLACE_J_K = 2e4  # least the model accepts: the place follows its heat while all settles
MARCH_S = 300.0
LONGEST_H = 72.0
J_KWH = 3.6e6

CAUSES = {
    "outdoors": X.OUTDOOR_TO_ROOM_J,
    "fresh air": X.INFILTRATION_SENSIBLE_J,
    "sun": X.SUN_J,
    "people": X.PEOPLE_SENSIBLE_J,
    "equipment": X.EQUIPMENT_J,
}


@dataclass(frozen=True)
class Gain:
    """Heat into a room held at its target on the design day, by cause."""

    kwh_day: dict[str, float]
    wanted_w: dict[str, float]  # mean over the wanted hours

    @property
    def mean_w(self) -> float:
        """Heat to be taken away in the wanted hours, mean [W]."""
        return sum(self.wanted_w.values())


@dataclass(frozen=True)
class Discharge:
    """One charge spent on the mean gain of the wanted hours, without a pause."""

    hours: float  # at most LONGEST_H
    end_c: float  # store temperature at which full delivery no longer covers the gain
    condensate_kg: float  # within the wanted hours of one day


@dataclass(frozen=True)
class Sheet:
    """The sizing sheet for one reading of the labels."""

    gain: Gain
    flow_l_min: float
    air_off_c: float
    cooling_w: float  # of the room at full fans, store at the deep target
    cold_stored_kwh: float  # from the deep target to the end of discharge
    discharge_h: float
    discharge_end_c: float
    condensate_l_day: float
    pull_down_h: float | None  # back from the end of discharge; None: never gets there
    first_chill_h: float | None  # from tap water, its rests included; None: never gets there
    battery_h: float | None  # None: no battery


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

    def as_json(self) -> dict[str, Any]:
        """Return plain data in SI units, the unit at the end of each key."""
        day = {
            "date_of_typical_year": self.day.first.strftime("%m-%d"),
            "mean_c": self.day.mean_c,
            "mean_dew_point_c": self.day.mean_dew_c,
        }
        return {"schema": 1} | asdict(self) | {"day": day}

    def spread(self, value: Callable[[Sheet], Any]) -> Mapping[Variant, Any]:
        """Return one figure for each reading of the labels."""
        return {variant: value(self.sheets[variant]) for variant in VARIANTS}


def minutes_of_day(windows: tuple[Window, ...], weekday: int) -> int:
    """Return the minutes of a weekday (Monday 0) inside the windows; all where there are none."""
    if not windows:
        return 1440
    return sum(any(w.contains(weekday * 1440 + m) for w in windows) for m in range(1440))


def busiest_weekday(windows: tuple[Window, ...]) -> int:
    """Return the first day of the week (Monday 0) with the most minutes inside the windows."""
    return max(range(7), key=lambda day: (minutes_of_day(windows, day), -day))


def room_gain(case: Case, humidity: float) -> Gain:
    """Return the heat into the room by cause over the design day."""
    wanted = case.site.file.schedule.wanted

    def mean_w(moments: Array) -> dict[str, float]:
        flows = np.mean([case.at_once(u, humidity) for u in moments], axis=0)
        return {cause: float(flows[slot]) for cause, slot in CAUSES.items()}

    kwh_day = {cause: w * 24.0 / 1000.0 for cause, w in mean_w(case.day_given()).items()}
    return Gain(kwh_day, mean_w(case.day_given(wanted)))


def litres_kg(litres: float) -> float:
    """Return the mass of so many litres of cold water [kg]."""
    return litres / 1000.0 * water.density_kg_m3(5.0)


def cold_kwh(litres: float, from_c: float, to_c: float, ice_kg: float = 0.0) -> float:
    """Return the heat a store takes up between two temperatures, its ice included [kWh]."""
    span_j_kg = water.enthalpy_j_kg(to_c) - water.enthalpy_j_kg(from_c)
    return (litres_kg(litres) * span_j_kg + ice_kg * water.LATENT_FUSION_J_KG) / J_KWH


def hours_between(
    store_c: Array, net_w: Array, litres: float, warm_c: float, cold_c: float
) -> float | None:
    """Return how long ``net_w`` over rising ``store_c`` takes to chill the water [h].

    None where it does not suffice on the way.
    """
    edges = np.linspace(cold_c, warm_c, 51)
    watts = np.interp(0.5 * (edges[1:] + edges[:-1]), store_c, net_w)
    if np.any(watts <= 0.0):
        return None
    enthalpy = np.array([water.enthalpy_j_kg(float(t)) for t in edges])
    return float(np.sum(litres_kg(litres) * np.diff(enthalpy) / watts) / 3600.0)


def _at(d: Delivery, table: Array, store_c: float, humidity: float) -> float:
    """Return a table of ``Delivery`` between its points, its edges held outside."""
    columns = [np.interp(store_c, d.store_c, table[:, j]) for j in range(len(d.humidity))]
    return float(np.interp(humidity, d.humidity, columns))


def discharge(case: Case, d: Delivery, gain_w: float, u: Array, wanted_h: float) -> Discharge:
    """Return one charge spent on ``gain_w``, the room's moisture following.

    The pump runs the share of the time that takes away just the gain. Ice of a declared ice bank
    is spent first, at the deep target.
    """
    store = case.site.file.store
    ice_j = store.ice_limit_kg * water.LATENT_FUSION_J_KG if store.ice_bank else 0.0
    heat_j_k = litres_kg(store.water_litres) * 4200.0
    outdoor = u[U.OUTDOOR_HUMIDITY_RATIO]
    fresh_kg_s = case.p[P.INFILTRATION_M3_S] / moist_air.specific_volume_m3_kg(
        u[U.OUTDOOR_C], outdoor, u[U.PRESSURE_PA]
    )
    store_c, humidity = case.deep_c, float(d.humidity[-1])
    hours = condensate_kg = 0.0
    while hours < LONGEST_H:
        room_w = _at(d, d.room_w, store_c, humidity)
        if room_w < gain_w or store_c >= d.store_c[-1]:
            break
        duty = max(0.0, gain_w) / max(1.0, room_w)
        into_j = MARCH_S * duty * _at(d, d.water_w, store_c, humidity)
        into_j += MARCH_S * max(0.0, _at(d, d.standing_w, store_c, humidity))
        dew_kg_s = duty * _at(d, d.condensate_kg_s, store_c, humidity)
        melted_j = min(ice_j, into_j)
        ice_j -= melted_j
        store_c += (into_j - melted_j) / heat_j_k
        vapour_kg_s = u[U.PEOPLE_MOISTURE_KG_S] + fresh_kg_s * (outdoor - humidity) - dew_kg_s
        humidity += MARCH_S * vapour_kg_s / case.p[P.MOISTURE_KG]
        if hours < wanted_h:
            condensate_kg += MARCH_S * dew_kg_s
        hours += MARCH_S / 3600.0
    return Discharge(hours, min(store_c, float(d.store_c[-1])), condensate_kg)


def _slot(site: Site, slot: int) -> int:
    return site.settings()[slot]


def sheet(case: Case, dew_point_c: float, tick: Callable[[], None]) -> Sheet:
    """Return the sheet for one plant."""
    site, file = case.site, case.site.file
    litres = file.store.water_litres
    ratios = [moist_air.saturated_humidity_ratio(c, 101325.0) for c in (DRY_DEW_C, dew_point_c)]
    humidity = np.linspace(min(ratios), max(ratios), HUMIDITY_POINTS)
    gain = room_gain(case, float(humidity[-1]))

    useful_k = (_slot(site, S.USEFUL_MK) - _slot(site, S.USEFUL_BAND_MK)) / 1000.0
    warmest_c = max(case.deep_c + 1.0, case.room_c - useful_k)
    u = np.mean(case.day_given(file.schedule.wanted), axis=0)
    u[U.PUMP_DUTY] = 1.0
    u[U.FAN_DUTY] = _slot(site, S.FAN_FULL_PM) / 1000.0
    temperatures = np.linspace(case.deep_c, warmest_c, DELIVERY_POINTS)
    d = delivery(case, u, temperatures, humidity, tick)
    wanted_h = minutes_of_day(file.schedule.wanted, case.weekday) / 60.0
    spent = discharge(case, d, gain.mean_w, u, wanted_h)

    u = np.mean(case.day_given(file.schedule.charging), axis=0)
    u[U.COMPRESSOR_RELAY] = 1.0
    chilling_c = np.linspace(case.deep_c, max(FILL_C, warmest_c), CHARGING_POINTS)
    net_w = charging_w(case, u, chilling_c, tick)
    ice_kg = file.store.ice_limit_kg if file.store.ice_bank else 0.0
    pull_down_h = hours_between(chilling_c, net_w, litres, spent.end_c, case.deep_c)
    if pull_down_h is not None:
        pull_down_h += ice_kg * water.LATENT_FUSION_J_KG / float(net_w[0]) / 3600.0
    first_h = hours_between(chilling_c, net_w, litres, FILL_C, case.deep_c)
    run, rest = _slot(site, S.PULL_DOWN_RUN_MIN), _slot(site, S.PULL_DOWN_REST_MIN)
    return Sheet(
        gain=gain,
        flow_l_min=d.flow_l_min,
        air_off_c=d.air_off_c,
        cooling_w=float(d.room_w[0, -1]),
        cold_stored_kwh=cold_kwh(litres, case.deep_c, spent.end_c, ice_kg),
        discharge_h=spent.hours,
        discharge_end_c=spent.end_c,
        condensate_l_day=spent.condensate_kg,
        pull_down_h=pull_down_h,
        first_chill_h=None if first_h is None else first_h * (run + rest) / run,
        battery_h=battery_hours(case),
    )


def case_for(site: Site, variant: Variant, plant: Plant, weather: Weather, day: Days) -> Case:
    """Return one plant on the design day, with a place that settles fast."""
    quick = replace(plant, place=replace(plant.place, heat_capacity_j_k=QUICK_PLACE_J_K))
    sun_w = np.zeros(weather.hours)
    for pane in site.glazing(variant):
        sun_w += through_window_w(weather, pane)
    return Case(
        plant=quick,
        p=quick.params(),
        weather=weather,
        sun_w=sun_w,
        site=site,
        day=day,
        weekday=busiest_weekday(site.file.schedule.wanted),
        room_c=_slot(site, S.ROOM_TARGET_MC) / 1000.0,
        deep_c=max(0.0, _slot(site, S.DEEP_MC) / 1000.0),
    )


def size(site: Site, tick: Callable[[], None] = lambda: None) -> Sizing:
    """Return the sizing sheet of a site.

    Args:
        site: a validated site.
        tick: called ``STEPS`` times on the way, for a progress bar.

    Raises:
        SiteError: when the weather cannot be read or a part refuses what its label leads to.
    """
    weather = site.read_weather()
    day = hottest(weather, 1)
    schedule = site.file.schedule
    weekday = busiest_weekday(schedule.wanted)
    allowance_k = UNMEASURED_DEW_K if site.file.sensors.humidity == "absent" else 0.0
    dew_point_c = min(day.mean_dew_c + allowance_k, _slot(site, S.ROOM_TARGET_MC) / 1000.0 - 1.0)
    sheets = {
        variant: sheet(case_for(site, variant, plant, weather, day), dew_point_c, tick)
        for variant, plant in zip(VARIANTS, site.variants(), strict=True)
    }
    return Sizing(
        site=site.name,
        evidence=site.evidence,
        day=day,
        wanted_h=minutes_of_day(schedule.wanted, weekday) / 60.0,
        charging_h=minutes_of_day(schedule.charging, weekday) / 60.0,
        dew_point_c=dew_point_c,
        sheets=sheets,
    )

"""Running: continuously or as a battery, how long a day, how warm its place, what it costs."""

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from springhouse_sim.plant import given, moist_air, state, tap
from springhouse_sim.plant.freezer import Freezer
from springhouse_sim.world.days import Days
from springhouse_sim.world.prices import HourlyPrices
from springhouse_sim.world.tariff import Prices, Tariff
from springhouse_sim.world.windows import Window

from .working_point import Array, Case

BISECTIONS = 12  # 25 K down to six thousandths of a kelvin
COLDEST_C = 0.5
TRIP_C = Freezer.overload_trip_c  # winding at which the motor's protector opens
# Highest room temperature of each climate class [°C]; class limits as in summaries of EN 62552.
CLASS_C = {"SN": (10.0, 32.0), "N": (16.0, 32.0), "ST": (16.0, 38.0), "T": (16.0, 43.0)}


@dataclass(frozen=True)
class Continuous:
    """Compressor, pump and fans always on, the room held at its target, its moisture left free."""

    day: str
    water_c: float  # where cooling and heat meet; the coldest looked at where cooling is left over
    supply_c: float
    dew_point_c: float  # of the room, once the coil has dried it
    room_w: float  # taken from the room then, what the freezer gives it deducted
    gain_w: float  # heat into the room, mean of the 24 h
    spare_w: float  # cooling left over at COLDEST_C, 0 where there is an equilibrium

    @property
    def keeps_up(self) -> bool:
        """Whether it covers the room's heat around the clock, or works only as a battery."""
        return self.room_w >= self.gain_w


def continuous(case: Case, word: str, gain_w: float) -> Continuous:
    """Return the equilibrium of one day's mean."""
    u = np.mean(case.day_given(), axis=0)
    u[given.COMPRESSOR_RELAY] = u[given.PUMP_DUTY] = u[given.FAN_DUTY] = 1.0
    low, high = COLDEST_C, case.room_c - 1.0
    spare_w = max(0.0, _surplus_w(case, u, low))
    for _ in range(BISECTIONS):
        middle = 0.5 * (low + high)
        low, high = (low, middle) if _surplus_w(case, u, middle) > 0.0 else (middle, high)
    water_c = COLDEST_C if spare_w > 0.0 else high
    x, dx, t = _always_on(case, u, water_c)
    room_w = (
        t[tap.COIL_SENSIBLE_W] + dx[state.ROOM_TO_TUBE_J] - t[tap.FAN_W] - dx[state.PLACE_TO_ROOM_J]
    )
    return Continuous(
        word,
        water_c,
        supply_c=float(t[tap.AIR_OFF_C]),
        dew_point_c=float(
            moist_air.dew_point_c(float(x[state.ROOM_HUMIDITY_RATIO]), float(u[given.PRESSURE_PA]))
        ),
        room_w=float(room_w),
        gain_w=gain_w,
        spare_w=spare_w,
    )


def _always_on(case: Case, u: Array, store_c: float) -> tuple[Array, Array, Array]:
    outdoors = float(u[given.OUTDOOR_HUMIDITY_RATIO])
    return case.steady(u, store_c, outdoors, hold_moisture=False)


def _surplus_w(case: Case, u: Array, store_c: float) -> float:
    """Return cooling less heat of the store [W]; it rises with the store's temperature."""
    _, dx, _ = _always_on(case, u, store_c)
    heat_w = dx[state.COIL_TO_WATER_J] + dx[state.PUMP_TO_WATER_J]
    heat_w += dx[state.PLACE_TO_TUBE_J] + dx[state.ROOM_TO_TUBE_J]
    heat_w += dx[state.CABINET_TO_STORE_J] + dx[state.LID_TO_STORE_J]
    return float(dx[state.EVAPORATOR_J] - heat_w)


@dataclass(frozen=True)
class Charging:
    """The compressor at work: at one store temperature, the place at the day's mean and hottest."""

    net_w: float
    gains_w: float  # into the store meanwhile, by cabinet and lid
    input_w: float
    place_mean_c: float
    place_hottest_c: float
    place_coldest_c: float  # at the coldest hour of the day, compressor off
    winding_hottest_c: float  # of the motor then, its protector left out
    rejected_w: float
    outside_envelope: bool

    def class_margin_k(self, climate_class: str) -> float:
        """Return how far the hottest hour stays under the class limit [K]."""
        return highest_c(climate_class) - self.place_hottest_c


def highest_c(climate_class: str) -> float:
    """Return the highest temperature a climate class allows around the freezer [°C]."""
    return max(CLASS_C[part][1] for part in climate_class.split("-"))


def lowest_c(climate_class: str) -> float:
    """Return the lowest temperature a climate class allows around the freezer [°C]."""
    return min(CLASS_C[part][0] for part in climate_class.split("-"))


def charging(case: Case, store_c: float, windows: tuple[Window, ...]) -> Charging:
    """Return the compressor at ``store_c`` in the charging hours' mean and at the hottest hour."""
    u = np.mean(case.day_given(windows), axis=0)
    u[given.COMPRESSOR_RELAY] = 1.0
    x, dx, t = case.steady(u, store_c, 0.01)
    hot = u.copy()
    hot[given.OUTDOOR_C] = max(float(g[given.OUTDOOR_C]) for g in case.day_given())
    hot_x, _, _ = case.steady(hot, store_c, 0.01)
    cold = u.copy()
    cold[given.COMPRESSOR_RELAY] = 0.0
    cold[given.OUTDOOR_C] = min(float(g[given.OUTDOOR_C]) for g in case.day_given())
    cold_x, _, _ = case.steady(cold, store_c, 0.01)
    gains_w = dx[state.CABINET_TO_STORE_J] + dx[state.LID_TO_STORE_J]
    return Charging(
        net_w=float(dx[state.EVAPORATOR_J] - gains_w),
        gains_w=float(gains_w),
        input_w=float(dx[state.FREEZER_J]),
        place_mean_c=float(x[state.PLACE_C]),
        place_hottest_c=float(hot_x[state.PLACE_C]),
        place_coldest_c=float(cold_x[state.PLACE_C]),
        winding_hottest_c=float(hot_x[state.WINDING_C]),
        rejected_w=float(dx[state.CONDENSER_TO_PLACE_J] + dx[state.SHELL_TO_PLACE_J]),
        outside_envelope=bool(t[tap.OUTSIDE_RATED] > 0.5),
    )


@dataclass(frozen=True)
class Day:
    """What one day takes out of compressor and purse."""

    store_kwh: float  # heat into the store
    run_h: float  # of the compressor; more than 24 where it cannot keep up
    compressor_kwh: float
    delivery_kwh: float  # pump and fans
    standby_kwh: float  # board, supply losses included
    cost: float
    standing: float  # of the cost, the tariff's own charge

    @property
    def kwh(self) -> float:
        """Electricity of all."""
        return self.compressor_kwh + self.delivery_kwh + self.standby_kwh

    @property
    def run_fraction(self) -> float:
        """Compressor hours over 24."""
        return self.run_h / 24.0


@lru_cache(maxsize=64)
def _minutes(weekday: int, windows: tuple[Window, ...]) -> frozenset[int]:
    """Return the minutes of a weekday inside the windows, all of them where none is."""
    day = range(weekday * 1440, (weekday + 1) * 1440)
    return frozenset(m for m in day if any(w.contains(m) for w in windows)) or frozenset(day)


@lru_cache(maxsize=64)
def _mean_rate(tariff: Tariff, weekday: int, windows: tuple[Window, ...]) -> float:
    minutes = _minutes(weekday, windows)
    return sum(tariff.price_at(m) for m in minutes) / len(minutes)


def mean_price(prices: Prices, weekday: int, windows: tuple[Window, ...]) -> float:
    """Return the mean price in the windows of a weekday (Monday 0), all day without any."""
    if isinstance(prices, HourlyPrices):
        return prices.mean_kwh(set(_minutes(weekday, windows)))
    assert isinstance(prices, Tariff)
    return _mean_rate(prices, weekday, windows)


def day_of(
    case: Case, at_work: Charging, store_kwh: float, delivery_h: float, fan_duty: float
) -> Day:
    """Return energy and cost of a day on which ``store_kwh`` went into the store.

    Args:
        case: the plant on its day.
        at_work: the compressor at the mean store temperature.
        store_kwh: heat into the store, standing gains left out: ``at_work`` has them.
        delivery_h: hours of pump and fans.
        fan_duty: of the fans then, 0..1.
    """
    schedule, prices = case.site.file.schedule, case.site.tariff()
    run_h = 1000.0 * store_kwh / max(1.0, at_work.net_w)
    u = case.given(12.0)
    u[given.PUMP_DUTY], u[given.FAN_DUTY] = 1.0, fan_duty
    dx = case.at_once(u, 0.01)
    supply = case.plant.battery.supply_efficiency
    delivery_w = (dx[state.PUMP_J] + dx[state.FAN_J]) / supply
    standby_w = dx[state.BOARD_J] / supply + case.plant.freezer.standby_w
    compressor_kwh = at_work.input_w * min(24.0, run_h) / 1000.0
    delivery_kwh = float(delivery_w) * delivery_h / 1000.0
    standby_kwh = float(standby_w) * 24.0 / 1000.0
    parts = (
        (compressor_kwh, schedule.charging),
        (delivery_kwh, schedule.wanted),
        (standby_kwh, ()),
    )
    energy_cost = sum(kwh * mean_price(prices, case.weekday, w) for kwh, w in parts)
    standing = prices.standing_per_day
    return Day(
        store_kwh,
        run_h,
        compressor_kwh,
        delivery_kwh,
        standby_kwh,
        energy_cost + standing,
        standing,
    )


def on_day(case: Case, day: Days) -> Case:
    """Return the same installation on another day of the weather."""
    return replace(case, day=day)

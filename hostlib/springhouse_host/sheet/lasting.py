"""How long: days held with all off, a power cut, other amounts of water, sun on a panel."""

from dataclasses import dataclass, replace

import numpy as np
from springhouse_sim.plant import given, state
from springhouse_sim.world.sun import Glazing, through_window_w

from .charge import discharge, hours_between
from .working_point import Array, Case, Delivery

POINTS = 4
SHARES = (0.5, 1.0, 1.5, 2.0, 3.0)  # of the water there is
BOX_POWER = 2.0 / 3.0  # of a cabinet's gains over its litres: the same walls, proportions kept
PANEL_TILT_DEG = 30.0
PANEL_SHARE = 0.75  # of the label's watts by the sun that falls on it; common practice, no source


@dataclass(frozen=True)
class Water:
    """One amount of water in a cabinet that it fills alike; what else there is stays."""

    litres: float
    cold_h: float  # of the wanted hours' mean gain
    recharge_h: float | None  # None: the freezer does not get there
    hold_days: float | None  # None: its place never warms it so far


@dataclass(frozen=True)
class PowerCut:
    """How long the room stays cooled without mains, from a full store and a full battery."""

    cold_h: float
    battery_h: float | None  # None: no battery

    @property
    def hours(self) -> float:
        """Until the first of both ends."""
        return min(self.cold_h, self.battery_h or 0.0)

    @property
    def first(self) -> str:
        """What ends first."""
        if self.battery_h is None:
            return "no battery"
        return "battery" if self.battery_h < self.cold_h else "cold"


def standing_w(case: Case, store_c: Array) -> Array:
    """Return the heat into the store at rising temperatures with everything off [W]."""
    u = np.mean(case.day_given(), axis=0)
    u[given.COMPRESSOR_RELAY] = u[given.PUMP_DUTY] = u[given.FAN_DUTY] = 0.0
    found = []
    for temperature in store_c:
        _, dx, _ = case.steady(u, float(temperature), 0.01)
        found.append(dx[state.CABINET_TO_STORE_J] + dx[state.LID_TO_STORE_J])
    return np.array(found)


def hold_days(litres: float, store_c: Array, gain_w: Array) -> float | None:
    """Return how long the water takes from the first temperature to the last [d]."""
    cold_c, warm_c = float(store_c[0]), float(store_c[-1])
    hours = hours_between(store_c, gain_w, litres, warm_c, cold_c)
    return None if hours is None else hours / 24.0


def amounts(
    case: Case,
    d: Delivery,
    gain_w: float,
    u: Array,
    chilling_c: Array,
    net_w: Array,
    end_c: float,
) -> tuple[Water, ...]:
    """Return hours of cold, recharge and days held for other amounts of water.

    Args:
        case: the plant on its day.
        d: its delivery.
        gain_w: mean heat of the wanted hours.
        u: what acts on it then.
        chilling_c: rising store temperatures of ``net_w``.
        net_w: net cooling with the compressor on.
        end_c: store at the end of discharge.
    """
    litres = case.site.file.store.water_litres
    held_c = np.linspace(case.deep_c, max(end_c, case.deep_c + 0.5), POINTS)
    gains_w = standing_w(case, held_c)
    extra_w = np.interp(chilling_c, held_c, gains_w)
    found = []
    for share in SHARES:
        grown = share**BOX_POWER
        scaled = replace(d, standing_w=grown * d.standing_w)
        spent = discharge(case, scaled, gain_w, u, 24.0, litres * share)
        cooling_w = net_w - (grown - 1.0) * extra_w
        found.append(
            Water(
                litres * share,
                spent.hours,
                hours_between(chilling_c, cooling_w, litres * share, end_c, case.deep_c),
                hold_days(litres * share, held_c, grown * gains_w),
            )
        )
    return tuple(found)


def sun_h(case: Case, load_w: float) -> float | None:
    """Return the hours a day that the panel carries pump, fans and board [h], None without one.

    Sun on a plane of PANEL_TILT_DEG towards the equator on the day of the case.
    """
    panel_w = case.site.file.battery.solar_w
    if panel_w <= 0.0:
        return None
    south = 180.0 if case.weather.place.latitude >= 0.0 else 0.0
    pane = Glazing(1.0, 1.0, south, PANEL_TILT_DEG)
    plane_w_m2 = through_window_w(case.weather, pane)
    begin = case.weather.hour_of(case.day.start)
    day = [case.weather.between_rows(plane_w_m2, begin + h + 0.5) for h in range(24)]
    wh = panel_w * PANEL_SHARE * float(np.sum(day)) / 1000.0
    return min(24.0, wh / load_w)

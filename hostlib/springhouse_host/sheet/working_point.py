"""The plant model held at a working point, steady, and what it then does."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from springhouse_sim.plant import given as given_slot
from springhouse_sim.plant import moist_air, param, tap
from springhouse_sim.plant import state as state_slot
from springhouse_sim.world.days import Days
from springhouse_sim.world.people import heat_of_person_w
from springhouse_sim.world.weather import Weather
from springhouse_sim.world.windows import Window

from ..errors import SiteError
from ..site import Site
from . import steady

if TYPE_CHECKING:
    from springhouse_sim.plant.plant import Plant

SLOT_H = 1.0 / 6.0  # the design day goes by in steps of ten minutes

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Case:
    """One plant on the design day, its room held at the target."""

    plant: "Plant"
    p: Array
    weather: Weather
    sun_w: Array  # through the windows, by row of the weather
    site: Site
    day: Days
    weekday: int  # Monday 0
    room_c: float
    deep_c: float

    def given(self, local_hour: float) -> Array:
        """Return what acts on the plant at an hour of the design day by the clock on the wall."""
        w = self.weather
        standard_h = local_hour - self.site.calendar(self.day.start).clock_ahead_min / 60.0
        now = self.day.start + timedelta(hours=standard_h)
        hour = w.hour_of(now)
        u = given_slot.neutral_given()
        if self.site.ground is not None:
            u[given_slot.GROUND_C] = self.site.ground.at_c(now)
        u[given_slot.OUTDOOR_C] = w.between_rows(w.temp_air_c, hour)
        u[given_slot.PRESSURE_PA] = w.between_rows(w.pressure_pa, hour)
        u[given_slot.OUTDOOR_HUMIDITY_RATIO] = moist_air.saturated_humidity_ratio(
            w.between_rows(w.dew_point_c, hour), u[given_slot.PRESSURE_PA]
        )
        u[given_slot.SUN_W] = w.between_rows(self.sun_w, hour + 0.5)
        week_min = int(self.weekday * 1440 + local_hour * 60.0)
        people = self.site.people()
        for part in people.occupancy:
            if any(window.contains(week_min) for window in part.windows):
                sensible_w, latent_w = heat_of_person_w(part.activity, self.room_c)
                u[given_slot.PEOPLE_SENSIBLE_W] += part.people * sensible_w
                u[given_slot.PEOPLE_MOISTURE_KG_S] += part.people * latent_w / moist_air.LATENT_J_KG
        for load in people.equipment:
            if any(window.contains(week_min) for window in load.windows):
                u[given_slot.EQUIPMENT_W] += load.watts
        return u

    def day_given(self, windows: tuple[Window, ...] = ()) -> Array:
        """Return what acts on the plant through the day, shape (moments, given.SIZE).

        Only moments inside ``windows`` where there are any on this weekday.
        """
        hours = np.arange(SLOT_H / 2.0, 24.0, SLOT_H)
        minutes = [int(self.weekday * 1440 + hour * 60.0) for hour in hours]
        inside = [any(w.contains(m) for w in windows) for m in minutes]
        if not any(inside):
            inside = [True] * len(hours)
        found: Array = self._moments[np.array(inside)]
        return found

    @cached_property
    def _moments(self) -> Array:
        return np.array([self.given(float(h)) for h in np.arange(SLOT_H / 2.0, 24.0, SLOT_H)])

    def state(self, store_c: float, humidity: float) -> Array:
        """Return the plant's state with store and room held."""
        x = self.plant.initial()
        self._hold(x, store_c)
        x[state_slot.ROOM_HUMIDITY_RATIO] = humidity
        x[state_slot.SUPPLY_C] = x[state_slot.RETURN_C] = x[state_slot.COIL_C] = store_c
        return x

    def _hold(self, x: Array, store_c: float) -> None:
        x[state_slot.WATER_C : state_slot.WATER_C + state_slot.LAYERS] = store_c
        x[state_slot.ICE_KG : state_slot.ICE_KG + state_slot.LAYERS] = 0.0
        x[state_slot.ROOM_AIR_C] = x[state_slot.ROOM_MASS_C] = self.room_c

    def at_once(self, u: Array, humidity: float) -> Array:
        """Return the rates of the state with the store at the deep target."""
        dx, t = np.zeros(state_slot.SIZE), np.zeros(tap.SIZE)
        steady.compiled_rates()(self.state(self.deep_c, humidity), u, self.p, dx, t)
        return dx

    def steady(
        self, u: Array, store_c: float, humidity: float, hold_moisture: bool = True
    ) -> tuple[Array, Array, Array]:
        """Return state, rates and taps once everything that is not held is steady.

        Store and room temperature are held, and the room's moisture unless it is left free.

        Raises:
            SiteError: where nothing steady is found that keeps to the first and second law.
        """
        x = self.state(store_c, humidity)
        x[state_slot.PLACE_C] = u[given_slot.OUTDOOR_C]
        free = steady.FREE if hold_moisture else (*steady.FREE, state_slot.ROOM_HUMIDITY_RATIO)
        try:
            return steady.settle(x, u, self.p, free)
        except steady.UnsteadyError as error:
            raise SiteError(
                f"{self.site.path}: [coil], [loop], [place]: no working point with the store at "
                f"{store_c:.1f} °C: {error}"
            ) from None


@dataclass(frozen=True)
class Delivery:
    """Full delivery over store temperature and the room's humidity, arrays (store, humidity)."""

    store_c: Array
    humidity: Array  # kg/kg
    room_w: Array  # taken from the room, fans already deducted
    water_w: Array  # into the store by way of the loop
    condensate_kg_s: Array
    standing_w: Array  # into the store through cabinet and lid
    flow_l_min: float  # at the deep target in the most humid room
    air_off_c: float  # there too


def delivery(
    case: Case, u: Array, store_c: Array, humidity: Array, tick: Callable[[], None]
) -> Delivery:
    """Return what coil and loop do at every pair of store temperature and humidity.

    Args:
        case: the plant on its day.
        u: what acts on it, pump and fans running.
        store_c: rising store temperatures [°C].
        humidity: rising humidity ratios of the room [kg/kg].
        tick: called once a pair.
    """
    found = np.zeros((4, len(store_c), len(humidity)))
    flow_l_min = air_off_c = 0.0
    for i, temperature in enumerate(store_c):
        for j, ratio in enumerate(humidity):
            x, dx, t = case.steady(u, float(temperature), float(ratio))
            tubes_w = (
                dx[state_slot.PLACE_TO_TUBE_J]
                + dx[state_slot.ROOM_TO_TUBE_J]
                + dx[state_slot.PUMP_TO_WATER_J]
            )
            found[0, i, j] = t[tap.COIL_SENSIBLE_W] + dx[state_slot.ROOM_TO_TUBE_J] - t[tap.FAN_W]
            found[1, i, j] = t[tap.COIL_TO_WATER_W] + tubes_w
            found[2, i, j] = t[tap.CONDENSATE_KG_S]
            found[3, i, j] = dx[state_slot.CABINET_TO_STORE_J] + dx[state_slot.LID_TO_STORE_J]
            if i == 0:
                flow_l_min, air_off_c = float(x[state_slot.FLOW_L_MIN]), float(t[tap.AIR_OFF_C])
            tick()
    room_w, water_w, condensate_kg_s, standing_w = found
    return Delivery(
        store_c, humidity, room_w, water_w, condensate_kg_s, standing_w, flow_l_min, air_off_c
    )


def charging_w(case: Case, u: Array, store_c: Array, tick: Callable[[], None]) -> Array:
    """Return the net cooling of the store's water at each temperature [W], compressor steady."""
    humidity = 0.01  # of the room; the store does not feel it
    net = []
    for temperature in store_c:
        _, dx, _ = case.steady(u, float(temperature), humidity)
        gains_w = dx[state_slot.CABINET_TO_STORE_J] + dx[state_slot.LID_TO_STORE_J]
        net.append(dx[state_slot.EVAPORATOR_J] - gains_w)
        tick()
    return np.array(net)


def battery_hours(case: Case) -> float | None:
    """Return how long a full battery carries pump, fans and board at full duty [h].

    None where there is no battery.
    """
    u = case.given(12.0)
    u[given_slot.MAINS] = 0.0
    u[given_slot.PUMP_DUTY] = u[given_slot.FAN_DUTY] = 1.0
    drain_wh_s = -case.at_once(u, 0.01)[state_slot.BATTERY_WH]
    if drain_wh_s <= 0.0:
        return None
    return float(case.p[param.BATTERY_USABLE_WH] / drain_wh_s / 3600.0)

"""Weather as it acts on the plant."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from ..plant import given as U
from ..plant import moist_air
from .stage import MINUTE_MS, Events, Stage
from .sun import Glazing, through_window_w
from .weather import HOUR_S, Weather

STEP_MS = 10 * MINUTE_MS


@dataclass(eq=False)
class Outdoors:
    """Writes temperature, moisture, pressure and sun every ten minutes.

    What is written is the value in the middle of the ten minutes on the straight line between
    hourly values, so every hour keeps its mean. Irradiance means belong to the middle of their
    hour. ``glazing`` are all windows of the room.
    """

    weather: Weather
    glazing: tuple[Glazing, ...] = ()
    hourly_sun_w: NDArray[np.float64] = field(init=False, repr=False)  # by row of the weather
    # What was written by second of the series: scenarios of one site go over the same days.
    _written: dict[int, tuple[float, float, float, float]] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        self.hourly_sun_w = np.zeros(self.weather.hours)
        for pane in self.glazing:
            self.hourly_sun_w += through_window_w(self.weather, pane)
        self._written = {}

    def act(self, stage: Stage) -> Events:
        """Follow the weather."""
        while True:
            self.write(stage)
            yield stage.until((stage.now_ms // STEP_MS + 1) * STEP_MS)

    def write(self, stage: Stage) -> None:
        """Write the weather of the ten minutes that begin now."""
        w = self.weather
        begins_ms = stage.now_ms // STEP_MS * STEP_MS
        second = round(w.hour_of(stage.calendar.standard(begins_ms + STEP_MS // 2)) * HOUR_S)
        if w.cyclic:
            second %= w.hours * HOUR_S
        values = self._written.get(second)
        if values is None:
            values = self._written[second] = self._at(second / HOUR_S)
        given = stage.given
        given[U.OUTDOOR_C], given[U.PRESSURE_PA] = values[:2]
        given[U.OUTDOOR_HUMIDITY_RATIO], given[U.SUN_W] = values[2:]

    def _at(self, hour: float) -> tuple[float, float, float, float]:
        """Return temperature, pressure, humidity ratio and sun at a place in the series."""
        w = self.weather
        pressure_pa = w.between_rows(w.pressure_pa, hour)
        humidity = moist_air.saturated_humidity_ratio(
            w.between_rows(w.dew_point_c, hour), pressure_pa
        )
        # Row i is the mean of hour i - 1 to i: its middle is half an hour before its stamp.
        sun_w = w.between_rows(self.hourly_sun_w, hour + 0.5)
        return w.between_rows(w.temp_air_c, hour), pressure_pa, humidity, sun_w

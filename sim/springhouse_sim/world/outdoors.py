"""Weather as it acts on the plant."""

from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from ..plant import given, moist_air, state
from .ground import Wave
from .stage import Events, Stage
from .sun import Glazing, through_window_w
from .weather import HOUR_S, Weather

KNOT_S = HOUR_S // 2  # hourly values lie at whole hours, hourly means in between

Line = tuple[float, ...]  # as the given record has them: values, slopes, pressure


@dataclass(eq=False)
class Outdoors:
    """Writes temperature, moisture, sun, their slopes and the pressure every half hour.

    The first three run along the straight lines between hourly values; irradiance means belong to
    the middle of their hour. Pressure and ground hold for the half hour. ``glazing`` are all
    windows of the room, ``ground`` is what lies behind the walls of a cellar.
    """

    weather: Weather
    glazing: tuple[Glazing, ...] = ()
    ground: Wave | None = None
    hourly_sun_w: NDArray[np.float64] = field(init=False, repr=False)  # by row of the weather
    # What is written from a knot on [s of the series]: scenarios of one site see the same days.
    _lines: dict[int, Line] = field(init=False, repr=False)
    _air: "_Air" = field(init=False, repr=False)

    def __post_init__(self) -> None:
        self.hourly_sun_w = np.zeros(self.weather.hours)
        for pane in self.glazing:
            self.hourly_sun_w += through_window_w(self.weather, pane)
        self._lines = {}
        self._air = _air_of(self.weather)

    def act(self, stage: Stage) -> Events:
        """Follow the weather."""
        while True:
            yield stage.until(stage.now_ms + self.write(stage) * 1000)

    def write(self, stage: Stage) -> int:
        """Write the weather from now on; return for how long [s]."""
        w = self.weather
        now = stage.calendar.standard(stage.now_ms)
        if self.ground is not None:
            stage.given[given.GROUND_C] = self.ground.at_c(now)
        second = round(w.hour_of(now) * HOUR_S)
        into = second % KNOT_S
        line = self._line(second - into)
        for n, value in enumerate(line):
            stage.given[given.WEATHER + n] = value
        # Processes act half a tick early, but for the first time.
        early_ms = stage.now_ms - int(stage.env.now)
        stage.state[state.WEATHER_AGE_S] = into - early_ms / 1000.0
        return KNOT_S - into

    def _line(self, second: int) -> Line:
        """Return the straight lines that begin at a knot, and the pressure amid them."""
        w = self.weather
        if w.cyclic:
            second %= w.hours * HOUR_S
        found = self._lines.get(second)
        if found is None:
            begin, end, pressure_pa = self._air.lines(second)
            begin_w, end_w = self._sun_w(second), self._sun_w(second + KNOT_S)
            slopes = ((b - a) / KNOT_S for a, b in zip(begin, end, strict=True))
            found = (*begin, begin_w, *slopes, (end_w - begin_w) / KNOT_S, pressure_pa)
            self._lines[second] = found
        return found

    def _sun_w(self, second: int) -> float:
        """Return the sun at a place in the series."""
        # Row i is the mean of hour i - 1 to i: its middle is half an hour before its stamp.
        return self.weather.between_rows(self.hourly_sun_w, second / HOUR_S + 0.5)


class _Air:
    """Temperature, moisture and pressure of a series, the same whatever the windows."""

    def __init__(self, weather: Weather) -> None:
        self._weather = weather
        self._lines: dict[int, tuple[tuple[float, float], tuple[float, float], float]] = {}

    def lines(self, second: int) -> tuple[tuple[float, float], tuple[float, float], float]:
        """Return temperature and humidity ratio at a knot and at the next, pressure amid them."""
        found = self._lines.get(second)
        if found is None:
            w = self._weather
            pressure_pa = w.between_rows(w.pressure_pa, (second + KNOT_S / 2) / HOUR_S)
            ends = self._at(second / HOUR_S), self._at((second + KNOT_S) / HOUR_S)
            found = self._lines[second] = (*ends, pressure_pa)
        return found

    def _at(self, hour: float) -> tuple[float, float]:
        w = self._weather
        humidity = moist_air.saturated_humidity_ratio(
            w.between_rows(w.dew_point_c, hour), w.between_rows(w.pressure_pa, hour)
        )
        return w.between_rows(w.temp_air_c, hour), humidity


@lru_cache(maxsize=4)
def _air_of(weather: Weather) -> _Air:
    """Return the air of a series, shared by every installation drawn about one place."""
    return _Air(weather)

"""The temperature of the ground behind a cellar's walls: a mean and one damped, late yearly wave.

The yearly wave of the air is the first harmonic of the weather; how much of it reaches a wall and
how late follows from soil and depth, see the host's `site.ground`. Shorter waves die away within a
metre of soil.
"""

import math
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from .weather import Weather

DAY_H = 24
YEAR_H = 365 * DAY_H


@dataclass(frozen=True)
class Wave:
    """A temperature that swings once a year about its mean."""

    mean_c: float
    swing_k: float  # of the mean, up and down
    coldest_h: float  # of the year, standard time

    def at_c(self, when: datetime) -> float:
        """Return the temperature at a moment of standard time [°C]."""
        hour = (when - datetime(when.year, 1, 1)).total_seconds() / 3600.0
        return self.mean_c - self.swing_k * math.cos(math.tau * (hour - self.coldest_h) / YEAR_H)


def yearly(weather: Weather) -> Wave:
    """Return mean and first harmonic of a whole year of air temperatures, real or typical.

    Raises:
        ValueError: where the weather is no whole year.
    """
    if not YEAR_H - 2 * DAY_H <= weather.hours <= YEAR_H + 2 * DAY_H:
        raise ValueError("no whole year of weather")
    first = (weather.first - datetime(weather.first.year, 1, 1)).total_seconds() / 3600.0
    phase = np.exp(-1j * math.tau * (np.arange(weather.hours) + first) / YEAR_H)
    air_c = np.asarray(weather.temp_air_c)
    harmonic = complex(2.0 / weather.hours * np.sum(air_c * phase))
    # T = mean + |h| cos(w t + arg h), coldest where that angle is half a turn.
    coldest = (math.pi - math.atan2(harmonic.imag, harmonic.real)) / math.tau * YEAR_H
    return Wave(float(air_c.mean()), abs(harmonic), coldest % YEAR_H)

"""How forecasts err: our own model, stated.

The error of the outdoor temperature grows from 1 K for the next hour to 3 K at two days. It drifts:
a normal number each hour, correlated over half a day (first-order autoregression). Sun and humidity
are taken as forecast. Persistence, the other kind of forecast, is yesterday again.
"""

from dataclasses import replace

import numpy as np
from springhouse_sim.world.weather import RANGES, Weather

from .around import Array

AT_ONCE_K, AT_TWO_DAYS_K = 1.0, 3.0
TOGETHER_H = 12.0


def spread_k(lead_h: Array) -> Array:
    """Return the standard deviation of the error so many hours ahead; before now there is none."""
    ahead = AT_ONCE_K + (AT_TWO_DAYS_K - AT_ONCE_K) * np.minimum(lead_h, 48.0) / 48.0
    return np.where(lead_h < 0.0, 0.0, ahead)


def drift(hours: int, seed: int) -> Array:
    """Return a series of unit variance, shape (hours,)."""
    dice = np.random.default_rng(seed)
    keep = float(np.exp(-1.0 / TOGETHER_H))
    found = np.empty(hours)
    found[0] = dice.standard_normal()
    for k in range(1, hours):
        found[k] = keep * found[k - 1] + np.sqrt(1.0 - keep * keep) * dice.standard_normal()
    return found


def errors_k(lead_h: Array, seed: int) -> Array:
    """Return one draw of the error [K] at leads of whole hours in order."""
    return np.asarray(spread_k(lead_h) * drift(len(lead_h), seed))


def erring(weather: Weather, by_k: Array) -> Weather:
    """Return weather so much warmer hour by hour; the air is never drier than it can be."""
    low, high, _ = RANGES["temp_air_c"]
    air_c = np.clip(weather.temp_air_c + by_k, low, high)
    return replace(weather, temp_air_c=air_c, dew_point_c=np.minimum(weather.dew_point_c, air_c))

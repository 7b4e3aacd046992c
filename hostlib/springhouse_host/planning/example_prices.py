"""Prices by the hour and quarter hour to try plans on: our own, made up, no market's.

A mean near the site's own price, two peaks a day and a dip at noon that is the deeper the sunnier
the day and on weekends, so that some hours are negative; days that are dearer and cheaper as a
whole, drifting from one to the next. Quarter hours run against their hour in the morning, with it
in the evening, and have some noise of their own. Seeded, so that a season is always the same.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
from springhouse_sim.world.stage import Calendar
from springhouse_sim.world.tariff import Rate
from springhouse_sim.world.weather import Weather

from .around import Array

SEED = 7
NAME = "by the quarter hour"
# Shares of the mean price by the clock's hour, before sun: low at night, peaks at 8 and 20.
SHAPE = np.array(
    [0.80, 0.74, 0.70, 0.68, 0.70, 0.80, 1.00, 1.20, 1.28, 1.20, 1.10, 1.04,
     1.02, 1.02, 1.04, 1.08, 1.15, 1.25, 1.38, 1.50, 1.55, 1.40, 1.15, 0.95]
)  # fmt: skip
SUN_DIP = 0.7  # of the mean price, at 800 W/m2
WEEKEND_DIP = 0.35
DAY_SPREAD, DAY_KEEPS = 0.18, 0.6
QUARTER_SLOPE, QUARTER_NOISE = 0.10, 0.04


@dataclass(frozen=True, eq=False)
class SeriesPrices:
    """A price for each step of a run, by the clock on the wall from ``first`` on."""

    name: str
    first: datetime
    step_min: int
    price_kwh: Array
    standing_per_day: float = 0.0

    @property
    def names(self) -> tuple[str, ...]:
        """Names under which energy is added up."""
        return (self.name,)

    def rate(self, local: datetime) -> Rate:
        """Return the rate in force; beyond the series its last price."""
        at = int((local - self.first) / timedelta(minutes=self.step_min))
        return Rate(self.name, float(self.price_kwh[min(max(0, at), len(self.price_kwh) - 1)]))

    def minutes_to_change(self, local: datetime) -> int:
        """Return the minutes to the next step."""
        return self.step_min - local.minute % self.step_min


def example(
    weather: Weather, calendar: Calendar, days: int, mean_kwh: float, step_min: int
) -> SeriesPrices:
    """Return the series of a run that begins at a midnight of the weather's standard time."""
    dice = np.random.default_rng(SEED)
    first = calendar.local(0).replace(hour=0, minute=0)
    level = 1.0
    hourly = np.empty(24 * (days + 1))
    for day in range(days + 1):
        level = 1.0 + DAY_KEEPS * (level - 1.0) + DAY_SPREAD * dice.standard_normal()
        for hour in range(24):
            local = first + timedelta(days=day, hours=hour)
            standard = local - timedelta(minutes=calendar.clock_ahead_min)
            sun = weather.between_rows(weather.ghi_w_m2, weather.hour_of(standard) + 0.5) / 800.0
            dip = SUN_DIP * sun + WEEKEND_DIP * (local.weekday() >= 5) * (0.3 + sun)
            hourly[24 * day + hour] = level * SHAPE[hour] - dip
    hourly *= mean_kwh / hourly.mean()
    if step_min == 60:
        return SeriesPrices("by the hour", first, 60, np.round(hourly, 4))
    slope = QUARTER_SLOPE * mean_kwh * np.array([1.5, 0.5, -0.5, -1.5])
    rising = np.where(np.arange(len(hourly)) % 24 < 13, 1.0, -1.0)
    quarters = hourly[:, None] + rising[:, None] * slope[None, :]
    quarters += QUARTER_NOISE * mean_kwh * dice.standard_normal(quarters.shape)
    return SeriesPrices(NAME, first, 15, np.round(quarters.ravel(), 4))

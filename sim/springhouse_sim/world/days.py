"""Which days of a weather file a proof runs on."""

from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from .weather import RANGES, Weather

SUMMER_NORTH = (6, 7, 8)
SUMMER_SOUTH = (12, 1, 2)
HOURS = 24


@dataclass(frozen=True)
class Days:
    """Whole consecutive days and what distinguishes them."""

    first: date
    count: int
    mean_c: float
    mean_dew_c: float

    @property
    def start(self) -> datetime:
        """Midnight at which they begin, standard time."""
        return datetime(self.first.year, self.first.month, self.first.day)


def daily_means(weather: Weather) -> tuple[list[date], NDArray[np.float64]]:
    """Return the whole days of the file and their means, shape (days, 2): dry bulb, dew point.

    The rows of a day are those stamped 01:00 to 24:00.
    """
    skip = (1 - weather.first.hour) % HOURS
    count = (weather.hours - skip) // HOURS
    first = (weather.first + timedelta(hours=skip)).date()
    both = np.stack([weather.temp_air_c, weather.dew_point_c], axis=1)
    means = both[skip : skip + count * HOURS].reshape(count, HOURS, 2).mean(axis=1)
    return [first + timedelta(days=i) for i in range(count)], means


def hottest(weather: Weather, count: int = 7) -> Days:
    """Return the ``count`` consecutive days with the highest mean dry bulb.

    Raises:
        ValueError: naming the file, when it holds fewer whole days.
    """
    days, means = daily_means(weather)
    runs = _runs(weather, means, count)
    return _days(days, runs, int(np.argmax(runs[:, 0])), count)


def typical(weather: Weather, count: int = 3) -> Days:
    """Return the ``count`` consecutive days nearest the summer mean.

    Nearest in dry bulb and dew point together (root of the sum of squares, K), among the days of
    June to August, in the south December to February.

    Raises:
        ValueError: naming the file, when it holds no such summer days.
    """
    days, means = daily_means(weather)
    months = SUMMER_NORTH if weather.place.latitude >= 0.0 else SUMMER_SOUTH
    summer = np.array([day.month in months for day in days])
    runs = _runs(weather, means, count)
    inside = np.array([summer[i : i + count].all() for i in range(len(runs))])
    if not inside.any():
        raise ValueError(f"{weather.source}: holds no {count} summer days in a row")
    distance = np.hypot(*(runs - means[summer].mean(axis=0)).T)
    return _days(days, runs, int(np.argmin(np.where(inside, distance, np.inf))), count)


def summer(weather: Weather) -> Days:
    """Return the longest run of summer days: June to August, in the south December to February.

    Raises:
        ValueError: naming the file, when it holds no summer day.
    """
    days, means = daily_means(weather)
    months = SUMMER_NORTH if weather.place.latitude >= 0.0 else SUMMER_SOUTH
    best = (0, 0)  # count, first
    count = 0
    for i, day in enumerate(days):
        count = count + 1 if day.month in months else 0
        best = max(best, (count, -(i - count + 1)))
    if not best[0]:
        raise ValueError(f"{weather.source}: holds no summer day")
    first = -best[1]
    mean = means[first : first + best[0]].mean(axis=0)
    return Days(days[first], best[0], float(mean[0]), float(mean[1]))


def real_year(weather: Weather, year: int | None = None) -> Weather:
    """Return one year of a series of real hours; None takes the one with the hottest week.

    Only years whose summer is whole count; a year runs from January, in the south from July of the
    year before. A series with one such year or none is returned as it is.

    Raises:
        ValueError: naming the file, where it does not hold the year asked for.
    """
    south = weather.place.latitude < 0.0
    last = weather.first + timedelta(hours=weather.hours - 1)
    found: dict[int, Weather] = {}
    for named in range(weather.first.year, last.year + 2):
        begin, end = datetime(named, 1, 1), datetime(named + 1, 1, 1)
        hot = datetime(named, SUMMER_NORTH[0], 1), datetime(named, SUMMER_NORTH[-1] + 1, 1)
        if south:
            begin, end = datetime(named - 1, 7, 1), datetime(named, 7, 1)
            hot = datetime(named - 1, SUMMER_SOUTH[0], 1), datetime(named, SUMMER_SOUTH[-1] + 1, 1)
        if weather.first <= hot[0] + timedelta(hours=1) and hot[1] <= last:
            found[named] = _cut(weather, max(begin, weather.first), min(end, last))
    if year is not None and year not in found:
        held = ", ".join(map(str, found)) or "none"
        raise ValueError(f"{weather.source}: weather.year: {year}: whole summers are of {held}")
    if year is None and len(found) < 2:
        return weather
    if year is None:
        year = max(found, key=lambda named: hottest(found[named]).mean_c)
    return found[year]


def _cut(weather: Weather, begin: datetime, end: datetime) -> Weather:
    """Return the rows stamped from ``begin`` to ``end``, both of them in the series."""
    a, b = (round((t - weather.first) / timedelta(hours=1)) for t in (begin, end))
    columns = {name: getattr(weather, name)[a : b + 1] for name in RANGES}
    return replace(weather, first=begin, first_line=weather.first_line + a, **columns)


def _runs(weather: Weather, means: NDArray[np.float64], count: int) -> NDArray[np.float64]:
    """Return the mean over ``count`` days from each day on, shape (days - count + 1, 2)."""
    if len(means) < count:
        raise ValueError(f"{weather.source}: holds {len(means)} whole days, {count} are needed")
    windows = np.lib.stride_tricks.sliding_window_view(means, count, axis=0)
    return np.asarray(windows.mean(axis=2))


def _days(days: list[date], runs: NDArray[np.float64], i: int, count: int) -> Days:
    return Days(days[i], count, float(runs[i, 0]), float(runs[i, 1]))

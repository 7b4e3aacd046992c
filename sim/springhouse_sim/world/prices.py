"""Hourly prices of electricity from a CSV file."""

from calendar import isleap
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from .. import outside
from .stage import WEEK_MIN
from .tariff import Rate

HOURS_OF = {24: "a day, for every day", 168: "a week from Monday on", 8760: "a year of 365 days"}
HOURS_OF_LEAP_YEAR = 8784
LEAP_DAY_H = 59 * 24
LARGEST_BYTES = 2_000_000
NAME = "hourly price"
LEAST, MOST = -1e4, 1e4  # currency per kWh; a price may be negative


@dataclass(frozen=True)
class HourlyPrices:
    """A price for every hour of a day, a week or a year, by the clock on the wall.

    Raises:
        ValueError: naming the file, on another number of hours or a negative standing charge.
    """

    source: str
    price_kwh: tuple[float, ...]
    standing_per_day: float = 0.0

    def __post_init__(self) -> None:
        hours = len(self.price_kwh)
        if hours not in HOURS_OF:
            spans = ", ".join(f"{n} ({words})" for n, words in HOURS_OF.items())
            raise ValueError(f"{self.source}: {hours} hours of prices, needed are {spans}")
        if self.standing_per_day < 0.0:
            raise ValueError(f"{self.source}: standing charge {self.standing_per_day:g} below 0")

    @property
    def names(self) -> tuple[str, ...]:
        """Names under which energy is added up."""
        return (NAME,)

    def rate(self, local: datetime) -> Rate:
        """Return the price in force at a local time; a leap day costs what the day before did."""
        hours = len(self.price_kwh)
        if hours == 24:
            place = local.hour
        elif hours == 168:
            place = local.weekday() * 24 + local.hour
        else:
            day = 28 if (local.month, local.day) == (2, 29) else local.day
            first = datetime(2001, 1, 1)  # no leap year
            place = (datetime(2001, local.month, day) - first).days * 24 + local.hour
        return Rate(NAME, self.price_kwh[place])

    def minutes_to_change(self, local: datetime) -> int:
        """Return the minutes to the next full hour, 1 to 60."""
        return 60 - local.minute

    def mean_kwh(self, week_minutes: set[int] | None = None) -> float:
        """Return the mean price, where asked only of the hours that hold these minutes.

        A year is taken over all its hours, for its weekdays are not those of any week.
        """
        hours = len(self.price_kwh)
        if not week_minutes or hours == 8760:
            return sum(self.price_kwh) / hours
        places = [m // 60 % hours for m in week_minutes if 0 <= m < WEEK_MIN]
        return sum(self.price_kwh[place] for place in places) / len(places)


def read_prices(path: Path, standing_per_day: float = 0.0) -> HourlyPrices:
    """Read ``time,price_per_kwh``, one row an hour, ISO 8601 local time without an offset.

    A week begins on a Monday, a year on 1 January, all at 00:00. A leap year has 8784 rows; its
    29 February is left out.

    Raises:
        ValueError: one line naming file, line and column.
    """
    rows = outside.read_rows(path, LARGEST_BYTES)
    if next(rows, (1, []))[1] != ["time", "price_per_kwh"]:
        raise ValueError(f"{path}: line 1: the columns must be time,price_per_kwh")
    prices: list[float] = []
    first = due = datetime.min
    for line, row in rows:
        stamp = outside.stamp(row[0], f"{path}: line {line}, column time")
        if not prices:
            first = due = stamp
        if stamp != due:
            raise outside.out_of_order(f"{path}: line {line}, column time", stamp, due)
        prices.append(_price(path, row, line))
        due = stamp + outside.HOUR
    if prices and isleap(first.year) and first.month == 1:
        if len(prices) == HOURS_OF_LEAP_YEAR:
            del prices[LEAP_DAY_H : LEAP_DAY_H + 24]
        elif len(prices) == 8760:
            raise ValueError(f"{path}: 8760 hours from {first}: a leap year has 8784")
    _begins_right(path, first, len(prices))
    return HourlyPrices(str(path), tuple(prices), standing_per_day)


def _price(path: Path, row: list[str], line: int) -> float:
    text = row[1].strip() if len(row) > 1 else ""
    try:
        price = float(text)
    except ValueError:
        price = float("nan")
    if not LEAST <= price <= MOST:
        raise ValueError(
            f"{path}: line {line}, column price_per_kwh: {text!r} is no number "
            f"from {LEAST:g} to {MOST:g}"
        )
    return price


def _begins_right(path: Path, first: datetime, hours: int) -> None:
    wrong = ""
    if first.hour or first.minute:
        wrong = "at 00:00"
    elif hours == 168 and first.weekday() != 0:
        wrong = "on a Monday"
    elif hours == 8760 and (first.month, first.day) != (1, 1):
        wrong = "on 1 January"
    if wrong:
        raise ValueError(f"{path}: line 2, column time: {first}: must begin {wrong}")

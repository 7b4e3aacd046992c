"""Hourly prices of electricity from a CSV file."""

import csv
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from .stage import WEEK_MIN
from .tariff import Rate

HOURS_OF = {24: "a day, for every day", 168: "a week from Monday on", 8760: "a year of 365 days"}
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

    A week begins on a Monday, a year on 1 January, all at 00:00.

    Raises:
        ValueError: one line naming file, line and column.
    """
    with path.open(newline="", encoding="utf-8") as f:
        rows = [row for row in csv.reader(f) if row]
    header = [name.strip() for name in rows[0]] if rows else []
    if header != ["time", "price_per_kwh"]:
        raise ValueError(f"{path}: line 1: the columns must be time,price_per_kwh")
    prices = []
    first = datetime.min
    for n, row in enumerate(rows[1:]):
        line = n + 2
        try:
            stamp = datetime.fromisoformat(row[0].strip())
        except ValueError:
            raise ValueError(
                f"{path}: line {line}, column time: {row[0]!r} is no ISO time"
            ) from None
        if n == 0:
            first = stamp
        if stamp.tzinfo is not None or stamp != first + timedelta(hours=n):
            due = first + timedelta(hours=n)
            raise ValueError(f"{path}: line {line}, column time: {row[0]} where {due} is due")
        prices.append(_price(path, row, line))
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

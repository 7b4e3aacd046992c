"""Prices: what the owner stated or our neutral defaults, and what a season costs on any tariff."""

from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from springhouse_sim.world.prices import read_prices
from springhouse_sim.world.stage import Calendar
from springhouse_sim.world.tariff import Prices, flat, two_rate
from springhouse_sim.world.windows import Window

from ..errors import KnownError
from .fields import window
from .site import Site

Array = NDArray[np.float64]
MOST_PRICE = 1e4

# Ours, without a source, and the owner's to change: round sums in the owner's currency, a room
# cooler of the plain sort, windows wide open.
DEFAULTS = {
    "parts_low": 250.0,
    "parts_mid": 450.0,
    "parts_high": 800.0,
    "lasts_years": 10.0,
    "cooler_price": 400.0,
    "cooler_w_per_w": 3.0,
    "night_air_per_h": 4.0,
    "night_fan_w": 0.0,
}
PARTS = ("parts_low", "parts_mid", "parts_high")
NIGHT = (Window(21 * 60, 8 * 60),)


@dataclass(frozen=True)
class Stated:
    """Every figure of the [worth] table, and which of them are our defaults."""

    values: dict[str, float]
    night_hours: tuple[Window, ...]
    assumed: tuple[str, ...]

    def __getitem__(self, key: str) -> float:
        return self.values[key]


def stated(site: Site) -> Stated:
    """Return what the site states, defaults for the rest.

    A price of the parts that is left out beside others is the next one stated.
    """
    table = site.file.worth
    values = {key: getattr(table, key) for key in DEFAULTS}
    low, mid, high = (values[key] for key in PARTS)
    if not (low is mid is high is None):
        mid = next(price for price in (mid, low, high) if price is not None)
        values |= zip(
            PARTS, (mid if low is None else low, mid, mid if high is None else high), strict=True
        )
    assumed = [key for key, value in values.items() if value is None]
    if not table.night_hours:
        assumed.append("night_hours")
    filled = {key: DEFAULTS[key] if v is None else float(v) for key, v in values.items()}
    return Stated(filled, table.night_hours or NIGHT, tuple(assumed))


def each_minute(prices: Prices, calendar: Calendar, minutes: int) -> Array:
    """Return the price in force in each minute of a run [currency per kWh], shape (minutes,)."""
    found = np.empty(minutes)
    k = 0
    while k < minutes:
        local = calendar.local(0) + timedelta(minutes=k)
        ahead = prices.minutes_to_change(local)
        found[k : k + ahead] = prices.rate(local).price_kwh
        k += ahead
    return found


def read_tariff(text: str) -> tuple[str, Prices]:
    """Return name and prices of ``0.30``, ``0.21/0.34@23:00-07:00`` or ``FILE.csv``.

    Raises:
        KnownError: one line saying what is wrong.
    """
    said = f"--tariff {text}"
    if text.endswith(".csv"):
        try:
            return f"hourly, {Path(text).name}", read_prices(Path(text))
        except (ValueError, OSError) as error:
            raise KnownError(f"{said}: {error}") from None
    price, at, hours = text.partition("@")
    numbers = [_price(part, said) for part in price.split("/")]
    if len(numbers) == 1 and not at:
        return f"flat {numbers[0]:g}", flat(numbers[0])
    windows = [window(part.strip()) for part in hours.split(",")] if at else []
    if len(numbers) != 2 or not windows or None in windows:
        raise KnownError(f"{said}: expected PRICE, CHEAP/DEAR@HOURS such as 0.21/0.34@23:00-07:00")
    cheap = tuple(w for w in windows if w is not None)
    return f"{numbers[0]:g} {hours}, else {numbers[1]:g}", two_rate(numbers[0], numbers[1], cheap)


def _price(text: str, said: str) -> float:
    try:
        number = float(text)
    except ValueError:
        number = float("nan")
    if not 0.0 <= number <= MOST_PRICE:
        raise KnownError(
            f"{said}: {text!r}: a price a kWh from 0 to {MOST_PRICE:g}, or a .csv file"
        )
    return number

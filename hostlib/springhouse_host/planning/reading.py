"""Forecasts and prices from CSV files, checked line by line."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
from springhouse_sim import outside
from springhouse_sim.world.prices import LEAST, MOST
from springhouse_sim.world.pvgis import dew_points_c
from springhouse_sim.world.weather import RANGES

from .around import Array
from .clock import Stamps

LARGEST_BYTES = 2_000_000
LEAST_HOURS = 24
SUN = ("ghi_w_m2", "dni_w_m2", "dhi_w_m2")
HUMIDITY = "relative_humidity_percent"
OPTIONAL = ("dew_point_c", HUMIDITY, "pressure_pa", *SUN)
PRICE = "price_per_kwh"
TOO_DEAR = 50.0  # times the site's own price: a price a MWh, or in cents


@dataclass(frozen=True, eq=False)
class Forecast:
    """Weather an hour, by the names of `RANGES`, as far as the file has them; instants in UTC."""

    first: datetime
    columns: dict[str, Array]

    @property
    def hours(self) -> int:
        """How many hours the file holds."""
        return len(self.columns["temp_air_c"])


@dataclass(frozen=True, eq=False)
class Stamped:
    """Prices in steps of an hour or a quarter hour, the first from ``first`` (UTC) on."""

    first: datetime
    step: timedelta
    price_kwh: Array

    def at(self, t: datetime) -> float | None:
        """Return the price of an instant, None outside of the file."""
        k = (t - self.first) // self.step
        return float(self.price_kwh[k]) if 0 <= k < len(self.price_kwh) else None


def read_forecast(path: Path, zone: ZoneInfo) -> Forecast:
    """Read ``time,temp_air_c`` and what else there is of `OPTIONAL`, one row an hour.

    Raises:
        OutsideError: one line naming file, line and column.
    """
    rows = outside.read_rows(path, LARGEST_BYTES)
    _, header = next(rows, (1, []))
    known = ("time", "temp_air_c", *OPTIONAL)
    _columns(path, header, ("time", "temp_air_c"), known)
    if any(name in header for name in SUN) and not all(name in header for name in SUN):
        raise outside.OutsideError(f"{path}: line 1: {', '.join(SUN)} go together")
    stamps = Stamps(path, zone)
    instants: list[datetime] = []
    values: list[list[float]] = []
    names = [name for name in header if name != "time"]
    for line, row in rows:
        instant = stamps.read(_cell(row, header.index("time")), line)
        _due(path, line, instants, instant, timedelta(hours=1), zone)
        instants.append(instant)
        values.append([_value(path, line, name, _cell(row, header.index(name))) for name in names])
    if len(instants) < LEAST_HOURS:
        raise outside.OutsideError(f"{path}: {len(instants)} hours, at least {LEAST_HOURS}")
    columns = dict(zip(names, np.array(values).T, strict=True))
    if HUMIDITY in columns:
        percent = columns.pop(HUMIDITY)
        columns.setdefault("dew_point_c", dew_points_c(columns["temp_air_c"], percent))
    return Forecast(instants[0], columns)


def read_prices(path: Path, zone: ZoneInfo, usual_kwh: float) -> Stamped:
    """Read ``time,price_per_kwh``, one row an hour or a quarter hour; prices may be negative.

    Args:
        path: the file.
        zone: of stamps without an offset.
        usual_kwh: what the site pays otherwise; prices far from it are of another unit.

    Raises:
        OutsideError: one line naming file, line and column.
    """
    rows = outside.read_rows(path, LARGEST_BYTES)
    _, header = next(rows, (1, []))
    _columns(path, header, ("time", PRICE), ("time", PRICE))
    stamps = Stamps(path, zone)
    instants: list[datetime] = []
    prices: list[float] = []
    step: timedelta | None = None
    for line, row in rows:
        instant = stamps.read(_cell(row, header.index("time")), line)
        if len(instants) == 1 and step is None:
            step = instant - instants[0]
            if step not in (timedelta(hours=1), timedelta(minutes=15)):
                step = timedelta(hours=1)  # what is wrong with it is said below
        _due(path, line, instants, instant, step or timedelta(hours=1), zone)
        instants.append(instant)
        prices.append(_value(path, line, PRICE, _cell(row, header.index(PRICE))))
    step = step or timedelta(hours=1)
    if len(prices) * step < timedelta(hours=LEAST_HOURS):
        raise outside.OutsideError(f"{path}: {len(prices) * step} of prices, at least a day")
    middle = float(np.median(np.abs(prices)))
    if usual_kwh > 0.0 and middle > TOO_DEAR * usual_kwh:
        raise outside.OutsideError(
            f"{path}: column {PRICE}: {middle:g} where the site pays {usual_kwh:g}: a price a MWh, "
            "or in cents? needed is the site's currency a kWh"
        )
    if instants[0].minute % 15 or instants[0].second:
        raise outside.OutsideError(f"{path}: line 2, column time: a full hour or quarter hour")
    return Stamped(instants[0], step, np.array(prices))


def _columns(
    path: Path, header: list[str], needed: tuple[str, ...], known: tuple[str, ...]
) -> None:
    for name in needed:
        if name not in header:
            raise outside.OutsideError(
                f"{path}: line 1: no column {name}; needed: {', '.join(needed)}"
            )
    for name in header:
        if name not in known or header.count(name) > 1:
            raise outside.OutsideError(
                f"{path}: line 1: column {outside.said(name)}: known, once each: {', '.join(known)}"
            )


def _cell(row: list[str], k: int) -> str:
    return row[k] if k < len(row) else ""


def _due(
    path: Path, line: int, before: list[datetime], came: datetime, step: timedelta, zone: ZoneInfo
) -> None:
    if not before or came == before[-1] + step:
        return
    due = before[-1] + step
    if came == before[-1]:
        why = "stands twice"
    elif came < due:
        why = "overlaps what stands before it"
    else:
        why = "there is a gap before it"
    shown, wanted = (t.astimezone(zone).isoformat(timespec="minutes") for t in (came, due))
    raise outside.OutsideError(f"{path}: line {line}, column time: {shown}: {why}, due is {wanted}")


def _value(path: Path, line: int, name: str, text: str) -> float:
    where = f"{path}: line {line}, column {name}"
    found = outside.number(text, where)
    low, high, unit = {
        **RANGES, HUMIDITY: (1.0, 100.0, "%"), PRICE: (LEAST, MOST, "a kWh")
    }[name]  # fmt: skip
    if not low <= found <= high:
        raise outside.OutsideError(f"{where}: {found:g} is outside {low:g} to {high:g} {unit}")
    return found

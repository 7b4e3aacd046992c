"""Files of the European Commission's PVGIS service: hourly series and typical years, as CSV.

Both are stamped in UTC. A typical year carries temperature, humidity and pressure at the hour of
its stamp and irradiance that much later as its head says (`Irradiance Time Offset`); months come
from different years. An hourly series carries everything at the minute of its stamps, irradiance in
the plane that was asked for, and neither humidity nor pressure: these are a typical year's.

Parsed by `pvlib.iotools`, which takes an intact file; stamps, counts and ranges are checked here.
Format: the service's documentation and pvlib's readers of it, from memory where these are silent.
"""

import itertools
import re
from dataclasses import dataclass
from datetime import datetime, timedelta
from io import BytesIO, StringIO
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from .. import outside
from ..outside import OutsideError
from ..plant import moist_air
from . import weather
from .weather import Place, Weather

if TYPE_CHECKING:
    from pandas import DataFrame

HEAD = "Latitude (decimal degrees):"
HOURS_OF_YEAR = 8760
STAMP_FORM = "%d %B %H:%M"  # a typical year has no year of its own
DAY_H = 24
POSITION = {
    "latitude": (-90.0, 90.0),
    "longitude": (-180.0, 180.0),
    "elevation": (-450.0, 6000.0),
}
# Lowest, highest, unit. Re-analyses give a little more than 100 % over ice.
RANGES = {
    "T2m": (-60.0, 60.0, "°C"),
    "RH": (1.0, 110.0, "%"),
    "SP": (50_000.0, 110_000.0, "Pa"),
    "G(h)": (0.0, 1500.0, "W/m2"),
    "Gb(n)": (0.0, 1400.0, "W/m2"),
    "Gd(h)": (0.0, 1000.0, "W/m2"),
    "G(i)": (0.0, 1500.0, "W/m2"),
    "Gb(i)": (0.0, 1400.0, "W/m2"),
    "Gd(i)": (0.0, 1000.0, "W/m2"),
    "H_sun": (-90.0, 90.0, "°"),
}
LOW_SUN_DEGREES = 2.0  # below it the beam is counted as diffuse: its quotient is all rounding
BEAM_MOST_W_M2 = 1400.0
TYPICAL_YEAR_NEAR_DEGREES = 1.0  # latitude and longitude, of a typical year for humidity
_STAMP = re.compile(r"(\d{4})(\d\d)(\d\d):(\d\d)(\d\d),", re.ASCII)
_SLOPE = re.compile(r"^Slope:\s*(-?[\d.]+)", re.MULTILINE)

Column = NDArray[np.float64]


@dataclass(frozen=True)
class Asked:
    """What a person says of such a file.

    ``year`` is the one to take from several, None the hottest; ``moisture`` a typical year.
    """

    utc_offset_h: float | None = None  # of the place's standard time
    year: int | None = None
    moisture: Path | None = None


NOTHING = Asked()


def is_hourly(text: str) -> bool:
    """Return whether a file of the service is an hourly series, else a typical year."""
    return re.search(r"^time,", text, re.MULTILINE) is not None


def typical_year(path: Path, text: str, year: int, asked: Asked) -> Weather:
    """Return a typical year, given the calendar year ``year``.

    Raises:
        OutsideError: one line naming file, line, and what is wrong.
    """
    from pvlib import iotools

    offset_h = _offset_h(path, asked)
    # From the text, so that a byte order mark and foreign letters do no harm.
    line, stamps = _stamped(path, text)
    for row, came in enumerate(stamps[:HOURS_OF_YEAR]):
        due = datetime(2001, 1, 1) + row * outside.HOUR
        if (came.month, came.day, came.hour, came.minute) != (due.month, due.day, due.hour, 0):
            leap = (came.month, came.day) == (2, 29)
            came = came if leap else came.replace(year=due.year)
            raise outside.out_of_order(f"{path}: line {row + line}, stamp", came, due, STAMP_FORM)
    if len(stamps) != HOURS_OF_YEAR:
        raise OutsideError(f"{path}: {len(stamps)} rows, a typical year has {HOURS_OF_YEAR}")
    # From the text, so that a byte order mark and foreign letters do no harm.
    table, meta = _parsed(
        path,
        len(stamps),
        lambda: iotools.read_pvgis_tmy(
            BytesIO(text.encode()), pvgis_format="csv", map_variables=False
        ),
    )
    years = [int(month["year"]) for month in meta["months_selected"]]
    for row, came in enumerate(stamps):
        if came.year != years[came.month - 1]:
            raise OutsideError(
                f"{path}: line {row + line}, stamp: {came:%B %Y} where the head says "
                f"{years[came.month - 1]}"
            )
    names = ("T2m", "RH", "SP", "G(h)", "Gb(n)", "Gd(h)")
    air_c, percent, pressure_pa, *sun = _columns(path, table, line, names)
    late_h = float(meta["inputs"].get("irradiance time offset", 0.0))
    if not -1.0 <= late_h <= 1.0:
        raise OutsideError(f"{path}: line 4, Irradiance Time Offset: {late_h:g} is outside -1 to 1")
    dew_c = dew_points_c(air_c, np.minimum(percent, 100.0))

    def around(column: Column) -> Column:
        return np.concatenate([column[-DAY_H:], column, column[:DAY_H]])

    # Row 0 of the result is 01:00 in standard time, a place in the rows of the file.
    at = DAY_H + 1.0 - offset_h + np.arange(float(HOURS_OF_YEAR))
    columns = [at_hours(around(column), at) for column in (air_c, dew_c, pressure_pa)]
    columns += [hour_means(around(column), at - late_h) for column in sun]
    place = Place(*_place(path, meta), offset_h)
    first = datetime(year, 1, 1, 1)
    return Weather(str(path), place, first, True, **_named(columns), first_line=line)


def hourly(path: Path, text: str, asked: Asked, moisture: Weather | None) -> Weather:
    """Return an hourly series of real hours, all years of it.

    Raises:
        OutsideError: one line naming file, line, and what is wrong.
    """
    from pvlib import iotools

    offset_h = _offset_h(path, asked)
    if moisture is None:
        raise OutsideError(
            f"{path}: an hourly series without humidity: weather.moisture_file: missing: a typical "
            "year of the same place"
        )
    slopes = [float(found) for found in _SLOPE.findall(text) if found.count(".") < 2]
    if slopes != [0.0]:
        shown = f"{slopes[0]:g} degrees" if slopes else "none"
        raise OutsideError(f"{path}: Slope: {shown}: irradiance on a level plane is needed, 0")
    line, stamps = _stamped(path, text)
    if len(stamps) < 2 * DAY_H:
        raise OutsideError(f"{path}: {len(stamps)} rows, at least {2 * DAY_H} hours are needed")
    for row, (before, came) in enumerate(itertools.pairwise(stamps), 1):
        if came != before + outside.HOUR:
            where = f"{path}: line {row + line}, stamp"
            raise outside.out_of_order(where, came, before + outside.HOUR)
    table, meta = _parsed(
        path,
        len(stamps),
        lambda: iotools.read_pvgis_hourly(StringIO(text), pvgis_format="csv", map_variables=False),
    )
    place = Place(*_place(path, meta), offset_h)
    near = TYPICAL_YEAR_NEAR_DEGREES
    for name in ("latitude", "longitude"):
        here, there = getattr(place, name), getattr(moisture.place, name)
        if abs(here - there) > near:
            raise OutsideError(
                f"{moisture.source}: {name} {there:g} where {here:g} is due, that of {path}, "
                f"within {near:g} degree"
            )
    air_c, *sun = _split(path, table, line)
    local = stamps[0] + timedelta(hours=offset_h)
    # The first whole hour of standard time with a whole hour behind it.
    first = (local + 2 * outside.HOUR - timedelta(seconds=1)).replace(minute=0, second=0)
    begin = (first - local) / outside.HOUR
    at = begin + np.arange(float(int(len(stamps) - 1 - begin) + 1))
    air_c = at_hours(air_c, at)
    rows = _rows_of_typical(moisture, first, len(at))
    columns = [air_c, np.minimum(moisture.dew_point_c[rows], air_c), moisture.pressure_pa[rows]]
    columns += [hour_means(column, at) for column in sun]
    return Weather(str(path), place, first, False, **_named(columns), first_line=line)


def _named(columns: list[Column]) -> dict[str, Column]:
    return dict(zip(weather.RANGES, columns, strict=True))


def at_hours(column: Column, at: Column) -> Column:
    """Return the values at places ``at`` of the rows of a column, on straight lines."""
    return np.interp(at, np.arange(len(column)), column)


def hour_means(column: Column, at: Column) -> Column:
    """Return the means of the hours that end at places ``at``, the column on straight lines.

    The sum over whole days is that of the column.
    """
    area = np.concatenate([[0.0], np.cumsum((column[1:] + column[:-1]) / 2.0)])

    def until(x: Column) -> Column:
        row = np.clip(x.astype(np.int64), 0, len(column) - 2)
        part = x - row
        rise = column[row + 1] - column[row]
        found: Column = area[row] + part * (column[row] + rise * part / 2.0)
        return found

    # Sums of many hours leave a night a rounding below nothing.
    return np.maximum(until(at) - until(at - 1.0), 0.0)


def dew_points_c(air_c: Column, percent: Column) -> Column:
    """Return dew points [°C] from relative humidity over water [%], shape (hours,)."""
    dew_c = np.empty_like(percent)
    for i, (t_c, share) in enumerate(zip(air_c.tolist(), percent.tolist(), strict=True)):
        # Out-of-range air is left to the check of the series, which names its own column.
        vapour_pa = share / 100.0 * moist_air.saturation_pressure_pa(min(60.0, max(-60.0, t_c)))
        ratio = moist_air.humidity_ratio(vapour_pa, moist_air.STANDARD_PA)
        dew_c[i] = moist_air.dew_point_c(ratio, moist_air.STANDARD_PA)
    return dew_c


def _split(path: Path, table: "DataFrame", line: int) -> tuple[Column, Column, Column, Column]:
    """Return air [°C], total, beam towards the sun and diffuse [W/m2] of a level plane.

    A file without components gets those of Erbs, Klein and Duffie (1982), by pvlib.
    """
    from pvlib import irradiance

    if "Gb(i)" in table or "Gd(i)" in table:
        names = ("T2m", "H_sun", "Gb(i)", "Gd(i)")
        air_c, height, beam, diffuse = _columns(path, table, line, names)
        total = beam + diffuse
        # Below the low sun no quotient; above it none larger than the sun's own.
        rise = np.sin(np.radians(height))
        high = height > LOW_SUN_DEGREES
        towards = np.where(high, beam / np.where(high, rise, 1.0), 0.0)
        towards = np.minimum(towards, BEAM_MOST_W_M2)
        return air_c, total, towards, np.maximum(total - towards * rise, 0.0)
    air_c, height, total = _columns(path, table, line, ("T2m", "H_sun", "G(i)"))
    parts = irradiance.erbs(total, 90.0 - height, table.index)
    towards = np.nan_to_num(np.asarray(parts["dni"], np.float64))
    towards = np.clip(np.where(height > LOW_SUN_DEGREES, towards, 0.0), 0.0, BEAM_MOST_W_M2)
    rest = total - towards * np.sin(np.radians(height))
    return air_c, total, towards, np.maximum(rest, 0.0)


def _rows_of_typical(moisture: Weather, first: datetime, hours: int) -> NDArray[np.int64]:
    """Return the row of a typical year at the same hour, of 28 for 29 February."""
    rows = np.empty(hours, np.int64)
    for i in range(hours):
        t = first + i * outside.HOUR
        day = 28 if (t.month, t.day) == (2, 29) else t.day
        begin = datetime(2001, t.month, day, t.hour) - datetime(2001, 1, 1, 1)
        rows[i] = int(begin / outside.HOUR) % moisture.hours
    return rows


def _parsed(path: Path, rows: int, parse: Any) -> "tuple[DataFrame, Any]":
    try:
        table, meta = parse()
    except Exception as e:  # a parser of intact files: what a damaged one does to it is no defect
        why = " ".join(str(e).split())[:200] or type(e).__name__
        raise OutsideError(f"{path}: not a file of PVGIS: {why}") from None
    if len(table) != rows:
        raise OutsideError(f"{path}: {rows} rows with a stamp, {len(table)} of them in one table")
    return table, meta


def _offset_h(path: Path, asked: Asked) -> float:
    if asked.utc_offset_h is None:
        raise OutsideError(
            f"{path}: stamps are UTC: weather.utc_offset_h: missing: a number from -12 to 14, the "
            "standard time of the place"
        )
    return asked.utc_offset_h


def _place(path: Path, meta: Any) -> tuple[float, float, float]:
    found = []
    for line, (name, (low, high)) in enumerate(POSITION.items(), 1):
        value = float(meta["inputs"][name])
        if not low <= value <= high:
            raise OutsideError(
                f"{path}: line {line}, {name}: {value:g} is outside {low:g} to {high:g}"
            )
        found.append(value)
    return found[0], found[1], found[2]


def _stamped(path: Path, text: str) -> tuple[int, list[datetime]]:
    """Return the line of row 0 and the stamp of every row."""
    found: list[datetime] = []
    first_line = last = 0
    for line, row in enumerate(text.split("\n"), 1):
        match = _STAMP.match(row)
        if match is None:
            continue
        where = f"{path}: line {line}, stamp"
        try:
            year, month, day, hour, minute = map(int, match.groups())
            stamp = datetime(year, month, day, hour, minute)
        except ValueError:
            raise OutsideError(f"{where}: {outside.said(match[0])} is no time") from None
        if not outside.FIRST_YEAR <= stamp.year <= outside.LAST_YEAR:
            span = f"{outside.FIRST_YEAR} to {outside.LAST_YEAR}"
            raise OutsideError(f"{where}: year {stamp.year} is outside {span}")
        if found and line != last + 1:
            raise OutsideError(f"{path}: line {last + 1}: no row of the table")
        first_line, last = first_line or line, line
        found.append(stamp)
    return first_line, found


def _columns(path: Path, table: "DataFrame", line: int, names: tuple[str, ...]) -> list[Column]:
    """Return columns, each value inside its range."""
    import pandas as pd

    found = []
    for name in names:
        if list(table.columns).count(name) != 1:
            raise OutsideError(f"{path}: no column {name} of its own; needed: {', '.join(names)}")
        column = np.array(pd.to_numeric(table[name], errors="coerce"), np.float64)
        low, high, unit = RANGES[name]
        bad = np.flatnonzero(~((column >= low) & (column <= high)))
        if len(bad):
            value = column[bad[0]]
            shown = "missing value" if np.isnan(value) else f"{value:g}"
            raise OutsideError(
                f"{path}: line {bad[0] + line}, column {name}: {shown} is outside {low:g} to "
                f"{high:g} {unit}"
            )
        found.append(column + 0.0)  # no -0
    return found

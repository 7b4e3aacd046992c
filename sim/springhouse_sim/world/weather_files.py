"""Weather files: typical years (TMY3, TMY2, PVGIS), hourly series, every stamp and value checked.

pvlib stamps the hour of a TMY2 file at its beginning and that of a TMY3 at its end; here every row
is stamped at the end of its hour. Files of PVGIS, stamped in UTC: `pvgis.py`.
"""

import warnings
from dataclasses import replace
from datetime import datetime
from io import StringIO
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .. import outside
from ..outside import OutsideError
from . import days, pvgis
from .weather import RANGES, Place, Weather

LARGEST_BYTES = 20_000_000  # a typical year has 2 MB
HOURS_OF_YEAR = 8760
PA_OF_MBAR = 100.0
HUMIDITY = "relative_humidity_percent"  # what a CSV file may give instead of the dew point
LEAST_HUMIDITY, MOST_HUMIDITY = 1.0, 100.0
POSITION = {
    "latitude": (-90.0, 90.0),
    "longitude": (-180.0, 180.0),
    "altitude": (-450.0, 6000.0),
    "TZ": (-12.0, 14.0),
}
STAMP_FORM = "%d %B %H:%M"  # a typical year has no year of its own


def shipped(name: str) -> Path:
    """Return the path of a weather file in pvlib's own data folder.

    Raises:
        ValueError: when pvlib ships no such file.
    """
    import pvlib

    path = Path(pvlib.__file__).parent / "data" / name
    if not path.is_file():
        raise ValueError(f"{name}: pvlib ships no such file")
    return path


def read(
    path: Path, year: int, place: Place | None = None, asked: pvgis.Asked = pvgis.NOTHING
) -> Weather:
    """Read a weather file by its kind: ``.tm2``, a head of PVGIS, of our own CSV, else TMY3.

    A typical year is given the calendar year ``year``; of several years of real hours one is
    taken, see `days.real_year`.

    Raises:
        ValueError: one line naming the file and what is wrong with it.
    """
    from pvlib import iotools

    text = outside.read_text(path, LARGEST_BYTES, fallback="latin-1")  # for the name of the town
    if path.suffix.lower() == ".tm2":
        _no_choice(path, asked)
        return _typical_year(
            path, "TMY2", lambda: iotools.read_tmy2(str(path)), year, 2, begins_at=0,
            temperature=0.1, air="DryBulb", dew="DewPoint", pressure="Pressure",
            irradiance=("GHI", "DNI", "DHI"),
        )  # fmt: skip
    if text.startswith(pvgis.HEAD):
        if not pvgis.is_hourly(text):
            _no_choice(path, asked)
            return pvgis.typical_year(path, text, year, asked)
        return days.real_year(pvgis.hourly(path, text, asked, _moisture(asked, year)), asked.year)
    if text.partition("\n")[0].partition(",")[0].strip().lower() == "time":
        if place is None:
            raise ValueError(f"{path}: a CSV file needs latitude, longitude, altitude and offset")
        _no_choice(path, replace(asked, year=None))
        return days.real_year(_read_csv(path, place), asked.year)
    _no_choice(path, asked)
    return _typical_year(
        path, "TMY3",
        lambda: iotools.read_tmy3(StringIO(text), map_variables=True, coerce_year=year),
        year, 3, begins_at=1, air="temp_air", dew="temp_dew", pressure="pressure",
        irradiance=("ghi", "dni", "dhi"),
    )  # fmt: skip


def _no_choice(path: Path, asked: pvgis.Asked) -> None:
    """Refuse what is asked of a file that has it already."""
    if asked.year is not None:
        raise OutsideError(f"{path}: weather.year: {asked.year}: a typical year has but one")
    if asked.moisture is not None:
        raise OutsideError(f"{path}: weather.moisture_file: this file holds the humidity itself")


def _moisture(asked: pvgis.Asked, year: int) -> Weather | None:
    """Return the typical year that an hourly series takes its humidity from."""
    if asked.moisture is None:
        return None
    text = outside.read_text(asked.moisture, LARGEST_BYTES, fallback="latin-1")
    head = text.partition(",")[0].strip().lower()
    if head == "time" or (text.startswith(pvgis.HEAD) and pvgis.is_hourly(text)):
        raise OutsideError(f"{asked.moisture}: an hourly series where a typical year is needed")
    return read(asked.moisture, year, None, pvgis.Asked(asked.utc_offset_h))


def _typical_year(
    path: Path,
    kind: str,
    parse: Any,
    year: int,
    first_line: int,
    *,
    begins_at: int,
    temperature: float = 1.0,
    air: str,
    dew: str,
    pressure: str,
    irradiance: tuple[str, str, str],
) -> Weather:
    """Return a typical year; ``begins_at`` is the hour that the parser stamps on the first row."""
    import pandas as pd

    try:
        with warnings.catch_warnings(action="ignore"):  # of columns that are not used
            table, meta = parse()
        place = Place(*(_position(path, name, float(meta[name])) for name in POSITION))
        names = dict(zip(RANGES, (air, dew, pressure, *irradiance), strict=True))
        columns = {
            name: np.array(pd.to_numeric(table[of], errors="coerce"), np.float64)
            for name, of in names.items()
        }
    except OutsideError:
        raise
    except Exception as e:  # a parser of intact files: what a damaged one does to it is no defect
        why = " ".join(str(e).split())[:200] or type(e).__name__
        raise OutsideError(f"{path}: not a {kind} file: {why}") from None
    days = table.get("Date (MM/DD/YYYY)")
    leap = np.flatnonzero([] if days is None else days.str.startswith("02/29"))
    if leap.size:
        raise OutsideError(
            f"{path}: line {leap[0] + first_line}: a leap day: a typical year has none"
        )
    _in_order(path, table.index, begins_at, first_line)
    if len(table) != HOURS_OF_YEAR:
        raise OutsideError(f"{path}: {len(table)} rows, a typical year has {HOURS_OF_YEAR}")
    for name in ("temp_air_c", "dew_point_c"):
        columns[name] *= temperature
    columns["pressure_pa"] *= PA_OF_MBAR
    first = datetime(year, 1, 1, 1)
    return Weather(str(path), place, first, True, **columns, first_line=first_line)


def _position(path: Path, name: str, value: float) -> float:
    low, high = POSITION[name]
    if not low <= value <= high:
        raise OutsideError(f"{path}: line 1, {name}: {value:g} is outside {low:g} to {high:g}")
    return value


def _in_order(path: Path, index: Any, begins_at: int, first_line: int) -> None:
    """Refuse the first stamp that is not the hour after the one before it, whatever its year."""
    came = np.column_stack([index.month, index.day, index.hour, index.minute])
    year = datetime(2001, 1, 1, begins_at)
    due = [year + k * outside.HOUR for k in range(HOURS_OF_YEAR)]
    wanted = np.array([(t.month, t.day, t.hour, 0) for t in due])
    hours = min(len(came), HOURS_OF_YEAR)
    wrong = np.flatnonzero((came[:hours] != wanted[:hours]).any(axis=1))
    if len(wrong):
        row = int(wrong[0])
        month, day, hour, minute = (int(n) for n in came[row])
        leap = datetime(2000, month, day, hour, minute)
        stamp = leap if (month, day) == (2, 29) else leap.replace(year=due[row].year)
        where = f"{path}: line {row + first_line}, stamp"
        raise outside.out_of_order(where, stamp, due[row], STAMP_FORM)


def _read_csv(path: Path, place: Place) -> Weather:
    """Read a CSV file with a header line ``time`` and the names of `RANGES`, one row an hour.

    ``time`` is ISO 8601 in the station's standard time without an offset. The column
    ``relative_humidity_percent`` (1 to 100) may stand for ``dew_point_c``.
    """
    rows = outside.read_rows(path, LARGEST_BYTES)
    _, header = next(rows, (1, []))
    moist = "dew_point_c" if "dew_point_c" in header or HUMIDITY not in header else HUMIDITY
    wanted = ("time", *RANGES)
    for name in wanted:
        if name not in header and not (name == "dew_point_c" and moist == HUMIDITY):
            raise OutsideError(f"{path}: line 1: no column {name}; needed: {', '.join(wanted)}")
    places = [header.index(moist if name == "dew_point_c" else name) for name in wanted]
    stamps: list[datetime] = []
    values: list[list[float]] = []
    lines: list[int] = []
    for line, row in rows:
        cells = [row[k] if k < len(row) else "" for k in places]
        where = f"{path}: line {line}, column"
        stamp = outside.stamp(cells[0], f"{where} time")
        if stamps and stamp != stamps[-1] + outside.HOUR:
            raise outside.out_of_order(f"{where} time", stamp, stamps[-1] + outside.HOUR)
        stamps.append(stamp)
        lines.append(line)
        values.append(
            [
                outside.number(cell, f"{where} {header[k]}")
                for cell, k in zip(cells[1:], places[1:], strict=True)
            ]
        )
    if len(stamps) < 2:
        raise OutsideError(f"{path}: at least two hours are needed")
    columns = dict(zip(RANGES, np.array(values).T, strict=True))
    if moist == HUMIDITY:
        dew_c = _dew_points_c(path, columns["temp_air_c"], columns["dew_point_c"], lines)
        columns["dew_point_c"] = dew_c
    return Weather(str(path), place, stamps[0], False, **columns, first_line=lines[0])


def _dew_points_c(
    path: Path, air_c: NDArray[np.float64], percent: NDArray[np.float64], lines: list[int]
) -> NDArray[np.float64]:
    """Return dew points [°C] from relative humidity over water [%], shape (hours,)."""
    bad = np.flatnonzero(~((percent >= LEAST_HUMIDITY) & (percent <= MOST_HUMIDITY)))
    if len(bad):
        raise OutsideError(
            f"{path}: line {lines[bad[0]]}, column {HUMIDITY}: {percent[bad[0]]:g} is outside "
            f"{LEAST_HUMIDITY:g} to {MOST_HUMIDITY:g} %"
        )
    return pvgis.dew_points_c(air_c, percent)

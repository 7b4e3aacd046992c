"""Hourly weather of a place: typical-meteorological-year files and CSV, read and checked.

Row ``i`` carries the temperatures and the pressure *at* its stamp and the mean irradiance of the
hour that *ends* at its stamp, as TMY3 counts.  pvlib stamps the same hour of a TMY2 or EPW file at
its beginning; that is put right here.  Typical years are stitched from several calendar years, so
they are given one year of the caller's choice, and run on from the last hour into the first.
"""

import csv
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..plant import moist_air

HOUR_S = 3600
HOURS_OF_YEAR = 8760

# Column of the series: lowest, highest and unit accepted. Wide enough for any place people live
# in, narrow enough to catch °F, tenths, mbar and kPa.
RANGES = {
    "temp_air_c": (-60.0, 60.0, "°C"),
    "dew_point_c": (-75.0, 40.0, "°C"),
    "pressure_pa": (50_000.0, 110_000.0, "Pa"),
    "ghi_w_m2": (0.0, 1500.0, "W/m2"),
    "dni_w_m2": (0.0, 1400.0, "W/m2"),
    "dhi_w_m2": (0.0, 1000.0, "W/m2"),
}
DEW_ABOVE_AIR_K = 0.5  # rounding of both columns
HUMIDITY = "relative_humidity_percent"  # what a CSV file may give instead of the dew point
LEAST_HUMIDITY, MOST_HUMIDITY = 1.0, 100.0


@dataclass(frozen=True)
class Place:
    """Where a weather station stands; ``utc_offset_h`` is its standard time."""

    latitude: float
    longitude: float
    altitude_m: float
    utc_offset_h: float


@dataclass(frozen=True, eq=False)
class Weather:
    """An hourly series, shape (hours,) each, in standard time.

    Raises:
        ValueError: naming file, row of the series and column, on a missing or impossible value.
    """

    source: str
    place: Place
    first: datetime  # stamp of row 0
    cyclic: bool  # the last row is followed by the first
    temp_air_c: NDArray[np.float64]
    dew_point_c: NDArray[np.float64]
    pressure_pa: NDArray[np.float64]
    ghi_w_m2: NDArray[np.float64]
    dni_w_m2: NDArray[np.float64]
    dhi_w_m2: NDArray[np.float64]
    first_line: int = field(default=1, repr=False)  # line of row 0 in the file, for messages

    def __post_init__(self) -> None:
        for name, (low, high, unit) in RANGES.items():
            column = getattr(self, name)
            if len(column) != self.hours:
                raise ValueError(f"{self.source}: column {name} has {len(column)} rows")
            bad = np.flatnonzero(~((column >= low) & (column <= high)))
            if len(bad):
                self._refuse(int(bad[0]), name, f"is outside {low:g} to {high:g} {unit}")
        above = np.flatnonzero(self.dew_point_c > self.temp_air_c + DEW_ABOVE_AIR_K)
        if len(above):
            air_c = self.temp_air_c[above[0]]
            self._refuse(int(above[0]), "dew_point_c", f"is above the air's {air_c:g} °C")

    def _refuse(self, row: int, column: str, why: str) -> None:
        value = getattr(self, column)[row]
        shown = "missing value" if np.isnan(value) else f"{value:g}"
        raise ValueError(
            f"{self.source}: line {row + self.first_line}, column {column}: {shown} {why}"
        )

    @property
    def hours(self) -> int:
        """Number of rows."""
        return len(self.temp_air_c)

    @property
    def stamps(self) -> list[datetime]:
        """Stamp of every row."""
        return [self.first + timedelta(hours=i) for i in range(self.hours)]

    def hour_of(self, t: datetime) -> float:
        """Return the place of a standard time in the series, row 0 being 0.0.

        Raises:
            ValueError: naming the file and its span, when ``t`` lies outside and the series is
                not cyclic.
        """
        hour = (t - self.first).total_seconds() / HOUR_S
        if not self.cyclic and not 0.0 <= hour <= self.hours - 1:
            last = self.first + timedelta(hours=self.hours - 1)
            raise ValueError(f"{self.source}: {t} is outside {self.first} to {last}")
        return hour

    def between_rows(self, column: NDArray[np.float64], hour: float) -> float:
        """Return ``column`` on the straight line between rows at ``hour`` (may be fractional).

        Before the first row and after the last of a series that is not cyclic its value holds.
        """
        row = int(np.floor(hour))
        f = hour - row
        if self.cyclic:
            row, after = row % self.hours, (row + 1) % self.hours
        else:
            row, after = (min(max(0, r), self.hours - 1) for r in (row, row + 1))
        return float(column[row] * (1.0 - f) + column[after] * f)


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


def read(path: Path, year: int, place: Place | None = None) -> Weather:
    """Read a weather file by its kind: ``.tm2``, ``.epw``, a header of our own CSV, else TMY3.

    Raises:
        ValueError: one line naming the file and what is wrong with it.
    """
    if not path.is_file():
        raise ValueError(f"{path}: no such weather file")
    if path.suffix.lower() == ".tm2":
        return read_tmy2(path, year)
    if path.suffix.lower() == ".epw":
        return read_epw(path, year)
    with path.open(encoding="utf-8", errors="replace") as f:
        header = f.readline()
    if header.partition(",")[0].strip().lower() == "time":
        if place is None:
            raise ValueError(f"{path}: a CSV file needs latitude, longitude, altitude and offset")
        return read_csv(path, place)
    return read_tmy3(path, year)


def read_tmy3(path: Path, year: int) -> Weather:
    """Read a TMY3 file, giving it the calendar year ``year``.

    Raises:
        ValueError: naming the file, when it is not a whole year of TMY3.
    """
    from pvlib.iotools import read_tmy3 as parse

    try:
        table, meta = parse(str(path), map_variables=True, coerce_year=year)
    except (KeyError, ValueError, IndexError, OSError) as e:
        raise ValueError(f"{path}: not a TMY3 file: {e}") from e
    return _typical_year(
        path, table, meta, year, 3, temperature=1.0, air="temp_air", dew="temp_dew",
        pressure="pressure", irradiance=("ghi", "dni", "dhi"),
    )  # fmt: skip


def read_tmy2(path: Path, year: int) -> Weather:
    """Read a TMY2 file (tenths of °C), giving it the calendar year ``year``.

    Raises:
        ValueError: naming the file, when it is not a whole year of TMY2.
    """
    from pvlib.iotools import read_tmy2 as parse

    try:
        table, meta = parse(str(path))
    except (KeyError, ValueError, IndexError, OSError) as e:
        raise ValueError(f"{path}: not a TMY2 file: {e}") from e
    return _typical_year(
        path, table, meta, year, 2, temperature=0.1, air="DryBulb", dew="DewPoint",
        pressure="Pressure", irradiance=("GHI", "DNI", "DHI"),
    )  # fmt: skip


def read_epw(path: Path, year: int) -> Weather:
    """Read an EPW file (pressure in Pa), giving it the calendar year ``year``.

    Raises:
        ValueError: naming the file, when it is not a whole year of EPW.
    """
    from pvlib.iotools import read_epw as parse

    try:
        table, meta = parse(str(path))
    except (KeyError, ValueError, IndexError, OSError) as e:
        raise ValueError(f"{path}: not an EPW file: {e}") from e
    return _typical_year(
        path, table, meta, year, 9, temperature=1.0, air="temp_air", dew="temp_dew",
        pressure="atmospheric_pressure", pascal=1.0, irradiance=("ghi", "dni", "dhi"),
    )  # fmt: skip


def _typical_year(
    path: Path,
    table: Any,
    meta: Any,
    year: int,
    first_line: int,
    *,
    temperature: float,
    air: str,
    dew: str,
    pressure: str,
    pascal: float = 100.0,
    irradiance: tuple[str, str, str],
) -> Weather:
    if len(table) != HOURS_OF_YEAR:
        raise ValueError(f"{path}: {len(table)} rows, a typical year has {HOURS_OF_YEAR}")
    sun = [table[name].to_numpy(np.float64) for name in irradiance]
    return Weather(
        source=str(path),
        place=Place(
            float(meta["latitude"]),
            float(meta["longitude"]),
            float(meta["altitude"]),
            float(meta["TZ"]),
        ),
        first=datetime(year, 1, 1, 1),
        cyclic=True,
        temp_air_c=temperature * table[air].to_numpy(np.float64),
        dew_point_c=temperature * table[dew].to_numpy(np.float64),
        pressure_pa=pascal * table[pressure].to_numpy(np.float64),
        ghi_w_m2=sun[0],
        dni_w_m2=sun[1],
        dhi_w_m2=sun[2],
        first_line=first_line,
    )


def read_csv(path: Path, place: Place) -> Weather:
    """Read a CSV file with a header line ``time`` and the names of `RANGES`, one row an hour.

    ``time`` is ISO 8601 in the station's standard time without an offset. The column
    ``relative_humidity_percent`` (1 to 100) may stand for ``dew_point_c``.

    Raises:
        ValueError: one line naming file, line and column.
    """
    wanted = ("time", *RANGES)
    with path.open(newline="", encoding="utf-8") as f:
        rows = list(csv.reader(f))
    header = [name.strip() for name in rows[0]] if rows else []
    moist = "dew_point_c" if "dew_point_c" in header or HUMIDITY not in header else HUMIDITY
    for name in wanted:
        if name not in header and not (name == "dew_point_c" and moist == HUMIDITY):
            raise ValueError(f"{path}: line 1: no column {name}; needed: {', '.join(wanted)}")
    rows = [row for row in rows[1:] if row]
    if len(rows) < 2:
        raise ValueError(f"{path}: at least two hours are needed")
    first = _csv_time(path, rows[0], header, 2)
    values = np.empty((len(RANGES), len(rows)))
    for i, row in enumerate(rows):
        due = first + timedelta(hours=i)
        stamp = _csv_time(path, row, header, i + 2)
        if stamp != due:
            raise ValueError(f"{path}: line {i + 2}, column time: {stamp} where {due} is due")
        for k, name in enumerate(RANGES):
            column = moist if name == "dew_point_c" else name
            values[k, i] = _csv_number(path, row, header, i + 2, column)
    columns = dict(zip(RANGES, values, strict=True))
    if moist == HUMIDITY:
        columns["dew_point_c"] = _dew_points_c(path, columns["temp_air_c"], columns["dew_point_c"])
    return Weather(str(path), place, first, False, **columns, first_line=2)


def _dew_points_c(
    path: Path, air_c: NDArray[np.float64], percent: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return dew points [°C] from relative humidity over water [%], shape (hours,)."""
    dew_c = np.empty_like(percent)
    for i, (t_c, share) in enumerate(zip(air_c.tolist(), percent.tolist(), strict=True)):
        if not LEAST_HUMIDITY <= share <= MOST_HUMIDITY:
            raise ValueError(
                f"{path}: line {i + 2}, column {HUMIDITY}: {share:g} is outside "
                f"{LEAST_HUMIDITY:g} to {MOST_HUMIDITY:g} %"
            )
        # Out-of-range air is left to the check of the series, which names its own column.
        vapour_pa = share / 100.0 * moist_air.saturation_pressure_pa(min(60.0, max(-60.0, t_c)))
        ratio = moist_air.humidity_ratio(vapour_pa, moist_air.STANDARD_PA)
        dew_c[i] = moist_air.dew_point_c(ratio, moist_air.STANDARD_PA)
    return dew_c


def _csv_cell(row: list[str], header: list[str], name: str) -> str:
    place = header.index(name)
    return row[place].strip() if place < len(row) else ""


def _csv_time(path: Path, row: list[str], header: list[str], line: int) -> datetime:
    text = _csv_cell(row, header, "time")
    try:
        stamp = datetime.fromisoformat(text)
    except ValueError:
        raise ValueError(f"{path}: line {line}, column time: {text!r} is no ISO time") from None
    if stamp.tzinfo is not None:
        raise ValueError(f"{path}: line {line}, column time: {text!r} must not carry an offset")
    return stamp


def _csv_number(path: Path, row: list[str], header: list[str], line: int, name: str) -> float:
    text = _csv_cell(row, header, name)
    try:
        return float(text)
    except ValueError:
        raise ValueError(f"{path}: line {line}, column {name}: {text!r} is no number") from None

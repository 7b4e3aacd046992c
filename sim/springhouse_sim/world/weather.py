"""Hourly weather of a place: typical-meteorological-year files and CSV, read and checked.

Row ``i`` carries the temperatures and the pressure *at* its stamp and the mean irradiance of the
hour that *ends* at its stamp, as TMY3 counts.  `read_tmy2` of pvlib stamps the same hour at its
beginning; that is put right here.  Typical years are stitched from several calendar years, so they
are given one year of the caller's choice, and run on from the last hour into the first.
"""

import csv
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

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
        """Return ``column`` on the straight line between rows at ``hour`` (may be fractional)."""
        row = int(np.floor(hour))
        f = hour - row
        after = min(row + 1, self.hours - 1) if not self.cyclic else (row + 1) % self.hours
        row = max(0, row) if not self.cyclic else row % self.hours
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
    """Read a weather file by its kind: ``.tm2`` TMY2, a header of our own CSV, else TMY3.

    Raises:
        ValueError: one line naming the file and what is wrong with it.
    """
    if not path.is_file():
        raise ValueError(f"{path}: no such weather file")
    if path.suffix.lower() == ".tm2":
        return read_tmy2(path, year)
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
        pressure_pa=100.0 * table[pressure].to_numpy(np.float64),
        ghi_w_m2=sun[0],
        dni_w_m2=sun[1],
        dhi_w_m2=sun[2],
        first_line=first_line,
    )


def read_csv(path: Path, place: Place) -> Weather:
    """Read a CSV file with a header line ``time`` and the names of `RANGES`, one row an hour.

    ``time`` is ISO 8601 in the station's standard time without an offset.

    Raises:
        ValueError: one line naming file, line and column.
    """
    wanted = ("time", *RANGES)
    with path.open(newline="", encoding="utf-8") as f:
        rows = list(csv.reader(f))
    header = [name.strip() for name in rows[0]] if rows else []
    for name in wanted:
        if name not in header:
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
            values[k, i] = _csv_number(path, row, header, i + 2, name)
    columns = dict(zip(RANGES, values, strict=True))
    return Weather(str(path), place, first, False, **columns, first_line=2)


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

"""Hourly weather of a place, checked; `weather_files` reads it.

Row ``i`` carries the temperatures and the pressure *at* its stamp and the mean irradiance of the
hour that *ends* at its stamp, as TMY3 counts.  Typical years are stitched
from several calendar years, so they are given one year of the caller's choice, and run on from the
last hour into the first.
"""

import math
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray

HOUR_S = 3600

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

    def warmer(self, by_k: float) -> "Weather":
        """Return the same hours with the air so much warmer, as moist as it was: a heat wave."""
        most_c = RANGES["temp_air_c"][1]
        air_c = np.minimum(self.temp_air_c + by_k, most_c)
        return replace(self, source=f"{self.source}, {by_k:g} K warmer", temp_air_c=air_c)

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
        row = math.floor(hour)
        f = hour - row
        if self.cyclic:
            row, after = row % self.hours, (row + 1) % self.hours
        else:
            row, after = (min(max(0, r), self.hours - 1) for r in (row, row + 1))
        return float(column[row] * (1.0 - f) + column[after] * f)

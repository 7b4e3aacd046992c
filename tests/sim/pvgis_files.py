"""Files of PVGIS written from a weather that ships: head, months, table and notes.

The layout is that which pvlib's readers of such files take, and its documentation; from memory
where these are silent. Irradiance of the sample is the mean of an hour, which the file stamps at
the middle: half an hour after the hour of a typical year, minute 30 of an hourly series.
"""

import math
from datetime import UTC, datetime, timedelta

import numpy as np
import pandas as pd
from pvlib import solarposition
from springhouse_sim.plant import moist_air
from springhouse_sim.world.weather import Weather

OFFSET_H = -5.0  # of the sample's place
MONTHS = (2012, 2008, 2015, 2011, 2009, 2010, 2012, 2007, 2014, 2013, 2005, 2006)
HEAD_LINES = 18


def head(w: Weather) -> list[str]:
    p = w.place
    return [
        f"Latitude (decimal degrees): {p.latitude:.3f}",
        f"Longitude (decimal degrees): {p.longitude:.3f}",
        f"Elevation (m): {p.altitude_m:.1f}",
    ]


def percent(air_c: float, dew_c: float) -> float:
    """Relative humidity [%] by vapour pressures."""
    over = moist_air.saturation_pressure_pa
    return 100.0 * over(min(dew_c, air_c)) / over(air_c)


def row_in_utc(w: Weather, stamp_utc: datetime) -> int:
    """Row of a typical year at a moment of UTC, whatever its year."""
    local = stamp_utc + timedelta(hours=w.place.utc_offset_h)
    day = 28 if (local.month, local.day) == (2, 29) else local.day
    at = datetime(w.first.year, local.month, day, local.hour)
    return round((at - w.first).total_seconds() / 3600.0) % w.hours


def typical_text(w: Weather) -> str:
    """Return a typical year of the service."""
    lines = [*head(w), "Irradiance Time Offset (h): 0.5", "month,year"]
    lines += [f"{month},{year}" for month, year in enumerate(MONTHS, 1)]
    lines.append("time(UTC),T2m,RH,G(h),Gb(n),Gd(h),IR(h),WS10m,WD10m,SP")
    assert len(lines) == HEAD_LINES
    for hour in range(w.hours):
        stamp = datetime(2001, 1, 1) + timedelta(hours=hour)
        row = row_in_utc(w, stamp)
        after = (row + 1) % w.hours  # the hour that begins at the stamp
        cells = [
            f"{w.temp_air_c[row]:.2f}",
            f"{percent(w.temp_air_c[row], w.dew_point_c[row]):.3f}",
        ]
        cells += [f"{c[after]:.2f}" for c in (w.ghi_w_m2, w.dni_w_m2, w.dhi_w_m2)]
        cells += ["330.5", "1.20", "210.0", f"{w.pressure_pa[row]:.0f}"]
        shown = stamp.replace(year=MONTHS[stamp.month - 1])
        lines.append(",".join([f"{shown:%Y%m%d:%H%M}", *cells]))
    lines += ["", "T2m: 2-m air temperature (degree Celsius)", "RH: relative humidity (%)", ""]
    return "\r\n".join(lines)


def hourly_text(
    w: Weather,
    first_utc: datetime,
    hours: int,
    *,
    components: bool = True,
    warmer_k: dict[int, float] | None = None,
    minute: int = 30,
) -> str:
    """Return an hourly series on a level plane; ``warmer_k`` adds to the air of whole years."""
    stamps = [first_utc + timedelta(hours=i, minutes=minute) for i in range(hours)]
    index = pd.DatetimeIndex([t.replace(tzinfo=UTC) for t in stamps])
    p = w.place
    sun = solarposition.get_solarposition(index, p.latitude, p.longitude, p.altitude_m)
    height = np.maximum(np.asarray(sun["elevation"]), 0.0)
    names = "Gb(i),Gd(i),Gr(i)" if components else "G(i)"
    lines = [
        *head(w),
        "Radiation database:\tPVGIS-SARAH3",
        "",
        "",
        "Slope: 0 deg. ",
        "Azimuth: 0 deg. ",
    ]
    lines.append(f"time,{names},H_sun,T2m,WS10m,Int")
    for stamp, up in zip(stamps, height.tolist(), strict=True):
        row = row_in_utc(w, stamp)
        after = (row + 1) % w.hours
        beam = w.dni_w_m2[after] * math.sin(math.radians(up))
        diffuse = w.dhi_w_m2[after]
        parts = (beam, diffuse, 0.0) if components else (beam + diffuse,)
        f = minute / 60.0
        air_c = (1.0 - f) * w.temp_air_c[row] + f * w.temp_air_c[after]
        air_c += (warmer_k or {}).get(stamp.year, 0.0)
        cells = [f"{value:.4f}" for value in (*parts, up, air_c)]
        lines.append(",".join([f"{stamp:%Y%m%d:%H%M}", *cells, "1.31", "0.0"]))
    lines += ["", "T2m: 2-m air temperature (degree Celsius)", "", "PVGIS (c) European Union", ""]
    return "\r\n".join(lines)

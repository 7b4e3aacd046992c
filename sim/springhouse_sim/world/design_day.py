"""Weather from a few design figures, where there is no file: a sinusoid and a clear sky."""

import math
from dataclasses import dataclass
from datetime import datetime, timedelta, timezone

import numpy as np

from ..plant import moist_air
from .weather import Place, Weather

HOTTEST_HOUR = 15.0  # local solar time; coolest twelve hours before
DAYS = 15  # this many days alike, so that a week and three days can be chosen from them


@dataclass(frozen=True)
class DesignDay:
    """A hot day: highest dry bulb, its daily range, and the moisture held all day.

    Raises:
        ValueError: naming the value out of range, or a dew point above the coolest hour.
    """

    month: int
    day: int
    highest_c: float
    range_k: float
    dew_point_c: float

    def __post_init__(self) -> None:
        for name, low, high in (
            ("highest_c", -10.0, 55.0),
            ("range_k", 0.0, 30.0),
            ("dew_point_c", -30.0, 35.0),
        ):
            value = getattr(self, name)
            if not low <= value <= high:
                raise ValueError(f"DesignDay.{name}: {value:g} is outside {low:g} to {high:g}")
        if self.dew_point_c > self.highest_c - self.range_k:
            raise ValueError(
                f"DesignDay.dew_point_c: {self.dew_point_c:g} is above the coolest hour, "
                f"{self.highest_c - self.range_k:g} °C"
            )
        try:
            datetime(2001, self.month, self.day)
        except ValueError as error:
            raise ValueError(f"DesignDay: {self.month}-{self.day}: {error}") from None


def weather(design: DesignDay, place: Place, year: int) -> Weather:
    """Return DAYS days alike with the design day in their middle, repeated for ever.

    Dry bulb is a sinusoid with its top at 15:00 local solar time; pressure that of the standard
    atmosphere. The sun is a clear sky after Ineichen 2008 (simplified Solis in pvlib) with 2 cm of
    water and an optical depth of 0.1.
    """
    import pandas as pd
    from pvlib import atmosphere, clearsky, irradiance, solarposition

    first = datetime(year, design.month, design.day) - timedelta(days=DAYS // 2)
    zone = timezone(timedelta(hours=place.utc_offset_h))
    hours = 24 * DAYS
    ends = np.arange(1, hours + 1)
    solar_h = ends + place.longitude / 15.0 - place.utc_offset_h
    mean_c = design.highest_c - design.range_k / 2.0
    swing = np.cos((solar_h - HOTTEST_HOUR) * math.pi / 12.0)
    middles = pd.date_range(
        first.replace(tzinfo=zone) + timedelta(minutes=30), periods=hours, freq="h"
    )
    position = solarposition.get_solarposition(
        middles, place.latitude, place.longitude, altitude=place.altitude_m
    )
    pressure_pa = moist_air.standard_pressure_pa(place.altitude_m)
    clear = clearsky.simplified_solis(
        position["apparent_elevation"],
        pressure=float(atmosphere.alt2pres(place.altitude_m)),
        precipitable_water=2.0,
        dni_extra=irradiance.get_extra_radiation(middles),
    )
    sun = {name: np.nan_to_num(np.maximum(0.0, clear[name].to_numpy())) for name in clear}
    return Weather(
        source="design day",
        place=place,
        first=first + timedelta(hours=1),
        cyclic=True,
        temp_air_c=mean_c + design.range_k / 2.0 * swing,
        dew_point_c=np.full(hours, design.dew_point_c),
        pressure_pa=np.full(hours, pressure_pa),
        ghi_w_m2=sun["ghi"],
        dni_w_m2=sun["dni"],
        dhi_w_m2=sun["dhi"],
    )

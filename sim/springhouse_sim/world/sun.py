"""Sun through a window."""

from dataclasses import dataclass
from datetime import timedelta, timezone

import numpy as np
from numpy.typing import NDArray

from .weather import Weather

MODELS = ("haydavies", "isotropic")


@dataclass(frozen=True)
class Glazing:
    """A window: ``azimuth_deg`` is where it looks (north 0, east 90), 90° tilt is upright.

    ``g`` is the share of the irradiance on the pane that ends in the room, sun blinds included;
    it is held constant over the angle of incidence.

    Raises:
        ValueError: naming the value out of range.
    """

    area_m2: float
    g: float
    azimuth_deg: float
    tilt_deg: float = 90.0
    ground_albedo: float = 0.2
    model: str = "haydavies"

    def __post_init__(self) -> None:
        for name, high in (("area_m2", 100.0), ("g", 1.0), ("azimuth_deg", 360.0)):
            value = getattr(self, name)
            if not 0.0 <= value <= high:
                raise ValueError(f"Glazing.{name}: {value:g} is outside 0 to {high:g}")
        if self.model not in MODELS:
            raise ValueError(f"Glazing.model: {self.model!r} is not one of {', '.join(MODELS)}")


def through_window_w(weather: Weather, glazing: Glazing) -> NDArray[np.float64]:
    """Return the mean sun through the window in the hour before each row [W], shape (hours,).

    Position of the sun at the middle of the hour; transposition by pvlib, diffuse sky after Hay
    and Davies 1980, or isotropic.
    """
    import pandas as pd
    from pvlib import irradiance, solarposition

    zone = timezone(timedelta(hours=weather.place.utc_offset_h))
    middle = weather.first.replace(tzinfo=zone) - timedelta(minutes=30)
    times = pd.date_range(middle, periods=weather.hours, freq="h")
    place = weather.place
    position = solarposition.get_solarposition(
        times, place.latitude, place.longitude, altitude=place.altitude_m
    )
    total = irradiance.get_total_irradiance(
        glazing.tilt_deg,
        glazing.azimuth_deg,
        position["apparent_zenith"],
        position["azimuth"],
        pd.Series(weather.dni_w_m2, times),
        pd.Series(weather.ghi_w_m2, times),
        pd.Series(weather.dhi_w_m2, times),
        dni_extra=irradiance.get_extra_radiation(times),
        albedo=glazing.ground_albedo,
        model=glazing.model,
    )["poa_global"].to_numpy(np.float64)
    return np.asarray(np.nan_to_num(np.maximum(0.0, total)) * glazing.area_m2 * glazing.g)

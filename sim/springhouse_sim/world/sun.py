"""Sun through a window."""

from dataclasses import dataclass
from datetime import timedelta, timezone
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from . import kept_weather
from .weather import Weather

if TYPE_CHECKING:
    import pandas as pd

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
    g = glazing
    plane = _on_plane_w_m2(weather, g.tilt_deg, g.azimuth_deg, g.ground_albedo, g.model)
    return np.asarray(plane * g.area_m2 * g.g)


# Kept, for each takes as long as days of the plant, and installations drawn about one place
# differ in areas and shares only. A series of weather is itself and equal to no other.
@lru_cache(maxsize=32)
def _on_plane_w_m2(
    weather: Weather, tilt_deg: float, azimuth_deg: float, albedo: float, model: str
) -> NDArray[np.float64]:
    """Return the irradiance on a tilted plane [W/m2], shape (hours,)."""
    plane = (tilt_deg, azimuth_deg, albedo, model)
    return kept_weather.on_plane(weather, plane, lambda: _worked_out(weather, *plane))


def _worked_out(
    weather: Weather, tilt_deg: float, azimuth_deg: float, albedo: float, model: str
) -> NDArray[np.float64]:
    from pvlib import irradiance

    position = _position(weather)
    times = position.index
    total = irradiance.get_total_irradiance(
        tilt_deg,
        azimuth_deg,
        position["apparent_zenith"],
        position["azimuth"],
        _stamped(weather.dni_w_m2, times),
        _stamped(weather.ghi_w_m2, times),
        _stamped(weather.dhi_w_m2, times),
        dni_extra=irradiance.get_extra_radiation(times),
        albedo=albedo,
        model=model,
    )["poa_global"].to_numpy(np.float64)
    return np.asarray(np.nan_to_num(np.maximum(0.0, total)))


@lru_cache(maxsize=4)
def _position(weather: Weather) -> "pd.DataFrame":
    """Return where the sun stands at the middle of each hour."""
    import pandas as pd
    from pvlib import solarposition

    zone = timezone(timedelta(hours=weather.place.utc_offset_h))
    middle = weather.first.replace(tzinfo=zone) - timedelta(minutes=30)
    times = pd.date_range(middle, periods=weather.hours, freq="h")
    place = weather.place
    found: pd.DataFrame = solarposition.get_solarposition(
        times, place.latitude, place.longitude, altitude=place.altitude_m
    )
    return found


def _stamped(values: NDArray[np.float64], times: "pd.Index[Any]") -> "pd.Series[float]":
    import pandas as pd

    return pd.Series(values, times)

"""Where a site's weather comes from."""

from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from springhouse_sim.world.pvgis import NOTHING, Asked

from .read import Fault, shown

# Typical years that pvlib ships, by our word for them.
PACKAGED = {
    "greensboro-tmy3": "723170TYA.CSV",
    "miami-tmy2": "12839.tm2",
    "sand-point-tmy3": "703165TY.csv",
}


@dataclass(frozen=True)
class WeatherFile:
    """An hourly file, or a design day of highest °C, range K, dew point °C, month and day.

    ``position`` is latitude, longitude, altitude and offset of a CSV or a design day; ``asked``
    what is said of a file that leaves something open.
    """

    path: Path | None
    position: tuple[float, float, float, float] | None = None
    design: tuple[float, float, float, int, int] | None = None
    asked: Asked = NOTHING

    @property
    def paths(self) -> list[Path]:
        """The files that the weather is read from."""
        return [path for path in (self.path, self.asked.moisture) if path is not None]


def _packaged(name: str) -> Path | None:
    spec = find_spec("pvlib")  # finds the folder without the second that an import takes
    if spec is None or spec.origin is None:
        return None
    path = Path(spec.origin).parent / "data" / name
    return path if path.is_file() else None


def weather_file(values: dict[str, Any], beside: Path, faults: list[Fault]) -> WeatherFile | None:
    """Return what a [weather] table names; a relative path counts from the site file."""
    source, csv = values.get("source"), values.get("csv")
    if source is not None:
        path = _packaged(PACKAGED[source])
        if path is None:
            faults.append(
                Fault("weather.source", shown(source), "a file that the pvlib here ships")
            )
            return None
        return WeatherFile(path)
    key = "csv" if csv is not None else "file"
    named = values.get(key)
    path = None if named is None else beside / named
    if path is not None and not path.is_file():
        faults.append(Fault(f"weather.{key}", shown(named), "an hourly file that can be read"))
        return None
    beside_it = values.get("moisture_file")
    moisture = None if beside_it is None else beside / beside_it
    if moisture is not None and not moisture.is_file():
        told = "a typical year that can be read"
        faults.append(Fault("weather.moisture_file", shown(beside_it), told))
        return None
    asked = Asked(values.get("utc_offset_h"), values.get("year"), moisture)
    if path is not None and key == "file":
        return WeatherFile(path, asked=asked)
    names = ("latitude_degrees", "longitude_degrees", "altitude_m", "utc_offset_h")
    latitude, longitude, altitude, offset = (values.get(name) or 0.0 for name in names)
    position = (latitude, longitude, altitude, offset)
    if path is not None:
        return WeatherFile(path, position, asked=asked)
    highest_c, dew_c = values.get("design_highest_c"), values.get("design_dew_point_c")
    if highest_c is None or dew_c is None:
        return None
    keys = ("design_range_k", "design_month", "design_day")
    range_k, month, day = (values.get(key, 0) for key in keys)
    return WeatherFile(None, position, (highest_c, range_k, dew_c, month, day))


def price_file(values: dict[str, Any], beside: Path, faults: list[Fault]) -> Path | None:
    """Return the hourly prices of a [tariff] table, None where it names none."""
    named = values.get("prices_csv")
    if named is None:
        return None
    path: Path = beside / named
    if not path.is_file():
        faults.append(Fault("tariff.prices_csv", shown(named), "an hourly file that can be read"))
        return None
    return path

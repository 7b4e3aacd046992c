"""Where a site's weather comes from."""

from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from .read import Fault, shown

# Typical years that pvlib ships, by our word for them.
PACKAGED = {
    "greensboro-tmy3": "723170TYA.CSV",
    "miami-tmy2": "12839.tm2",
    "sand-point-tmy3": "703165TY.csv",
}


@dataclass(frozen=True)
class WeatherFile:
    """An hourly file; ``position`` is latitude, longitude, altitude and offset of a CSV."""

    path: Path
    position: tuple[float, float, float, float] | None = None


def _packaged(name: str) -> Path | None:
    spec = find_spec("pvlib")  # finds the folder without the second that an import takes
    if spec is None or spec.origin is None:
        return None
    path = Path(spec.origin).parent / "data" / name
    return path if path.is_file() else None


def weather_file(values: dict[str, Any], beside: Path, faults: list[Fault]) -> WeatherFile | None:
    """Return the file of a [weather] table; a relative csv path counts from the site file."""
    source, csv = values.get("source"), values.get("csv")
    if source is not None:
        path = _packaged(PACKAGED[source])
        if path is None:
            faults.append(
                Fault("weather.source", shown(source), "a file that the pvlib here ships")
            )
            return None
        return WeatherFile(path)
    if csv is None:
        return None
    path = beside / csv
    if not path.is_file():
        faults.append(Fault("weather.csv", shown(csv), "an hourly file that can be read"))
        return None
    names = ("latitude_degrees", "longitude_degrees", "altitude_m", "utc_offset_h")
    latitude, longitude, altitude, offset = (values.get(name) or 0.0 for name in names)
    return WeatherFile(path, (latitude, longitude, altitude, offset))

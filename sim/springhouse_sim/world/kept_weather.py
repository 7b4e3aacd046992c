"""Weather as it was read and sun as it was worked out, kept on disk: pvlib takes a second to load.

Kept under a hash of the bytes of the files, of what is asked of them, of the text that reads them
and of its libraries. Columns are kept as they lie in memory, so that no bit is another.
"""

import hashlib
import json
import platform
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import asdict, fields
from datetime import datetime
from functools import cache
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .. import kept_file, outside
from ..cache_folder import cache_root
from ..plant import moist_air
from . import design_day, pvgis, weather_files
from .weather import RANGES, Place, Weather

FOLDER = "weather"
MOST_FILES = 60  # half a megabyte each at most; the oldest go
LIBRARIES = ("numpy", "pandas", "pvlib", "scipy")

Column = NDArray[np.float64]


def read(path: Path, year: int, place: Place | None, asked: pvgis.Asked) -> Weather:
    """Return what `weather_files.read` makes of a file, read at most once as long as it is kept.

    Raises:
        ValueError: as there.
    """
    files = [file for file in (path, asked.moisture) if file is not None]

    def content() -> tuple[str, ...]:
        most = weather_files.LARGEST_BYTES
        return tuple(hashlib.sha256(outside.read_bytes(f, most)).hexdigest() for f in files)

    def make() -> bytes | None:
        made = _packed(weather_files.read(path, year, place, asked))
        return made if content() == held else None  # None: written to meanwhile, of either text

    held = content()
    said = (str(path), str(asked.moisture), asked.utc_offset_h, asked.year, year, place)
    kept = _kept(repr((said, held)), make)
    return weather_files.read(path, year, place, asked) if kept is None else _unpacked(kept)


def of_design(design: design_day.DesignDay, place: Place, year: int) -> Weather:
    """Return what `design_day.weather` makes of a hot day, worked out at most once.

    Raises:
        ValueError: as there.
    """
    kept = _kept(
        repr((design, place, year)), lambda: _packed(design_day.weather(design, place, year))
    )
    assert kept is not None
    return _unpacked(kept)


def on_plane(
    weather: Weather, plane: tuple[float | str, ...], make: Callable[[], Column]
) -> Column:
    """Return what ``make`` works out for a plane in this weather, shape (hours,), read only."""
    digest = hashlib.sha256()
    for column in (weather.ghi_w_m2, weather.dni_w_m2, weather.dhi_w_m2):
        digest.update(column.tobytes())
    said = (weather.place, weather.first, weather.hours, plane, digest.hexdigest())
    kept = _kept(repr(said), lambda: make().astype(np.float64).tobytes())
    assert kept is not None
    return np.frombuffer(kept)


def _kept(asked: str, make: Callable[[], bytes | None]) -> bytes | None:
    """Return what is kept under a name, else what is made, and keep that unless it is None."""
    name = hashlib.sha256(f"{_makers()}\0{asked}".encode()).hexdigest()
    path = cache_root() / FOLDER / name
    content = kept_file.read(path, name)
    if content is None:
        content = make()
        if content is not None:
            kept_file.write(path, name, content)
            _drop_oldest(path.parent)
    return content


@cache
def _makers() -> str:
    """Return the hash of the text and the libraries that make what is kept."""
    digest = hashlib.sha256()
    for said in (platform.python_version(), platform.machine(), *map(version, LIBRARIES)):
        digest.update(said.encode() + b"\0")
    for path in _texts():
        digest.update(hashlib.sha256(path.read_bytes()).digest())
    return digest.hexdigest()


def _texts() -> Iterator[Path]:
    yield from sorted(Path(__file__).parent.glob("*.py"))
    for module in (outside, moist_air):
        assert module.__file__ is not None
        yield Path(module.__file__)


def _packed(weather: Weather) -> bytes:
    """Return a line of JSON and the columns after it."""
    head = {
        field.name: getattr(weather, field.name)
        for field in fields(weather)
        if field.name not in RANGES
    }
    head |= {"place": asdict(weather.place), "first": weather.first.isoformat()}
    columns = np.array([getattr(weather, name) for name in RANGES], np.float64)
    return json.dumps(head).encode() + b"\n" + columns.tobytes()


def _unpacked(content: bytes) -> Weather:
    line, _, rest = content.partition(b"\n")
    told: dict[str, Any] = json.loads(line)
    told["place"] = Place(**told["place"])
    told["first"] = datetime.fromisoformat(told["first"])
    columns = np.frombuffer(rest).reshape(len(RANGES), -1)
    told |= {name: column.copy() for name, column in zip(RANGES, columns, strict=True)}
    return Weather(**told)


def _drop_oldest(folder: Path) -> None:
    with suppress(OSError):  # of another process, or where nothing can be removed
        found = sorted(folder.iterdir(), key=lambda path: path.stat().st_mtime_ns)
        for path in found[:-MOST_FILES]:
            path.unlink(missing_ok=True)

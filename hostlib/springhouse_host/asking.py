"""What a beginner can answer, what follows from the answers, and what is wrong with them."""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any

from pydantic_core import PydanticCustomError

from .errors import SiteError
from .site import load_site
from .site.derive import inner_box_m
from .site.fields import Quantity, Windows, Word, window
from .site.read import MODELS, kind_of

NONE = "none"  # one price all day, no hours
FULL_SHARE = 0.75  # of the label's litres, common practice: baskets' room and headroom stay free
PROBE_UNDER_M, RETURN_UNDER_M = 0.076, 0.036  # below the surface, as in the demo

CABINET, WATER = "freezer.cabinet_litres", "store.water_litres"
INNER = tuple(f"freezer.inner_{side}_m" for side in ("length", "width", "depth"))
WALL, GLASS, SIDE = "room.outside_wall_m2", "room.window_area_m2", "room.window_side"
WANTED, QUIET, WEATHER = "schedule.wanted", "schedule.no_start", "weather.source"
TARGET, BELOW = "settings.room_target_c", "promises.room_below_c"
ABOVE_TARGET = {BELOW: 2.0, "settings.room_limit_c": 3.0}  # K, as in the demo
CHEAP, CHEAP_HOURS = "tariff.cheap_price_per_kwh", "tariff.cheap_hours"


@dataclass(frozen=True)
class Question:
    """A key of the site file and how it is asked for."""

    key: str
    ask: str


QUESTIONS = {
    "The freezer's label": (
        Question(CABINET, "litres it holds"),
        Question("freezer.label_input_w", "watts it draws"),
        Question("freezer.label_kwh_year", "kWh a year"),
        Question("freezer.climate_class", "climate class"),
        Question("freezer.refrigerant", "refrigerant"),
        Question(WATER, "litres of water you would fill in"),
    ),
    "Tube, pump and fans": (
        Question("loop.tube_bore_mm", "inner width of the tube, mm"),
        Question("loop.tube_length_m", "tube out and back together, m"),
        Question("loop.pump_head_m", "pump's greatest head by its label, m"),
        Question("loop.pump_free_l_min", "pump's greatest flow by its label, L/min"),
        Question("coil.fans", "how many fans at the coil"),
        Question("coil.fan_m3_h", "free air of one fan by its label, m3/h"),
    ),
    "The room by tape measure": (
        Question("room.length_m", "length, m"),
        Question("room.width_m", "width, m"),
        Question("room.height_m", "height, m"),
        Question(WALL, "outside walls, windows included, m2"),
        Question(GLASS, "windows in them, m2 (0: none)"),
        Question(SIDE, "where the windows look"),
    ),
    "Electricity": (
        Question("site.currency", "currency"),
        Question("tariff.price_per_kwh", "price of a kWh"),
        Question(CHEAP, f"price of a kWh in the cheap hours ({NONE}: one price all day)"),
        Question(CHEAP_HOURS, "cheap hours"),
    ),
    "When it must be cool, and how cool": (
        Question(WANTED, "hours in which the room must be cool"),
        Question(TARGET, "temperature to keep in them, °C"),
        Question(BELOW, "promise: in them at most, °C"),
        Question("promises.room_share_percent", "promise: kept in so much of these hours, %"),
        Question(QUIET, f"hours in which no compressor may start, for quiet ({NONE}: any time)"),
    ),
    "The weather": (
        Question(WEATHER, "typical year, or an hourly file of yours: TMY3 .csv, .tm2 or .epw"),
    ),
}


@cache
def _demo() -> dict[str, dict[str, Any]]:
    file = resources.files("springhouse_host") / "sites" / "demo.toml"
    return tomllib.loads(file.read_text("utf-8"))


def value(key: str, values: Mapping[str, Any]) -> Any:
    """Return what stands under "table.key", the demo's where ``values`` has none."""
    table, _, name = key.partition(".")
    return values.get(key, _demo().get(table, {}).get(name))


def words(key: str) -> tuple[str, ...]:
    """Return the words that may stand under a key, none where it is no choice of words."""
    table, _, name = key.partition(".")
    kind = kind_of(MODELS[table], name)
    return kind.words if isinstance(kind, Word) else ()


def _number(key: str, values: Mapping[str, Any]) -> float | None:
    """Return a quantity in the unit of its key; None if it is absent, or bad and refused later."""
    found = value(key, values)
    table, _, name = key.partition(".")
    kind = kind_of(MODELS[table], name)
    assert isinstance(kind, Quantity)
    try:
        return None if found is None else kind.number(found)
    except PydanticCustomError:
        return None


def read(key: str, text: str) -> Any:
    """Return what a person typed as the value of a key: a number, a word or a list of hours."""
    table, _, name = key.partition(".")
    if isinstance(kind_of(MODELS[table], name), Windows):
        return [] if text.strip() == NONE else [part.strip() for part in text.split(";")]
    try:
        return int(text)
    except ValueError:
        pass
    try:
        return float(text)
    except ValueError:
        return text.strip()


def resolve(answers: Mapping[str, Any]) -> dict[str, Any]:
    """Return the answers and what follows from them, by "table.key"; None leaves a key out."""
    found = dict(answers)

    def follows(key: str, new: Any) -> None:
        if key not in answers:
            found[key] = new

    if CABINET in answers:
        for key in INNER:
            follows(key, None)
        litres = _number(CABINET, answers)
        if litres is not None:
            follows(WATER, round(FULL_SHARE * litres))
    if CABINET in answers or WATER in answers:
        _heights(found, follows)
    wall_m2, glass_m2 = _number(WALL, answers), _number(GLASS, answers)
    if WALL in answers and wall_m2 is not None and glass_m2 is not None:
        follows(GLASS, min(wall_m2, glass_m2))
    if _number(GLASS, found) == 0.0:
        follows(SIDE, NONE)
    if answers.get(CHEAP) == NONE:
        found |= {CHEAP: None, CHEAP_HOURS: None}
    elif CHEAP_HOURS in answers:
        _charging(answers[CHEAP_HOURS], follows)
    _room_use(answers, follows)
    source = answers.get(WEATHER)
    if isinstance(source, str) and source not in words(WEATHER):
        found |= {WEATHER: None, "weather.file": str(Path(source).expanduser().resolve())}
    return found


def _room_use(answers: Mapping[str, Any], follows: Any) -> None:
    """People and equipment are there in the wanted hours; quiet is asked for by itself."""
    hours = answers.get(WANTED)
    if isinstance(hours, list) and all(isinstance(h, str) and window(h) for h in hours):
        for key in ("room.people_hours", "room.equipment_hours"):
            follows(key, hours)
        follows(QUIET, [])
    target_c = _number(TARGET, answers) if TARGET in answers else None
    if target_c is not None:
        for key, above_k in ABOVE_TARGET.items():
            follows(key, round(target_c + above_k, 1))


def _heights(found: Mapping[str, Any], follows: Any) -> None:
    cabinet, water = _number(CABINET, found), _number(WATER, found)
    if cabinet is None or water is None:
        return
    length_m, width_m, depth_m = inner_box_m(cabinet, [_number(key, found) for key in INNER])
    surface_m = min(depth_m, water / 1000.0 / (length_m * width_m))
    follows("store.probe_high_m", max(0.0, round(surface_m - PROBE_UNDER_M, 2)))
    follows("store.return_m", max(0.0, round(surface_m - RETURN_UNDER_M, 2)))


def _charging(hours: Any, follows: Any) -> None:
    """Charge in the cheap hours, full at their end."""
    follows("schedule.charging", hours)
    first = window(hours[0]) if isinstance(hours, list) and hours else None
    if first is not None:
        end = first.end_min
        follows("schedule.full_by", f"{end // 60:02}:{end % 60:02}")


def faults(answers: Mapping[str, Any]) -> list[str]:
    """Return a line for everything that the site file's rules refuse."""
    try:
        load_site("demo", resolve(answers))
    except SiteError as error:
        return [line.removeprefix("demo: ") for line in error.lines]
    return []


def pointless(key: str, answers: Mapping[str, Any]) -> bool:
    """Whether another answer has settled a question: no window has no side, one price no hours."""
    if key == SIDE:
        return _number(GLASS, resolve(answers)) == 0.0
    return key == CHEAP_HOURS and answers.get(CHEAP) == NONE

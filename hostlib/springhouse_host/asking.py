"""What `new` asks, how an answer is read, and what is wrong with it."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from .errors import SiteError
from .following import (
    ABOUT_PLACE,
    ACTIVITY,
    BELOW,
    CABINET,
    CHARGING,
    CHEAP,
    CHEAP_HOURS,
    EQUIPMENT_HOURS,
    EQUIPMENT_W,
    FAN_PA,
    FREEZES,
    GLASS,
    HOUSE,
    INSIDE,
    KIND,
    NONE,
    PEOPLE,
    PLACES,
    QUIET,
    SIDE,
    TARGET,
    WALL,
    WANTED,
    WATER,
    WEATHER,
    demo,
    number,
    resolve,
)
from .site import load_site
from .site.fields import Windows, Word, YesNo
from .site.read import MODELS, kind_of, shown

EMPTY = {CHARGING: "whenever needed", WANTED: "always"}  # words for no hours at all


@dataclass(frozen=True)
class Question:
    """A key of the site file and how it is asked for; [about] holds what stands for several."""

    key: str
    ask: str


QUESTIONS = {
    "The freezer's label": (
        Question(CABINET, "litres it holds"),
        Question("freezer.label_input_w", "watts it draws"),
        Question("freezer.label_kwh_year", "kWh a year"),
        Question(FREEZES, f"kg it freezes in 24 h ({NONE}: the label does not say)"),
        Question("freezer.climate_class", "climate class"),
        Question("freezer.refrigerant", "refrigerant"),
        Question(WATER, "litres of water you would fill in"),
        Question(ABOUT_PLACE, "where it stands"),
    ),
    "Tube and pump": (
        Question("loop.tube_bore_mm", "inner width of the tube, mm"),
        Question("loop.tube_length_m", "tube out and back together, m"),
        Question("loop.lift_m", "highest point of the tube above the water, m"),
        Question("loop.pump_head_m", "pump's greatest head by its label, m"),
        Question("loop.pump_free_l_min", "pump's greatest flow by its label, L/min"),
        Question("loop.pump_w", "watts the pump draws"),
    ),
    "Coil and fans": (
        Question(KIND, "coil of round tubes with fins, or a core of flat tubes"),
        Question("coil.face_width_m", "width of the face that air blows on, m"),
        Question("coil.face_height_m", "height of it, m"),
        Question("coil.rows", "rows of tubes behind each other (of flat tubes: cores)"),
        Question("coil.fans", "how many fans at the coil"),
        Question("coil.fan_m3_h", "free air of one fan by its label, m3/h"),
        Question(FAN_PA, f"static pressure of one fan, Pa or mm H2O ({NONE}: not on its label)"),
        Question("coil.fan_w", "watts of one fan by its label"),
    ),
    "The room by tape measure, and what lies around it": (
        Question("room.length_m", "length, m"),
        Question("room.width_m", "width, m"),
        Question("room.height_m", "height, m"),
        Question(WALL, "outside walls, windows included, m2"),
        Question("room.outside_roof", "a roof right above it"),
        Question(INSIDE, "walls, floor and ceiling towards warmer rooms, m2 (0: none)"),
        Question(HOUSE, "how warm those rooms are on hot days, °C"),
        Question("room.construction", "how heavy its walls and floor are"),
        Question(GLASS, "windows in the outside walls, m2 (0: none)"),
        Question(SIDE, "where the windows look"),
        Question("room.window_shade", "shade in front of them or behind"),
    ),
    "When it must be cool, and how cool": (
        Question(WANTED, f"hours in which the room must be cool ({EMPTY[WANTED]}: at any time)"),
        Question(TARGET, "temperature to keep in them, °C"),
        Question(BELOW, "promise: in them at most, °C"),
        Question("promises.room_share_percent", "promise: kept in so much of these hours, %"),
        Question(PEOPLE, "people in it"),
        Question(ACTIVITY, "what they do"),
        Question(EQUIPMENT_W, "watts of lamps and equipment in it"),
        Question(EQUIPMENT_HOURS, "hours in which these are on"),
    ),
    "Electricity": (
        Question("site.currency", "currency"),
        Question("tariff.price_per_kwh", "price of a kWh"),
        Question(CHEAP, f"price of a kWh in the cheap hours ({NONE}: one price all day)"),
        Question(CHEAP_HOURS, "cheap hours"),
        Question(CHARGING, f"hours in which the store is chilled ({EMPTY[CHARGING]}: at any time)"),
        Question(QUIET, f"hours in which no compressor may start, for quiet ({NONE}: any time)"),
    ),
    "The weather": (Question(WEATHER, "typical year, or a file of yours: TMY3 .csv or TMY2 .tm2"),),
}
ASKED = tuple(question for section in QUESTIONS.values() for question in section)


def words(key: str) -> tuple[str, ...]:
    """Return the words that may stand under a key, none where it is no choice of words."""
    if key == ABOUT_PLACE:
        return tuple(PLACES)
    table, _, name = key.partition(".")
    kind = kind_of(MODELS[table], name)
    if isinstance(kind, YesNo):
        return ("yes", "no")
    return kind.words if isinstance(kind, Word) else ()


def value(key: str, values: Mapping[str, Any]) -> Any:
    """Return what stands under "table.key": of ``values``, else the demo's, else the default."""
    if key == ABOUT_PLACE:
        return values.get(key, next(iter(PLACES)))
    table, _, name = key.partition(".")
    default = MODELS[table].model_fields[name].get_default()
    found = values.get(key, demo()[table].get(name, default))
    if found is None and key in (FREEZES, FAN_PA):
        return NONE
    return list(found) if isinstance(found, tuple) else found


def text_of(key: str, stands: Any) -> str:
    """Return a value as a person would type it."""
    if isinstance(stands, bool):
        return "yes" if stands else "no"
    if isinstance(stands, list):
        return "; ".join(stands) or EMPTY.get(key, NONE)
    return str(stands)


def read(key: str, text: str) -> Any:
    """Return what a person typed as the value of a key: a number, a word or a list of hours."""
    text = text.strip()
    if key == ABOUT_PLACE:
        return text
    table, _, name = key.partition(".")
    kind = kind_of(MODELS[table], name)
    if isinstance(kind, YesNo):
        return {"yes": True, "y": True, "no": False, "n": False}.get(text.lower(), text)
    if isinstance(kind, Windows):
        return [] if text == EMPTY.get(key, NONE) else [part.strip() for part in text.split(";")]
    for number_of in (int, float):
        try:
            return number_of(text)
        except ValueError:
            pass
    return text


def faults(answers: Mapping[str, Any]) -> list[str]:
    """Return a line for everything that the site file's rules refuse."""
    found = []
    for key, given in answers.items():
        if key == ABOUT_PLACE and given not in PLACES:
            found.append(f"{key}: {shown(given)}: one of {', '.join(PLACES)}")
        elif key.startswith("about.") and key != ABOUT_PLACE:
            found.append(f"{key}: {shown(given)}: no such key; the nearest is {ABOUT_PLACE}")
    try:
        load_site("demo", resolve(answers))
    except SiteError as error:
        found += [line.removeprefix("demo: ") for line in error.lines]
    return found


def pointless(key: str, answers: Mapping[str, Any]) -> bool:
    """Whether another answer has settled a question: no window has no side, one price no hours."""
    if key in (SIDE, "room.window_shade"):
        return number(GLASS, resolve(answers)) == 0.0
    if key == HOUSE:
        return number(INSIDE, resolve(answers)) in (0.0, None)
    if key == ACTIVITY:
        return number(PEOPLE, resolve(answers)) == 0.0
    if key == EQUIPMENT_HOURS:
        return number(EQUIPMENT_W, resolve(answers)) == 0.0
    return key == CHEAP_HOURS and answers.get(CHEAP) == NONE

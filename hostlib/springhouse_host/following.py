"""What follows from the answers of `new`: heights from litres, charging hours from wanted ones."""

import tomllib
from collections.abc import Callable, Iterable, Mapping
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any

from pydantic_core import PydanticCustomError
from springhouse_sim.world.windows import Window

from .site.derive import inner_box_m
from .site.fields import Quantity, window
from .site.read import MODELS, kind_of
from .site.rules_use import minutes
from .site.tables import WEATHER_WORDS

NONE = "none"  # one price all day, no hours
FULL_SHARE = 0.75  # of the label's litres, common practice: baskets' room and headroom stay free
PROBE_UNDER_M, RETURN_UNDER_M = 0.076, 0.036  # below the surface, as in the demo

ABOUT_PLACE = "about.place"
FREEZES, FAN_PA = "freezer.freezing_capacity_kg_24h", "coil.fan_pa"  # often not on a label
LABEL = ("freezer.cabinet_litres", "freezer.label_input_w")
CABINET, WATER = "freezer.cabinet_litres", "store.water_litres"
INNER = tuple(f"freezer.inner_{side}_m" for side in ("length", "width", "depth"))
KIND = "coil.kind"
WALL, GLASS, SIDE = "room.outside_wall_m2", "room.window_area_m2", "room.window_side"
INSIDE, HOUSE = "room.inside_m2", "room.house_c"
PEOPLE, PEOPLE_HOURS, ACTIVITY = "room.people", "room.people_hours", "room.people_activity"
EQUIPMENT_W, EQUIPMENT_HOURS = "room.equipment_w", "room.equipment_hours"
WANTED, QUIET, WEATHER = "schedule.wanted", "schedule.no_start", "weather.source"
CHARGING, FULL_BY = "schedule.charging", "schedule.full_by"
TARGET, BELOW = "settings.room_target_c", "promises.room_below_c"
ABOVE_TARGET = {BELOW: 2.0, "settings.room_limit_c": 3.0}  # K, as in the demo
CHEAP, CHEAP_HOURS = "tariff.cheap_price_per_kwh", "tariff.cheap_hours"

# What a kind of place is taken for, sizes by common practice; the first is the demo's.
PLACES: dict[str, dict[str, Any]] = {
    "utility room": {},
    "garage": {"length_m": 6.0, "width_m": 3.0, "height_m": 2.4, "vented": "door-open"},
    "cellar": {
        "length_m": 4.0,
        "width_m": 3.0,
        "height_m": 2.2,
        "vented": "closed",
        "ground": "sand",
    },
    # Open to the air, so as warm as outdoors; roofed and out of the sun is taken for granted.
    "balcony": {
        "length_m": 2.0,
        "width_m": 1.2,
        "height_m": 2.5,
        "vented": "window-open",
        "ua_w_k": 300.0,
    },
    "the cooled room": {"is_cooled_room": True},
}
HOUSE_C = 28.0  # rooms that nothing cools on hot days; common practice
FLAT_TUBES = {"coil.rows": 1, "coil.tube_bore_mm": 6.7, "coil.fin_gap_mm": 1.3}
NIGHT = ("22:00-06:00", "22:00-07:00")  # no daytime equipment in the first, asleep in the second
LEAST_CHARGING_MIN = 360  # as much is left of the night, or the wanted hours decide
LEAST_REST_MIN = 240  # fewer minutes of the day not wanted: charge whenever needed

Follows = Callable[[str, Any], None]


@cache
def demo() -> dict[str, dict[str, Any]]:
    """Return the tables of the demo's site file."""
    file = resources.files("springhouse_host") / "sites" / "demo.toml"
    return tomllib.loads(file.read_text("utf-8"))


def number(key: str, values: Mapping[str, Any]) -> float | None:
    """Return a quantity in the unit of its key; None if it is absent, or bad and refused later."""
    table, _, name = key.partition(".")
    found = values.get(key, demo()[table].get(name))
    kind = kind_of(MODELS[table], name)
    assert isinstance(kind, Quantity)
    try:
        return None if found is None else kind.number(found)
    except PydanticCustomError:
        return None


def resolve(answers: Mapping[str, Any]) -> dict[str, Any]:
    """Return the answers and what follows from them, by "table.key"; None leaves a key out."""
    found = {key: given for key, given in answers.items() if not key.startswith("about.")}

    def follows(key: str, new: Any) -> None:
        if key not in answers:
            found[key] = new

    found |= {key: None for key in (FREEZES, FAN_PA) if answers.get(key) == NONE}
    _parts(answers, found, follows)
    _glass(answers, found, follows)
    if answers.get(CHEAP) == NONE:
        found |= {CHEAP: None, CHEAP_HOURS: None}
    _room_use(answers, follows)
    _charging(answers, found, follows)
    source = answers.get(WEATHER)
    if isinstance(source, str) and source not in WEATHER_WORDS:
        found |= {WEATHER: None, "weather.file": str(Path(source).expanduser().resolve())}
    return found


def _parts(answers: Mapping[str, Any], found: Mapping[str, Any], follows: Follows) -> None:
    """Kinds of place and coil stand for sizes; litres of the cabinet for water and heights."""
    for key, new in PLACES.get(str(answers.get(ABOUT_PLACE)), {}).items():
        follows(f"place.{key}", new)
    if answers.get(KIND) == "flat-tube":
        for key, new in FLAT_TUBES.items():
            follows(key, new)
    if any(key in answers for key in LABEL):
        follows(FREEZES, None)  # the demo's says nothing about another freezer
    if CABINET in answers:
        for key in INNER:
            follows(key, None)
        litres = number(CABINET, answers)
        if litres is not None:
            follows(WATER, round(FULL_SHARE * litres))
    if CABINET in answers or WATER in answers:
        _heights(found, follows)


def _glass(answers: Mapping[str, Any], found: Mapping[str, Any], follows: Follows) -> None:
    wall_m2, glass_m2 = number(WALL, answers), number(GLASS, answers)
    if WALL in answers and wall_m2 is not None and glass_m2 is not None:
        follows(GLASS, min(wall_m2, glass_m2))
    if number(GLASS, found) == 0.0:
        follows(SIDE, NONE)
    if (number(INSIDE, answers) or 0.0) > 0.0:
        follows(HOUSE, HOUSE_C)


def _windows(hours: Any) -> tuple[Window, ...] | None:
    """Return the windows of a list of hours; None where it is bad and refused later."""
    if not isinstance(hours, list | tuple):
        return None
    found = [window(text) if isinstance(text, str) else None for text in hours]
    return None if None in found else tuple(w for w in found if w is not None)


def _day_minutes(windows: Iterable[Window]) -> set[int]:
    """Return the minutes of a day inside any of the windows, whatever the weekday."""
    return {(w.start_min + k) % 1440 for w in windows for k in range(w.length_min)}


def _texts(inside: set[int]) -> list[str]:
    """Return the hours of a set of minutes of the day, across midnight where they go on."""
    starts = sorted(m for m in inside if (m - 1) % 1440 not in inside)
    found = []
    for start in starts:
        length = next(k for k in range(1, 1441) if (start + k) % 1440 not in inside)
        end = (start + length) % 1440
        found.append(f"{start // 60:02}:{start % 60:02}-{end // 60:02}:{end % 60:02}")
    return found


def _room_use(answers: Mapping[str, Any], follows: Follows) -> None:
    """People are there in the wanted hours, equipment too unless these reach into the night."""
    wanted = _windows(answers.get(WANTED))
    if wanted is not None:
        busy = _day_minutes(wanted) if wanted else set(range(1440))
        early, asleep = (_day_minutes(_windows([text]) or ()) for text in NIGHT)
        follows(PEOPLE_HOURS, answers[WANTED] or ["00:00-24:00"])
        if not busy & early:
            follows(EQUIPMENT_HOURS, answers[WANTED])
        if 2 * len(busy & asleep) >= len(busy):
            follows(ACTIVITY, "asleep" if len(busy) < 1440 else "seated")
        follows(QUIET, [])
    target_c = number(TARGET, answers) if TARGET in answers else None
    if target_c is not None:
        for key, above_k in ABOVE_TARGET.items():
            follows(key, round(target_c + above_k, 1))


def _heights(found: Mapping[str, Any], follows: Follows) -> None:
    cabinet, water = number(CABINET, found), number(WATER, found)
    if cabinet is None or water is None:
        return
    length_m, width_m, depth_m = inner_box_m(cabinet, [number(key, found) for key in INNER])
    surface_m = min(depth_m, water / 1000.0 / (length_m * width_m))
    follows("store.probe_high_m", max(0.0, round(surface_m - PROBE_UNDER_M, 2)))
    follows("store.return_m", max(0.0, round(surface_m - RETURN_UNDER_M, 2)))


def _charging(answers: Mapping[str, Any], found: Mapping[str, Any], follows: Follows) -> None:
    """Charge in the cheap hours; at one price when the room is not wanted. Full at their end."""
    if not {WANTED, CHEAP, CHEAP_HOURS, CHARGING} & set(answers):
        return
    schedule, tariff = demo()["schedule"], demo()["tariff"]
    wanted = _windows(found.get(WANTED, schedule["wanted"]))
    if wanted is None:
        return
    busy = _day_minutes(wanted) if wanted else set(range(1440))
    hours = found.get(CHARGING)
    if CHARGING not in found:
        cheap = found.get(CHEAP_HOURS, tariff["cheap_hours"])
        hours = _at_one_price(busy) if cheap is None else cheap
        follows(CHARGING, hours)
    charging = _windows(hours)
    if charging is None:
        return
    if not charging or not wanted or minutes(charging) & minutes(wanted):
        follows(FULL_BY, None)  # as soon as allowed
        return
    # The end of charging that the wanted hours begin soonest after.
    end_min = min(
        (w.end_min % 1440 for w in charging),
        key=lambda end: min((w.start_min - end) % 1440 for w in wanted),
    )
    follows(FULL_BY, f"{end_min // 60:02}:{end_min % 60:02}")


def _at_one_price(busy: set[int]) -> list[str]:
    """Return the demo's charging hours less the wanted ones; too few: all that are not wanted."""
    left = _day_minutes(_windows(demo()["schedule"]["charging"]) or ()) - busy
    if len(left) >= LEAST_CHARGING_MIN:
        return _texts(left)
    rest = set(range(1440)) - busy
    return _texts(rest) if len(rest) >= LEAST_REST_MIN else []

"""What a person can choose on the page: keys of the site file, their words, how far a slider goes.

A slider goes over what is usual; the field beside it takes whatever the site file takes.
"""

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from ..errors import KnownError
from ..site.fields import Quantity, TimeOfDay, Whole, Windows, Word, _Kind
from ..site.owner_settings import SLOTS
from ..site.read import MODELS, kind_of, load_toml
from ..site.rules_use import window_text
from ..site.site import Site, file_of
from ..site.tables import PROBES
from ..units import US_WORDS, convert

FITTED, ABSENT = "fitted", "absent"
CHECKED = "sensors.ice_point_checked"
STEPS_MOST = 400  # of a slider in converted units


@dataclass(frozen=True)
class Choice:
    """One key, its words, and the slider over it in the key's unit where it has one."""

    key: str
    words: str
    low: float = 0.0
    high: float = 0.0
    step: float = 0.0

    @property
    def kind(self) -> _Kind:
        """What the site file takes there."""
        table, _, key = self.key.partition(".")
        return kind_of(MODELS[table], key)

    @property
    def unit(self) -> str:
        """The key's unit, a key of `units.UNITS`; empty where it has none."""
        kind = self.kind
        return kind.unit if isinstance(kind, Quantity) else ""


GROUPS: dict[str, tuple[Choice, ...]] = {
    "The store": (
        Choice("store.water_litres", "water", 40, 400, 5),
        Choice("settings.deep_target_c", "chill it to, in charging hours", 1, 10, 0.1),
        Choice("settings.shallow_target_c", "and outside them to", 4, 20, 0.5),
    ),
    "Coil and fans": (
        Choice("coil.face_width_m", "width of the coil's face", 0.1, 0.8, 0.01),
        Choice("coil.face_height_m", "height of the coil's face", 0.1, 0.8, 0.01),
        Choice("coil.rows", "rows of tubes", 1, 8, 1),
        Choice("coil.fans", "fans", 1, 6, 1),
        Choice("coil.fan_m3_h", "air of one free fan", 30, 600, 5),
    ),
    "Tube": (
        Choice("loop.tube_bore_mm", "bore", 4, 25, 0.5),
        Choice("loop.tube_length_m", "length, out and back", 2, 40, 0.5),
        Choice("loop.insulation_mm", "insulation around it", 0, 40, 1),
        Choice("loop.lift_m", "coil above the water", 0, 4, 0.1),
    ),
    "Hours": (
        Choice("schedule.wanted", "hours wanted cool"),
        Choice("schedule.charging", "hours of charging"),
        Choice("schedule.full_by", "full by"),
    ),
    "The room": (
        Choice("settings.room_target_c", "cool it down to", 18, 32, 0.1),
        Choice("promises.room_below_c", "promised to stay below", 20, 35, 0.5),
        Choice("promises.room_share_percent", "in so many of the wanted hours", 50, 100, 1),
    ),
    "Price of electricity": (
        Choice("tariff.price_per_kwh", "a kWh", 0, 1, 0.01),
        Choice("tariff.cheap_price_per_kwh", "a kWh in the cheap hours", 0, 1, 0.01),
        Choice("tariff.cheap_hours", "cheap hours"),
    ),
    "Sensors fitted": (
        Choice("sensors.store_low", "probe low in the store"),
        Choice("sensors.store_high", "probe near surface and wall"),
        Choice("sensors.room", "probe in the room"),
        Choice("sensors.coil_in", "probe at the coil's inlet"),
        Choice("sensors.coil_air", "probe in the coil's air"),
        Choice("sensors.humidity", "humidity"),
        Choice("sensors.tray", "float in the tray"),
        Choice("sensors.level", "float in the store"),
        Choice("sensors.floor", "water on the floor"),
        Choice("sensors.flow", "flow"),
        Choice("sensors.fan_tach", "speed of the fan"),
        Choice("sensors.mains", "mains"),
        Choice("sensors.battery", "battery's voltage"),
        Choice("sensors.relay_feedback", "contact behind the relay"),
    ),
}
CHOICES = {choice.key: choice for group in GROUPS.values() for choice in group}


def described(site: Site, us: bool) -> list[dict[str, Any]]:
    """Return the groups of fields for the page: words, unit, value as it stands, allowed, slider.

    Numbers are in the page's units.
    """
    raw = load_toml(file_of(site.path))
    return [
        {"group": group, "fields": [_field(site, raw, choice, us) for choice in choices]}
        for group, choices in GROUPS.items()
    ]


def _field(site: Site, raw: Mapping[str, Any], choice: Choice, us: bool) -> dict[str, Any]:
    kind = choice.kind
    field = {"key": choice.key, "words": choice.words, "allowed": kind.allowed}
    if isinstance(kind, Word):
        return field | {"kind": "fitted", "value": _now(site, choice) == FITTED}
    if isinstance(kind, Windows):
        table, _, key = choice.key.partition(".")
        texts = raw.get(table, {}).get(key) or [window_text(w) for w in _now(site, choice)]
        return field | {"kind": "hours", "value": "; ".join(texts)}
    if isinstance(kind, TimeOfDay):
        minute = _now(site, choice)
        shown = "" if minute is None else f"{minute // 60:02}:{minute % 60:02}"
        return field | {"kind": "time", "value": shown}
    value, unit = _now(site, choice), choice.unit
    low, high, step = choice.low, choice.high, choice.step
    if choice.key == "store.water_litres":
        high = site.file.freezer.cabinet_litres
    if value is not None:
        low, high = min(low, value), max(high, value)
    word = US_WORDS.get(unit, unit) if us else unit
    if word != unit:
        assert isinstance(kind, Quantity)
        least, most = (convert(v, unit, word, kind=unit) for v in (kind.low, kind.high))
        field["allowed"] = f"from {least:.4g} to {most:.4g} {word}"
        low, high = (convert(v, unit, word, kind=unit) for v in (low, high))
        step = _round_step(high - low)
        value = None if value is None else round(convert(value, unit, word, kind=unit), 3)
        low, high = math.floor(low / step) * step, math.ceil(high / step) * step
    whole = isinstance(kind, Whole)
    slider = {"low": round(low, 6), "high": round(high, 6), "step": step}
    kind_word = "whole" if whole else "number"
    money = choice.key.endswith("per_kwh")
    shown_unit = site.currency if money else word
    return field | slider | {"kind": kind_word, "value": value, "unit": shown_unit}


def _round_step(span: float) -> float:
    """Return the smallest step of 1, 2 or 5 times a power of ten that makes no more than most."""
    least = span / STEPS_MOST
    power = 10.0 ** math.floor(math.log10(least))
    return next(round(m * power, 9) for m in (1.0, 2.0, 5.0, 10.0) if m * power >= least)


def _now(site: Site, choice: Choice) -> Any:
    table, _, key = choice.key.partition(".")
    value = getattr(getattr(site.file, table), key)
    if value is None and table == "settings":
        slot = SLOTS[key]
        return site.settings()[slot.slot] / slot.scale
    return value


def changes_of(site: Site, values: Mapping[str, Any], us: bool) -> dict[str, Any]:
    """Return what the page's fields change, as `load_site` takes it.

    Args:
        site: as it is in its file.
        values: what stands in the fields that were touched, by key: numbers in the page's units,
            or text with a unit; hours as text, one from the next by a semicolon.
        us: whether the page's units are US customary ones.

    Raises:
        KnownError: a key that is none of ours.
    """
    found: dict[str, Any] = {}
    for key, value in values.items():
        if key not in CHOICES:
            raise KnownError(f"{key}: not to be changed here")
        found[key] = _value(CHOICES[key], value, us)
    lost = {f"sensors.{probe}" for probe in PROBES if found.get(f"sensors.{probe}") == ABSENT}
    checked = site.file.sensors.ice_point_checked
    left = [probe for probe in checked if f"sensors.{probe}" not in lost]
    if len(left) < len(checked):  # a probe that is not there was not checked either
        found[CHECKED] = left
    return found


def _value(choice: Choice, value: Any, us: bool) -> Any:
    kind = choice.kind
    if isinstance(kind, Word):
        return (FITTED if value else ABSENT) if isinstance(value, bool) else value
    if value is None or value == "":
        return None
    if isinstance(kind, Windows) and isinstance(value, str):
        return [part.strip() for part in value.split(";") if part.strip()]
    if isinstance(value, str) and not isinstance(kind, TimeOfDay):
        value = _number(value)
    if isinstance(kind, Whole) and isinstance(value, float) and value.is_integer():
        return int(value)
    bare = isinstance(value, int | float) and not isinstance(value, bool)
    if us and bare and choice.unit in US_WORDS:
        return f"{value:.10g} {US_WORDS[choice.unit]}"
    return value


def _number(text: str) -> float | str:
    try:
        number = float(text)
    except ValueError:
        return text
    return number if math.isfinite(number) else text


def key_of(line: str) -> str | None:
    """Return the field that a line of a refusal belongs to, None where it is none of ours."""
    for part in line.split(": ")[1:]:
        if part in CHOICES:
            return part
    return None


def as_text(changes: Mapping[str, Any]) -> str:
    """Return changes as `Site.changed` holds them."""
    return json.dumps(dict(changes), sort_keys=True)

"""Quantities as people write them: a bare number in the key's unit, or text with a unit.

The words accepted are listed here, so that a refusal can name them; pint does the arithmetic.
A key that ends in ``_k`` holds a difference and one that ends in ``_c`` a temperature: the same
"°F" means 5/9 K in the first and a point on a scale in the second. Pint is never asked to guess.
"""

import functools
import math
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pint


@dataclass(frozen=True)
class Unit:
    """A unit a key can be in: how it is shown, its pint name and the other words for its kind."""

    shown: str
    pint: str
    words: dict[str, str]  # word a person may write -> pint name


_LENGTH = {"m": "meter", "cm": "centimeter", "mm": "millimeter", "ft": "foot", "in": "inch"}
_ENERGY = {"J": "joule", "kJ": "kilojoule", "Wh": "watt_hour", "kWh": "kilowatt_hour"}
_TIME = {"s": "second", "min": "minute", "h": "hour", "d": "day"}
_VOLUME = {
    "L": "liter",
    "mL": "milliliter",
    "m3": "meter**3",
    "ft3": "foot**3",
    "US gal": "US_liquid_gallon",
    "imperial gal": "imperial_gallon",
}

UNITS: dict[str, Unit] = {
    unit.shown: unit
    for unit in (
        Unit("°C", "degC", {"°C": "degC", "°F": "degF", "K": "kelvin"}),
        Unit("K", "kelvin", {"K": "kelvin", "°C": "delta_degC", "°F": "delta_degF"}),
        Unit("L", "liter", _VOLUME),
        Unit("m", "meter", _LENGTH),
        Unit("mm", "millimeter", _LENGTH),
        Unit("m2", "meter**2", {"m2": "meter**2", "cm2": "centimeter**2", "ft2": "foot**2"}),
        Unit("W", "watt", {"W": "watt", "kW": "kilowatt", "BTU/h": "Btu/hour"}),
        Unit(
            "W/K",
            "watt/kelvin",
            {"W/K": "watt/kelvin", "BTU/h/°F": "Btu/hour/delta_degF"},
        ),
        Unit(
            "W/(m K)",
            "watt/meter/kelvin",
            {"W/(m K)": "watt/meter/kelvin", "BTU/h/ft/°F": "Btu/hour/foot/delta_degF"},
        ),
        Unit(
            "W/(m2 K)",
            "watt/meter**2/kelvin",
            {
                "W/(m2 K)": "watt/meter**2/kelvin",
                "BTU/h/ft2/°F": "Btu/hour/foot**2/delta_degF",
            },
        ),
        Unit("kJ/K", "kilojoule/kelvin", {"kJ/K": "kilojoule/kelvin", "Wh/K": "Wh/kelvin"}),
        Unit("kg", "kilogram", {"kg": "kilogram", "g": "gram", "lb": "pound"}),
        Unit("Wh", "watt_hour", _ENERGY),
        Unit("kWh/year", "kilowatt_hour/year", {"kWh/year": "kilowatt_hour/year"}),
        Unit("V", "volt", {"V": "volt", "mV": "millivolt"}),
        Unit("s", "second", _TIME),
        Unit("min", "minute", _TIME),
        Unit("h", "hour", _TIME),
        Unit(
            "L/min",
            "liter/minute",
            {
                "L/min": "liter/minute",
                "L/h": "liter/hour",
                "US gal/min": "US_liquid_gallon/minute",
                "imperial gal/min": "imperial_gallon/minute",
            },
        ),
        Unit("m3/h", "meter**3/hour", {"m3/h": "meter**3/hour", "ft3/min": "foot**3/minute"}),
        Unit("%", "percent", {"%": "percent"}),
        Unit("°", "degree", {"°": "degree"}),
        Unit("1/h", "1/hour", {"1/h": "1/hour"}),
        Unit("", "dimensionless", {}),
    )
}

# Spellings folded into the words above before they are looked up.
_SPELLINGS = (
    (re.compile(r"\bdeg(?:rees?)?\s*([CFK])\b|º\s*([CFK])"), r"°\1\2"),
    (re.compile(r"^([CF])$"), r"°\1"),
    (re.compile(r"[µμ]"), "u"),
    (re.compile(r"²"), "2"),
    (re.compile(r"³"), "3"),
    (re.compile(r"·"), " "),
    (re.compile(r"\b(?:litres?|liters?|l)\b"), "L"),
    (re.compile(r"\bml\b"), "mL"),
    (re.compile(r"\bU\.?S\.?\s*(?:liquid\s+)?gal(?:lons?|s)?\b"), "US gal"),
    (re.compile(r"\bimp(?:erial)?\.?\s*gal(?:lons?|s)?\b", re.IGNORECASE), "imperial gal"),
    (re.compile(r"\b(?:feet|foot)\b|′"), "ft"),
    (re.compile(r"\b(?:inch(?:es)?)\b|″"), "in"),
    (re.compile(r"\b(?:sq\.?\s*ft)\b"), "ft2"),
    (re.compile(r"\bcfm\b", re.IGNORECASE), "ft3/min"),
    (re.compile(r"\bBtu\b", re.IGNORECASE), "BTU"),
    (re.compile(r"\s*/\s*"), "/"),
)
_QUANTITY = re.compile(r"\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*(\D.*?)?\s*")
_BARE_GALLON = re.compile(r"(?<!US )(?<!imperial )\bgal(?:lons?|s)?\b")


class UnitRefusedError(ValueError):
    """Text that is no quantity of the wanted kind; the message says what is accepted."""


@functools.cache
def _registry() -> "pint.UnitRegistry[float]":
    import pint  # a third of a second, and only files that name units need it

    return pint.UnitRegistry(autoconvert_offset_to_baseunit=False)


def _fold(word: str) -> str:
    for pattern, plain in _SPELLINGS:
        word = pattern.sub(plain, word)
    return word.strip()


def convert(value: float, from_word: str, to_word: str, *, kind: str) -> float:
    """Convert between two words for the same kind of quantity.

    ``kind`` is the key's unit (a key of ``UNITS``); it decides between temperatures and
    differences.

    Raises:
        KeyError: on a word that ``kind`` does not list.
    """
    words = UNITS[kind].words
    if from_word == to_word:
        return value
    quantity = _registry().Quantity(value, words[from_word])
    return float(quantity.to(words[to_word]).magnitude)


def parse(value: object, kind: str) -> float:
    """Return a quantity in the key's unit.

    Args:
        value: a finite number in that unit, or text such as ``"32 US gal"``.
        kind: the key's unit, a key of ``UNITS``.

    Raises:
        UnitRefusedError: when it is neither.
    """
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        raise UnitRefusedError("a number or text with a unit")
    if not isinstance(value, str):
        try:
            number = float(value)
        except OverflowError:
            number = math.inf
        if not math.isfinite(number):
            raise UnitRefusedError("a finite number")
        return number
    match = _QUANTITY.fullmatch(value)
    if match is None:
        raise UnitRefusedError("a number, then a unit")
    number = float(match[1])
    if not math.isfinite(number):
        raise UnitRefusedError("a finite number")
    if match[2] is None:
        return number
    word = _fold(match[2])
    if word in UNITS[kind].words:
        return convert(number, word, kind, kind=kind)
    if _BARE_GALLON.search(word) and kind in ("L", "L/min"):
        per = "/min" if kind == "L/min" else ""
        raise UnitRefusedError(
            f"say which gallon: 'US gal{per}' (3.785 L) or 'imperial gal{per}' (4.546 L)"
        )
    known = ", ".join(UNITS[kind].words)
    if not known:
        raise UnitRefusedError("a number without a unit")
    raise UnitRefusedError(f"a number in {kind}, or with one of the units {known}")


US_WORDS = {
    "°C": "°F",
    "K": "°F",
    "L": "US gal",
    "m": "ft",
    "mm": "in",
    "m2": "ft2",
    "W/K": "BTU/h/°F",
    "kg": "lb",
    "L/min": "US gal/min",
    "m3/h": "ft3/min",
}


def show(value: float, kind: str, *, us: bool = False, digits: int = 3) -> str:
    """Return a quantity for a screen, in SI or in US customary units.

    Electrical power and energy stay W and kWh in both: that is what labels and meters say.
    """
    word = US_WORDS.get(kind, kind) if us else kind
    if word != kind:
        value = convert(value, kind, word, kind=kind)
    number = f"{value:.{digits}g}"
    if "e" in number:
        number = f"{value:.0f}"
    return f"{number} {word}".rstrip()

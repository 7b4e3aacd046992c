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
    import numpy as np
    import pint
    from numpy.typing import ArrayLike, NDArray


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
    "US qt": "US_liquid_quart",
    "US pt": "liquid_pint",
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
        Unit(
            "kJ/K",
            "kilojoule/kelvin",
            {"kJ/K": "kilojoule/kelvin", "Wh/K": "Wh/kelvin", "BTU/°F": "Btu/delta_degF"},
        ),
        Unit("kg", "kilogram", {"kg": "kilogram", "g": "gram", "lb": "pound"}),
        Unit(
            "kg/24 h",
            "kilogram/day",
            {"kg/24 h": "kilogram/day", "kg/day": "kilogram/day", "lb/24 h": "pound/day"},
        ),
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
                "US gal/h": "US_liquid_gallon/hour",
                "imperial gal/min": "imperial_gallon/minute",
                "imperial gal/h": "imperial_gallon/hour",
            },
        ),
        Unit("m3/h", "meter**3/hour", {"m3/h": "meter**3/hour", "ft3/min": "foot**3/minute"}),
        Unit("Pa", "pascal", {"Pa": "pascal", "mmH2O": "mmH2O", "inH2O": "inH2O"}),
        Unit("%", "percent", {"%": "percent"}),
        Unit("°", "degree", {"°": "degree"}),
        Unit("1/h", "1/hour", {"1/h": "1/hour"}),
        Unit("", "dimensionless", {}),
    )
}

# Spellings folded into the words above before they are looked up.
_US_WORDS = {"gal": "US gal", "qt": "US qt", "pt": "US pt"}


def _lower(found: "re.Match[str]") -> str:
    return found[1].lower()


def _us(found: "re.Match[str]") -> str:
    return _US_WORDS[found[1].lower()]


def _gallons_per(found: "re.Match[str]") -> str:
    which = "US" if found[1].lower().startswith("u") else "imperial"
    return f"{which} gal/{'min' if found[2].lower() == 'm' else 'h'}"


_SPELLINGS = (
    (re.compile(r"\bdeg(?:rees?)?\.?\s*([CFK])\b|º\s*([CFK])"), r"°\1\2"),
    (re.compile(r"^([CFcf])$"), lambda found: f"°{found[1].upper()}"),
    (re.compile(r"[µμ]"), "u"),
    (re.compile(r"²"), "2"),
    (re.compile(r"³"), "3"),
    (re.compile(r"·"), " "),
    (re.compile(r"\b(?:litres?|liters?|l)\b"), "L"),
    (re.compile(r"\bml\b"), "mL"),
    (re.compile(r"\b(gal(?:lon)?|ft|in|lb|qt|pt)s?\b\.?", re.IGNORECASE), _lower),
    (re.compile(r"\bU\.?S\.?\s*(?:liquid\s+|fl\.?\s+)?(gal|qt|pt)\w*", re.IGNORECASE), _us),
    (re.compile(r"\bimp(?:erial)?\.?\s*gal(?:lon)?\b", re.IGNORECASE), "imperial gal"),
    (re.compile(r"\b(U\.?S\.?|imp(?:erial)?\.?)\s*gp([mh])\b", re.IGNORECASE), _gallons_per),
    (re.compile(r"\b(?:feet|foot)\b|[′'’]", re.IGNORECASE), "ft"),
    (re.compile(r"\b(?:inch(?:es)?)\b|[″\"”]", re.IGNORECASE), "in"),
    (re.compile(r"\bpounds?\b", re.IGNORECASE), "lb"),
    (re.compile(r"\b(?:sq|square)\.?\s*(ft|m|cm)\b\.?", re.IGNORECASE), r"\g<1>2"),
    (re.compile(r"\b(?:cu|cubic)\.?\s*(ft|m)\b\.?", re.IGNORECASE), r"\g<1>3"),
    (re.compile(r"\b(ft|c?m)\^([23])"), r"\1\2"),
    (re.compile(r"\bcfm\b", re.IGNORECASE), "ft3/min"),
    (re.compile(r"\bBtuh\b", re.IGNORECASE), "BTU/h"),
    (re.compile(r"\bBtu\b", re.IGNORECASE), "BTU"),
    (
        re.compile(r"\b(mm|in)\s*-?\s*(?:H[2₂]O|Aq|WC|WG|WS)\b\.?", re.IGNORECASE),
        lambda found: f"{found[1].lower()}H2O",
    ),
    (re.compile(r"\b(?:hours?|hrs?)\b", re.IGNORECASE), "h"),
    (re.compile(r"\b(?:minutes?|mins)\b", re.IGNORECASE), "min"),
    (re.compile(r"\b(?:watts?)\b", re.IGNORECASE), "W"),
    (re.compile(r"(?<=/)(?:yr|a)\b|\bper\s+(?:yr|year)\b", re.IGNORECASE), "year"),
    (re.compile(r"\s+per\s+", re.IGNORECASE), "/"),
    (re.compile(r"\s*/\s*"), "/"),
    (re.compile(r"kWh\s*(?:/\s*)?year"), "kWh/year"),
)
DEGREE_DECIMALS = 9  # 32 °F are 0 °C and not what is left of 273.15 less 273.15
LONGEST = 100  # characters of a quantity
_NUMBER = r"(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?"
_FRACTION = r"\d+\s*[/⁄]\s*[1-9]\d*"
_AMOUNT = rf"(?:\d+(?:\s+|\s*-\s*){_FRACTION}|{_FRACTION}|{_NUMBER})"  # 1 1/4, 1-1/4, 3/8, 0.5
_QUANTITY = re.compile(rf"\s*([+-]?{_AMOUNT})(?![\d/⁄])\s*([^\d\s].*?)?\s*")
_PER_HOUR = re.compile(r"(?<=[\d.])\s+1/h\s*$")  # a unit that begins with a digit
_FEET = re.compile(
    rf"\s*(\d+)\s*(?:ft\.?|feet|foot|[′'’])\s*-?\s*({_AMOUNT})\s*"
    r"(?:in\.?|inch(?:es)?|[″\"”]|'')\s*",
    re.IGNORECASE,
)
_THOUSANDS = re.compile(r"\s*[+-]?\d+,\d")
_GLYPHS = {"½": "1/2", "¼": "1/4", "¾": "3/4", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8"}
_BARE_GALLON = re.compile(r"(?<!US )(?<!imperial )\b(?:gal(?:lon)?|gp[mh])\b", re.IGNORECASE)


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


def _with_fractions(text: str) -> str:
    for glyph, plain in _GLYPHS.items():
        text = text.replace(glyph, f" {plain}")
    return text


def _amount(text: str) -> float:
    """Return the number of "0.25", "1/4", "1 1/4" or "1-1/4", a sign before it."""
    sign = -1.0 if text.startswith("-") else 1.0
    whole, fraction = 0.0, text.lstrip("+-").replace("⁄", "/")
    if "/" not in fraction:
        return sign * float(fraction)
    top, _, bottom = fraction.partition("/")
    parts = re.split(r"[\s-]+", top.strip())
    if len(parts) == 2:
        whole = float(parts[0])
    try:
        return sign * (whole + float(parts[-1]) / float(bottom))
    except OverflowError:
        return math.inf


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
    changed = float(quantity.to(words[to_word]).magnitude)
    return round(changed, DEGREE_DECIMALS) if kind == "°C" else changed


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
    return _of_text(value, kind)


def _of_text(value: str, kind: str) -> float:
    if len(value) > LONGEST:
        raise UnitRefusedError(f"a number, then a unit, at most {LONGEST} characters together")
    if _THOUSANDS.match(value):
        raise UnitRefusedError("a number with a point and no comma, then a unit")
    plain = _with_fractions(value)
    feet = _FEET.fullmatch(plain) if "ft" in UNITS[kind].words else None
    if feet is not None:
        inches = 12.0 * float(feet[1]) + _amount(feet[2])
        return convert(inches, "in", kind, kind=kind)
    match = _QUANTITY.fullmatch(_PER_HOUR.sub("", plain) if kind == "1/h" else plain)
    if match is None:
        raise UnitRefusedError("a number, then a unit")
    number = _amount(match[1])
    if not math.isfinite(number):
        raise UnitRefusedError("a finite number")
    if match[2] is None:
        return number
    word = _fold(match[2])
    if word in UNITS[kind].words:
        return convert(number, word, kind, kind=kind)
    if _BARE_GALLON.search(word) and kind in ("L", "L/min"):
        per = "" if kind == "L" else "/h" if word.lower().endswith("h") else "/min"
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
    "W/(m K)": "BTU/h/ft/°F",
    "W/(m2 K)": "BTU/h/ft2/°F",
    "kJ/K": "BTU/°F",
    "kg": "lb",
    "kg/24 h": "lb/24 h",
    "L/min": "US gal/min",
    "m3/h": "ft3/min",
    "Pa": "inH2O",
}


def in_us(value: float, kind: str) -> float:
    """Return a quantity in the US customary unit of its kind, one of ``US_WORDS``."""
    return convert(value, kind, US_WORDS[kind], kind=kind)


def word(kind: str, us: bool) -> str:
    """Return the word that figures of a kind stand under on a screen, in SI or US customary."""
    return US_WORDS.get(kind, kind) if us else kind


def on_screen(values: "ArrayLike", kind: str, us: bool) -> "NDArray[np.float64]":
    """Return many figures of a kind, for a plot or a table, under what `word` says."""
    import numpy as np

    found = np.asarray(values, dtype=np.float64)
    if word(kind, us) == kind:
        return found
    zero = in_us(0.0, kind)
    return zero + found * (in_us(1.0, kind) - zero)


_TOLD = re.compile(r"(-?\d+(?:\.\d+)?) (°C|K|L|kg|L/min|m3/h)(?![\w/])(?! a litre)")


def retold(text: str, us: bool) -> str:
    """Return a finished sentence, the figures of its degrees, water and air as `show` has them."""
    if not us:
        return text
    return _TOLD.sub(lambda found: show(float(found[1]), found[2], us=True), text)


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

"""Kinds of values a site file holds, each with the words that say what is allowed.

Every kind is a marker for ``typing.Annotated``; pydantic calls ``parse`` and turns a refusal into
an error whose text is complete ("from 5 to 2000 L").
"""

import re
from abc import ABC, abstractmethod
from dataclasses import dataclass
from datetime import date
from typing import Any, Literal, cast

from pydantic import GetCoreSchemaHandler
from pydantic_core import PydanticCustomError, core_schema
from springhouse_sim.outside import FIRST_YEAR, LAST_YEAR
from springhouse_sim.world.windows import Window

from .. import units

Grade = Literal["label", "measured", "fitted"]
GRADES: tuple[Grade, ...] = ("label", "measured", "fitted")


@dataclass(frozen=True)
class Given:
    """A value the owner states for something that could also be derived."""

    value: float
    grade: Grade
    low: float | None = None
    high: float | None = None


class _Kind(ABC):
    """A value read by ``parse``; ``allowed`` completes the sentence of a refusal."""

    @property
    @abstractmethod
    def allowed(self) -> str:
        """What may stand here."""

    @abstractmethod
    def parse(self, value: Any) -> Any:
        """Return the value in the key's unit, or raise ``refuse``."""

    def refuse(self, allowed: str | None = None) -> PydanticCustomError:
        return PydanticCustomError("allowed", "{allowed}", {"allowed": allowed or self.allowed})

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> core_schema.CoreSchema:
        return core_schema.no_info_plain_validator_function(self.parse)


@dataclass(frozen=True)
class Quantity(_Kind):
    """A number in ``unit`` (a key of ``units.UNITS``) from ``low`` to ``high``."""

    unit: str
    low: float
    high: float

    @property
    def allowed(self) -> str:
        """What may stand here."""
        return f"from {self.low:g} to {self.high:g} {self.unit}".rstrip()

    def parse(self, value: Any) -> Any:
        """Return the number in the key's unit."""
        return self.number(value)

    def number(self, value: object) -> float:
        """Return the number in the key's unit, refusing what is out of range."""
        try:
            number = units.parse(value, self.unit)
        except units.UnitRefusedError as refusal:
            raise self.refuse(f"{refusal}; {self.allowed}") from None
        if not self.low <= number <= self.high:
            raise self.refuse()
        return number


@dataclass(frozen=True)
class Gradeable(Quantity):
    """A quantity that is derived when absent, or stated with how well it is known."""

    def parse(self, value: Any) -> Given:
        """Return the stated value; a bare one counts as read from a label."""
        if not isinstance(value, dict):
            return Given(self.number(value), "label")
        table = cast(dict[str, Any], value)
        grade = table.get("grade")
        if not {"value", "grade"} <= set(table) <= {"value", "grade", "low", "high"} or (
            grade not in GRADES
        ):
            raise self.refuse(
                f'{self.allowed}, or {{ value = ..., grade = "measured" }} with grade one of '
                f"{', '.join(GRADES)} and, if known, low and high"
            )
        middle = self.number(table["value"])
        low = self.number(table["low"]) if "low" in table else None
        high = self.number(table["high"]) if "high" in table else None
        if (low is not None and low > middle) or (high is not None and high < middle):
            raise self.refuse("low <= value <= high")
        return Given(middle, grade, low, high)


@dataclass(frozen=True)
class Whole(_Kind):
    """A whole number from ``low`` to ``high``."""

    low: int
    high: int

    @property
    def allowed(self) -> str:
        """What may stand here."""
        return f"a whole number from {self.low} to {self.high}"

    def parse(self, value: Any) -> int:
        """Return the number."""
        if not isinstance(value, int) or isinstance(value, bool):
            raise self.refuse()
        if not self.low <= value <= self.high:
            raise self.refuse()
        return value


class RealYear(_Kind):
    """The number of a year, or "hottest", which is None."""

    @property
    def allowed(self) -> str:
        """What may stand here."""
        return f'"hottest" or a year from {FIRST_YEAR} to {LAST_YEAR}'

    def parse(self, value: Any) -> int | None:
        """Return the year."""
        if value == "hottest":
            return None
        if not isinstance(value, int) or isinstance(value, bool):
            raise self.refuse()
        if not FIRST_YEAR <= value <= LAST_YEAR:
            raise self.refuse()
        return value


@dataclass(frozen=True)
class Numbers(_Kind):
    """A list of exactly ``count`` finite numbers, none of them larger than ``most``."""

    count: int
    most: float

    @property
    def allowed(self) -> str:
        """What may stand here."""
        return f"a list of {self.count} numbers from {-self.most:g} to {self.most:g}"

    def parse(self, value: Any) -> tuple[float, ...]:
        """Return the numbers."""
        if not isinstance(value, list) or len(value) != self.count:
            raise self.refuse()
        for item in value:
            if isinstance(item, bool) or not isinstance(item, int | float):
                raise self.refuse()
            if not -self.most <= item <= self.most:
                raise self.refuse()
        return tuple(float(item) for item in value)


@dataclass(frozen=True)
class Word(_Kind):
    """One of a few words."""

    words: tuple[str, ...]

    @property
    def allowed(self) -> str:
        """What may stand here."""
        return "one of " + ", ".join(self.words)

    def parse(self, value: Any) -> str:
        """Return the word."""
        if not isinstance(value, str) or value not in self.words:
            raise self.refuse()
        return value


class YesNo(_Kind):
    """true or false."""

    @property
    def allowed(self) -> str:
        """What may stand here."""
        return "true or false"

    def parse(self, value: Any) -> bool:
        """Return the truth value."""
        if not isinstance(value, bool):
            raise self.refuse()
        return value


@dataclass(frozen=True)
class Text(_Kind):
    """Printable text of at most ``longest`` characters."""

    longest: int
    least: int = 0

    @property
    def allowed(self) -> str:
        """What may stand here."""
        return f"text of {self.least} to {self.longest} characters"

    def parse(self, value: Any) -> str:
        """Return the text."""
        if not isinstance(value, str) or not self.least <= len(value) <= self.longest:
            raise self.refuse()
        if any(not (c.isprintable() or c == "\n") for c in value):
            raise self.refuse("printable text")
        return value


_CLOCK = re.compile(r"([01]\d|2[0-3]):([0-5]\d)|(24:00)")
_TWELVE = re.compile(r"\b(1[0-2]|0?[1-9])(?::([0-5]\d))?\s*([ap])\.?m\b\.?")
_DASH = re.compile(r"\s*[-–]\s*")
_COMMA = re.compile(r"\s*,\s*")


def _of_twelve(found: "re.Match[str]") -> str:
    hour = int(found[1]) % 12 + 12 * (found[3] == "p")
    return f"{hour:02}:{found[2] or '00'}"


def clock_min(text: str) -> int | None:
    """Return the minute of the day of "HH:MM" (24:00 is 1440) or "9:30 pm", None if it is none."""
    match = _CLOCK.fullmatch(_TWELVE.sub(_of_twelve, text.lower()))
    if match is None:
        return None
    return 1440 if match[3] else 60 * int(match[1]) + int(match[2])


class TimeOfDay(_Kind):
    """A time such as "07:00", as the minute of the day."""

    @property
    def allowed(self) -> str:
        """What may stand here."""
        return 'a time from "00:00" to "23:59"'

    def parse(self, value: Any) -> int:
        """Return the minute of the day."""
        minute = clock_min(value) if isinstance(value, str) else None
        if minute is None or minute == 1440:
            raise self.refuse()
        return minute


DAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


def _days(text: str) -> int | None:
    mask = 0
    for part in text.split(","):
        ends = part.split("-")
        if len(ends) > 2 or any(day not in DAYS for day in ends):
            return None
        k, last = DAYS.index(ends[0]), DAYS.index(ends[-1])
        mask |= 1 << k
        while k != last:
            k = (k + 1) % 7
            mask |= 1 << k
    return mask


def window(text: str) -> Window | None:
    """Return the window of "mon-fri 23:00-07:00" or "9 pm-7 am", None if it is none."""
    plain = _DASH.sub("-", _TWELVE.sub(_of_twelve, text.lower()))
    words = _COMMA.sub(",", plain).split()
    if not 1 <= len(words) <= 2:
        return None
    mask = _days(words[0]) if len(words) == 2 else 127
    start, dash, end = words[-1].partition("-")
    start_min, end_min = clock_min(start), clock_min(end)
    if mask is None or not dash or start_min is None or end_min is None or start_min == 1440:
        return None
    if start_min == end_min:
        return None
    return Window(start_min, end_min % 1440, mask)


class Day(_Kind):
    """A date, as ISO 8601 text."""

    @property
    def allowed(self) -> str:
        """What may stand here."""
        return 'a date such as "2026-05-31"'

    def parse(self, value: Any) -> str:
        """Return the text."""
        try:
            if not isinstance(value, str) or date.fromisoformat(value).isoformat() != value:
                raise ValueError
        except ValueError:
            raise self.refuse() from None
        return value


MOST_WINDOWS = 168


class Windows(_Kind):
    """A list of hours of the week."""

    @property
    def allowed(self) -> str:
        """What may stand here."""
        return 'a list of hours such as ["mon-fri 23:00-07:00", "sat,sun 12:00-15:00"]'

    def parse(self, value: Any) -> tuple[Window, ...]:
        """Return the windows in the order given."""
        if not isinstance(value, list) or not all(isinstance(item, str) for item in value):
            raise self.refuse()
        if len(value) > MOST_WINDOWS:
            raise self.refuse(f"at most {MOST_WINDOWS} windows, one for each hour of the week")
        parsed = [window(item) for item in value]
        if any(item is None for item in parsed):
            raise self.refuse()
        return tuple(cast(list[Window], parsed))


@dataclass(frozen=True)
class Words(_Kind):
    """A list of different words out of a few."""

    words: tuple[str, ...]

    @property
    def allowed(self) -> str:
        """What may stand here."""
        return "a list of " + ", ".join(self.words)

    def parse(self, value: Any) -> tuple[str, ...]:
        """Return the words in the order of the choice."""
        if not isinstance(value, list) or any(item not in self.words for item in value):
            raise self.refuse()
        return tuple(word for word in self.words if word in value)

"""What a step of commissioning is made of, and the cautions it names."""

import calendar
from dataclasses import dataclass
from datetime import date
from typing import Literal

Kind = Literal["yes", "number", "numbers", "choice"]
ICE_READINGS = 10

CAUTIONS = {
    "mains": "Mains: pull the freezer's plug before hands go near wires or water. Wiring is work "
    "for whom local codes allow it; a residual-current device of 30 mA or less stays in.",
    "water": "Water: 1 kg a litre, and it runs to plugs. Sockets above every water line; on a wet "
    "floor cut the power at the distribution board first. Not for drinking, no spray.",
    "refrigerant": "Refrigerant burns: no drill, screw, blade or scraper at the freezer. If it "
    "hisses or smells: no switches, doors open, leave, call who is licensed for it.",
    "salt": "Salt water is for the bucket with the sensor only; none of it goes into the store.",
}


@dataclass(frozen=True)
class Ask:
    """One reading or answer.

    ``right`` is the good answer of yes/no and choices, ``good`` the good range of a number; both
    left out: `judging.py` decides. ``refuses``: a wrong answer rules the freezer out.
    """

    name: str
    text: str
    kind: Kind = "yes"
    unit: str = ""
    low: float = 0.0
    high: float = 0.0
    choices: tuple[str, ...] = ()
    right: str = ""
    good: tuple[float, float] | None = None
    otherwise: str = ""
    refuses: bool = False
    needs: str = ""  # as of a step


@dataclass(frozen=True)
class Step:
    """One line of the sheet."""

    name: str
    do: str
    expect: str
    judged: str
    asks: tuple[Ask, ...]
    cautions: tuple[str, ...] = ()
    needs: str = ""  # "sensors.tray", "protection.siphon_break": only where it is there
    each_probe: bool = False  # once for every probe that is fitted
    probe: str = ""  # which, once spread out
    watch: str = ""  # routine of `routines.py` that a board answers with
    repeats_months: int = 0  # a proof test: when it is due again
    keeps: str = ""  # key of [commissioned] that keeps its date

    @property
    def kind(self) -> str:
        """The name without the probe it was spread out for."""
        return self.name.removesuffix(f"_{self.probe}") if self.probe else self.name


def yes(
    name: str,
    text: str,
    otherwise: str,
    *,
    refuses: bool = False,
    needs: str = "",
    right: str = "yes",
) -> Ask:
    """Return a question whose good answer is ``right``."""
    return Ask(name, text, right=right, otherwise=otherwise, refuses=refuses, needs=needs)


def number(
    name: str,
    text: str,
    unit: str,
    low: float,
    high: float,
    good: tuple[float, float] | None = None,
    otherwise: str = "",
    *,
    needs: str = "",
) -> Ask:
    """Return a question for a number."""
    return Ask(name, text, "number", unit, low, high, good=good, otherwise=otherwise, needs=needs)


def add_months(day: date, months: int) -> date:
    """Return the same day so many months on, the last one where the month is shorter."""
    month = day.month - 1 + months
    year, month = day.year + month // 12, month % 12 + 1
    return day.replace(year, month, min(day.day, calendar.monthrange(year, month)[1]))

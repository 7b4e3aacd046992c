"""Questions to the person at the freezer, one line each; a bad answer is asked again."""

from collections.abc import Callable
from typing import TextIO

from ..errors import KnownError
from .answer_book import Value, Values
from .kinds import ICE_READINGS, Ask

LATER = "later"


class LaterError(Exception):
    """The person leaves this step for another time."""


class Person:
    """Who answers. ``ended`` says where the answers so far are kept, for the line at the end."""

    def __init__(self, answers: TextIO, say: Callable[[str], None], ended: str) -> None:
        self._answers = answers
        self.say = say
        self._ended = ended

    def line(self, prompt: str) -> str:
        """Return one line.

        Raises:
            KnownError: the input has ended.
            LaterError: the person types "later".
        """
        self.say(prompt)
        text = self._answers.readline()
        if not text:
            raise KnownError(f"commission: no more input at: {prompt}; {self._ended}")
        text = text.strip()
        if text.lower() == LATER:
            raise LaterError
        return text

    def wait(self, prompt: str) -> None:
        """Wait for a line, whatever it holds."""
        self.line(f"{prompt} (Enter)")

    def ask(self, ask: Ask) -> Value:
        """Return a good answer; until there is one, say what is allowed and ask again."""
        while True:
            text = self.line(_prompt(ask))
            value = read(ask, text)
            if value is not None:
                return value
            self.say(f"{text!r}: {allowed(ask)}, or {LATER}")

    def ask_all(self, asks: tuple[Ask, ...], values: Values) -> Values:
        """Return ``values`` with what was not yet in them."""
        return values | {ask.name: self.ask(ask) for ask in asks if ask.name not in values}


def _prompt(ask: Ask) -> str:
    unit = f" [{ask.unit}]" if ask.unit else ""
    return f"{ask.text}{unit}? ({allowed(ask)})"


def allowed(ask: Ask) -> str:
    """Return what may be answered."""
    if ask.kind == "yes":
        return "yes or no"
    if ask.kind == "choice":
        return "one of " + ", ".join(ask.choices)
    if ask.kind == "numbers":
        return f"{ICE_READINGS} numbers from {ask.low:g} to {ask.high:g}"
    return f"a number from {ask.low:g} to {ask.high:g}"


def read(ask: Ask, text: str) -> Value | None:
    """Return the value of an answer, None if it is none."""
    if ask.kind == "yes":
        return {"y": "yes", "yes": "yes", "n": "no", "no": "no"}.get(text.lower())
    if ask.kind == "choice":
        return text if text in ask.choices else None
    words = text.split()
    if len(words) != (ICE_READINGS if ask.kind == "numbers" else 1):
        return None
    numbers = [_number(word) for word in words]
    good = [n for n in numbers if n is not None and ask.low <= n <= ask.high]
    if len(good) < len(words):
        return None
    return good if ask.kind == "numbers" else good[0]


def _number(word: str) -> float | None:
    try:
        return float(word)
    except ValueError:
        return None

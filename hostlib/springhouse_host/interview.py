"""The questions of `new` one after the other, back and forth; the answers kept in a file."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from .asking import ASKED, Question, faults, pointless, read, text_of, value
from .errors import KnownError
from .following import resolve
from .screen import write_whole
from .site.read import load_toml, shown

LONGEST = 2000  # characters of an answer
HEADER = """# Answers given so far, as they were typed; "" takes what stands in the example.
# "springhouse new" goes on where they end, and removes this file once the site file is written.

[answers]
"""


@dataclass
class Interview:
    """Where a person stands in the questions; knows no terminal."""

    given: Mapping[str, Any]  # by "table.key", not asked
    typed: dict[str, str] = field(default_factory=dict)  # by key; "" takes what stands
    passed: list[str] = field(default_factory=list)  # keys, in the order in which they were asked

    def answers(self) -> dict[str, Any]:
        """Return what is answered so far, by "table.key"."""
        said = {key: read(key, self.typed[key]) for key in self.passed if self.typed[key]}
        return {**self.given, **said}

    def question(self) -> Question | None:
        """Return the next question, None after the last."""
        answers = self.answers()
        for question in ASKED:
            key = question.key
            if key not in self.given and key not in self.passed and not pointless(key, answers):
                return question
        return None

    def stands(self, question: Question) -> str:
        """Return what an empty answer takes: what was typed before, or what follows or stands."""
        before = self.typed.get(question.key)
        return before or text_of(question.key, value(question.key, resolve(self.answers())))

    def answer(self, question: Question, text: str) -> list[str]:
        """Take an answer; return why it is refused, nothing where it is taken."""
        key = question.key
        if not text or (text == self.stands(question) and not self.typed.get(key)):
            self.typed[key] = ""
            self.passed.append(key)
            return []
        wrong = faults({**self.answers(), key: read(key, text)})
        if wrong:
            self.typed.pop(key, None)
            return wrong
        self.typed[key] = text
        self.passed.append(key)
        return []

    def back(self) -> bool:
        """Go to the question before; False where there is none."""
        if not self.passed:
            return False
        self.passed.pop()
        return True

    def keep(self, path: Path) -> None:
        """Write the answers so far.

        Raises:
            KnownError: when the file cannot be written.
        """
        import tomlkit

        lines = (f'"{key}" = {tomlkit.string(self.typed[key]).as_string()}' for key in self.passed)
        write_whole(path, HEADER + "\n".join(lines) + "\n")


def go_on(given: Mapping[str, Any], path: Path) -> Interview:
    """Return the questions where a file of answers left them.

    Answers that the site's rules no longer take, and all after them, are asked again.

    Raises:
        KnownError: when the file is no file of answers, naming what is wrong.
    """
    found = Interview(given)
    if not path.exists():
        return found
    kept = load_toml(path).get("answers")
    if not isinstance(kept, dict):
        raise KnownError(f"{path}: answers: {shown(kept)}: a table [answers]")
    asked = {question.key: question for question in ASKED}
    for key, text in kept.items():
        if key not in asked:
            raise KnownError(f"{path}: answers.{key}: {shown(text)}: no such question")
        if not isinstance(text, str) or len(text) > LONGEST or not text.isprintable():
            allowed = f"text of one line, at most {LONGEST} characters"
            raise KnownError(f"{path}: answers.{key}: {shown(text)}: {allowed}")
    for key, text in kept.items():
        question = found.question()
        if question is None or question.key != key or found.answer(question, text):
            break
    return found

"""The record of commissioning: JSON, dated, written whole after each step."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from ..errors import KnownError
from ..outside import from_json, read_text
from ..screen import write_json
from ..site import Site
from .kinds import Step, add_months
from .steps import STEPS, UPKEEP, steps

SCHEMA = 1

Finite = Annotated[float, Field(allow_inf_nan=False)]
Value = str | Finite | list[Finite]
Values = dict[str, Value]


class _Part(BaseModel):
    model_config = ConfigDict(strict=True, extra="forbid", frozen=True)


class StepAnswer(_Part):
    """What was found at a step, and what was thought of it."""

    on: Annotated[str, Field(pattern=r"^[0-9]{4}-[0-9]{2}-[0-9]{2}$")]
    values: Values
    wrong: list[str] = []
    notes: list[str] = []
    refused: bool = False
    results: dict[str, Finite] = {}  # what follows from the values: offset_k, pulses_l ...
    by: Literal["hand", "board"] = "hand"

    @property
    def day(self) -> date:
        """The day on which it was answered."""
        return date.fromisoformat(self.on)

    @property
    def good(self) -> bool:
        """Whether nothing is wrong."""
        return not self.wrong


class CommissioningRecord(_Part):
    """All answers so far."""

    schema_: Annotated[Literal[1], Field(alias="schema")]
    site: str
    site_sha256: str
    answers: dict[str, StepAnswer]
    written: str = ""  # the site file that the results went into


def parse(text: str, where: str) -> CommissioningRecord:
    """Return a record from its text.

    Raises:
        KnownError: when it is none; one line that names ``where``.
    """
    wrong = f"{where}: no record of springhouse commission, schema {SCHEMA}"
    from_json(text, wrong)  # for its depth, which the model's own reader does not bound
    try:
        found = CommissioningRecord.model_validate_json(text)
        for answer in found.answers.values():
            date.fromisoformat(answer.on)
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        at = ".".join(str(part) for part in first["loc"])
        raise KnownError(f"{wrong}{': ' + at if at else ''}: {first['msg']}") from None
    except (ValueError, RecursionError) as error:
        raise KnownError(f"{wrong}: {error}") from None
    return found


def _read(path: Path) -> CommissioningRecord:
    return parse(read_text(path), str(path))


def default_path(site: Site) -> Path:
    """Return the record's usual name, the same for every version of a site file."""
    slug = "".join(c if c.isalnum() else "-" for c in site.name.lower()).strip("-")
    return Path(f"commissioning-{slug or 'site'}.json")


@dataclass
class Book:
    """An open record: the answers of one installation and where they are kept."""

    site: Site
    path: Path
    steps: tuple[Step, ...]
    answers: dict[str, StepAnswer]
    written: str = ""

    @property
    def charge_path(self) -> Path:
        """Where the rows of a first charge under way are kept."""
        return self.path.with_suffix(".charge")

    @property
    def open_steps(self) -> list[Step]:
        """Steps without an answer, and those whose answer was not good."""
        return [s for s in self.steps if not (s.name in self.answers and self.good(s))]

    def good(self, step: Step) -> bool:
        """Whether a step is answered and nothing is wrong with it."""
        answer = self.answers.get(step.name)
        return answer is not None and answer.good

    def put(self, step: Step, answer: StepAnswer) -> None:
        """Keep an answer and save the record, whole or not at all."""
        self.answers[step.name] = answer
        self.save()

    def save(self) -> None:
        """Write the record."""
        write_json(self.path, self.as_json())

    def as_json(self) -> Mapping[str, Any]:
        """Return the record as it is written."""
        record = CommissioningRecord.model_validate(
            {
                "schema": SCHEMA,
                "site": self.site.name,
                "site_sha256": self.site.site_sha256,
                "answers": self.answers,
                "written": self.written,
            }
        )
        plain: dict[str, Any] = json.loads(record.model_dump_json(by_alias=True))
        return plain

    def due(self) -> list[tuple[date, str]]:
        """Return when each proof test and each upkeep is due again, soonest first."""
        found = []
        for step in self.steps:
            answer = self.answers.get(step.name)
            if step.repeats_months and answer is not None and answer.good:
                found.append((add_months(answer.day, step.repeats_months), step.do))
        if self.answers:
            newest = max(answer.day for answer in self.answers.values())
            found += [(add_months(newest, months), what) for what, _, months in UPKEEP if months]
        return sorted(found)


def open_book(site: Site, path: Path) -> Book:
    """Return the record of a site, with what it holds if it is there.

    Raises:
        KnownError: when the file is no record, or one of another installation.
    """
    answers: dict[str, StepAnswer] = {}
    written = ""
    if path.exists():
        record = _read(path)
        if record.site != site.name:
            raise KnownError(f"{path}: the record of {record.site!r}, not of {site.name!r}")
        answers, written = dict(record.answers), record.written
    known = {step.name for step in steps(site)}
    kept = {name: answer for name, answer in answers.items() if name in known or _was(name)}
    return Book(site, path, steps(site), kept, written)


def _was(name: str) -> bool:
    """Whether a name is a step of some installation: kept, though this one has not the part."""
    return any(name == s.name or (s.each_probe and name.startswith(s.name)) for s in STEPS)

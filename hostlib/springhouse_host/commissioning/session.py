"""One step after the other: board and person answer, the answers are judged and kept."""

from collections.abc import Iterable
from dataclasses import replace
from datetime import date

from .answer_book import Book, StepAnswer, Values
from .board import LinkedBoard
from .charge import Rows
from .judging import judge
from .kinds import CAUTIONS, Step
from .person import LaterError, Person
from .routines import ROUTINES, TestStand
from .sheet import figures, wrapped


class RefusedError(Exception):
    """The freezer is not fit for this; nothing further is asked."""


def go(
    book: Book,
    steps: Iterable[Step],
    person: Person,
    board: LinkedBoard | None,
    today: date,
    given: Values | None = None,
) -> None:
    """Work through steps; each is saved as soon as it is answered.

    ``given`` holds answers, by the name of the ask, that no person need give.

    Raises:
        RefusedError: the freezer is not fit.
        KnownError: the input ended, or the board was lost.
    """
    for step in steps:
        try:
            answer = take(book, step, person, board, today, given or {})
        except LaterError:
            person.say(f"{step.name}: left for later")
            continue
        book.put(step, answer)
        if step.kind == "first_charge":
            Rows(book.charge_path).clear()
        for line in (*answer.notes, *(f"WRONG: {wrong}" for wrong in answer.wrong)):
            person.say(f"  {line}")
        if answer.refused:
            raise RefusedError
        person.say(f"{step.name}: {'good' if answer.good else 'stays open'}, saved")


def take(
    book: Book, step: Step, person: Person, board: LinkedBoard | None, today: date, given: Values
) -> StepAnswer:
    """Return the judged answer to one step."""
    person.say("")
    person.say(f"== {step.name}: {step.do}")
    under = [f"expect: {step.expect}", f"judged: {step.judged}"]
    under += [CAUTIONS[caution] for caution in step.cautions]
    for text in under + figures(book.site, step):
        for line in wrapped(text):
            person.say(line)
    known = {ask.name: given[ask.name] for ask in step.asks if ask.name in given}
    asked = replace(step, asks=tuple(ask for ask in step.asks if ask.name not in known))
    values: Values = {}
    by_board = board is not None and bool(step.watch)
    if board is not None and step.watch:
        bench = TestStand(board, person, book.site, book.charge_path)
        values = ROUTINES[step.watch](bench, asked)
    values = person.ask_all(asked.asks, values) | known
    found = judge(book.site, step, values)
    return StepAnswer(
        on=today.isoformat(),
        values=values,
        wrong=found.wrong,
        notes=found.notes,
        refused=found.refused,
        results=found.results,
        by="board" if by_board else "hand",
    )

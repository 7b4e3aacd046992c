"""`springhouse season close|open SITE`."""

import re
import sys
from datetime import datetime
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ..errors import EXIT_NOT_KEPT, KnownError
from ..screen import SiteArgument, check_writable, console, say, write_whole

if TYPE_CHECKING:
    from datetime import date

    from ..seasons import SeasonSheet

MARK = re.compile(r" *(?:[-*]|\d+\.)(?: \[.\])? ")  # of a list's item


class Season(StrEnum):
    """Which way."""

    CLOSE = "close"
    OPEN = "open"


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("season")(season)


def season(
    which: Annotated[Season, typer.Argument(metavar="close|open", help="For winter, for summer.")],
    site: SiteArgument,
    record: Annotated[
        Path | None,
        typer.Option("--record", metavar="FILE.json", help="Default: season-WHICH-YEAR.json here."),
    ] = None,
    done: Annotated[
        list[str] | None,
        typer.Option("--done", metavar="STEP[=VALUE]", help="A step and its reading; repeatable."),
    ] = None,
    proof: Annotated[
        Path | None,
        typer.Option("--proof", metavar="FILE", help="open: record of `prove --json`."),
    ] = None,
    last: Annotated[
        list[Path] | None,
        typer.Option("--last", metavar="FILE", help="open: record of an earlier opening."),
    ] = None,
    sheet: Annotated[
        Path | None, typer.Option("--sheet", metavar="FILE.md", help="Write the sheet for print.")
    ] = None,
    on: Annotated[
        datetime | None,
        typer.Option("--on", formats=["%Y-%m-%d"], help="Day it was done; default: today."),
    ] = None,
) -> int:
    """Close the installation for the winter or open it again, step by step, with a dated record.

    Steps that no flag answers are asked where a person is at the keyboard; an empty answer leaves a
    step for later and the next call goes on there. Leaves with 1 while a step is open.

    Example:  springhouse season open demo --done look --done ice_point_store_low=0.1
    """
    from .. import seasons
    from ..site import load_site

    today = (on or datetime.now()).date()
    loaded = load_site(site)
    path = record or Path(f"season-{which.value}-{today.year}.json")
    check_writable(path, sheet)
    page = seasons.sheet(loaded, which.value, path, last or ())
    given = [(name, text) for name, _, text in (text.partition("=") for text in done or ())]
    for name, text in given:  # all of them known before the first is saved
        _check(page, name, text, proof)
    for name, text in given:
        page.answer(name, text, today)
    if proof is not None:
        wrong = seasons.check_proof(loaded, proof)
        if wrong:
            raise KnownError(f"{proof}: {wrong}")
        page.answer("prove", str(proof), today)
    if sys.stdin.isatty():
        _ask(page, today)
    text = page.text(today)
    if sheet is not None:
        write_whole(sheet, text)
    _print(text)
    left = page.open_steps
    if left:
        say(console(), f"open: {', '.join(step.name for step in left)}")
    return EXIT_NOT_KEPT if left else 0


def _print(text: str) -> None:
    """Print the sheet in lines that fit the screen; what follows a mark stands under its text."""
    screen = console()
    for line in text.splitlines():
        mark = MARK.match(line)
        if line.strip():
            say(screen, line, hang=" " * len(mark[0]) if mark else "")
        else:
            screen.print()


def _check(page: "SeasonSheet", name: str, text: str, proof: Path | None) -> None:
    step = page.step(name)
    if name == "prove" and proof is None:
        raise KnownError("--done prove: given by --proof FILE, which is checked")
    if name == "compared":
        raise KnownError("--done compared: follows from first_charge_h and first_charge_k")
    if step.unit and not text:
        raise KnownError(f"--done {name}: a reading in {step.unit} is needed: {name}=VALUE")


def _ask(page: "SeasonSheet", today: "date") -> None:
    for step in page.open_steps:
        if step.name in ("prove", "compared"):
            continue
        what = f"{step.do} [{step.unit}]" if step.unit else f"{step.do} (a word, or nothing yet)"
        text = typer.prompt(what, default="", show_default=False)
        if text.strip():
            page.answer(step.name, text.strip(), today)

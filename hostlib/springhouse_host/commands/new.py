"""`springhouse new DIR`."""

import sys
from pathlib import Path
from typing import Annotated, Any

import typer

from ..errors import KnownError
from ..screen import console, write_whole

NAME = "site.toml"


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("new")(new)


def new(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="Folder for the site file.")],
    with_: Annotated[
        list[str] | None,
        typer.Option(
            "--with",
            metavar="KEY=VALUE",
            help="A value of the file, KEY being table.key; it is not asked. May be repeated.",
        ),
    ] = None,
    as_demo: Annotated[
        bool, typer.Option("--as-demo", help="Ask nothing: what no --with gives is the demo's.")
    ] = False,
) -> None:
    """Write a commented site file to start from.

    On a terminal it asks for what labels, a tape measure and an electricity bill say, and for the
    hours, temperatures and promises that are yours to decide; an empty answer takes what stands in
    brackets. Elsewhere it asks nothing. What is not answered is the
    demo's, and every further key is named in a comment. A file that is already there is never
    touched.

    Example:  springhouse new my-store
    Example:  springhouse new my-store --with freezer.cabinet_litres=140 --with coil.fans=1
    """
    from ..asking import faults, resolve
    from ..site.variant import changes_of
    from ..starter import starter_text

    path = folder / NAME
    if path.exists():
        raise KnownError(f"{path}: exists already: nothing was written")
    answers = {"site.name": folder.resolve().name[:80]} | changes_of(with_ or ())
    wrong = faults(answers)
    if wrong:
        raise KnownError([f"--with {line}" for line in wrong])
    if not as_demo and sys.stdin.isatty() and sys.stdout.isatty():
        _ask(answers)
    text = starter_text(resolve(answers))
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise KnownError(f"{folder}: cannot be made: {error.strerror or error}") from None
    write_whole(path, text)
    for line in (
        f"wrote {path}",
        "still the demo's: sensors, protection, tray, battery: look through the file",
        f"next: springhouse size {path}",
    ):
        console().print(line, markup=False, soft_wrap=True)


def _ask(answers: dict[str, Any]) -> None:
    """Ask what is not answered yet; each answer is asked again until the site's rules take it."""
    from ..asking import NONE, QUESTIONS, faults, pointless, read, resolve, value, words

    for title, questions in QUESTIONS.items():
        typer.echo(f"\n{title}")
        for question in questions:
            key = question.key
            if key in answers or pointless(key, answers):
                continue
            stands = value(key, resolve(answers))
            shown = "; ".join(stands) or NONE if isinstance(stands, list) else str(stands)
            choice = f" ({', '.join(words(key))})" if words(key) else ""
            while True:
                text = typer.prompt(f"  {question.ask}{choice}", default=shown)
                if text == shown:
                    break
                given = {**answers, key: read(key, text)}
                wrong = faults(given)
                if not wrong:
                    answers.update(given)
                    break
                for line in wrong:
                    typer.echo(f"    {line}")

"""`springhouse new DIR`."""

import shlex
import sys
from pathlib import Path
from typing import Annotated, Any

import typer

from ..errors import KnownError
from ..screen import console, progress, say, write_whole

NAME, FILE = "site.toml", "answers.toml"
BACK, STOP = "back", "stop"
SHOWN = 5  # assumed values named as mattering most
LIGHT = 0.01  # of the tightest limit: less does not matter


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
    unweighed: Annotated[
        bool, typer.Option("--unweighed", help="Do not work out what matters most at the end.")
    ] = False,
) -> None:
    """Write a commented site file to start from.

    On a terminal it asks for what labels, a tape measure and an electricity bill say, and for the
    hours, temperatures and promises that are yours to decide; an empty answer takes what stands in
    brackets, "back" returns to the question before, "stop" keeps the answers to go on later.
    Elsewhere it asks nothing. What is not answered is the demo's; it is listed at the end, and on
    a terminal what matters most of it. Every further key is named in a comment. A file that is
    already there is never touched.

    Example:  springhouse new my-store
    Example:  springhouse new my-store --with freezer.cabinet_litres=140 --with about.place=garage
    """
    from ..asking import faults
    from ..following import resolve
    from ..site.variant import changes_of
    from ..starter import starter_text

    path = folder / NAME
    if path.exists():
        raise KnownError(f"{path}: exists already: nothing was written")
    answers = {"site.name": folder.resolve().name[:80]} | changes_of(with_ or ())
    wrong = faults(answers)
    if wrong:
        raise KnownError([f"--with {line}" for line in wrong])
    asked = not as_demo and sys.stdin.isatty() and sys.stdout.isatty()
    if asked:
        answers = _ask(answers, folder)
    text = starter_text(resolve(answers))
    _make(folder)
    write_whole(path, text)
    (folder / FILE).unlink(missing_ok=True)
    console().print(f"wrote {path}", markup=False, soft_wrap=True)
    _assumed(answers)
    if asked and not unweighed:
        _weigh(answers)
    typed = shlex.quote(str(path))
    console().print(f"next: springhouse size {typed}", markup=False, soft_wrap=True)


def _make(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise KnownError(f"{folder}: cannot be made: {error.strerror or error}") from None


def _ask(given: dict[str, Any], folder: Path) -> dict[str, Any]:
    """Ask what is not answered yet; each answer is asked again until the site's rules take it.

    Raises:
        typer.Exit: when the person stops; the answers are kept.
    """
    from ..asking import QUESTIONS, words
    from ..interview import go_on

    talk = go_on(given, folder / FILE)
    _make(folder)
    typer.echo(f"an empty answer takes what stands in brackets; {BACK}: the question before;")
    typer.echo(f"{STOP}: end here, the answers are kept and asked for no more")
    if talk.passed:
        typer.echo(f"going on after the {len(talk.passed)} answers in {folder / FILE}")
    titles = {q.key: title for title, questions in QUESTIONS.items() for q in questions}
    title = ""
    while (question := talk.question()) is not None:
        if titles[question.key] != title:
            title = titles[question.key]
            typer.echo(f"\n{title}")
        choice = f" ({', '.join(words(question.key))})" if words(question.key) else ""
        text = str(typer.prompt(f"  {question.ask}{choice}", default=talk.stands(question))).strip()
        if text == STOP:
            typer.echo(f"kept in {folder / FILE}; to go on: springhouse new {folder}")
            raise typer.Exit
        if text == BACK:
            if not talk.back():
                typer.echo("    this is the first question")
        else:
            for line in talk.answer(question, text):
                typer.echo(f"    {line}")
        talk.keep(folder / FILE)
    return talk.answers()


def _assumed(answers: dict[str, Any]) -> None:
    """Say what nobody gave: of each table the keys that are still the demo's."""
    from ..asking import ASKED, text_of
    from ..weighing import assumed

    by_table: dict[str, list[str]] = {}
    for key, stands in assumed(answers).items():
        table, _, name = key.partition(".")
        by_table.setdefault(table, []).append(f"{name} {text_of(key, stands)}")
    asked = {question.key.partition(".")[0] for question in ASKED}
    console().print("assumed, as in the example:")
    for table, lines in by_table.items():
        if table in asked:
            say(console(), f"  {table}: {', '.join(lines)}", hang="   ")
    rest = ", ".join(table for table in by_table if table not in asked)
    if rest:
        say(console(), f"  never asked for: all of {rest}: look through the file", hang="   ")


def _weigh(answers: dict[str, Any]) -> None:
    """Say which of the assumed values move the tightest limit most; Ctrl-C leaves it out."""
    from ..weighing import count, weigh

    typer.echo("what of that matters most? (some seconds; Ctrl-C: leave it out)")
    try:
        with progress("weighing") as bar:
            task = bar.add_task("weighing", total=count(answers))
            limit, weights = weigh(answers, lambda: bar.advance(task))
    except KeyboardInterrupt:
        return
    heavy = [weight for weight in weights if weight.share >= LIGHT][:SHOWN]
    said = "what there is over what is needed"
    for w in heavy:
        say(
            console(),
            f"  {w.key} {w.tried} instead of {w.stands}: {said} from {w.before:.2f} to "
            f"{w.after:.2f}",
            hang="   ",
        )
    if heavy:
        say(console(), f"  (tightest: {limit})", hang="   ")
    else:
        console().print("  none of it moves the tightest limit by a hundredth")

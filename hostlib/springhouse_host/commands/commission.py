"""`springhouse commission SITE`."""

import sys
from contextlib import ExitStack
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ..errors import EXIT_NOT_KEPT, KnownError
from ..screen import SiteArgument, check_writable, write_whole

if TYPE_CHECKING:
    from datetime import date

    from ..commissioning.answer_book import Book, Values
    from ..commissioning.board import LinkedBoard
    from ..site import Site


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("commission")(commission)


def commission(
    site: SiteArgument,
    port: Annotated[
        str | None, typer.Option("--port", help="Serial port of the board; without: by hand.")
    ] = None,
    record: Annotated[
        Path | None,
        typer.Option("--record", metavar="FILE.json", help="Default: commissioning-NAME.json."),
    ] = None,
    only: Annotated[
        str | None, typer.Option("--only", metavar="STEP", help="This step, done or not.")
    ] = None,
    list_: Annotated[bool, typer.Option("--list", help="List the steps and leave.")] = False,
    show: Annotated[bool, typer.Option("--show", help="Print the record and leave.")] = False,
    table: Annotated[
        Path | None,
        typer.Option("--table", metavar="FILE.txt", help="Write the first charge by the hour."),
    ] = None,
    fill: Annotated[float, typer.Option("--fill", help="--table: water at the start [°C].")] = 20.0,
    place: Annotated[
        float, typer.Option("--place", help="--table: air beside the freezer [°C].")
    ] = 24.0,
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="FILE.toml", help="Write the results so far there."),
    ] = None,
    wiring: Annotated[
        Path | None,
        typer.Option("--wiring", metavar="FILE.json", help="Put the measured flow pulses there."),
    ] = None,
    on: Annotated[
        datetime | None,
        typer.Option("--on", formats=["%Y-%m-%d"], help="Day it was done; default: today."),
    ] = None,
) -> int:
    """Put a new installation to the test, step by step, with a dated record.

    With --port the board is watched and asked (its own modes, never an output); without it readings
    are typed. Each step is saved when it is answered and the same command goes on there; "later"
    leaves a step. Once all are good, offsets, checked probes and dates go into a new site file.
    Leaves with 1 while a step is open or the freezer is not fit, with 2 when the input ends.

    Example:  springhouse commission demo --table first-charge.txt
    """
    from ..commissioning.answer_book import default_path, open_book
    from ..site import load_site

    today = (on or datetime.now()).date()
    loaded = load_site(site)
    path = record or default_path(loaded)
    check_writable(path, table, out)
    book = open_book(loaded, path)
    if table is not None:
        _write_table(loaded, table, fill, place)
    if list_ or show:
        _print(book, list_, today)
    if list_ or show or table is not None:
        return 0
    return _work(book, port, only, out, wiring, today)


def _print(book: "Book", as_list: bool, today: "date") -> None:
    from ..commissioning import sheet

    typer.echo(sheet.listing(book) if as_list else sheet.record_text(book, today), nl=False)


def _write_table(site: "Site", path: Path, fill_c: float, place_c: float) -> None:
    from ..commissioning import prediction, sheet

    if not 5.0 <= fill_c <= 35.0:
        raise KnownError(f"--fill: {fill_c:g}: from 5 to 35 °C")
    if not 5.0 <= place_c <= 45.0:
        raise KnownError(f"--place: {place_c:g}: from 5 to 45 °C")
    write_whole(path, sheet.table_text(site, prediction.hourly(site, fill_c, place_c)))
    typer.echo(f"wrote {path}")


def _work(
    book: "Book",
    port: str | None,
    only: str | None,
    out: Path | None,
    wiring: Path | None,
    today: "date",
) -> int:
    from ..commissioning import session, steps, wired
    from ..commissioning.person import Person

    chosen = book.open_steps if only is None else [steps.step_named(book.site, only)]
    ended = f"saved up to there in {book.path}; the same command goes on"
    person = Person(sys.stdin, typer.echo, ended)
    before = dict(book.answers)
    given: Values = {} if wiring is None else {"pulses_l": float(wired.pulses_l(wiring))}
    with ExitStack() as stack:
        board = _board(port, stack, book.site)
        try:
            session.go(book, chosen, person, board, today, given)
        except session.RefusedError:
            typer.echo("NOT FIT: this freezer cannot be used; see the lines above")
            return EXIT_NOT_KEPT
    if wiring is not None:
        _write_wiring(book, wiring)
    left = book.open_steps
    # Not yet written: the program ended between the last answer and the file.
    due = not left and (book.answers != before or not book.written)
    _write_site(book, out, asked=out is not None or due)
    typer.echo(f"open: {', '.join(step.name for step in left)}" if left else "all steps good")
    for day, what in book.due():
        typer.echo(f"due {day.isoformat()}: {what}")
    return EXIT_NOT_KEPT if left else 0


def _write_wiring(book: "Book", path: Path) -> None:
    from ..commissioning import wired

    put = wired.put_pulses(book, path)
    if put is not None:
        typer.echo(
            f"wrote {path}: {wired.KEY} {put}; flash it, and before the step flow is done again: "
            "the board counts by the old number until then"
        )


def _board(port: str | None, stack: ExitStack, site: "Site") -> "LinkedBoard | None":
    if port is None:
        return None
    from ..commissioning.board import LinkedBoard
    from ..flashing.line import Line

    board = LinkedBoard(stack.enter_context(Line(port)))
    board.record()  # refuses now rather than in the middle of a step
    runs, wanted = board.settings(), site.settings_sha256[:16]
    if runs != wanted:
        typer.echo(
            f"board: its settings {runs} are not those of {site.path} ({wanted}): what is judged "
            f"by the site may not fit; springhouse flash {site.path}"
        )
    return board


def _write_site(book: "Book", out: Path | None, asked: bool) -> None:
    """Write the results into a new site file: where it is asked for, or once all is good."""
    from ..commissioning import results, sheet
    from ..site.version import next_version

    found = results.changes(book)
    if not found:
        return
    if not asked:
        typer.echo("results are not in the site file yet: all steps good, or --out FILE.toml")
        return
    site = results.write(book, out or next_version(book.site), found)
    typer.echo(f"wrote {book.written}: error budgets {sheet.budgets(site)}; prove it again")

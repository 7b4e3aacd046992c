"""`springhouse prove SITE`."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ..errors import EXIT_NOT_KEPT, KnownError
from ..screen import (
    JsonOption,
    ReportOption,
    SiteArgument,
    Units,
    UnitsOption,
    check_writable,
    console,
    progress,
    say,
    write_json,
)

MOST_DRAWS = 4096

if TYPE_CHECKING:
    from ..proof.verdict import Verdict


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("prove")(prove)


def prove(
    site: SiteArgument,
    every_tick: Annotated[
        bool,
        typer.Option("--every-tick", help="Step the controller each second: same result, slower."),
    ] = False,
    fresh: Annotated[
        bool,
        typer.Option(
            "--fresh", help="Check the firmware anew, even if these very sources were checked."
        ),
    ] = False,
    draws: Annotated[
        int,
        typer.Option(
            "--draws",
            max=MOST_DRAWS,
            help="Plausible installations, every doubtful number of each drawn at once; rounded "
            "down to a power of two, at least 16. More of them, a surer share.",
        ),
    ] = 64,
    scheduler: Annotated[
        str | None,
        typer.Option(
            "--scheduler",
            metavar="ADDRESS",
            help="Run these on the workers of a dask.distributed scheduler, such as "
            "tcp://10.0.0.5:8786; they need this very program and the site's files under the same "
            "path.",
        ),
    ] = None,
    json: JsonOption = None,
    report: ReportOption = None,
    counterexamples: Annotated[
        Path | None,
        typer.Option(
            "--counterexamples",
            metavar="FOLDER",
            exists=True,
            file_okay=False,
            help="Write a test file for each way that the abstract machine finds to break a guard.",
        ),
    ] = None,
    units: UnitsOption = Units.SI,
) -> int:
    """Prove that an installation keeps its promises, or say what breaks them.

    Runs typical, hottest and all summer days of the weather, corners, faults, each on all readings
    of the labels, and a sample of plausible installations; checks every state with every pattern of
    conditions, the controller from power-up under every input, and random inputs; prints the margin
    to each bound, what set it, and what to measure next. A sample that was stopped goes on.
    Leaves with 0 if all is kept, 1 if not, 2 on bad input.

    Example:  springhouse prove demo --json verdict.json
    Example:  springhouse prove demo --report proof.html
    Example:  springhouse prove demo --draws 1024
    """
    from ..proof.prove import LEAST_DRAWS
    from ..site import load_site

    if draws < LEAST_DRAWS:
        raise KnownError(f"--draws {draws}: at least {LEAST_DRAWS}")
    loaded = load_site(site)
    check_writable(json, report)

    # The plant and what it needs take seconds to import: bad input is told before.
    from ..notebook import prove as run_proof

    with progress("proving") as bar:
        task = bar.add_task("proving", total=None)
        proof = run_proof(
            loaded,
            every_tick=every_tick,
            fresh=fresh,
            draws=draws,
            scheduler=scheduler,
            on_progress=lambda done, total: bar.update(task, completed=done, total=total),
        )
    write_json(json, proof.record)
    from .. import plainly
    from ..proof import show  # late, for it imports the plant
    from ..units import retold

    verdict = proof.verdict
    screen = console()
    us = units is Units.US
    screen.print(show.headline(verdict), markup=False, style="bold")
    say(screen, retold(plainly.of_proof(verdict, us), us))
    for line in loaded.contradictions(us):
        say(screen, f"contradiction: {line}")
    screen.print(show.promises(verdict, us))
    screen.print(show.held(verdict, us))
    screen.print(show.responses(verdict, us))
    for line in (*show.remarks(verdict, us), *show.closing(verdict, us)):
        screen.print(line, markup=False)
    if counterexamples is not None:
        from ..proof.abstract_story import write_tests

        alone = verdict.alone
        written = write_tests(alone.machine, counterexamples)
        for path in (*written, *alone.induction.write_tests(counterexamples)):
            screen.print(f"regression test: {path}", markup=False)
    if report is not None:
        _write_report(verdict, report, us)
        screen.print(f"report: {report}", markup=False)
    if json is not None:
        screen.print(f"record: {json}", markup=False)
    return 0 if verdict.kept else EXIT_NOT_KEPT


def _write_report(verdict: "Verdict", path: Path, us: bool) -> None:
    from ..report.make import write_proof

    with progress("report") as bar:
        task = bar.add_task("report", total=None)
        write_proof(
            verdict, path, us, lambda done, total: bar.update(task, completed=done, total=total)
        )

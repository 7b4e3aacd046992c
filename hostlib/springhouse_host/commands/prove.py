"""`springhouse prove SITE`."""

import typer

from ..errors import EXIT_NOT_KEPT
from ..screen import (
    JsonOption,
    SiteArgument,
    Units,
    UnitsOption,
    check_writable,
    console,
    progress,
    write_json,
)


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("prove")(prove)


def prove(
    site: SiteArgument,
    json: JsonOption = None,
    units: UnitsOption = Units.SI,
) -> int:
    """Prove that an installation keeps its promises, or say what breaks them.

    Runs typical and hottest days of the weather, corners, faults, every state with every pattern
    of conditions, and random inputs; prints the margin to each bound and what set it. Leaves with
    0 if all is kept, 1 if not, 2 on bad input.

    Example:  springhouse prove demo --json verdict.json
    """
    from ..proof import show
    from ..proof.prove import prove as run_proof
    from ..proof.verdict import as_json
    from ..site import load_site

    loaded = load_site(site)
    check_writable(json)
    with progress("proving") as bar:
        task = bar.add_task("proving", total=None)
        verdict = run_proof(
            loaded, lambda done, total: bar.update(task, completed=done, total=total)
        )
    write_json(json, as_json(verdict))
    screen = console()
    us = units is Units.US
    screen.print(show.headline(verdict), markup=False, style="bold")
    screen.print(show.promises(verdict, us))
    screen.print(show.held(verdict))
    for line in (*show.remarks(verdict), *show.closing(verdict)):
        screen.print(line, markup=False)
    if json is not None:
        screen.print(f"record: {json}", markup=False)
    return 0 if verdict.kept else EXIT_NOT_KEPT

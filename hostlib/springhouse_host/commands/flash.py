"""`springhouse flash SITE`."""

from datetime import date
from pathlib import Path
from typing import Annotated

import typer

from ..screen import SiteArgument, console, progress

CAUTIONS = (
    "Before you go on:",
    "  - The freezer's plug is OUT of the relay. Connecting a computer stops the program.",
    "  - Settings are proven only for the parts you described: changed pump, probe, freezer, fluid "
    "or room means prove again.",
    "  - This is home-built, uncertified control gear: an independent freeze cut-out, a "
    "residual-current device and a siphon break stay fitted and tested.",
)
NETWORK_CAUTIONS = (
    "  - Passwords of the network are stored on the board in clear, and its page is open to "
    "everybody on it.",
    "  - Never on the open internet: no port forwarding.",
)


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("flash")(flash)


def flash(
    site: SiteArgument,
    wiring: Annotated[
        Path, typer.Option("--wiring", metavar="FILE", help="What is wired to the board (JSON).")
    ] = Path("wiring.json"),
    proof: Annotated[
        Path, typer.Option("--proof", metavar="FILE", help="Record of `prove --json`.")
    ] = Path("verdict.json"),
    network: Annotated[
        Path | None,
        typer.Option("--network", metavar="FILE", help="Wi-Fi, page and broker (JSON). Else none."),
    ] = None,
    zone: Annotated[
        str | None, typer.Option("--zone", help="Where the clock is read, e.g. Europe/Madrid.")
    ] = None,
    port: Annotated[str | None, typer.Option("--port", help="Serial port of the board.")] = None,
    unproven: Annotated[
        bool, typer.Option("--unproven", help="Without a proof; every record will say so.")
    ] = False,
    yes: Annotated[bool, typer.Option("--yes", help="The cautions have been read.")] = False,
) -> int:
    """Put a proven installation on its board and watch it start.

    The board is switched off first, the new version is copied beside the old one and takes over
    in one step; a failure on the way leaves the board off or with its old version. Leaves with 2
    if nothing on the board was changed, with 3 if something was: the message says how it stands.

    Example:  springhouse flash demo --wiring wiring.json --proof verdict.json
    """
    from ..flashing.flash import EXIT_BOARD, BoardFailure, ProofFile, Steps, make_load
    from ..flashing.flash import flash as run_flash
    from ..flashing.ports import choose
    from ..proof.sources import wanted
    from ..site import load_site

    screen = console()
    loaded = load_site(site)
    checked = loaded.file.commissioned.ice_point_on
    load = make_load(
        loaded.settings(),
        wiring,
        None if unproven else ProofFile(proof, wanted(loaded)),
        zone=zone,
        ranges=loaded.ranges(),
        network=network,
        ice_point_on=None if checked is None else date.fromisoformat(checked),
    )
    chosen = choose(port)
    for line in CAUTIONS if network is None else CAUTIONS + NETWORK_CAUTIONS:
        screen.print(line, markup=False)
    if not yes and not typer.confirm("Is the freezer unplugged from the relay?"):
        raise typer.Abort
    try:
        with progress("files") as bar:
            task = bar.add_task("files", total=None)
            steps = Steps(
                lambda text: screen.print(text, markup=False),
                lambda done, total: bar.update(task, completed=done, total=total),
            )
            answer = run_flash(chosen, load, steps)
    except BoardFailure as failure:
        for line in failure.lines:
            typer.echo(f"springhouse: {line}", err=True)
        return EXIT_BOARD
    proven = "proven" if not answer["unproven"] else "UNPROVEN"
    left_min = -(-answer.get("trial", 0) // 60)
    if left_min:
        screen.print(
            f"It is on trial for {left_min} min: a reset or a power cut before that brings the old "
            "version back.",
            markup=False,
        )
    screen.print(
        f"{answer['board']} runs firmware {answer['firmware']}, settings {answer['settings']}, "
        f"{proven}. Plug the freezer in and watch the first charge.",
        markup=False,
    )
    return 0

"""`springhouse set SITE KEY=VALUE ...`."""

from typing import TYPE_CHECKING, Annotated

import typer

from ..screen import SiteArgument, console

if TYPE_CHECKING:
    from ..flashing.adjust import InForce
    from ..site import Site


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("set")(set_)


def set_(
    site: SiteArgument,
    changes: Annotated[
        list[str] | None,
        typer.Argument(metavar="[KEY=VALUE]...", help="As in the site file; none: only look."),
    ] = None,
    port: Annotated[str | None, typer.Option("--port", help="Serial port of the board.")] = None,
) -> int:
    """Change a running board inside the range that its proof covers, and show what is in force.

    The site's table owner_range says what may be changed: room_target_c, fan_quiet_percent,
    fan_full_percent, and begin and end of the windows wanted and charging. All changes of one call
    are stored in one step, or none is; nothing is flashed and the proof stays good. Leaves with 2
    if nothing was changed, with 3 if that is not certain.

    Example:  springhouse set my-store/site.toml room_target_c=25.5 "wanted=mon-fri 13:00-17:00"
    """
    from ..flashing.adjust import adjust, look
    from ..flashing.flash import EXIT_BOARD, BoardFailure
    from ..flashing.ports import choose
    from ..site import load_site, owner_change

    loaded = load_site(site)
    wanted = owner_change.parse(loaded, changes or [])
    chosen = choose(port)
    try:
        now = adjust(chosen, loaded, wanted) if wanted else look(chosen, loaded)
    except BoardFailure as failure:
        for line in failure.lines:
            typer.echo(f"springhouse: {line}", err=True)
        return EXIT_BOARD
    _show(loaded, now)
    return 0


def _show(site: "Site", now: "InForce") -> None:
    from rich import box
    from rich.table import Table

    from ..site import owner_change

    table = Table(box=box.SIMPLE_HEAD, title=f"{site.name}: in force", title_justify="left")
    for column in ("key", "value", "proven"):
        table.add_column(column)
    for key in owner_change.keys(site.ranges(), now.settings):
        proven = owner_change.range_text(site, key).rstrip(",")
        table.add_row(key, owner_change.value_text(now.settings, key), proven)
    screen = console()
    screen.print(table)
    word = "UNPROVEN" if now.state["unproven"] else "proven"
    safe = f", in safe mode: {now.state['safe']}" if now.state["safe"] else ""
    screen.print(
        f"{now.state['board']} runs settings {now.state['settings']}, {word}{safe}.", markup=False
    )

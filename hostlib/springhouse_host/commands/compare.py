"""`springhouse compare SITE --with KEY=VALUE ...`."""

from string import ascii_uppercase
from typing import TYPE_CHECKING, Annotated

import typer

from ..screen import (
    JsonOption,
    SiteArgument,
    Units,
    UnitsOption,
    console,
    progress,
    say,
    write_json,
)

if TYPE_CHECKING:
    from ..sheet.sizing import Sizing

HEADER = 14  # characters that a column of the table bears without breaking a word


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("compare")(compare)


def compare(
    site: SiteArgument,
    with_: Annotated[
        list[str],
        typer.Option(
            "--with",
            metavar="KEY=VALUE",
            help="A column of its own; several changes in one column are joined by a semicolon.",
        ),
    ],
    json: JsonOption = None,
    units: UnitsOption = Units.SI,
) -> None:
    """Put variants of a site side by side: the sizing sheet's middle reading, a column each.

    KEY is table.key of the site file, VALUE as it would stand there.

    Example:  springhouse compare demo --with coil.fans=3 --with "coil.rows=4; store.draw_m=0.05"
    """
    from .. import plainly
    from ..sheet import sizing
    from ..site.variant import site_with

    columns = {"as it is": ()} | {text: tuple(text.split(";")) for text in with_}
    sites = {name: site_with(site, changes) for name, changes in columns.items()}
    found: dict[str, Sizing] = {}
    with progress("comparing") as bar:
        task = bar.add_task("comparing", total=len(sites) * sizing.STEPS // 3)
        for name, varied in sites.items():
            found[name] = sizing.size(varied, lambda: bar.advance(task), ("mid",))
    write_json(json, {name: result.as_json() for name, result in found.items()})
    say(console(), plainly.of_comparison(found))
    _show(found, units is Units.US, next(iter(sites.values())).currency)


def headers(names: list[str]) -> dict[str, str]:
    """Return the columns' headers: the changes as given, or letters where they are too long."""
    if max(len(name) for name in names) <= HEADER:
        return {name: name for name in names}
    letters = iter(ascii_uppercase)
    return {name: name if n == 0 else next(letters, name) for n, name in enumerate(names)}


def _show(found: "dict[str, Sizing]", us: bool, currency: str) -> None:
    from rich import box
    from rich.table import Table

    from .size import can_rows, gain_rows, running_rows

    table = Table(box=box.SIMPLE_HEAD)
    table.add_column("middle reading of the labels")
    for name, header in headers(list(found)).items():
        if header != name:
            say(console(), f"{header}: {name}", hang="   ")
        table.add_column(header, justify="right", overflow="fold")
    first = next(iter(found.values()))
    rows = (*gain_rows(first), *can_rows(us), *running_rows(us, currency))
    for label, text in rows:
        table.add_row(label, *(text(result.sheets["mid"]) for result in found.values()))
    table.add_row(
        "first limit",
        *(
            f"{limit.name}: {limit.ratio:.2f}"
            for limit in (result.sheets["mid"].limits[0] for result in found.values())
        ),
    )
    console().print(table)

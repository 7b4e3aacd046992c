"""`springhouse sweep SITE`."""

import os
from datetime import datetime
from enum import StrEnum
from pathlib import Path
from typing import Annotated, Any

import typer

from ..errors import KnownError
from ..screen import (
    SiteArgument,
    Units,
    UnitsOption,
    check_writable,
    console,
    progress,
    say_written,
)

MOST_JOBS = 256
BEST_SHOWN = 5


class Spread(StrEnum):
    """How points are laid out."""

    GRID = "grid"
    LATIN = "latin"
    SOBOL = "sobol"


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("sweep")(sweep)


def sweep(
    site: SiteArgument,
    vary: Annotated[
        list[str],
        typer.Option("--vary", metavar="TABLE.KEY=FROM:TO:COUNT", help="May be repeated."),
    ],
    spread: Annotated[
        Spread, typer.Option("--spread", help="Grid, Latin hypercube or Sobol sequence.")
    ] = Spread.GRID,
    points: Annotated[
        int, typer.Option("--points", min=1, help="How many, unless on a grid.")
    ] = 64,
    days: Annotated[int, typer.Option("--days", min=1, max=366, help="Hottest days to run.")] = 7,
    season: Annotated[bool, typer.Option("--season", help="Run the whole summer instead.")] = False,
    start: Annotated[
        datetime | None,
        typer.Option("--start", formats=["%Y-%m-%d"], help="First day; default: hottest days."),
    ] = None,
    jobs: Annotated[
        int, typer.Option("--jobs", min=1, max=MOST_JOBS, help="Points run at a time.")
    ] = max(1, os.cpu_count() or 1),
    scheduler: Annotated[
        str | None,
        typer.Option(
            "--scheduler",
            metavar="ADDRESS",
            help="Run on the workers of a dask.distributed scheduler, such as tcp://10.0.0.5:8786; "
            "they need this program and the site file under the same path.",
        ),
    ] = None,
    out: Annotated[
        Path, typer.Option("--out", metavar="FILE.parquet", dir_okay=False, help="The table.")
    ] = Path("sweep.parquet"),
    plot: Annotated[
        Path | None,
        typer.Option("--plot", metavar="FILE.png", dir_okay=False, help="Draw the map."),
    ] = None,
    report: Annotated[
        Path | None,
        typer.Option(
            "--report", metavar="FILE.html", dir_okay=False, help="The map and all points, a page."
        ),
    ] = None,
    units: UnitsOption = Units.SI,
) -> None:
    """Run one installation under many settings; a killed sweep goes on where it was.

    Example:  springhouse sweep demo --vary settings.deep_target_c=2:5:4
    --vary settings.room_target_c=24:27:4 --plot map.png
    """
    from ..notebook import sweep as run_sweep
    from ..site import load_site
    from ..sweeping import in_units, read_axis
    from ..units import word

    loaded = load_site(site)
    axes = [read_axis(text) for text in vary]
    keys = [axis.key for axis in axes]
    if len(set(keys)) < len(keys):
        raise KnownError(f"--vary {max(keys, key=keys.count)}: more than once")
    check_writable(out, plot, report)
    with progress("points") as bar:
        task = bar.add_task("points", total=None)
        found = run_sweep(
            loaded,
            {axis.key: (axis.low, axis.high, axis.count) for axis in axes},
            spread=spread.value,
            points=points,
            days=days,
            season=season,
            start=start,
            jobs=jobs,
            scheduler=scheduler,
            out=out,
            on_progress=lambda done, total: bar.update(task, completed=done, total=total),
        )
    rows = [dict(zip(found.columns, row, strict=True)) for row in found.itertuples(index=False)]
    title = found.attrs["scenario"]
    us = units is Units.US
    rows, keys = in_units(rows, keys, us)
    ice = f"most ice {word('kg', us)}"
    if plot is not None:
        from ..sweep_map import draw

        draw(rows, keys, plot, title)
    if report is not None:
        from ..report.sweep_page import write

        write(loaded, rows, keys, title, report, ice)
    _show(rows, keys, title, loaded.currency, ice)
    say_written(table=out, plot=plot, report=report)


def _show(rows: list[dict[str, Any]], keys: list[str], title: str, currency: str, ice: str) -> None:
    from rich import box
    from rich.table import Table

    good = [row for row in rows if not row["refused"]]
    screen = console()
    table = Table(box=box.SIMPLE_HEAD, title=title, title_justify="left")
    for name in (*keys, "wanted hours too warm", f"cost {currency}".strip(), ice):
        table.add_column(name, justify="right")
    for row in sorted(good, key=lambda r: (r["room_hours_over"], r["cost"]))[:BEST_SHOWN]:
        figures = (row["room_hours_over"], row["cost"], row["max_ice_kg"])
        table.add_row(*(f"{row[key]:g}" for key in keys), *(f"{v:.2f}" for v in figures))
    screen.print(table)
    screen.print(f"{len(rows)} points, {len(rows) - len(good)} of them refused by the site's rules")
    refused = next((row["refused"] for row in rows if row["refused"]), None)
    if refused:
        screen.print(f"the first: {refused}", markup=False)

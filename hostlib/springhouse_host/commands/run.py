"""`springhouse run SITE`."""

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

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
    say_written,
    write_json,
    write_whole,
)

if TYPE_CHECKING:
    from ..notebook import Run


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("run")(run)


def _list_faults(asked: bool) -> None:
    """Print every fault and end; asked before the site is missed."""
    if not asked:
        return
    from rich import box
    from rich.table import Table

    from ..proof.fault_words import every

    table = Table(box=box.SIMPLE_HEAD)
    for head in ("fault", "what breaks", "value unless given"):
        table.add_column(head)
    for one in every():
        table.add_row(one.name + (".PROBE" if one.probe else ""), one.text, one.value)
    console().print(table)
    from springhouse_sim.world.faults import PROBES

    console().print(
        f"PROBE is {', '.join(PROBES)}. --fault NAME[.PROBE][=VALUE]@H:MM[-H:MM], times since the "
        "start of the run.",
        markup=False,
    )
    raise typer.Exit


def run(
    site: SiteArgument,
    start: Annotated[
        datetime | None,
        typer.Option("--start", formats=["%Y-%m-%d"], help="First day; default: hottest days."),
    ] = None,
    days: Annotated[int, typer.Option("--days", min=1, help="How many, 366 at most.")] = 3,
    csv: Annotated[
        Path | None,
        typer.Option("--csv", metavar="FILE", dir_okay=False, help="Write one row a minute."),
    ] = None,
    plot: Annotated[
        Path | None,
        typer.Option("--plot", metavar="FILE.png", dir_okay=False, help="Draw the run."),
    ] = None,
    on_board: Annotated[
        bool,
        typer.Option("--on-board", help="Let the board's own files control, under MicroPython."),
    ] = False,
    every_tick: Annotated[
        bool,
        typer.Option("--every-tick", help="Step the controller each second: same result, slower."),
    ] = False,
    fault: Annotated[
        list[str] | None,
        typer.Option(
            "--fault",
            metavar="NAME@H:MM",
            help="Break something so long after the start: NAME[.PROBE][=VALUE]@H:MM[-H:MM]. "
            "May be given again; --faults lists the names.",
        ),
    ] = None,
    faults: Annotated[
        bool,
        typer.Option(
            "--faults", is_eager=True, callback=_list_faults, help="List what can break, and stop."
        ),
    ] = False,
    json: JsonOption = None,
    report: ReportOption = None,
    units: UnitsOption = Units.SI,
) -> None:
    """Simulate one run of an installation and summarise it.

    With --on-board the very files that `flash` copies, folded and compiled, run in a virtual board,
    its pins and buses connected to the simulated plant: slower (about 90 s a day), and invariants
    are not counted.

    Example:  springhouse run demo --start 2001-07-09 --days 2 --plot two-days.png
    Example:  springhouse run demo --days 1 --fault probe_open.store_low@2:00-3:30
    Example:  springhouse run demo --days 2 --fault mains_away@14:00-38:00
    """
    from ..notebook import run as simulate

    check_writable(csv, plot, json, report)
    with progress("days") as bar:
        task = bar.add_task("days", total=float(days))
        done = simulate(
            site,
            start=start,
            days=days,
            faults=fault or (),
            on_board=on_board,
            every_tick=every_tick,
            on_progress=lambda share: bar.update(task, completed=share * days),
        )
    write_json(json, done.summary)
    if csv is not None:
        write_whole(csv, done.minutes.to_csv())
    if plot is not None:
        from ..plots import draw_run

        draw_run(done.trace, plot, done.limit_c, units is Units.US)
    if report is not None:
        from ..report.make import write_run

        write_run(done.site, done.scenario, done.trace, report, units is Units.US)
    _show(done, units is Units.US)
    say_written(csv=csv, plot=plot, record=json, report=report)


def _show(done: "Run", us: bool) -> None:
    from rich import box
    from rich.table import Table

    from .. import plainly
    from ..figures import run_figures

    summary, title = done.summary, f"{done.site.name}: {done.scenario.name}"
    table = Table(box=box.SIMPLE_HEAD, title=title, title_justify="left")
    table.add_column("figure")
    table.add_column("value", justify="right")
    for label, text in run_figures(summary, done.limit_c, us, done.site.currency):
        table.add_row(label, text)
    screen = console()
    say(screen, plainly.of_run(summary, done.limit_c, us, done.site.currency))
    screen.print(table)
    broken = [str(i) for i, n in enumerate(done.trace.violations) if n]
    if broken:
        console().print(f"invariants broken: {', '.join(broken)}", markup=False)

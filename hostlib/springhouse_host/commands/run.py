"""`springhouse run SITE`."""

from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import replace
from datetime import datetime
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Annotated, Any

import typer

from ..errors import KnownError
from ..screen import (
    JsonOption,
    ReportOption,
    SiteArgument,
    Units,
    UnitsOption,
    check_writable,
    console,
    progress,
    write_json,
    write_whole,
)

if TYPE_CHECKING:
    from springhouse_sim.bench import Bench
    from springhouse_sim.trace import Trace

LONGEST_DAYS = 366


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("run")(run)


def run(
    site: SiteArgument,
    start: Annotated[
        datetime | None,
        typer.Option("--start", formats=["%Y-%m-%d"], help="First day; default: hottest days."),
    ] = None,
    days: Annotated[int, typer.Option("--days", min=1, max=LONGEST_DAYS, help="How many.")] = 3,
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
            "May be given again.",
        ),
    ] = None,
    json: JsonOption = None,
    report: ReportOption = None,
    units: UnitsOption = Units.SI,
) -> None:
    """Simulate one run of an installation and summarise it.

    With --on-board the very files that `flash` copies run in a virtual board, its pins and buses
    connected to the simulated plant: slower (about 90 s a day), and invariants are not counted.

    Example:  springhouse run demo --start 2001-07-09 --days 2 --plot two-days.png
    Example:  springhouse run demo --days 1 --fault probe_open.store_low@2:00-3:30
    """
    from springhouse_sim.bench import Bench, Pace

    from ..proof import running, scenarios
    from ..proof.fault_words import fault_from
    from ..site import load_site

    loaded = load_site(site)
    check_writable(csv, plot, json, report)
    faults = tuple(fault_from(text, days) for text in fault or ())
    scenario = replace(scenarios.single(loaded, start, days), faults=faults)
    with ExitStack() as stack:
        kind: Callable[..., Bench] = Bench
        if on_board:
            kind = _on_board(Path(stack.enter_context(TemporaryDirectory())))
        pace = Pace.EVERY_TICK if every_tick else Pace.SKIP
        bench = running.bench(loaded, scenario, kind=kind, pace=pace)
        bar = stack.enter_context(progress("days"))
        task = bar.add_task("days", total=float(days))
        trace = bench.run(days, lambda share: bar.update(task, completed=share * days))
    limit_c = running.room_limit_c(loaded)
    summary = {"site": loaded.name, "evidence": loaded.evidence, **trace.summary(limit_c)}
    summary["energy_by_consumer_kwh"] = trace.energy_kwh()
    summary["room_heat_kwh"] = trace.room_heat_kwh()
    summary["store_heat_kwh"] = trace.store_heat_kwh()
    write_json(json, summary)
    if csv is not None:
        write_whole(csv, trace.minutes().to_csv(index_label="local_time"))
    if plot is not None:
        from ..plots import draw_run

        draw_run(trace, plot, limit_c)
    if report is not None:
        from ..report.make import write_run

        write_run(loaded, scenario, trace, report, units is Units.US)
    _show(scenario.name, trace, summary, limit_c, units is Units.US, loaded.currency)


def _on_board(flash: Path) -> "Callable[..., Bench]":
    from springhouse_sim.virtual_board.on_board import OnBoardBench
    from springhouse_sim.virtual_board.process import interpreter

    try:
        interpreter()
    except FileNotFoundError as error:
        raise KnownError(f"--on-board: {error}") from None
    return partial(OnBoardBench, flash=flash)


def _show(
    name: str, trace: "Trace", summary: dict[str, Any], limit_c: float, us: bool, currency: str
) -> None:
    from rich import box
    from rich.table import Table

    from ..figures import run_figures

    table = Table(box=box.SIMPLE_HEAD, title=f"{summary['site']}: {name}", title_justify="left")
    table.add_column("figure")
    table.add_column("value", justify="right")
    for label, text in run_figures(summary, limit_c, us, currency):
        table.add_row(label, text)
    console().print(table)
    broken = [str(i) for i, n in enumerate(trace.violations) if n]
    if broken:
        console().print(f"invariants broken: {', '.join(broken)}", markup=False)

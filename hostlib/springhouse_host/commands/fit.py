"""`springhouse fit SITE --log FILE`."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

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

if TYPE_CHECKING:
    from ..fitting.fit import Fitted


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("fit")(fit)


def fit(
    site: SiteArgument,
    log: Annotated[
        Path, typer.Option("--log", metavar="FILE", help="From `run --csv`, or the board's log.")
    ],
    outdoor: Annotated[
        Path | None,
        typer.Option("--outdoor", metavar="FILE", help="CSV: local_time, outdoor_c (and sun_w)."),
    ] = None,
    hold: Annotated[
        list[str] | None,
        typer.Option("--hold", metavar="TABLE.KEY", help="Leave as the site has it; repeatable."),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="FILE.toml", help="New site file; default: next number."),
    ] = None,
    plot: Annotated[
        Path | None,
        typer.Option("--plot", metavar="FILE.png", dir_okay=False, help="Draw before and after."),
    ] = None,
    json: JsonOption = None,
    units: UnitsOption = Units.SI,
) -> None:
    """Estimate what labels leave open from a log, and write a new version of the site file.

    Cabinet, freezer, water, coil and room are fitted on the same plant that proves the site; a
    quarter of the log is held out and only predicted. A log that does not tell a value is refused,
    with a word on what to log. The old site file is never touched. Prove the new one again.

    Example:  springhouse fit my-store/site.toml --log week.csv --plot fit.png
    """
    from ..notebook import fit as run_fit
    from ..site import load_site
    from ..site.version import NewValue, check_new, next_version, write_version

    loaded = load_site(site)
    path = next_version(loaded) if out is None else out
    check_new(path)
    check_writable(path, plot, json)
    with progress("{task.description}") as bar:
        task = bar.add_task("fit", total=None)
        found = run_fit(
            loaded,
            log,
            outdoor=outdoor,
            hold=hold or (),
            on_progress=lambda text: bar.update(task, description=text),
        )
    values = {e.key: NewValue(e.value, e.low, e.high, "fitted") for e in found.estimates}
    write_version(loaded, path, values, f"fitted to {log.name}")
    write_json(json, as_json(found))
    if plot is not None:
        from ..fitting.picture import draw_fit

        draw_fit(found, plot, units is Units.US)
    _show(found, units is Units.US)
    console().print(
        f"wrote {path}: prove it again (springhouse prove {path}). A fit describes the log's "
        "weather and season; it is no licence to leave a guard out.",
        markup=False,
    )


def as_json(found: "Fitted") -> dict[str, Any]:
    """Return the record of a fit, plain values only."""
    rms = found.rms.astype(object).where(found.rms.notna(), None)
    return {
        "site": found.site.name,
        "site_sha256": found.site.site_sha256,
        "estimates": {e.key: {k: v for k, v in vars(e).items() if k != "key"}
                      for e in found.estimates},
        "rms": rms.to_dict("index"),
        "held_out_from": found.held_out_from.isoformat(),
        "condition": found.condition,
        "correlation": found.correlation.to_dict(),
        "effective_readings": dict(found.effective),
        "flow_factor": found.flow_factor,
        "priors": dict(found.priors),
        "notes": list(found.notes),
    }  # fmt: skip


def _three(value: float) -> str:
    """Return a number of three digits, never with an exponent."""
    return f"{float(f'{value:.3g}'):.10g}"


def _show(found: "Fitted", us: bool) -> None:
    from rich import box
    from rich.table import Table

    from ..units import on_screen, retold, word

    table = Table(box=box.SIMPLE_HEAD, title=f"{found.site.name}: fit", title_justify="left")
    for name in ("value", "before", "fitted", "95 % interval", "unit"):
        table.add_column(name, justify="left" if name in ("value", "unit") else "right")
    for e in found.estimates:
        figures = on_screen((e.before, e.value, e.low, e.high), e.unit, us)
        before, value, low, high = (_three(float(v)) for v in figures)
        table.add_row(e.key, before, value, f"{low} to {high}", word(e.unit, us))
    errors = Table(box=box.SIMPLE_HEAD)
    errors.add_column("root-mean-square miss")
    errors.add_column("unit")
    for column in found.rms.columns:
        errors.add_column(column.replace("_", " ").replace("held out", "held-out"), justify="right")
    for channel, row in found.rms.dropna(how="all").iterrows():
        unit = "K" if str(channel).endswith("_c") else "W" if str(channel).endswith("_w") else ""
        misses = on_screen(row, unit, us)
        errors.add_row(str(channel), word(unit, us), *(f"{v:.2f}" for v in misses))
    screen = console()
    screen.print(table)
    screen.print(errors)
    readings = ", ".join(f"{c} {n:.0f}" for c, n in found.effective.items() if n)
    for line in (
        f"held out and only predicted: from {found.held_out_from:%d %B %H:%M}",
        f"independent readings: {readings}; condition number {found.condition:.0f}",
        "estimated along, with these priors (standard deviations): "
        + "; ".join(f"{name} {text}" for name, text in found.priors.items()),
        *found.notes,
    ):
        screen.print(retold(line, us), markup=False)

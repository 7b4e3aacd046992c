"""`springhouse history`."""

import io
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ..errors import KnownError
from ..screen import Units, UnitsOption, check_writable, console, write_bytes_whole

if TYPE_CHECKING:
    import pandas as pd
    from rich.table import Table


CURRENCY = "currency"
SHOWN = {  # of a column: what it is and its unit
    "watched_h": ("watched", "h"),
    "compressor_h": ("compressor", "h"),
    "compressor_starts": ("starts", ""),
    "pump_h": ("pump", "h"),
    "store_min_c": ("store min", "°C"),
    "store_max_c": ("store max", "°C"),
    "room_max_c": ("room max", "°C"),
    "flow_l_min": ("flow", "L/min"),
    "no_mains_h": ("no mains", "h"),
    "alarm_h": ("alarm", "h"),
    "label_kwh": ("by label", "kWh"),
    "label_cost": ("by label", CURRENCY),
}


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("history")(history)


def history(
    base: Annotated[Path, typer.Argument(metavar="BASE", help="Database of springhouse watch.")],
    site: Annotated[
        str | None,
        typer.Option("--site", metavar="SITE", help="Its tariff, label powers and calibration."),
    ] = None,
    days: Annotated[
        list[str] | None,
        typer.Option("--day", metavar="YYYY-MM-DD", help="Only this day; again to compare days."),
    ] = None,
    log: Annotated[
        Path | None,
        typer.Option(
            "--log",
            metavar="PORT|FILE",
            help="The board's black box, from its serial port or as saved: starts, faults, and "
            "what the owner changed.",
        ),
    ] = None,
    save_log: Annotated[
        Path | None,
        typer.Option("--save-log", metavar="FILE", help="Keep what came from the port, for fit."),
    ] = None,
    installation: Annotated[
        str | None,
        typer.Option(
            "--installation", metavar="NAME", help="Whose records, where BASE holds several."
        ),
    ] = None,
    adopt: Annotated[
        bool,
        typer.Option(
            "--adopt",
            help="Give SITE the records from before installations were told apart.",
        ),
    ] = False,
    export: Annotated[
        Path | None,
        typer.Option("--export", metavar="FILE", help="Every record, as .csv or .parquet."),
    ] = None,
    meter_kwh: Annotated[
        float | None,
        typer.Option("--meter", min=0, help="Keep a reading of the freezer's energy meter [kWh]."),
    ] = None,
    units: UnitsOption = Units.SI,
) -> None:
    """Show the days that were watched: hours, starts, temperatures, cost so far, what drifts.

    The board measures no electric power: energy is run time by label power. Two meter readings
    (--meter) tell whether the freezer draws more than its label says.

    Example:  springhouse history records.sqlite --site my-store/site.toml
    Example:  springhouse history records.sqlite --day 2026-07-01 --day 2026-07-08
    """
    from ..site import load_site
    from ..watching import days as world_days
    from ..watching.changes import changes, words
    from ..watching.choosing import read
    from ..watching.happened import happened

    if export is not None and export.suffix not in (".csv", ".parquet"):
        raise KnownError(f"--export: {export}: the name must end in .csv or .parquet")
    if save_log is not None and log is None:
        raise KnownError("--save-log: needs --log PORT")
    check_writable(export, save_log)
    boxed = _box(log, save_log) if log is not None else []
    changed = changes(boxed)
    wanted = [_day(text) for text in days or ()]
    loaded = load_site(site) if site is not None else None
    data, readings, notes = read(base, loaded, installation, adopt, meter_kwh)
    found = world_days.daily(data)
    if loaded is not None:
        found = world_days.with_cost(found, data, loaded)
    missing = [str(day) for day in wanted if day not in found.index]
    if missing:
        raise KnownError(f"--day: no records of {', '.join(missing)} in {base}")
    screen = console()
    for note in notes:
        screen.print(note, markup=False)
    shown = found.loc[wanted] if wanted else found
    screen.print(_table(shown, units is Units.US, loaded.currency if loaded else ""))
    if loaded is not None and not wanted:
        label = float(found["label_cost"].sum()) + loaded.tariff().standing_per_day * len(found)
        screen.print(
            f"cost so far: {label:.2f} {loaded.currency} by run time and label, "
            f"standing charge included, {len(found)} days",
            markup=False,
        )
    label_w = None if loaded is None else loaded.file.freezer.label_input_w
    for drift in world_days.drifts(found, label_w, world_days.metered_w(data, readings)):
        screen.print(
            f"DRIFT: {drift.what}: {drift.was:.2f} before, {drift.now:.2f} now: {drift.look_at}",
            markup=False,
        )
    for text in happened(boxed):
        screen.print(text, markup=False)
    for change in changed:
        screen.print(words(change), markup=False)
    if log is not None and not changed:
        screen.print(f"{log}: the owner changed nothing", markup=False)
    if export is not None:
        _export(data, export)
        screen.print(f"exported: {export}", markup=False)


def _box(log: Path, save_log: Path | None) -> list[tuple[int, ...]]:
    """Return the black-box records from a port or a file."""
    from ..fitting.log import read_text
    from ..flashing.fetch import fetch_log, is_port
    from ..watching.changes import read_records

    text = fetch_log(str(log)) if is_port(log) else read_text(log)
    if save_log is not None:
        write_bytes_whole(save_log, text.encode())
    return read_records(text, log)


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise KnownError(f"--day: {text!r} is no date, e.g. 2026-07-01") from None


def _table(days: "pd.DataFrame", us: bool, currency: str) -> "Table":
    from rich import box
    from rich.table import Table

    from ..units import US_WORDS, in_us

    table = Table(box=box.SIMPLE_HEAD)
    table.add_column("")
    for day in days.index:
        table.add_column(str(day), justify="right")
    for name, (what, unit) in SHOWN.items():
        if name not in days:
            continue
        change = us and unit in US_WORDS
        word = currency if unit == CURRENCY else US_WORDS[unit] if change else unit
        form = "{:.0f}" if name.endswith("_starts") else "{:.1f}" if change else "{:.2f}"
        values = (in_us(v, unit) if change else v for v in days[name])
        cells = (form.format(v) if v == v else "-" for v in values)
        table.add_row(f"{what} {word}".rstrip(), *cells)
    return table


def _export(data: "pd.DataFrame", path: Path) -> None:
    buffer = io.BytesIO()
    if path.suffix == ".csv":
        data.to_csv(buffer)
    else:
        data.to_parquet(buffer)
    write_bytes_whole(path, buffer.getvalue())

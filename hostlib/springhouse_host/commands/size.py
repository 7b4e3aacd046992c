"""`springhouse size SITE`."""

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

import typer

from ..screen import JsonOption, SiteArgument, Units, UnitsOption, console, progress, write_json

if TYPE_CHECKING:
    from rich.table import Table

    from ..site import Variant
    from ..sizing import Sheet, Sizing

DESCRIBED = {"low": "weakest", "mid": "middle", "high": "strongest"}


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("size")(size)


def size(
    site: SiteArgument,
    json: JsonOption = None,
    units: UnitsOption = Units.SI,
) -> None:
    """Print the first sizing sheet: does one charge cover the hottest day?

    Labels leave room for doubt, so each figure is given for the weakest, the middle and the
    strongest installation they allow. No controller runs here; springhouse prove does that.

    Example:  springhouse size demo --units us --json sheet.json
    """
    from .. import sizing
    from ..site import load_site

    loaded = load_site(site)
    with progress("sizing") as bar:
        task = bar.add_task("sizing", total=sizing.STEPS)
        result = sizing.size(loaded, tick=lambda: bar.advance(task))
    write_json(json, result.as_json())
    screen = console()
    us = units is Units.US
    screen.print(_headline(result, us), markup=False)
    screen.print(_gains(result))
    screen.print(_sheet(result, us))
    for line in _remarks(result):
        screen.print(line, markup=False)


def _headline(result: "Sizing", us: bool) -> str:
    from ..units import show

    day = result.day
    return (
        f"{result.site}: {result.evidence}\n"
        f"design day {day.first:%d %B} of the typical year: mean {show(day.mean_c, '°C', us=us)}, "
        f"dew point {show(day.mean_dew_c, '°C', us=us)}"
    )


def _table(title: str) -> "Table":
    from rich import box
    from rich.table import Table

    table = Table(box=box.SIMPLE_HEAD)
    table.add_column(title)
    for word in DESCRIBED.values():
        table.add_column(word, justify="right")
    return table


def _gains(result: "Sizing") -> "Table":
    table = _table(f"heat into the room in its {result.wanted_h:g} wanted hours")
    gains = [sheet.gain.wanted_w for sheet in result.sheets.values()]
    for cause in gains[0]:
        table.add_row(cause, *(f"{gain[cause]:.0f} W" for gain in gains))
    totals = result.spread(lambda sheet: sheet.gain.mean_w)
    table.add_row("together", *(f"{w:.0f} W" for w in totals.values()), style="bold")
    return table


def _sheet(result: "Sizing", us: bool) -> "Table":
    from ..units import show

    def hours(value: float | None) -> str:
        return "not reached" if value is None else f"{value:.1f} h"

    rows: tuple[tuple[str, Callable[[Sheet], str]], ...] = (
        ("water flow", lambda s: show(s.flow_l_min, "L/min", us=us)),
        ("room cooling, store full", lambda s: f"{s.cooling_w:.0f} W"),
        ("air-off temperature, store full", lambda s: show(s.air_off_c, "°C", us=us)),
        ("cold stored", lambda s: f"{s.cold_stored_kwh:.2f} kWh"),
        ("hours of discharge", lambda s: hours(s.discharge_h)),
        ("store at the end of discharge", lambda s: show(s.discharge_end_c, "°C", us=us)),
        ("condensate a day", lambda s: show(s.condensate_l_day, "L", us=us, digits=2)),
        ("pull-down to the deep target", lambda s: hours(s.pull_down_h)),
        ("first chill from tap water", lambda s: hours(s.first_chill_h)),
        (
            "battery: pump, fans, board",
            lambda s: "no battery" if s.battery_h is None else hours(s.battery_h),
        ),
    )
    table = _table("what the installation can do")
    for label, text in rows:
        table.add_row(label, *result.spread(text).values())
    return table


def _remarks(result: "Sizing") -> list[str]:
    discharge: Mapping[Variant, Any] = result.spread(lambda sheet: sheet.discharge_h)
    pull_down: Mapping[Variant, Any] = result.spread(lambda sheet: sheet.pull_down_h)
    enough = [DESCRIBED[v] for v, hours in discharge.items() if hours >= result.wanted_h]
    refilled = [
        DESCRIBED[v]
        for v, hours in pull_down.items()
        if hours is not None and hours <= result.charging_h
    ]

    def verdict(found: list[str]) -> str:
        return f"yes for the {' and '.join(found)} reading" if found else "in no case"

    return [
        f"one charge covers {result.wanted_h:g} wanted hours of the design day: {verdict(enough)}",
        f"{result.charging_h:g} charging hours undo a whole discharge: {verdict(refilled)}",
        "an estimate without a controller; springhouse prove runs the real one",
    ]

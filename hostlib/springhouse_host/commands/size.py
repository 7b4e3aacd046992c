"""`springhouse size SITE`."""

from collections.abc import Callable, Mapping
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
    say,
    write_json,
)
from ..sheet.rows import DESCRIBED, Rows, hours

if TYPE_CHECKING:
    from rich.table import Table

    from ..sheet.sizing import Sheet, Sizing
    from ..site import Site, Variant


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("size")(size)


def size(
    site: SiteArgument,
    explain: Annotated[
        bool, typer.Option("--explain", help="Add the formula behind each figure and its source.")
    ] = False,
    every: Annotated[
        bool, typer.Option("--all", help="Every figure and remark of the sheet.")
    ] = False,
    json: JsonOption = None,
    plot: Annotated[
        Path | None,
        typer.Option("--plot", metavar="FILE", help="Draw the sheet (PNG).", dir_okay=False),
    ] = None,
    units: UnitsOption = Units.SI,
) -> None:
    """Print the sizing sheet: does one charge cover the hottest day, and what limits first?

    Labels leave room for doubt, so each figure is given for the weakest, the middle and the
    strongest installation they allow. No controller runs here; springhouse prove does that.

    Example:  springhouse size demo --explain --plot sheet.png
    """
    from ..sheet import kept, sizing
    from ..site import load_site

    check_writable(json, plot)
    loaded = load_site(site)
    with progress("sizing") as bar:
        task = bar.add_task("sizing", total=sizing.STEPS)
        result = kept.size(loaded, lambda: bar.advance(task))
    write_json(json, result.as_json())
    if plot is not None:
        from ..sheet.picture import draw_sheet

        draw_sheet(result, plot, units is Units.US)
    from ..sheet.answer import answer, glance

    screen = console()
    us = units is Units.US
    say(screen, answer(result, us))
    screen.print(_headline(result, us), markup=False)
    for line in loaded.contradictions(us):
        say(screen, f"contradiction: {line}")
    if every or explain:
        _print_all(loaded, result, us)
    else:
        screen.print(_table("at a glance", glance(result, us, loaded.currency), result))
        from ..proof import told_next

        for line in (
            *_decides(loaded, result, us),
            *told_next.told(loaded),
            "more, and where each part belongs: --all; how it is worked out: --explain",
        ):
            say(screen, line)
    if explain:
        screen.print(_explained())


def _print_all(loaded: "Site", result: "Sizing", us: bool) -> None:
    from ..sheet.asked import asked_remarks, asked_rows, asked_tables
    from ..units import show

    screen = console()
    dew_c = result.dew_point_c
    currency = loaded.currency
    for title, rows in (
        (f"heat into the room in its {result.wanted_h:g} wanted hours", gain_rows(result)),
        (f"what it can do, room air of dew point {show(dew_c, '°C', us=us)}", can_rows(us)),
        ("running it", running_rows(us, currency)),
        ("how long and how loud", asked_rows(result, us)),
        ("what there is over what is needed", limit_rows(result)),
    ):
        screen.print(_table(title, rows, result))
    for table in asked_tables(result, us):
        screen.print(table)
    for part in (_decides, _rest, asked_remarks):
        for line in part(loaded, result, us):
            say(screen, line)


def _headline(result: "Sizing", us: bool) -> str:
    from ..units import show

    day = result.day
    year = "the typical year" if result.real_year is None else result.whose_day
    return (
        f"{result.site}: {result.evidence}\n"
        f"design day {day.first:%d %B} of {year}: mean {show(day.mean_c, '°C', us=us)}, "
        f"dew point {show(day.mean_dew_c, '°C', us=us)}"
    )


def _table(title: str, rows: Rows, result: "Sizing") -> "Table":
    from rich import box
    from rich.table import Table

    table = Table(box=box.SIMPLE_HEAD)
    table.add_column(title)
    for variant in result.sheets:
        table.add_column(DESCRIBED[variant], justify="right", no_wrap=True)
    for label, text in rows:
        table.add_row(label, *result.spread(text).values())
    return table


def gain_rows(result: "Sizing") -> Rows:
    """Return the heat by cause, moisture after it."""
    first = next(iter(result.sheets.values())).gain

    def one(kind: str, cause: str) -> Callable[["Sheet"], str]:
        return lambda s: f"{getattr(s.gain, kind)[cause]:.0f} W"

    return (
        *((cause, one("wanted_w", cause)) for cause in first.wanted_w),
        ("together, sensible", lambda s: f"{s.gain.mean_w:.0f} W"),
        *((f"{cause}, latent", one("latent_w", cause)) for cause in first.latent_w),
        ("hottest ten minutes, sensible", lambda s: f"{s.gain.peak_w:.0f} W"),
        ("mean of the whole day", lambda s: f"{s.gain.day_w:.0f} W"),
    )


def can_rows(us: bool) -> Rows:
    """Return coil, loop, cold and hours."""
    from ..units import show

    def duty(i: int) -> Callable[["Sheet"], str]:
        def text(s: "Sheet") -> str:
            d = s.coil_duty[i]
            return f"{d.sensible_w:.0f}+{d.latent_w:.0f} W\nat {show(d.store_c, '°C', us=us)}"

        return text

    return (
        ("water flow", lambda s: show(s.flow_l_min, "L/min", us=us)),
        (
            f"head at that flow, {show(5.0, '°C', us=us)} water",
            lambda s: show(s.loop.operating_m, "m", us=us),
        ),
        ("Reynolds number in the tube", lambda s: f"{s.loop.reynolds:.0f}"),
        ("coil dry+wet, store full", duty(0)),
        ("coil dry+wet, half way", duty(1)),
        ("coil dry+wet, at the end", duty(2)),
        ("room cooling, store full", lambda s: f"{s.cooling_w:.0f} W"),
        ("air-off temperature, store full", lambda s: show(s.air_off_c, "°C", us=us)),
        ("cold stored, ice included", lambda s: f"{s.cold_stored_kwh:.2f} kWh"),
        ("of that in ice", lambda s: f"{s.cold_in_ice_kwh:.2f} kWh"),
        ("a second store probe buys", lambda s: f"{s.second_probe_kwh:.2f} kWh"),
        ("one charge holds the room", lambda s: hours(s.held_h) if s.held_h else "never"),
        ("one charge cools at all", lambda s: hours(s.useful_h)),
        ("store at the end of discharge", lambda s: show(s.discharge_end_c, "°C", us=us)),
        ("condensate a day", lambda s: show(s.condensate_l_day, "L", us=us, digits=2)),
        (
            "delivery until the tray is full",
            lambda s: "stays dry" if s.tray_full_h is None else hours(s.tray_full_h),
        ),
        ("mean gain covered, store full", lambda s: f"{100.0 * s.coil_share:.0f} %"),
        (
            "store that keeps the coil dry",
            lambda s: "none" if s.dry_store_c is None else f"{show(s.dry_store_c, '°C', us=us)} up",
        ),
        ("pull-down to the deep target", lambda s: hours(s.pull_down_h)),
        ("first chill from tap water", lambda s: hours(s.first_chill_h)),
        (
            "battery: pump, fans, board",
            lambda s: "no battery" if s.battery_h is None else hours(s.battery_h),
        ),
    )


def running_rows(us: bool, currency: str) -> Rows:
    """Return run fraction, equilibria, place and cost."""
    from ..units import show

    def steady(name: str) -> Callable[["Sheet"], str]:
        def text(s: "Sheet") -> str:
            c = getattr(s, name)
            verdict = "keeps up" if c.keeps_up else "battery only"
            air = show(c.supply_c, "°C", us=us)
            return f"{show(c.water_c, '°C', us=us)}\nair {air}\n{verdict}"

        return text

    return (
        ("compressor, net of gains", lambda s: f"{s.at_work.net_w:.0f} W"),
        ("compressor input", lambda s: f"{s.at_work.input_w:.0f} W"),
        ("heat into its place while it runs", lambda s: f"{s.at_work.rejected_w:.0f} W"),
        ("its place while charging", lambda s: show(s.at_work.place_mean_c, "°C", us=us)),
        ("its place at the hottest hour", lambda s: show(s.at_work.place_hottest_c, "°C", us=us)),
        ("always on, mean summer day", steady("mean_day")),
        ("always on, design day", steady("worst_day")),
        ("run fraction, mean summer day", lambda s: f"{100.0 * s.mean_use.run_fraction:.0f} %"),
        ("run fraction, design day", lambda s: f"{100.0 * s.design_day.run_fraction:.0f} %"),
        ("electricity, design day", lambda s: f"{s.design_day.kwh:.2f} kWh"),
        ("cost, design day", lambda s: f"{s.design_day.cost:.2f} {currency}".rstrip()),
    )


def limit_rows(result: "Sizing") -> Rows:
    """Return every ratio of what there is to what is needed, in the order of the middle reading."""
    reading: Variant = "mid" if "mid" in result.sheets else next(iter(result.sheets))

    def one(name: str) -> Callable[["Sheet"], str]:
        return lambda s: next(f"{limit.ratio:.2f}" for limit in s.limits if limit.name == name)

    return tuple((limit.name, one(limit.name)) for limit in result.sheets[reading].limits)


def _decides(site: "Site", result: "Sizing", us: bool) -> list[str]:
    """Return the remarks that decide."""
    from ..sheet.asked import working_point

    discharge: Mapping[Variant, Any] = result.spread(lambda sheet: sheet.held_h)
    pull_down: Mapping[Variant, Any] = result.spread(lambda sheet: sheet.pull_down_h)
    enough = [DESCRIBED[v] for v, h in discharge.items() if h >= result.wanted_h]
    refilled = [
        DESCRIBED[v] for v, h in pull_down.items() if h is not None and h <= result.charging_h
    ]

    def verdict(found: list[str]) -> str:
        if not found:
            return "in no case"
        first = f"{', '.join(found[:-1])} and " if len(found) > 1 else ""
        return f"yes for the {first}{found[-1]} reading"

    middle = result.sheets["mid"]
    first = middle.limits[0]
    return [
        f"one charge covers {result.wanted_h:g} wanted hours of the design day: {verdict(enough)}",
        f"{result.charging_h:g} charging hours undo a whole discharge: {verdict(refilled)}",
        f"first limit: {first.name} ({first.ratio:.2f} of what is needed); to change: "
        f"{first.change}",
        working_point(site, result, us),
        "an estimate without a controller; springhouse prove runs the real one",
    ]


def _rest(site: "Site", result: "Sizing", us: bool) -> list[str]:
    """Return the remarks on where it stands, what sweats and where each part belongs."""
    from ..sheet import advice
    from ..units import show

    middle = result.sheets["mid"]
    wet = [s.name for s in middle.surfaces if s.sweats]
    dew = show(result.dew_point_c, "°C", us=us)
    return [
        *advice.standing(
            site.file.place.is_cooled_room,
            middle.at_work,
            site.file.freezer.climate_class,
            middle.mean_day,
            middle.gain.mean_w,
            us,
        ),
        f"sweats at a dew point of {dew}: {', '.join(wet) if wet else 'nothing'}; "
        "insulate joints and pump without gaps, keep the coil over its tray",
        *advice.places(site.plant(), us),
    ]


def _explained() -> "Table":
    from rich import box
    from rich.table import Table

    from ..sheet.explain import FIGURES

    table = Table(box=box.SIMPLE_HEAD)
    for name in ("figure", "how it is worked out", "source"):
        table.add_column(name)
    for figure in FIGURES:
        table.add_row(figure.label, figure.formula, figure.source)
    return table

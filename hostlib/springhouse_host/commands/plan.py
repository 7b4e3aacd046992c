"""`springhouse plan SITE`."""

from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ..errors import KnownError
from ..screen import (
    JsonOption,
    SiteArgument,
    Units,
    UnitsOption,
    check_writable,
    console,
    say,
    write_json,
)

if TYPE_CHECKING:
    from rich.console import Console

    from ..planning.case import PlanCase
    from ..planning.making import Made

STORE_FROM_C, STORE_TO_C = -1.0, 40.0


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("plan")(plan)


def plan(
    site: SiteArgument,
    forecast: Annotated[
        Path | None,
        typer.Option("--forecast", metavar="FILE.csv", help="Hourly weather; else typical days."),
    ] = None,
    prices: Annotated[
        Path | None,
        typer.Option("--prices", metavar="FILE.csv", help="By the hour or quarter hour."),
    ] = None,
    bookings: Annotated[
        Path | None,
        typer.Option("--bookings", metavar="FILE.ics", help="When the room is used (iCalendar)."),
    ] = None,
    store_c: Annotated[
        float | None, typer.Option("--store-c", metavar="°C", help="Store's temperature now.")
    ] = None,
    record: Annotated[
        Path | None,
        typer.Option("--record", metavar="FILE", help="Board's records or database of watch."),
    ] = None,
    begin: Annotated[
        datetime | None,
        typer.Option("--from", formats=["%Y-%m-%dT%H:%M"], help="Clock on the wall; else now."),
    ] = None,
    zone: Annotated[
        str | None, typer.Option("--zone", help="As Europe/Madrid; else this computer's.")
    ] = None,
    decides: Annotated[
        str | None,
        typer.Option("--decides", metavar="WORDS", help="As if schedule.plan_decides were so."),
    ] = None,
    send: Annotated[bool, typer.Option("--send", help="Give it to the board.")] = False,
    port: Annotated[str | None, typer.Option("--port", help="Serial port of the board.")] = None,
    json: JsonOption = None,
    units: UnitsOption = Units.SI,
) -> int:
    """Plan the charging of the next two days from weather, prices and bookings.

    The plan is tried before it is handed out: the real controller follows it in the simulated
    installation, in the weather forecast and in others that may come instead. It is handed out only
    if the room is nowhere more than five minutes longer too warm than under the fixed schedule, and
    dearer only where it is clearly cooler.

    Example:  springhouse plan demo --decides charging --store-c 18 --from 2026-07-14T18:00
    """
    from ..flashing.flash import EXIT_BOARD, BoardFailure
    from ..flashing.ports import choose
    from ..planning import telling
    from ..planning.making import make

    check_writable(json)
    case = _case(site, forecast, prices, bookings, (store_c, record), (begin, zone), decides, units)
    if send and (decides is not None or case.site.changed != "{}"):
        raise KnownError(
            f"--send: {site}: schedule.plan_decides is "
            f"{'not what --decides says' if decides is not None else 'nothing: no plan is taken'}"
        )
    chosen = choose(port) if send else ""
    made = make(case)
    write_json(json, telling.as_json(case, made))
    _show(case, made, units is Units.US)
    lines = telling.lines(case, made)
    screen = console()
    if not send:
        screen.print("for the board:", markup=False)
        for line in lines:
            screen.print(line, markup=False, soft_wrap=True)
        return 0
    from ..planning.sending import send as give

    try:
        give(chosen, case.site, lines)
    except BoardFailure as failure:
        for line in failure.lines:
            typer.echo(f"springhouse: {line}", err=True)
        return EXIT_BOARD
    screen.print("the board has it" if made.quarters else "the board goes by its week plan")
    return 0


def _case(
    site: str,
    forecast: Path | None,
    prices: Path | None,
    bookings: Path | None,
    store: tuple[float | None, Path | None],
    when: tuple[datetime | None, str | None],
    decides: str | None,
    units: Units,
) -> "PlanCase":
    """Read everything that a plan is made of."""
    from datetime import timedelta

    from springhouse.ahead import QUARTERS

    from ..outside import refusing
    from ..planning import case, clock, knowing, reading
    from ..planning.bookings import read_bookings
    from ..site.site import load_site
    from ..site.tables import PLAN_DECIDES

    if decides is not None and decides not in PLAN_DECIDES[1:]:
        raise KnownError(f"--decides {decides}: {' or '.join(PLAN_DECIDES[1:])}")
    loaded = load_site(site)
    if loaded.file.schedule.plan_decides == PLAN_DECIDES[0] or decides is not None:
        loaded = load_site(site, {"schedule.plan_decides": decides or PLAN_DECIDES[1]})
    tz = clock.zone_of(when[1])
    begin = (when[0].replace(tzinfo=tz) if when[0] else datetime.now(tz)).astimezone(UTC)
    store_c, record = store
    if store_c is not None and record is not None:
        raise KnownError("--store-c and --record: one of them")
    if store_c is not None and not STORE_FROM_C <= store_c <= STORE_TO_C:
        raise KnownError(f"--store-c: {store_c:g} is outside {STORE_FROM_C:g} to {STORE_TO_C:g} °C")
    state = case.State(store_c)
    if record is not None:
        state = knowing.from_record(record, loaded, begin, units is Units.US)
    with refusing():
        usual = loaded.file.tariff.price_per_kwh or 0.0
        told = reading.read_forecast(forecast, tz) if forecast else None
        priced = reading.read_prices(prices, tz, usual) if prices else None
        start = clock.quarter_of(begin)
        booked = None
        if bookings is not None:
            end = start + timedelta(hours=QUARTERS / 4)
            booked = read_bookings(bookings, start, end, tz)
    return case.gather(loaded, begin, tz, told, priced, booked, state, units is Units.US)


def _show(case: "PlanCase", made: "Made", us: bool) -> None:
    from rich import box
    from rich.table import Table

    from .. import plainly
    from ..planning import telling
    from ..units import show

    screen = console()
    local = case.start.astimezone(case.zone)
    money = case.site.currency
    fixed, planned, _ = telling.ways(made)
    say(screen, plainly.of_plan(fixed, planned, made.refused, money))
    title = f"{case.site.name}: two days from {local:%a %d %b %H:%M}"
    table = Table(box=box.SIMPLE_HEAD, title=title, title_justify="left")
    for name in ("when", "what", "because"):
        table.add_column(name)
    for spell in telling.spells(case, made):
        begins, ends = (t.astimezone(case.zone) for t in (spell.begins, spell.ends))
        hours = f"{begins:%a %H:%M}-{ends:%H:%M}"
        if spell.charges:
            assert spell.target_c is not None
            assert spell.price is not None
            target = show(spell.target_c, "°C", us=us)
            price = f"{spell.price:.3g} {money}/kWh" if money else f"{spell.price:.3g} a kWh"
            table.add_row(hours, f"charging to {target}", f"power costs {price}")
        else:
            share = f"{spell.cooled_quarters} of its quarter hours"
            table.add_row(hours, f"room cooled in {share}", "to stay below the limit")
    if not table.row_count:
        why = "as on the fixed schedule" if made.refused else "the store is cold enough"
        table.add_row("both days", "no plan" if made.refused else "no charge", why)
    screen.print(table)
    _show_ways(case, made, us, screen)


def _show_ways(case: "PlanCase", made: "Made", us: bool, screen: "Console") -> None:
    from rich import box
    from rich.table import Table

    from ..planning import telling
    from ..units import convert, show

    money = case.site.currency
    limit = show(case.aim(0.0).limit_c, "°C", us=us)
    title = f"tried in the simulated installation, {len(made.tried)} weathers"
    table = Table(box=box.SIMPLE_HEAD, title=title, title_justify="left")
    table.add_column("way")
    over = f"h over {limit}"
    for name in (f"cost {money}".rstrip(), "worst", "kWh", over, "worst", "mean", "starts"):
        table.add_column(name, justify="right")
    for way in telling.ways(made):
        mean_c = way.forecast.mean_c
        table.add_row(
            way.name,
            f"{way.mean_cost:.2f}",
            f"{way.worst_cost:.2f}",
            f"{way.forecast.kwh:.1f}",
            f"{way.mean_over_h:.1f}",
            f"{way.worst_over_h:.1f}",
            "" if mean_c is None else show(mean_c, "°C", us=us),
            str(way.forecast.starts),
        )
    screen.print(table)
    say(
        screen,
        "Cost and hours too warm are means over the weathers; kWh, mean and starts are of the "
        "forecast itself. What is left in the store counts at the price of the cheapest hours.",
    )
    off = made.misfit
    kelvins = [
        f"{convert(k, 'K', '°F', kind='K'):.1f} °F" if us else f"{k:.1f} K"
        for k in (off.store_k, off.room_k)
    ]
    say(
        screen,
        f"The planner's own model was off the simulated installation by {kelvins[0]} at the store, "
        f"{kelvins[1]} in the room (root mean squares), {abs(off.kwh_percent):.0f} % of the kWh.",
    )
    for note in case.notes:
        say(screen, note)

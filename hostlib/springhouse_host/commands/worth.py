"""`springhouse worth SITE`."""

from dataclasses import asdict
from typing import TYPE_CHECKING, Annotated, Any

import typer

from ..errors import KnownError
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

if TYPE_CHECKING:
    from rich.table import Table

    from ..proof.scenarios import Scenario
    from ..site.site import Site
    from ..worth.ahead import PlannedSummer
    from ..worth.verdict import Worth

ROOM_TOO = " and wanted hours"
CHANGEABLE = ("worth.", "tariff.")


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("worth")(worth)


def worth(
    site: SiteArgument,
    tariff: Annotated[
        list[str] | None,
        typer.Option(
            "--tariff",
            metavar="PRICES",
            help="Another tariff to look at: 0.30, 0.21/0.34@23:00-07:00 or FILE.csv, an hourly "
            "file. May be repeated.",
        ),
    ] = None,
    with_: Annotated[
        list[str] | None,
        typer.Option(
            "--with", metavar="KEY=VALUE", help="Change worth.KEY or tariff.KEY of the site."
        ),
    ] = None,
    planned: Annotated[
        bool,
        typer.Option(
            "--planned",
            help="Plan the season ahead too, day by day, on three tariffs. Minutes.",
        ),
    ] = False,
    json: JsonOption = None,
    units: UnitsOption = Units.SI,
) -> None:
    """Ask whether the store is worth its money: a summer against the other ways to spend it.

    The same weather is simulated with the store, with the same machine chilling only at need, with
    windows opened at night, and with nothing; an ordinary room cooler is put to the same cooling.

    Example:  springhouse worth demo --tariff 0.30 --with worth.parts_mid=600
    """
    from .. import plainly
    from ..proof import scenarios
    from ..proof.prove import processes
    from ..site import owner_prices
    from ..site.site import load_site
    from ..site.variant import changes_of
    from ..units import show
    from ..worth import ways
    from ..worth.verdict import judge

    changes = changes_of(with_ or ())
    for key in changes:
        if not key.startswith(CHANGEABLE):
            raise KnownError(f"--with {key}: only worth.KEY and tariff.KEY may be changed here")
    loaded = load_site(site, changes)
    check_writable(json)
    tariffs = [owner_prices.read_tariff(text) for text in tariff or ()]
    ways.settings_at_need(loaded.settings())
    scenario = scenarios.whole_summer(loaded)
    with progress("ways") as bar:
        task = bar.add_task("ways", total=len(ways.SIMULATED))
        found = ways.seasons(loaded, changes, scenario, processes(), lambda: bar.advance(task))
    result = judge(loaded, found, tariffs)
    plans = _planned(loaded, changes, scenario) if planned else None
    told = {} if plans is None else {"planned": asdict(plans)}
    write_json(json, {"site": loaded.name, "season": scenario.name, **result.as_json(), **told})
    screen = console()
    screen.print(f"{loaded.name}: {result.headline}", markup=False, style="bold")
    limit_c = loaded.file.promises.room_below_c
    store = next(line for line in result.lines if line.way == ways.STORE)
    limit = show(limit_c, "°C", us=units is Units.US)
    say(screen, plainly.of_worth(store, loaded.currency, limit))
    if plans is not None:
        say(screen, plainly.of_ahead(plans, limit, loaded.currency, units is Units.US))
    screen.print(_ways(result, scenario.name, limit_c, loaded.currency, units is Units.US))
    screen.print(_tariffs(result, loaded.currency))
    for line in _parts(result, loaded.currency):
        screen.print(line, markup=False)
    for line in result.words:
        screen.print(line, markup=False)
    if plans is not None:
        _show_planned(plans, loaded, units is Units.US)


def _planned(site: "Site", changes: "dict[str, Any]", scenario: "Scenario") -> "PlannedSummer":
    from ..proof.prove import processes
    from ..worth import ahead

    with progress("planned ahead") as bar:
        task = bar.add_task("planned ahead", total=ahead.jobs_of(site))
        return ahead.ahead(site, changes, scenario, processes(), lambda: bar.advance(task))


def _show_planned(plans: "PlannedSummer", site: "Site", us: bool) -> None:
    from rich import box
    from rich.table import Table

    from ..planning.season import NOISE, NOISE_US
    from ..units import show

    screen = console()
    limit = show(site.file.promises.room_below_c, "°C", us=us)
    for tariff, bound in plans.bound.items():
        title = f"planned ahead, prices: {tariff}; h over {limit}"
        table = Table(box=box.SIMPLE_HEAD, title=title, title_justify="left")
        table.add_column("planned, forecast", no_wrap=True)
        money = f"cost {site.currency}".rstrip()
        for name in (money, "kWh", "h over", f"mean {'°F' if us else '°C'}", "starts", "closed"):
            table.add_column(name, justify="right")
        for row in plans.rows:
            if row.tariff != tariff:
                continue
            came = row.figures
            way = NOISE_US if us and row.way == NOISE else row.way
            table.add_row(
                f"{row.decides}, {way}".removeprefix(", ").replace(ROOM_TOO, "+room"),
                f"{came.cost:.2f}",
                f"{came.kwh:.1f}",
                f"{came.hours_over:.1f}",
                "" if came.mean_c is None else show(came.mean_c, "°C", us=us).split(" ")[0],
                str(came.starts),
                "" if row.closed is None else f"{100.0 * row.closed:.0f} %",
            )
        least = "none" if bound is None else f"{bound:.2f}"
        table.add_row("lower bound", least, "", "", "", "", "")
        screen.print(table)


def _ways(result: "Worth", season: str, limit_c: float, money: str, us: bool) -> "Table":
    from rich import box
    from rich.table import Table

    from ..units import show

    table = Table(box=box.SIMPLE_HEAD, title=season, title_justify="left")
    table.add_column("way")
    over = f"h over {show(limit_c, '°C', us=us)}"
    bought = (f"to buy {money}", f"a year {money}")
    for name in ("kWh", f"cost {money}", over, "mean", "promise", *bought):
        table.add_column(name.rstrip(), justify="right")
    for line in result.lines:
        table.add_row(
            line.way,
            f"{line.kwh:.1f}",
            f"{line.cost:.2f}",
            f"{line.hours_over:.1f}",
            "" if line.wanted_mean_c is None else show(line.wanted_mean_c, "°C", us=us),
            "kept" if line.keeps else f"{100.0 * line.share_within:.0f} %",
            f"{line.buys:.0f}",
            f"{line.a_year:.2f}",
        )
    return table


def _tariffs(result: "Worth", money: str) -> "Table":
    from rich import box
    from rich.table import Table

    title = f"electricity of the season, {money}".rstrip(", ")
    table = Table(box=box.SIMPLE_HEAD, title=title, title_justify="left")
    table.add_column("tariff")
    shown = [line.way for line in result.lines if line.kwh > 0.0]
    for name in (*shown, "dear over cheap", "break-even"):
        table.add_column(name, justify="right")
    for one in result.tariffs:
        ratios = (one.price_ratio, one.break_even)
        table.add_row(
            one.tariff,
            *(f"{one.costs[way]:.2f}" for way in shown),
            *("-" if ratio is None else f"{ratio:.2f}" for ratio in ratios),
        )
    return table


def _parts(result: "Worth", money: str) -> list[str]:
    prices = ", ".join(
        f"{name.removeprefix('parts_')} {a_year:.2f}" for name, a_year in result.parts.items()
    )
    most = result.parts_at_most
    limit = (
        "at no price of the parts" if most is None else f"up to {most:.0f} {money} for the parts"
    )
    return [
        f"a year in all by the price of the parts: {prices} {money}".rstrip(),
        f"worth it {limit}; {result.store_w_per_w:.2f} W of cold in the room for each W of "
        "electricity over the season",
    ]

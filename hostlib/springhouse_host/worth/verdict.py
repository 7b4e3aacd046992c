"""What the season with the store is worth beside the other ways, in figures and in words."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

from springhouse_sim.world.tariff import Prices

from ..site.owner_prices import PARTS, Stated, each_minute, stated
from ..site.rules_use import minutes
from ..site.site import Site
from .ways import DIRECT, NIGHT_AIR, NOTHING, STORE, Season

COOLER = "room cooler"
OWN = "the site's own"
WORDS = {
    NOTHING: "the room keeps the promise by itself, with nothing bought at all",
    NIGHT_AIR: "windows opened at night keep the promise by themselves",
}


@dataclass(frozen=True)
class Line:
    """One way: electricity and comfort of the season, what it costs to buy and in all a year."""

    way: str
    kwh: float
    cost: float
    hours_over: float
    share_within: float
    wanted_mean_c: float | None
    keeps: bool
    buys: float
    a_year: float


@dataclass(frozen=True)
class OnTariff:
    """What a season costs on one tariff, and the ratio of prices that decides.

    ``price_ratio`` is the mean price the room cooler pays over the mean the store pays;
    ``break_even`` the ratio of their efficiencies, above which storing is the cheaper to run.
    """

    tariff: str
    costs: dict[str, float]
    price_ratio: float | None
    break_even: float | None


@dataclass(frozen=True)
class Worth:
    """The whole answer."""

    lines: tuple[Line, ...]
    tariffs: tuple[OnTariff, ...]
    store_w_per_w: float
    parts: dict[str, float]  # price of the parts, a year's cost with it
    parts_at_most: float | None  # price up to which it is worth it; None where none is
    worth: bool
    headline: str
    words: tuple[str, ...]

    def as_json(self) -> dict[str, Any]:
        """Return plain data."""
        return {"schema": 1} | asdict(self)


def with_cooler(found: Mapping[str, Season], w_per_w: float) -> dict[str, Season]:
    """Return the ways and a room cooler that takes the same heat in the same minutes."""
    store = found[STORE]
    return {**found, COOLER: replace(store, kw=store.cold_kw / w_per_w)}


def cost(season: Season, prices: Prices) -> float:
    """Return what the season's electricity costs, without the standing charge."""
    each = each_minute(prices, season.calendar, len(season.kw))
    return float(season.kw @ each / 60.0)


def on_tariff(name: str, prices: Prices, ways: Mapping[str, Season]) -> OnTariff:
    """Return what every way costs on a tariff, the hours of charging as they are."""
    costs = {way: cost(season, prices) for way, season in ways.items()}
    store, cooler = ways[STORE], ways[COOLER]
    cold_kwh = store.cold_kwh
    if cold_kwh <= 0.0 or min(costs[STORE], costs[COOLER]) <= 0.0:
        return OnTariff(name, costs, None, None)
    ratio = costs[COOLER] / cooler.kwh / (costs[STORE] / store.kwh)
    return OnTariff(name, costs, ratio, store.kwh / cooler.kwh)


def judge(
    site: Site, seasons: Mapping[str, Season], tariffs: Sequence[tuple[str, Prices]]
) -> Worth:
    """Return the answer for the seasons of `ways.seasons`."""
    own = stated(site)
    ways = with_cooler(seasons, own["cooler_w_per_w"])
    compared = tuple(on_tariff(n, p, ways) for n, p in ((OWN, site.tariff()), *tariffs))
    share = site.file.promises.room_share_percent / 100.0
    buys = {
        STORE: own["parts_mid"],
        DIRECT: own["parts_mid"],
        COOLER: own["cooler_price"],
        NIGHT_AIR: 0.0,
        NOTHING: 0.0,
    }
    lines = tuple(
        Line(
            way,
            ways[way].kwh,
            compared[0].costs[way],
            ways[way].hours_over,
            ways[way].share_within,
            ways[way].wanted_mean_c,
            ways[way].share_within >= share,
            price,
            compared[0].costs[way] + price / own["lasts_years"],
        )
        for way, price in buys.items()
    )
    store = ways[STORE]
    by_way = {line.way: line for line in lines}
    running = by_way[STORE].cost
    most = _parts_at_most(by_way, own["lasts_years"])
    worth = most is not None and most >= own["parts_mid"]
    return Worth(
        lines=lines,
        tariffs=compared,
        store_w_per_w=store.cold_kwh / store.kwh if store.kwh else 0.0,
        parts={p: running + own[p] / own["lasts_years"] for p in PARTS},
        parts_at_most=most,
        worth=worth,
        headline=_headline(site, by_way, most, own),
        words=tuple(_words(site, by_way, compared[0], own, ways)),
    )


def _rival(by_way: Mapping[str, Line]) -> Line:
    """Return the cheapest way to buy that keeps the promise as the store does."""
    return min(
        (by_way[way] for way in (COOLER, DIRECT) if by_way[way].keeps),
        key=lambda line: line.a_year,
    )


def _parts_at_most(by_way: Mapping[str, Line], years: float) -> float | None:
    free = [by_way[way] for way in (NOTHING, NIGHT_AIR) if by_way[way].keeps]
    if not by_way[STORE].keeps or free:
        return None
    most = (_rival(by_way).a_year - by_way[STORE].cost) * years
    return most if most > 0.0 else None


def _headline(site: Site, by_way: Mapping[str, Line], most: float | None, own: Stated) -> str:
    money = site.currency
    if not by_way[STORE].keeps:
        kept, asked = 100.0 * by_way[STORE].share_within, site.file.promises.room_share_percent
        return f"NOT WORTH IT as it stands: {kept:.0f} % of the wanted hours kept, {asked:g} asked"
    for way in (NOTHING, NIGHT_AIR):
        if by_way[way].keeps:
            return f"NOT WORTH IT: {WORDS[way]}"
    rival = _rival(by_way)
    if most is not None and most >= own["parts_mid"]:
        return f"WORTH IT: it costs less a year than the next best, {rival.way}"
    more = by_way[STORE].a_year - rival.a_year
    if most is not None and most >= own["parts_low"]:
        return f"NOT WORTH IT unless the parts cost {most:.0f} {money} or less".rstrip()
    return f"NOT WORTH IT for the money: {rival.way} costs {more:.2f} {money} a year less"


def _words(
    site: Site,
    by_way: Mapping[str, Line],
    tariff: OnTariff,
    own: Stated,
    ways: Mapping[str, Season],
) -> list[str]:
    money = site.currency
    store, nothing = by_way[STORE], by_way[NOTHING]
    spared = nothing.hours_over - store.hours_over
    found = []
    if spared > 0.0:
        found.append(
            f"against doing nothing: {spared:.0f} hours too warm fewer for {store.a_year:.2f} "
            f"{money} a year, {store.a_year / spared:.2f} an hour"
        )
    if by_way[NIGHT_AIR].hours_over < store.hours_over:
        found.append("night ventilation leaves fewer hours too warm than the store does")
    if tariff.price_ratio is not None and tariff.break_even is not None:
        side = "above" if tariff.price_ratio > tariff.break_even else "below"
        cheaper = "the store" if side == "above" else "the room cooler"
        found.append(
            f"electricity: what the cooler pays a kWh over what the store pays is "
            f"{tariff.price_ratio:.2f}, {side} the break-even of {tariff.break_even:.2f}: "
            f"{cheaper} is the cheaper to run"
        )
    quiet, wanted = minutes(site.file.schedule.no_start), minutes(site.file.schedule.wanted)
    if quiet & wanted:
        found.append(
            f"silence: no compressor starts in {len(quiet & wanted) / 60:g} of the "
            f"{len(wanted) / 60:g} wanted hours a week; room cooler and no storage are heard then"
        )
    if site.file.battery.kind != "none":
        found.append("a power cut: the store goes on cooling, the others do not")
    if own.assumed:
        found.append(
            "our own neutral defaults, without a source and yours to change in [worth] or by "
            f"--with worth.KEY=VALUE: {', '.join(own.assumed)}"
        )
    found.append(
        "not counted: interest, your own work, upkeep, the rest of the year, what a room cooler "
        "draws in through its hose; standing charges are paid anyhow"
    )
    return found

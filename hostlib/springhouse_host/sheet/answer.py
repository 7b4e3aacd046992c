"""The sizing sheet in two sentences, and the few figures that a person acts on."""

from collections.abc import Callable
from typing import TYPE_CHECKING

from .advice import ONE_CHARGE, Limit
from .rows import days

if TYPE_CHECKING:
    from .sizing import Sheet, Sizing

DAY_H = 24.0
Text = Callable[["Sheet"], str]


def answer(result: "Sizing", us: bool) -> str:
    """Return whether it can work on the hottest day, how surely, and what limits it first.

    A store that one charge need not carry, because it is charged in the hours in which it delivers
    too, is judged by the water temperature at which it keeps up with the day's heat.
    """
    sheets = result.sheets
    middle, weakest = sheets["mid"], sheets["low"]
    limits = list(middle.limits)
    if result.wanted_h <= 0.0:
        return f"No hours are wanted, so there is nothing to hold. {_limit(limits)}"
    if result.wanted_h + result.charging_h > DAY_H and middle.held_h < result.wanted_h:
        standing = [limit for limit in limits if limit.name != ONE_CHARGE]
        return f"{_round_the_clock(result, us)} {_limit(standing)}"
    held = [sheet.held_h >= result.wanted_h for sheet in (weakest, middle)]
    word = "Yes" if all(held) else "Probably" if held[1] else "No"
    hours = f"for {middle.held_h:.1f} h" if middle.held_h else "at no time"
    least = f"for {weakest.held_h:.1f} h" if weakest.held_h else "at no time"
    return (
        f"{word}: on the hottest day of {result.whose_day} one charge holds the room {hours}, "
        f"{result.wanted_h:g} h are wanted; with the weakest parts that the labels allow {least}. "
        f"{_limit(limits)}"
    )


def _limit(limits: list[Limit]) -> str:
    first = min(limits, key=lambda limit: limit.ratio)
    share = f"{100.0 * first.ratio:.0f} % of what is needed"
    if first.ratio >= 1.0:
        return f"Nothing falls short; tightest is the {first.name}, {share}."
    return f"What limits it first: {first.name}, {share}. To change: {first.change}."


def _round_the_clock(result: "Sizing", us: bool) -> str:
    from ..units import show

    weakest, middle = (result.sheets[v].worst_day for v in ("low", "mid"))
    word = "Yes" if weakest.keeps_up else "Probably" if middle.keeps_up else "No"
    if not middle.keeps_up:
        return (
            f"{word}: run round the clock it does not keep up with the hottest day of "
            f"{result.whose_day}."
        )
    return (
        f"{word}: run round the clock it keeps up with the hottest day of {result.whose_day}, with "
        f"water of {show(middle.water_c, '°C', us=us)} and air of "
        f"{show(middle.supply_c, '°C', us=us)} into the room."
    )


def glance(result: "Sizing", us: bool, currency: str) -> tuple[tuple[str, Text], ...]:
    """Return the rows that are shown without being asked for all."""
    from ..units import show

    def cut(s: "Sheet") -> str:
        return "no battery" if s.power_cut.battery_h is None else f"{s.power_cut.hours:.1f} h"

    def refilled(s: "Sheet") -> str:
        return "not reached" if s.pull_down_h is None else f"{s.pull_down_h:.1f} h"

    return (
        ("heat into the room, wanted hours", lambda s: f"{s.gain.mean_w:.0f} W"),
        ("room cooling, store full", lambda s: f"{s.cooling_w:.0f} W"),
        ("air into the room, store full", lambda s: show(s.air_off_c, "°C", us=us)),
        ("cold stored, ice included", lambda s: f"{s.cold_stored_kwh:.1f} kWh"),
        ("one charge holds the room", lambda s: f"{s.held_h:.1f} h" if s.held_h else "never"),
        (f"recharged, of {result.charging_h:g} charging hours", refilled),
        ("held, everything off", lambda s: days(s.hold_days)),
        ("power cut, full store and battery", cut),
        ("condensate a day", lambda s: show(s.condensate_l_day, "L", us=us, digits=2)),
        ("electricity, design day", lambda s: f"{s.design_day.kwh:.1f} kWh"),
        ("cost, design day", lambda s: f"{s.design_day.cost:.2f} {currency}".rstrip()),
    )

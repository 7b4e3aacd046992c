"""What follows a week in a calmer process: the sizing sheet's figures, parts, drawings."""

import os
from dataclasses import dataclass

from ..proof.running import site_of
from ..sheet.sizing import size
from ..site.known import Variant
from ..site.owner_prices import PARTS, stated
from ..wiring.parts import Part
from .newest import StaleError, Ticket

BOARD = "pico_w"
DRAWINGS = ("plumbing.svg", f"schematic-{BOARD}.svg", "mains.svg")
CALMER = 5  # os.nice, so that the next week comes first


@dataclass(frozen=True)
class Asked:
    """What the page shows of one reading's sizing sheet, as `springhouse size` has it."""

    variant: Variant
    wanted_h: float
    held_h: float  # 0: never
    useful_h: float
    hold_days: float | None
    pull_down_h: float | None
    power_cut_h: float | None  # None: no battery
    power_cut_first: str
    limit: str
    limit_ratio: float
    limit_change: str


@dataclass(frozen=True)
class Bought:
    """The parts list and what is wrong with it."""

    parts: tuple[Part, ...]
    wrong: tuple[str, ...]
    prices: tuple[float, float, float]  # of all parts, low, middle and high, in the currency
    guessed: bool  # they are our neutral defaults


def calm() -> None:
    """Let other processes go first."""
    if hasattr(os, "nice"):
        os.nice(CALMER)


def run_sheet(ticket: Ticket, site_path: str, changed: str, variant: Variant) -> Asked | None:
    """Work out one reading's sheet, in any process; None where a newer request has come.

    Raises:
        SiteError: when there is no working point.
    """
    try:
        sizing = size(site_of(site_path, changed), ticket.check, (variant,))
    except StaleError:
        return None
    sheet = sizing.sheets[variant]
    first, cut = sheet.limits[0], sheet.power_cut
    return Asked(
        variant,
        sizing.wanted_h,
        sheet.held_h,
        sheet.useful_h,
        sheet.hold_days,
        sheet.pull_down_h,
        None if cut.battery_h is None else cut.hours,
        cut.first,
        first.name,
        first.ratio,
        first.change,
    )


def buy(ticket: Ticket, site_path: str, changed: str) -> Bought | None:
    """Return the parts list, as `springhouse wiring` has it; None where a newer request has come.

    Raises:
        KnownError: when no profile or part can be found.
    """
    from ..wiring import rules
    from ..wiring.parts import parts
    from ..wiring.pins import load_profile, signals

    if ticket.stale:
        return None
    site, profile = site_of(site_path, changed), load_profile(BOARD)
    table = signals(site, BOARD, None)
    asked = rules.Bought(None, rules.LEAST_FLOW_L_MIN, {}, None)
    needed, unmet = parts(site, profile, asked)
    prices = stated(site)
    low, mid, high = (prices[key] for key in PARTS)
    return Bought(
        needed,
        (*rules.check(site, BOARD, profile, table, asked), *unmet),
        (low, mid, high),
        bool({*PARTS} & {*prices.assumed}),
    )


def draw(site_path: str, changed: str, name: str) -> bytes:
    """Return one of DRAWINGS as SVG.

    Raises:
        KeyError: there is no such drawing.
        PartsError: a part that it shows is not to be had.
    """
    from ..wiring import rules
    from ..wiring.every_drawing import drawings
    from ..wiring.pins import signals

    site = site_of(site_path, changed)
    asked = rules.Bought(None, rules.LEAST_FLOW_L_MIN, {}, None)
    return drawings(site, BOARD, signals(site, BOARD, None), asked)[name]

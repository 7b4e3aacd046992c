"""A plan in words: when it charges and why, what it came to in the plant, lines for the board."""

import json
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any

import numpy as np
from springhouse import advice
from springhouse.ahead import QUARTERS
from springhouse.link import LINE_MOST
from springhouse_sim.world.plan import Quarter

from . import clock, quarters
from .case import PlanCase
from .making import Came, Made

NOTHING = Quarter(advice.NONE)


@dataclass(frozen=True)
class Spell:
    """Part of a plan: instants of begin and end, and what is done; ``target_c`` of a charge."""

    begins: datetime
    ends: datetime
    charges: bool
    target_c: float | None
    price: float | None  # mean of a charge
    cooled_quarters: int = 0


def spells(case: PlanCase, made: Made) -> list[Spell]:
    """Return the charges and, where the plan tells them, the hours in which the room is cooled."""
    return sorted([*_charges(case, made), *_coolings(case, made)], key=lambda s: s.begins)


def _charges(case: PlanCase, made: Made) -> list[Spell]:
    found = []
    k = 0
    while k < len(made.quarters):
        first = made.quarters[k]
        end = k + 1
        if first.what == advice.CHARGE:
            while (
                end < len(made.quarters)
                and made.quarters[end].what == advice.CHARGE
                and (made.quarters[end].target_mc == first.target_mc)
            ):
                end += 1
            price = float(case.price[k:end].mean())
            begins, ends = (case.start + n * clock.QUARTER for n in (k, end))
            found.append(Spell(begins, ends, True, first.target_mc / 1000.0, price))
        k = end
    return found


def _coolings(case: PlanCase, made: Made) -> list[Spell]:
    """Return each wanted spell that is cooled at all."""
    if not case.aim(0.0).plan_tells or not made.quarters:
        return []
    cooled = np.array([q.wanted for q in made.quarters], np.bool_)
    found = []
    for first, behind in clock.spells(case.wanted):
        at = np.flatnonzero(cooled[first:behind]) + first
        if len(at):
            begins, ends = (case.start + int(n) * clock.QUARTER for n in (at[0], at[-1] + 1))
            found.append(Spell(begins, ends, False, None, None, len(at)))
    return found


def lines(case: PlanCase, made: Made) -> list[str]:
    """Return the board's commands, none longer than it reads; without a plan they clear it."""
    left = list(made.quarters or [NOTHING] * QUARTERS)
    begins = case.start
    found = []
    while left:
        count = len(left)
        text = _command(begins, left)
        while len(text) >= LINE_MOST:
            count -= max(1, count // 20)
            text = _command(begins, left[:count])
        found.append(text)
        begins += count * clock.QUARTER
        left = left[count:]
    return found


def _command(begins: datetime, part: list[Quarter]) -> str:
    message = {"cmd": "plan", "from": int(begins.timestamp()) // 60, "runs": quarters.runs(part)}
    return json.dumps(message, separators=(",", ":"))


def as_json(case: PlanCase, made: Made) -> dict[str, Any]:
    """Return plain data."""
    return {
        "schema": 1,
        "site": case.site.name,
        "begins": case.start.isoformat(),
        "zone": case.zone.key,
        "plan": quarters.runs(made.quarters),
        "refused": made.refused,
        "margin_k": made.margin_k,
        "spells": [
            asdict(s) | {"begins": s.begins.isoformat(), "ends": s.ends.isoformat()}
            for s in spells(case, made)
        ],
        "tried": [asdict(t) for t in made.tried],
        "misfit": asdict(made.misfit),
        "notes": list(case.notes),
        "lines": lines(case, made),
    }


@dataclass(frozen=True)
class Way:
    """What a way came to over the weathers tried: as forecast, mean, worst."""

    name: str
    forecast: Came
    mean_cost: float
    worst_cost: float
    mean_over_h: float
    worst_over_h: float


def ways(made: Made) -> list[Way]:
    """Return fixed schedule, plan and perfect foresight."""
    found = []
    for name, of in (
        ("fixed schedule", [t.fixed for t in made.tried]),
        ("planned", [t.planned for t in made.tried]),
        ("perfect foresight", [t.perfect for t in made.tried]),
    ):
        cost, over = [c.cost for c in of], [c.over_min / 60.0 for c in of]
        found.append(
            Way(name, of[0], float(np.mean(cost)), max(cost), float(np.mean(over)), max(over))
        )
    return found

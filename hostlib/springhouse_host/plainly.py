"""What a command found, in a sentence or two that need no table and no training."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from .units import show

if TYPE_CHECKING:
    from .planning.season import Figures
    from .planning.telling import Way
    from .proof.verdict import Verdict
    from .sheet.sizing import Sizing
    from .tuning.tune import Tuned
    from .worth.ahead import PlannedSummer
    from .worth.verdict import Line

LITTLE_ICE_KG = 0.005
LITTLE_SPILL_L = 0.005


def of_run(summary: Mapping[str, Any], limit_c: float, us: bool, currency: str) -> str:
    """Return what one simulated run came to."""
    over, limit = summary["room_hours_over"], show(limit_c, "°C", us=us)
    held = (
        f"the room stayed below {limit} in all wanted hours"
        if over < 0.05
        else f"the room was over {limit} for {over:.1f} of the wanted hours"
    )
    ice, spill = summary["max_ice_kg"], summary["spill_l"]
    bad = []
    if ice > LITTLE_ICE_KG:
        bad.append(f"{show(ice, 'kg', us=us)} of ice formed")
    if spill > LITTLE_SPILL_L:
        bad.append(f"{show(spill, 'L', us=us)} of water were spilled")
    cost = f"{summary['cost']:.2f} {currency}".rstrip()
    found = f"In this run {held}, for {summary['energy_kwh']:.1f} kWh ({cost}); "
    return found + (" and ".join(bad) if bad else "no ice, and no water on the floor") + "."


def of_proof(verdict: "Verdict", us: bool) -> str:
    """Return what was proven, or what stands against it."""
    from .proof.show import promise_cells

    runs = len(verdict.results) + len(verdict.bare)
    broken = [j for j in verdict.judged if not j.kept]
    if verdict.kept:
        tightest = next(j for j in verdict.judged if j.promise.measure == "room_share_percent")
        name, bound, worst, _ = promise_cells(tightest, us)
        bound = in_words(bound)
        return (
            f"Every promise was kept in {runs} simulated runs, with parts as weak as their labels "
            f"allow and with each fault in turn. Least sure is comfort: {name}, {worst} in the "
            f"worst of them, {bound} promised."
        )
    sample = verdict.sample
    if verdict.depends:
        return (
            f"It depends: every promise was kept in {runs} simulated runs, but only in "
            f"{int(sample.keeps.sum())} of {len(sample.rows)} plausible installations. What to "
            "measure next is said below."
        )
    if broken:
        name, bound, worst, _ = promise_cells(broken[0], us)
        bound = in_words(bound)
        more = f", and {len(broken) - 1} more promises" if len(broken) > 1 else ""
        return (
            f"Not as it stands: {name} came to {worst} where {bound} is promised{more}, worst in: "
            f"{broken[0].scenario}. What to change is said below."
        )
    if not verdict.sample.safe:
        return (
            "Not as it stands: every promise was kept with parts as labelled, but some plausible "
            "installation broke one that keeps parts or floor from harm; the table's last column "
            "says which."
        )
    if not verdict.sample.enough:
        return (
            "Not as it stands: every promise was kept with parts as labelled, but only in "
            f"{int(sample.keeps.sum())} of {len(sample.rows)} plausible installations. What to "
            "measure next is said below."
        )
    return (
        "Not as it stands: all promises held, but what must happen at a fault, or what the "
        "controller must never do, did not hold in every case; the rows marked below say which."
    )


def in_words(bound: str) -> str:
    """Return a bound of the table without its sign."""
    return bound.replace(">=", "at least").replace("<=", "at most")


def of_comparison(found: "Mapping[str, Sizing]") -> str:
    """Return which variant holds the room longest on one charge."""
    held = {name: result.sheets["mid"].held_h for name, result in found.items()}
    best = max(held, key=lambda name: held[name])
    own = next(iter(held))
    if held[best] <= held[own]:
        return (
            f"Nothing here holds the room longer on one charge than the site as it is, "
            f"{held[own]:.1f} h."
        )
    return (
        f"Longest on one charge: {best}, {held[best]:.1f} h; the site as it is, {held[own]:.1f} h."
    )


def of_tuning(result: "Tuned", currency: str) -> str:
    """Return what tuning found, and why a cheaper row of its table is not the answer."""
    own = f"the site's own settings cost {result.own.cost:.2f} {currency}".rstrip()
    if result.tuned is None:
        return (
            f"No better settings were found: none tried keeps every promise; {own} in the season."
        )
    cost = f"{result.tuned.cost:.2f} {currency}".rstrip()
    said = f"The cheapest settings found that keep every promise cost {cost} in the season; {own}."
    if any(point.cost < result.tuned.cost for point in (*result.curve, result.own)):
        said += (
            " A cheaper row of the table is not the answer: it breaks a promise, or was run over "
            "the season alone and not through corners and faults."
        )
    return said


def of_worth(store: "Line", currency: str, limit: str) -> str:
    """Return what the store does in its summer."""
    cost = f"{store.cost:.2f} {currency}".rstrip()
    return (
        f"With the store the room is over {limit} for {store.hours_over:.1f} h of the wanted hours "
        f"of a typical summer, for {cost} of electricity."
    )


def of_plan(fixed: "Way", planned: "Way", refused: str, currency: str) -> str:
    """Return whether to go by a plan: what two days cost and how warm they get, by it and not."""
    from .planning.making import BETTER_MIN

    if refused:
        return f"No, the fixed schedule goes on: with a plan {refused}."
    costs = (f"{way.mean_cost:.2f} {currency}".rstrip() for way in (planned, fixed))
    less_h = fixed.mean_over_h - planned.mean_over_h
    comfort = "the room is too warm for no longer"
    if less_h >= BETTER_MIN / 60.0:
        comfort = f"the room is too warm for {less_h:.1f} h less"
    return (
        f"Yes: by this plan the next two days cost {' instead of '.join(costs)}, and {comfort} "
        "than on the fixed schedule."
    )


def of_ahead(plans: "PlannedSummer", limit: str, currency: str, us: bool) -> str:
    """Return what a summer planned day by day comes to, on a forecast that errs."""
    from .planning.season import BY_HOUR, NOISE, NOISE_US, OWN
    from .worth.ahead import FIXED

    def of(tariff: str) -> "tuple[Figures, Figures]":
        rows = [row for row in plans.rows if row.tariff == tariff and row.way in (FIXED, NOISE)]
        return rows[0].figures, rows[1].figures

    def costs(tariff: str) -> str:
        fixed, planned = of(tariff)
        return f"{planned.cost:.2f} {currency}".rstrip() + f" instead of {fixed.cost:.2f}"

    fixed, planned = of(OWN)
    return (
        f"Planned each evening on a forecast {NOISE_US if us else NOISE}, the summer costs "
        f"{costs(OWN)}, the room over {limit} for {planned.hours_over:.1f} h instead of "
        f"{fixed.hours_over:.1f}; where prices move by the hour {costs(BY_HOUR)}."
    )

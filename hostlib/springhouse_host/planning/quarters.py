"""A programme as what the board takes: advice a quarter hour, in runs."""

from collections.abc import Sequence

from springhouse import advice as advice_slot
from springhouse_sim.world.plan import Quarter

from .optimise import Programme


def advice(programme: Programme, plan_tells: bool) -> tuple[Quarter, ...]:
    """Return the advice of each quarter hour; ``plan_tells`` when the room is cooled."""
    found = [
        Quarter(advice_slot.WAIT, int(plan_tells and bool(on))) for on in programme.asked.cooled
    ]
    for charge in programme.charges:
        for k in range(charge.first, charge.behind):
            found[k] = Quarter(advice_slot.CHARGE, found[k].wanted, charge.target_mc)
    return tuple(found)


def runs(quarters: Sequence[Quarter]) -> list[int]:
    """Return runs of four numbers as the board's command ``plan`` takes them."""
    found: list[int] = []
    last: Quarter | None = None
    for quarter in quarters:
        if quarter == last:
            found[-4] += 1
        else:
            found += [1, quarter.what, quarter.wanted, quarter.target_mc]
            last = quarter
    return found

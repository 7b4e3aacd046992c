"""What a freezer's label says about its capacity: input power, kilograms frozen in a day, or both.

Neither is the capacity at the rating point. The input is a nameplate's, made for the hardest test
and rounded up; kilograms are of a test load that takes a day from +25 to -18 °C beside the heat
that leaks in, declared with something in hand (IEC 62552, from memory).
"""

import math

from .tables import FreezerTable

RATED_COP = {"R600a": 2.897, "R134a": 2.733}  # ideal cycle -23.3/54.4 °C, CoolProp
EFFICIENCY = (0.40, 0.50, 0.60)  # isentropic to electric, small hermetic; general experience
MOST_EFFICIENCY = 0.79  # beyond it no kilograms are believed; the plant's own limit is 0.8
NAMEPLATE = (0.50, 0.75, 1.0)  # input at the rating point over the label's; from memory

LOAD_J_KG = 345e3  # +25 to -18 °C of lean beef, which test packages stand for; ASHRAE, from memory
TEST_C = 25.0
FROZEN_C = -20.0  # inside, on the mean of the day
DAY_S = 86400.0
# Capacity at the rating point over the mean of that day: evaporating at -26, -28, -30 °C and
# condensing at 40 °C it is 0.92, 0.815, 0.72 of the rated by the plant's cycle (test_freezer.py),
# and makers declare up to 1.3 times less than they measure; from memory.
RATED_OVER_DAY = (1.0 / 0.92, 1.1 / 0.815, 1.3 / 0.72)

Range = tuple[float, float, float]


def from_input_w(freezer: FreezerTable) -> Range:
    """Return the capacity at the rating point by the label's input [W], least first."""
    full = freezer.label_input_w * RATED_COP[freezer.refrigerant]
    low, mid, high = (
        full * share * efficiency for share, efficiency in zip(NAMEPLATE, EFFICIENCY, strict=True)
    )
    return low, mid, high


def at_its_word_w(freezer: FreezerTable) -> Range:
    """Return the same where all of the label's input is drawn at the rating point [W]."""
    full = freezer.label_input_w * RATED_COP[freezer.refrigerant]
    low, mid, high = (full * efficiency for efficiency in EFFICIENCY)
    return low, mid, high


def from_kg_w(freezer: FreezerTable, cabinet_ua_w_k: float) -> Range | None:
    """Return it by the kilograms frozen in 24 hours [W], None where the label tells none."""
    kg = freezer.freezing_capacity_kg_24h
    if kg is None:
        return None
    mean_w = kg * LOAD_J_KG / DAY_S + cabinet_ua_w_k * (TEST_C - FROZEN_C)
    low, mid, high = (mean_w * share for share in RATED_OVER_DAY)
    return low, mid, high


def by_label_w(freezer: FreezerTable, cabinet_ua_w_k: float) -> Range:
    """Return what a label tells of the capacity at the rating point [W], least first."""
    by_input, by_kg = from_input_w(freezer), from_kg_w(freezer, cabinet_ua_w_k)
    if by_kg is None:
        return by_input
    most_w = MOST_EFFICIENCY * freezer.label_input_w * RATED_COP[freezer.refrigerant]
    low, mid, high = (min(most_w, w) for w in both_w(by_input, by_kg))
    return low, mid, high


def both_w(a: Range, b: Range) -> Range:
    """Return what two estimates say together: where both are right, the narrower counts more.

    Where they exclude each other one of them is wrong, and nobody knows which: from the least to
    the most of both.
    """
    low, high = max(a[0], b[0]), min(a[2], b[2])
    weights = [math.log(r[2] / r[0]) ** -2 for r in (a, b)]
    logs = [math.log(r[1]) for r in (a, b)]
    mid = math.exp(sum(w * m for w, m in zip(weights, logs, strict=True)) / sum(weights))
    if low >= high:
        return min(a[0], b[0]), math.sqrt(a[1] * b[1]), max(a[2], b[2])
    return low, min(high, max(low, mid)), high


def on_the_label(freezer: FreezerTable) -> bool:
    """Return whether the capacity rests on the label alone."""
    told = (freezer.capacity_w, freezer.pull_down_h, freezer.capacity_coefficients)
    return all(given is None for given in told)


def input_share(freezer: FreezerTable, capacity_w: float, efficiency: float) -> float:
    """Return the running input at the rating point over the label's [-], at most 1."""
    full = freezer.label_input_w * RATED_COP[freezer.refrigerant] * efficiency
    return min(1.0, max(0.3, capacity_w / full))

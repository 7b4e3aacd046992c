"""Between the two ends of a step: a curve through both values and both slopes.

A cubic (Hermite), or where the value amid the step is known too, a quartic. All of a step lies in
one flat record, so that what reads it takes one argument. Times inside a step are shares of it, 0
to 1. A curve lies within the hull of its five Bernstein points, so a bound over the whole step
costs no search.
"""

from springhouse_sim.plant import state
from springhouse_sim.plant import tap as taps
from springhouse_sim.records import FloatRecord

TICK_MS = 1000

# The record of the curve: coefficients of share**0 to share**4 and the value at the end, a row
# each; taps at begin and end; begin and length of the step [ms].
BEGIN, LINEAR, SQUARE, CUBE, FOURTH, END = (n * state.SIZE for n in range(6))
TAPS_BEGIN = 6 * state.SIZE
TAPS_END = TAPS_BEGIN + taps.SIZE
BEGIN_MS = TAPS_END + taps.SIZE
LENGTH_MS = BEGIN_MS + 1
SIZE = LENGTH_MS + 1


def fit(
    curve: FloatRecord,
    x0: FloatRecord,
    f0: FloatRecord,
    x1: FloatRecord,
    f1: FloatRecord,
    begin_ms: int,
    end_ms: int,
) -> None:
    """Fill the record, taps aside, from states and rates at both ends."""
    h_s = (end_ms - begin_ms) * 0.001
    for slot in range(state.SIZE):
        d = x1[slot] - x0[slot]
        s0 = h_s * f0[slot]
        s1 = h_s * f1[slot]
        curve[BEGIN + slot] = x0[slot]
        curve[LINEAR + slot] = s0
        curve[SQUARE + slot] = 3.0 * d - 2.0 * s0 - s1
        curve[CUBE + slot] = s0 + s1 - 2.0 * d
        curve[FOURTH + slot] = 0.0
        curve[END + slot] = x1[slot]
    curve[BEGIN_MS] = begin_ms
    curve[LENGTH_MS] = end_ms - begin_ms


def bend(curve: FloatRecord, amid: FloatRecord) -> None:
    """Bend the curve just filled so that it goes through the state amid the step.

    To the cubic is added what vanishes with its slope at both ends: share**2 (1 - share)**2.
    """
    for slot in range(state.SIZE):
        fourth = 16.0 * (amid[slot] - value(curve, slot, 0.5))
        curve[SQUARE + slot] += fourth
        curve[CUBE + slot] -= 2.0 * fourth
        curve[FOURTH + slot] = fourth


def stand(curve: FloatRecord, x: FloatRecord, t: FloatRecord, now_ms: int) -> None:
    """Fill the record with a state that stands still, for a tick that no step leads to."""
    for slot in range(state.SIZE):
        curve[BEGIN + slot] = x[slot]
        curve[LINEAR + slot] = 0.0
        curve[SQUARE + slot] = 0.0
        curve[CUBE + slot] = 0.0
        curve[FOURTH + slot] = 0.0
        curve[END + slot] = x[slot]
    for slot in range(taps.SIZE):
        curve[TAPS_BEGIN + slot] = t[slot]
        curve[TAPS_END + slot] = t[slot]
    curve[BEGIN_MS] = now_ms
    curve[LENGTH_MS] = TICK_MS


def share_at(curve: FloatRecord, tick: int) -> float:
    """Return the share of the step at a tick."""
    return float((tick * TICK_MS - curve[BEGIN_MS]) / curve[LENGTH_MS])


def value(curve: FloatRecord, slot: int, share: float) -> float:
    """Return one slot of the state."""
    if share == 1.0:
        return float(curve[END + slot])
    rest = curve[SQUARE + slot] + share * (curve[CUBE + slot] + share * curve[FOURTH + slot])
    return float(curve[BEGIN + slot] + share * (curve[LINEAR + slot] + share * rest))


def fill(curve: FloatRecord, share: float, x: FloatRecord) -> None:
    """Fill the whole state."""
    for slot in range(state.SIZE):
        x[slot] = value(curve, slot, share)


def tap(curve: FloatRecord, slot: int, share: float) -> float:
    """Return a tap, on the straight line between those at the ends."""
    return float(curve[TAPS_BEGIN + slot] * (1.0 - share) + curve[TAPS_END + slot] * share)


def inner(curve: FloatRecord, slot: int) -> tuple[float, float, float]:
    """Return the three inner Bernstein points; the outer two are the values at the ends."""
    begin, linear = curve[BEGIN + slot], curve[LINEAR + slot]
    square, cube = curve[SQUARE + slot], curve[CUBE + slot]
    first = begin + 0.25 * linear
    second = begin + 0.5 * linear + square / 6.0
    third = begin + 0.75 * linear + 0.5 * square + 0.25 * cube
    return first, second, third


def hull(curve: FloatRecord, slot: int) -> tuple[float, float]:
    """Return bounds of one slot over the step."""
    a, e = curve[BEGIN + slot], curve[END + slot]
    b, c, d = inner(curve, slot)
    low = min(min(a, b), min(c, min(d, e)))
    return low, max(max(a, b), max(c, max(d, e)))


def monotone(curve: FloatRecord, slot: int) -> bool:
    """Whether one slot surely only rises or only falls over the step."""
    a, e = curve[BEGIN + slot], curve[END + slot]
    b, c, d = inner(curve, slot)
    return bool(a <= b <= c <= d <= e or a >= b >= c >= d >= e)

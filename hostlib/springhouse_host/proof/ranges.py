"""The arithmetic proof: no number of the core leaves ±(2**30 − 1), for anything it may be given.

The text of the core is executed on intervals instead of numbers: both ways at every branch, every
loop unrolled, every call followed. Settings lie anywhere inside their bounds, readings anywhere
inside `READINGS`, and every memory slot anywhere inside `MEMORY`; each store into memory must stay
inside its slot's range again, so that by induction over the steps the ranges hold for ever. What
a comparison says about a local name or a memory slot is used; everything else is forgotten, which
can only make the ranges wider.

Two facts relate several numbers, and the tests prove them with an SMT solver: `ticks_add` stays in
range, and the time left of a running timer is what it was armed with less what has passed, so that
it is at most 2**28 ms while scans are no further apart than that.
"""

from dataclasses import dataclass

from springhouse import (
    advice,
    condition,
    controller,
    latch,
    output,
    reading,
    restart,
    setting,
    statechart,
    timekeeping,
)
from springhouse import memory as cell

from .intervals import MOST, Interval, IntervalRecord, State
from .ranges_text import Prover

PROBE_MC = 2_048_000  # any 16-bit word of a probe's register
_MC = PROBE_MC + 3000


def _readings() -> dict[int, Interval]:
    found = {
        slot: Interval(0, MOST) for slot in range(reading.SIZE)
    }  # ticks and counters of presses
    found[reading.NOW_MS] = Interval(0, MOST, "now")
    found[reading.WEEK_MIN] = Interval(-1, 10079)
    for i in range(reading.PROBES):
        found[reading.STORE_LOW_MC + i] = Interval(-PROBE_MC, PROBE_MC)
        found[reading.STORE_LOW_FAULT + i] = Interval(0, 255)
    found[reading.FLOW_ML_MIN] = Interval(0, 1_000_000)
    found[reading.FAN_RPM] = Interval(0, 1_000_000)
    found[reading.BATTERY_MV] = Interval(0, 1_000_000)
    for slot in range(reading.MAINS_OK, reading.SETTINGS_OK + 1):
        found[slot] = Interval(0, 1)
    found[reading.RELAY_OPEN] = Interval(0, 1)
    found[reading.MODE] = Interval(-MOST, MOST)
    found[reading.MODE_MIN] = Interval(-MOST, MOST)
    for slot in (reading.ADVICE, reading.ADVICE_WANTED, reading.ADVICE_MC, reading.ADVICE_MIN):
        found[slot] = Interval(-MOST, MOST)
    return found


def _memory() -> dict[int, Interval]:
    found = {slot: Interval(timekeeping.DUE, MOST) for slot in range(cell.TIMERS, cell.SIZE)}
    found |= {slot: Interval(0, 1) for slot in range(cell.TIMERS)}
    found[cell.STORE_STATE] = Interval(0, statechart.STORE_STATES - 1)
    found[cell.ROOM_STATE] = Interval(0, statechart.ROOM_STATES - 1)
    found[cell.OUT] = Interval(0, 2 * output.ALARM - 1)
    found[cell.STORE_WORD] = Interval(0, (1 << condition.STORE_BITS) - 1)
    found[cell.ROOM_WORD] = Interval(0, (1 << condition.ROOM_BITS) - 1)
    found[cell.LOCK_WORD] = Interval(0, (1 << condition.LOCK_BITS) - 1)
    found[cell.LATCH] = Interval(0, 2 * latch.WELDED - 1)
    found[cell.FLAGS] = Interval(0, 2 * cell.FLAG_SUNK - 1)
    found[cell.MODE] = Interval(0, 8)
    found[cell.ACK_SEEN] = found[cell.MODE_SEEN] = found[cell.ADVICE_SEEN] = Interval(0, MOST)
    found[cell.ADVICE] = Interval(0, advice.SIZE - 1)
    found[cell.ADVICE_MC] = Interval(-advice.OUTSIDE_MC, advice.OUTSIDE_MC)
    found[cell.PLAN] = Interval(0, 15)
    found[cell.PLAN_SINCE_MIN] = Interval(-1, 10079)
    found[cell.PLAN_LENGTH_MIN] = Interval(0, 10080)
    found[cell.VALID] = Interval(0, 31)
    for i in range(reading.PROBES):
        found[cell.STORE_LOW_GOOD + i] = Interval(0, 3)
        found[cell.STORE_LOW_SEEN_MS + i] = Interval(0, MOST)
        found[cell.STORE_LOW_ANCHOR_MC + i] = Interval(-_MC, _MC)
    for slot in (cell.DRY_COUNT, cell.TRAY_COUNT, cell.REST_COUNT, cell.STILL_COUNT):
        found[slot] = Interval(0, 4)
    found[cell.PROGRESS_MC] = Interval(-_MC - 100_000, _MC + 100_000)
    found[cell.PROGRESS_BY] = Interval(0, 3)
    found[cell.PROGRESS_MADE_MK] = Interval(-100_000, 100_000)
    for slot in range(cell.PROGRESS_LEFT_MS, cell.TOP_LEAST_MC):
        found[slot] = Interval(0, timekeeping.LONGEST_MS)
    found[cell.MODE_LEFT_MS] = Interval(0, timekeeping.LONGEST_MS)
    found[cell.DROP_SEEN] = Interval(0, MOST)
    for slot in (cell.TOP_LEAST_MC, cell.CHILL_LOW_MC, cell.REST_MC):
        found[slot] = Interval(-_MC, _MC)
    found[cell.REST_BY] = Interval(0, 3)
    return found


READINGS = _readings()
MEMORY = _memory()
SETTINGS = {slot: Interval(*setting.row(slot)[1:3]) for slot in range(setting.SIZE)}


@dataclass(frozen=True)
class Proven:
    """What the arithmetic proof looked at."""

    operations: int
    widest: int


def prove() -> Proven:
    """Prove it for `step`, from power-up and from any memory.

    Raises:
        RangeError: naming the expression that may leave its range.
    """
    prover = Prover({"memory": MEMORY})
    records = {"memory": MEMORY, "settings": SETTINGS, "readings": READINGS}
    state = State({name: dict(slots) for name, slots in records.items()})
    three = [IntervalRecord("memory"), IntervalRecord("settings"), IntervalRecord("readings")]
    # A record is asked for its faults before it is believed: any 32-bit words.
    words = {slot: Interval(-(1 << 31), (1 << 31) - 1) for slot in range(setting.SIZE)}
    prover.run(setting.first_fault, [IntervalRecord("settings")], State({"settings": words}))
    prover.run(controller.power_up, [IntervalRecord("memory")], state.copy())
    prover.run(restart.forget, [IntervalRecord("memory"), READINGS[reading.NOW_MS]], state.copy())
    prover.run(controller.step, three, state.copy())
    return Proven(prover.operations, prover.widest)

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

from springhouse import advice as A
from springhouse import condition as C
from springhouse import controller, restart
from springhouse import latch as L
from springhouse import memory as M
from springhouse import output as O
from springhouse import reading as R
from springhouse import setting as S
from springhouse import statechart as K
from springhouse import timekeeping as T

from .intervals import MOST, Interval, IntervalRecord, State
from .ranges_text import Prover

PROBE_MC = 2_048_000  # any 16-bit word of a probe's register
_MC = PROBE_MC + 3000


def _readings() -> dict[int, Interval]:
    found = {slot: Interval(0, MOST) for slot in range(R.SIZE)}  # ticks and counters of presses
    found[R.NOW_MS] = Interval(0, MOST, "now")
    found[R.WEEK_MIN] = Interval(-1, 10079)
    for i in range(R.PROBES):
        found[R.STORE_LOW_MC + i] = Interval(-PROBE_MC, PROBE_MC)
        found[R.STORE_LOW_FAULT + i] = Interval(0, 255)
    found[R.FLOW_ML_MIN] = Interval(0, 1_000_000)
    found[R.FAN_RPM] = Interval(0, 1_000_000)
    found[R.BATTERY_MV] = Interval(0, 1_000_000)
    for slot in range(R.MAINS_OK, R.SETTINGS_OK + 1):
        found[slot] = Interval(0, 1)
    found[R.RELAY_OPEN] = Interval(0, 1)
    found[R.MODE] = Interval(-MOST, MOST)
    found[R.MODE_MIN] = Interval(-MOST, MOST)
    for slot in (R.ADVICE, R.ADVICE_WANTED, R.ADVICE_MC, R.ADVICE_MIN):
        found[slot] = Interval(-MOST, MOST)
    return found


def _memory() -> dict[int, Interval]:
    found = {slot: Interval(T.DUE, MOST) for slot in range(M.TIMERS, M.SIZE)}
    found |= {slot: Interval(0, 1) for slot in range(M.TIMERS)}
    found[M.STORE_STATE] = Interval(0, K.STORE_STATES - 1)
    found[M.ROOM_STATE] = Interval(0, K.ROOM_STATES - 1)
    found[M.OUT] = Interval(0, 2 * O.ALARM - 1)
    found[M.STORE_WORD] = Interval(0, (1 << C.STORE_BITS) - 1)
    found[M.ROOM_WORD] = Interval(0, (1 << C.ROOM_BITS) - 1)
    found[M.LOCK_WORD] = Interval(0, (1 << C.LOCK_BITS) - 1)
    found[M.LATCH] = Interval(0, 2 * L.WELDED - 1)
    found[M.FLAGS] = Interval(0, 2 * M.FLAG_SUNK - 1)
    found[M.MODE] = Interval(0, 8)
    found[M.ACK_SEEN] = found[M.MODE_SEEN] = found[M.ADVICE_SEEN] = Interval(0, MOST)
    found[M.ADVICE] = Interval(0, A.SIZE - 1)
    found[M.ADVICE_MC] = Interval(-A.OUTSIDE_MC, A.OUTSIDE_MC)
    found[M.PLAN] = Interval(0, 15)
    found[M.PLAN_SINCE_MIN] = Interval(-1, 10079)
    found[M.PLAN_LENGTH_MIN] = Interval(0, 10080)
    found[M.VALID] = Interval(0, 31)
    for i in range(R.PROBES):
        found[M.STORE_LOW_GOOD + i] = Interval(0, 3)
        found[M.STORE_LOW_SEEN_MS + i] = Interval(0, MOST)
        found[M.STORE_LOW_ANCHOR_MC + i] = Interval(-_MC, _MC)
    for slot in (M.DRY_COUNT, M.TRAY_COUNT, M.REST_COUNT, M.STILL_COUNT):
        found[slot] = Interval(0, 4)
    found[M.PROGRESS_MC] = Interval(-_MC - 100_000, _MC + 100_000)
    found[M.PROGRESS_BY] = Interval(0, 3)
    found[M.PROGRESS_MADE_MK] = Interval(-100_000, 100_000)
    for slot in range(M.PROGRESS_LEFT_MS, M.TOP_LEAST_MC):
        found[slot] = Interval(0, T.LONGEST_MS)
    found[M.MODE_LEFT_MS] = Interval(0, T.LONGEST_MS)
    found[M.DROP_SEEN] = Interval(0, MOST)
    for slot in (M.TOP_LEAST_MC, M.CHILL_LOW_MC, M.REST_MC):
        found[slot] = Interval(-_MC, _MC)
    found[M.REST_BY] = Interval(0, 3)
    return found


READINGS = _readings()
MEMORY = _memory()
SETTINGS = {slot: Interval(*S.bound(slot)[:2]) for slot in range(S.SIZE)}


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
    words = {slot: Interval(-(1 << 31), (1 << 31) - 1) for slot in range(S.SIZE)}
    prover.run(S.first_fault, [IntervalRecord("settings")], State({"settings": words}))
    prover.run(controller.power_up, [IntervalRecord("memory")], state.copy())
    prover.run(restart.forget, [IntervalRecord("memory"), READINGS[R.NOW_MS]], state.copy())
    prover.run(controller.step, three, state.copy())
    return Proven(prover.operations, prover.widest)

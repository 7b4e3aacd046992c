"""One scan of the observer: which invariants had a case, which were broken.

Numbers are those of the invariants (1 .. 31). A case is a scan or an edge at which the invariant
had something to say: a probe that is surely believed, a sensor that is fitted, a motor that is on.
"""

from springhouse import advice as A
from springhouse import fitted as F
from springhouse import memory as M
from springhouse import mode as W
from springhouse import output as O
from springhouse import reading as R
from springhouse import setting as S

from springhouse_sim.records import IntRecord
from springhouse_sim.watch import checks_cold, checks_room, checks_store
from springhouse_sim.watch import shadow as X
from springhouse_sim.watch import trust as U
from springhouse_sim.watch.tally import tally

COUNTS = 32  # cases and violations are indexed by invariant number; 0 is unused
LONG_AGO_MS = -(1 << 40)
_MOTORS = O.COMPRESSOR | O.PUMP | O.FAN


def clear(shadow: IntRecord) -> None:
    """Begin a watch at power-up. `shadow`: int64, shape (shadow.SIZE,)."""
    for slot in range(X.SIZE):
        shadow[slot] = 0
    for slot in range(X.LOW_LAST_MS, X.LOW_LAST_MS + 5):
        shadow[slot] = LONG_AGO_MS
    for slot in range(X.START_1_MS, X.START_4_MS + 1):
        shadow[slot] = LONG_AGO_MS
    shadow[X.RISING_MS] = LONG_AGO_MS
    shadow[X.C_OFF_MS] = LONG_AGO_MS
    shadow[X.LAST_DRY_MS] = LONG_AGO_MS
    shadow[X.TRAY_OPEN_MS] = LONG_AGO_MS
    shadow[X.TRAY_SHUT_MS] = 0
    shadow[X.PUMP_MOVED_MS] = LONG_AGO_MS
    shadow[X.FAN_MOVED_MS] = LONG_AGO_MS
    shadow[X.DEMAND_MS] = -1
    checks_cold.begin(shadow)


def _dropped(shadow: IntRecord) -> None:
    """Every output went off by itself."""
    now = shadow[X.TIME_MS]
    if shadow[X.OUT] & O.COMPRESSOR:
        shadow[X.C_OFF_MS] = now
    if shadow[X.OUT] & O.PUMP:
        shadow[X.PUMP_MOVED_MS] = now
    if shadow[X.OUT] & O.FAN:
        shadow[X.FAN_MOVED_MS] = now
    shadow[X.OUT] = 0


def reboot(shadow: IntRecord) -> None:
    """The board restarts now: its outputs drop, and what it need not remember is forgotten.

    Starts, latches, counts and the owner's stops must outlive it.
    """
    shadow[X.BOOT_MS] = shadow[X.TIME_MS]
    shadow[X.STARTED] = 2  # takes the counters of presses and requests as they stand
    _dropped(shadow)
    shadow[X.BATTERY_LOW] = 0
    shadow[X.RUN_TRUST] = 0
    if shadow[X.MODE] != W.OFF and shadow[X.MODE] != W.SERVICE:
        shadow[X.MODE] = W.AUTOMATIC
    for i in range(5):
        shadow[X.LOW_TRUST + i] = U.NO
        shadow[X.LOW_GOOD + i] = 0
    shadow[X.DEMAND_MS] = -1
    checks_cold.begin(shadow)


def _advance_clock(shadow: IntRecord, readings: IntRecord) -> None:
    now = readings[R.NOW_MS]
    if shadow[X.STARTED]:
        d = now - shadow[X.NOW_SEEN_MS]
        if d < 0:
            d += 1 << 30
        shadow[X.TIME_MS] += d
    else:
        shadow[X.MAINS_SINCE_MS] = LONG_AGO_MS
    if shadow[X.STARTED] != 1:
        shadow[X.STARTED] = 1
        shadow[X.ACK_SEEN] = readings[R.ACK_SEQ]
        shadow[X.MODE_SEEN] = readings[R.MODE_SEQ]
        shadow[X.DROP_SEEN] = readings[R.DROP_SEQ]
        shadow[X.ADVICE_SEEN] = readings[R.ADVICE_SEQ]
        shadow[X.ADVICE_END_MS] = shadow[X.TIME_MS]
    if readings[R.DROP_SEQ] != shadow[X.DROP_SEEN]:
        shadow[X.DROP_SEEN] = readings[R.DROP_SEQ]
        _dropped(shadow)
    shadow[X.NOW_SEEN_MS] = now


def _follow_mode(shadow: IntRecord, readings: IntRecord) -> None:
    shadow[X.MODE_BEFORE] = shadow[X.MODE]
    if readings[R.MODE_SEQ] != shadow[X.MODE_SEEN]:
        shadow[X.MODE_SEEN] = readings[R.MODE_SEQ]
        asked = readings[R.MODE]
        minutes = readings[R.MODE_MIN]
        if asked == W.AUTOMATIC:
            shadow[X.MODE] = asked
        elif 0 < asked < W.SIZE and 0 < minutes <= W.LIMIT_MIN[asked]:
            shadow[X.MODE] = asked
            shadow[X.MODE_END_MS] = shadow[X.TIME_MS] + minutes * 60000
    if shadow[X.MODE] != W.AUTOMATIC and shadow[X.TIME_MS] >= shadow[X.MODE_END_MS]:
        shadow[X.MODE] = W.AUTOMATIC


def _advice(
    shadow: IntRecord,
    memory: IntRecord,
    settings: IntRecord,
    readings: IntRecord,
    cases: IntRecord,
    violations: IntRecord,
) -> None:
    """31: what is in force was given last, is not over, and the owner allows it."""
    if readings[R.ADVICE_SEQ] != shadow[X.ADVICE_SEEN]:
        shadow[X.ADVICE_SEEN] = readings[R.ADVICE_SEQ]
        shadow[X.ADVICE] = readings[R.ADVICE]
        shadow[X.ADVICE_MC] = readings[R.ADVICE_MC]
        minutes = readings[R.ADVICE_MIN]
        shadow[X.ADVICE_END_MS] = shadow[X.TIME_MS]
        if 0 < minutes <= A.LONGEST_MIN:
            shadow[X.ADVICE_END_MS] += minutes * 60000
    if memory[M.ADVICE] == A.NONE:
        return
    given = memory[M.ADVICE] == shadow[X.ADVICE] and memory[M.ADVICE_MC] == shadow[X.ADVICE_MC]
    in_time = shadow[X.TIME_MS] < shadow[X.ADVICE_END_MS]
    inside = settings[S.DEEP_MC] <= memory[M.ADVICE_MC] <= settings[S.SHALLOW_MC]
    inside = inside or memory[M.ADVICE] == A.WAIT  # the shallow target stays in force
    tally(cases, violations, 31, given and in_time and inside and settings[S.ADVISED] != 0)


def _follow_mains(shadow: IntRecord, settings: IntRecord, readings: IntRecord) -> None:
    if not settings[S.FITTED] & F.MAINS or readings[R.MAINS_OK]:
        if shadow[X.MAINS_SINCE_MS] == -1:
            shadow[X.MAINS_SINCE_MS] = shadow[X.TIME_MS]
    else:
        shadow[X.MAINS_SINCE_MS] = -1


def _spacing(shadow: IntRecord, out: int, cases: IntRecord, violations: IntRecord) -> None:
    """15: at most one motor starts in any 5 s."""
    rising = out & ~shadow[X.OUT] & _MOTORS
    if rising:
        alone = rising & (rising - 1) == 0
        apart = shadow[X.TIME_MS] - shadow[X.RISING_MS] >= 5000
        tally(cases, violations, 15, alone and apart)
        shadow[X.RISING_MS] = shadow[X.TIME_MS]


def observe(
    shadow: IntRecord,
    memory: IntRecord,
    settings: IntRecord,
    readings: IntRecord,
    out: int,
    cases: IntRecord,
    violations: IntRecord,
) -> None:
    """Judge one scan. `memory` serves to excuse (a rest in force) and as what was announced."""
    _advance_clock(shadow, readings)
    _follow_mode(shadow, readings)
    _follow_mains(shadow, settings, readings)
    for i in range(5):
        U.judge(shadow, settings, readings, i)
    pressed = readings[R.ACK_SEQ] != shadow[X.ACK_SEEN]
    shadow[X.ACK_SEEN] = readings[R.ACK_SEQ]

    _spacing(shadow, out, cases, violations)
    _advice(shadow, memory, settings, readings, cases, violations)
    if shadow[X.MODE] == W.OFF or shadow[X.MODE] == W.SERVICE:
        tally(cases, violations, 28, out & _MOTORS == 0)
    latched = memory[M.LATCH] != 0
    resting = memory[M.REST_T] >= 0
    checks_store.probes(shadow, settings, readings, out, cases, violations)
    checks_store.starts(shadow, settings, readings, out, cases, violations)
    checks_store.stops(shadow, settings, readings, out, resting, cases, violations)
    checks_cold.top(shadow, settings, readings, out, cases, violations)
    checks_cold.switched_off(shadow, settings, readings, out, pressed, cases, violations)
    checks_store.progress(shadow, settings, readings, out, cases, violations)
    checks_store.demand(shadow, settings, readings, out, latched, resting, cases, violations)
    checks_room.flood(shadow, settings, readings, out, pressed, cases, violations)
    checks_room.tray(shadow, settings, readings, out, pressed, cases, violations)
    checks_room.flow(shadow, settings, readings, out, pressed, cases, violations)
    checks_room.coil(shadow, settings, readings, out, cases, violations)
    checks_room.latches(shadow, memory[M.LATCH], out, pressed, cases, violations)
    checks_room.rhythm(shadow, settings, readings, out, cases, violations)
    checks_room.battery(shadow, settings, readings, out, cases, violations)
    if not readings[R.SETTINGS_OK]:
        tally(cases, violations, 19, out & _MOTORS == 0)
    shadow[X.OUT] = out

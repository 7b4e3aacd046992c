"""One scan of the observer: which invariants had a case, which were broken.

Numbers are those of the invariants (1 .. 31). A case is a scan or an edge at which the invariant
had something to say: a probe that is surely believed, a sensor that is fitted, a motor that is on.
"""

from springhouse import advice, fitted, mode, output, reading, setting
from springhouse import memory as cell

from springhouse_sim.records import IntRecord
from springhouse_sim.watch import checks_cold, checks_room, checks_store, trust
from springhouse_sim.watch import shadow as shadow_slot
from springhouse_sim.watch.tally import tally

COUNTS = 32  # cases and violations are indexed by invariant number; 0 is unused
LONG_AGO_MS = -(1 << 40)
_MOTORS = output.COMPRESSOR | output.PUMP | output.FAN


def clear(shadow: IntRecord) -> None:
    """Begin a watch at power-up. `shadow`: int64, shape (shadow.SIZE,)."""
    for slot in range(shadow_slot.SIZE):
        shadow[slot] = 0
    for slot in range(shadow_slot.LOW_LAST_MS, shadow_slot.LOW_LAST_MS + 5):
        shadow[slot] = LONG_AGO_MS
    for slot in range(shadow_slot.START_1_MS, shadow_slot.START_4_MS + 1):
        shadow[slot] = LONG_AGO_MS
    shadow[shadow_slot.RISING_MS] = LONG_AGO_MS
    shadow[shadow_slot.C_OFF_MS] = LONG_AGO_MS
    shadow[shadow_slot.LAST_DRY_MS] = LONG_AGO_MS
    shadow[shadow_slot.TRAY_OPEN_MS] = LONG_AGO_MS
    shadow[shadow_slot.TRAY_SHUT_MS] = 0
    shadow[shadow_slot.PUMP_MOVED_MS] = LONG_AGO_MS
    shadow[shadow_slot.FAN_MOVED_MS] = LONG_AGO_MS
    shadow[shadow_slot.DEMAND_MS] = -1
    checks_cold.begin(shadow)


def _dropped(shadow: IntRecord) -> None:
    """Every output went off by itself."""
    now = shadow[shadow_slot.TIME_MS]
    if shadow[shadow_slot.OUT] & output.COMPRESSOR:
        shadow[shadow_slot.C_OFF_MS] = now
    if shadow[shadow_slot.OUT] & output.PUMP:
        shadow[shadow_slot.PUMP_MOVED_MS] = now
    if shadow[shadow_slot.OUT] & output.FAN:
        shadow[shadow_slot.FAN_MOVED_MS] = now
    shadow[shadow_slot.OUT] = 0


def reboot(shadow: IntRecord) -> None:
    """The board restarts now: its outputs drop, and what it need not remember is forgotten.

    Starts, latches, counts and the owner's stops must outlive it.
    """
    shadow[shadow_slot.BOOT_MS] = shadow[shadow_slot.TIME_MS]
    shadow[shadow_slot.STARTED] = 2  # takes the counters of presses and requests as they stand
    _dropped(shadow)
    shadow[shadow_slot.BATTERY_LOW] = 0
    shadow[shadow_slot.RUN_TRUST] = 0
    if shadow[shadow_slot.MODE] != mode.OFF and shadow[shadow_slot.MODE] != mode.SERVICE:
        shadow[shadow_slot.MODE] = mode.AUTOMATIC
    for i in range(5):
        shadow[shadow_slot.LOW_TRUST + i] = trust.NO
        shadow[shadow_slot.LOW_GOOD + i] = 0
    shadow[shadow_slot.DEMAND_MS] = -1
    checks_cold.begin(shadow)


def _advance_clock(shadow: IntRecord, readings: IntRecord) -> None:
    now = readings[reading.NOW_MS]
    if shadow[shadow_slot.STARTED]:
        d = now - shadow[shadow_slot.NOW_SEEN_MS]
        if d < 0:
            d += 1 << 30
        shadow[shadow_slot.TIME_MS] += d
    else:
        shadow[shadow_slot.MAINS_SINCE_MS] = LONG_AGO_MS
    if shadow[shadow_slot.STARTED] != 1:
        shadow[shadow_slot.STARTED] = 1
        shadow[shadow_slot.ACK_SEEN] = readings[reading.ACK_SEQ]
        shadow[shadow_slot.MODE_SEEN] = readings[reading.MODE_SEQ]
        shadow[shadow_slot.DROP_SEEN] = readings[reading.DROP_SEQ]
        shadow[shadow_slot.ADVICE_SEEN] = readings[reading.ADVICE_SEQ]
        shadow[shadow_slot.ADVICE_END_MS] = shadow[shadow_slot.TIME_MS]
    if readings[reading.DROP_SEQ] != shadow[shadow_slot.DROP_SEEN]:
        shadow[shadow_slot.DROP_SEEN] = readings[reading.DROP_SEQ]
        _dropped(shadow)
    shadow[shadow_slot.NOW_SEEN_MS] = now


def _follow_mode(shadow: IntRecord, readings: IntRecord) -> None:
    shadow[shadow_slot.MODE_BEFORE] = shadow[shadow_slot.MODE]
    if readings[reading.MODE_SEQ] != shadow[shadow_slot.MODE_SEEN]:
        shadow[shadow_slot.MODE_SEEN] = readings[reading.MODE_SEQ]
        asked = readings[reading.MODE]
        minutes = readings[reading.MODE_MIN]
        if asked == mode.AUTOMATIC:
            shadow[shadow_slot.MODE] = asked
        elif 0 < asked < mode.SIZE and 0 < minutes <= mode.LIMIT_MIN[asked]:
            shadow[shadow_slot.MODE] = asked
            shadow[shadow_slot.MODE_END_MS] = shadow[shadow_slot.TIME_MS] + minutes * 60000
    if (
        shadow[shadow_slot.MODE] != mode.AUTOMATIC
        and shadow[shadow_slot.TIME_MS] >= shadow[shadow_slot.MODE_END_MS]
    ):
        shadow[shadow_slot.MODE] = mode.AUTOMATIC


def _advice(
    shadow: IntRecord,
    memory: IntRecord,
    settings: IntRecord,
    readings: IntRecord,
    cases: IntRecord,
    violations: IntRecord,
) -> None:
    """31: what is in force was given last, is not over, and the owner allows it."""
    if readings[reading.ADVICE_SEQ] != shadow[shadow_slot.ADVICE_SEEN]:
        shadow[shadow_slot.ADVICE_SEEN] = readings[reading.ADVICE_SEQ]
        shadow[shadow_slot.ADVICE] = readings[reading.ADVICE]
        shadow[shadow_slot.ADVICE_MC] = readings[reading.ADVICE_MC]
        minutes = readings[reading.ADVICE_MIN]
        shadow[shadow_slot.ADVICE_END_MS] = shadow[shadow_slot.TIME_MS]
        if 0 < minutes <= advice.LONGEST_MIN:
            shadow[shadow_slot.ADVICE_END_MS] += minutes * 60000
    if memory[cell.ADVICE] == advice.NONE:
        return
    given = (
        memory[cell.ADVICE] == shadow[shadow_slot.ADVICE]
        and memory[cell.ADVICE_MC] == shadow[shadow_slot.ADVICE_MC]
    )
    in_time = shadow[shadow_slot.TIME_MS] < shadow[shadow_slot.ADVICE_END_MS]
    inside = settings[setting.DEEP_MC] <= memory[cell.ADVICE_MC] <= settings[setting.SHALLOW_MC]
    inside = inside or memory[cell.ADVICE] == advice.WAIT  # the shallow target stays in force
    tally(cases, violations, 31, given and in_time and inside and settings[setting.ADVISED] != 0)


def _follow_mains(shadow: IntRecord, settings: IntRecord, readings: IntRecord) -> None:
    if not settings[setting.FITTED] & fitted.MAINS or readings[reading.MAINS_OK]:
        if shadow[shadow_slot.MAINS_SINCE_MS] == -1:
            shadow[shadow_slot.MAINS_SINCE_MS] = shadow[shadow_slot.TIME_MS]
    else:
        shadow[shadow_slot.MAINS_SINCE_MS] = -1


def _spacing(shadow: IntRecord, out: int, cases: IntRecord, violations: IntRecord) -> None:
    """15: at most one motor starts in any 5 s."""
    rising = out & ~shadow[shadow_slot.OUT] & _MOTORS
    if rising:
        alone = rising & (rising - 1) == 0
        apart = shadow[shadow_slot.TIME_MS] - shadow[shadow_slot.RISING_MS] >= 5000
        tally(cases, violations, 15, alone and apart)
        shadow[shadow_slot.RISING_MS] = shadow[shadow_slot.TIME_MS]


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
        trust.judge(shadow, settings, readings, i)
    pressed = readings[reading.ACK_SEQ] != shadow[shadow_slot.ACK_SEEN]
    shadow[shadow_slot.ACK_SEEN] = readings[reading.ACK_SEQ]

    _spacing(shadow, out, cases, violations)
    _advice(shadow, memory, settings, readings, cases, violations)
    if shadow[shadow_slot.MODE] == mode.OFF or shadow[shadow_slot.MODE] == mode.SERVICE:
        tally(cases, violations, 28, out & _MOTORS == 0)
    latched = memory[cell.LATCH] != 0
    resting = memory[cell.REST_T] >= 0
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
    checks_room.latches(shadow, memory[cell.LATCH], out, pressed, cases, violations)
    checks_room.rhythm(shadow, settings, readings, out, cases, violations)
    checks_room.battery(shadow, settings, readings, out, cases, violations)
    if not readings[reading.SETTINGS_OK]:
        tally(cases, violations, 19, out & _MOTORS == 0)
    shadow[shadow_slot.OUT] = out

"""The controller: one function over three integer records.

    out = step(memory, settings, readings)

No clock, no I/O, no allocation. With unchanged readings and no deadline passed a second step
changes nothing, which is what lets a simulation jump (see `horizon.py`).
"""

from array import array

from springhouse import (
    advice,
    condition,
    conditions,
    events,
    fitted,
    interlock,
    near,
    output,
    probes,
    reading,
    restart,
    setting,
    statechart,
    timekeeping,
)
from springhouse import memory as cell

STORE_ROWS = statechart.STORE_ROWS
ROOM_ROWS = statechart.ROOM_ROWS


def power_up(memory: "array[int]") -> None:
    """Fill a fresh memory record. The first step puts every wait in its safe position."""
    for slot in range(cell.SIZE):
        memory[slot] = 0
    for slot in range(cell.TIMERS, cell.SIZE):
        memory[slot] = timekeeping.IDLE
    memory[cell.PLAN_SINCE_MIN] = -1


def _first_step(memory: "array[int]", settings: "array[int]", readings: "array[int]") -> None:
    """Whole waits, also for what is known from before; requests from before do not count."""
    now = readings[reading.NOW_MS]
    memory[cell.BOOTED] = 1
    if setting.first_fault(settings) >= 0:
        conditions.put_flag(memory, cell.FLAG_INVALID, True)
        memory[cell.LOCK_WORD] = condition.LOCK_ALL
        return
    memory[cell.ACK_SEEN] = readings[reading.ACK_SEQ]
    memory[cell.MODE_SEEN] = readings[reading.MODE_SEQ]
    memory[cell.DROP_SEEN] = readings[reading.DROP_SEQ]
    memory[cell.ADVICE_SEEN] = readings[reading.ADVICE_SEQ]
    restart.resume(memory, settings, now)
    wait_ms = (settings[setting.MIN_OFF_S] + settings[setting.RESTART_STAGGER_S]) * 1000
    timekeeping.arm(memory, cell.OFF_T, now, wait_ms)
    conditions.put_flag(memory, cell.FLAG_BOOT_WAIT, True)
    timekeeping.arm(memory, cell.TRAY_T, now, settings[setting.TRAY_RETURN_S] * 1000)
    conditions.put_flag(memory, cell.FLAG_MAINS, conditions.mains_good(settings, readings))
    events.refill_progress(memory, settings)
    timekeeping.arm(memory, cell.DELIVERY_OFF_T, now, settings[setting.DELIVERY_OFF_S] * 1000)
    if settings[setting.ICE_BANK]:
        # Ice of unknown thickness: none is added until seen melted.
        memory[cell.ICE_T] = timekeeping.DUE
    for i in range(probes.ROOM):
        memory[cell.STORE_LOW_STUCK_LEFT_MS + i] = settings[setting.STUCK_MIN] * 60000


def next_store_state(state: int, word: int) -> int:
    """First fitting row of the store side, or the state itself."""
    here = 1 << state
    for start, must, must_not, end in STORE_ROWS:
        if start & here and word & must == must and word & must_not == 0:
            return end
    return state


def next_room_state(state: int, word: int) -> int:
    """First fitting row of the room side, or the state itself."""
    here = 1 << state
    for start, must, must_not, end in ROOM_ROWS:
        if start & here and word & must == must and word & must_not == 0:
            return end
    return state


def _observe(memory: "array[int]", settings: "array[int]", readings: "array[int]") -> None:
    """Probes, plan, requests, then everything that latches or waits."""
    _dropped(memory, settings, readings)
    for i in range(reading.PROBES):
        probes.update(memory, settings, readings, i)
    events.plan(memory, settings, readings)
    advice.update(memory, settings, readings)
    events.mode(memory, readings)
    events.acknowledge(memory, settings, readings)
    conditions.update_flags(memory, settings, readings)
    events.mains(memory, settings, readings)
    events.flood(memory, settings, readings)
    events.tray(memory, settings, readings)
    events.flow(memory, settings, readings)
    events.coil(memory, settings, readings)
    events.disagreement(memory, settings, readings)
    events.progress(memory, settings, readings)
    events.ice(memory, settings, readings)
    events.pull_down(memory, settings, readings)
    events.welded(memory, settings, readings)


def _note_edges(memory: "array[int]", settings: "array[int]", now: int, out: int) -> None:
    """Start the timers that belong to a motor starting or stopping."""
    rising = out & ~memory[cell.OUT]
    falling = memory[cell.OUT] & ~out
    if rising & (output.COMPRESSOR | output.PUMP | output.FAN):
        timekeeping.arm(memory, cell.SPACING_T, now, 5000)
    if rising & output.COMPRESSOR:
        timekeeping.arm(memory, cell.ON_T, now, settings[setting.MIN_ON_S] * 1000)
        slot = cell.START_1_T
        while timekeeping.waiting(memory, slot) and slot < cell.START_4_T:
            slot += 1
        timekeeping.arm(memory, slot, now, 3600000)
    if falling & output.COMPRESSOR:
        memory[cell.ON_T] = timekeeping.IDLE
        timekeeping.arm_longer(memory, cell.OFF_T, now, settings[setting.MIN_OFF_S] * 1000)
        conditions.put_flag(memory, cell.FLAG_BOOT_WAIT | cell.FLAG_MAINS_WAIT, False)
        if memory[cell.STORE_WORD] & condition.STORE_FULL:
            events.refill_progress(memory, settings)
    if rising & (output.PUMP | output.FAN):
        timekeeping.arm(memory, cell.DELIVERY_ON_T, now, settings[setting.DELIVERY_ON_S] * 1000)
    if falling & (output.PUMP | output.FAN):
        memory[cell.DELIVERY_ON_T] = timekeeping.IDLE
        timekeeping.arm(memory, cell.DELIVERY_OFF_T, now, settings[setting.DELIVERY_OFF_S] * 1000)
    if rising & output.PUMP:
        if conditions.has(settings, fitted.FLOW):
            timekeeping.arm(memory, cell.FLOW_T, now, settings[setting.PRIME_S] * 1000)
        if conditions.spells_only(settings):
            timekeeping.arm(memory, cell.SPELL_T, now, settings[setting.SPELL_ON_S] * 1000)
    if falling & output.PUMP and conditions.spells_only(settings):
        timekeeping.arm(memory, cell.SPELL_T, now, settings[setting.SPELL_OFF_S] * 1000)


def _dropped(memory: "array[int]", settings: "array[int]", readings: "array[int]") -> None:
    """The outputs dropped by themselves: every motor counts as stopped, with its whole wait."""
    if readings[reading.DROP_SEQ] == memory[cell.DROP_SEEN]:
        return
    memory[cell.DROP_SEEN] = readings[reading.DROP_SEQ]
    now = readings[reading.NOW_MS]
    _note_edges(memory, settings, now, 0)
    memory[cell.OUT] = 0
    wait_ms = (settings[setting.MIN_OFF_S] + settings[setting.RESTART_STAGGER_S]) * 1000
    timekeeping.arm_longer(memory, cell.OFF_T, now, wait_ms)
    wait_ms = settings[setting.DELIVERY_OFF_S] * 1000
    timekeeping.arm_longer(memory, cell.DELIVERY_OFF_T, now, wait_ms)


def step(memory: "array[int]", settings: "array[int]", readings: "array[int]") -> int:
    """Take one scan's readings and return the output bits to drive."""
    now = readings[reading.NOW_MS]
    near.begin(readings)
    timekeeping.expire(memory, now)
    if not memory[cell.BOOTED]:
        _first_step(memory, settings, readings)
    if conditions.flag(memory, cell.FLAG_INVALID):
        return 0  # no slot of the settings may be believed, not even as an index
    _observe(memory, settings, readings)
    memory[cell.STORE_WORD] = conditions.store_word(memory, settings, readings)
    memory[cell.ROOM_WORD] = conditions.room_word(memory, settings, readings)
    memory[cell.LOCK_WORD] = conditions.lock_word(memory, settings, readings)
    memory[cell.STORE_STATE] = next_store_state(memory[cell.STORE_STATE], memory[cell.STORE_WORD])
    memory[cell.ROOM_STATE] = next_room_state(memory[cell.ROOM_STATE], memory[cell.ROOM_WORD])
    asked = statechart.STORE_OUTPUTS[memory[cell.STORE_STATE]]
    asked |= statechart.ROOM_OUTPUTS[memory[cell.ROOM_STATE]]
    out = interlock.grant(asked, memory[cell.OUT], memory[cell.LOCK_WORD])
    _note_edges(memory, settings, now, out)
    memory[cell.OUT] = out
    return out

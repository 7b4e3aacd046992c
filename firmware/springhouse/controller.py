"""The controller: one function over three integer records.

    out = step(memory, settings, readings)

No clock, no I/O, no allocation. With unchanged readings and no deadline passed a second step
changes nothing, which is what lets a simulation jump (see `horizon.py`).
"""

from array import array

from springhouse import advice as D
from springhouse import condition as C
from springhouse import conditions as Q
from springhouse import events as E
from springhouse import fitted as F
from springhouse import interlock as I
from springhouse import memory as M
from springhouse import near
from springhouse import output as O
from springhouse import probes as P
from springhouse import reading as R
from springhouse import restart as B
from springhouse import setting as S
from springhouse import statechart as K
from springhouse import timekeeping as T

STORE_ROWS = K.STORE_ROWS
ROOM_ROWS = K.ROOM_ROWS


def power_up(memory: "array[int]") -> None:
    """Fill a fresh memory record. The first step puts every wait in its safe position."""
    for slot in range(M.SIZE):
        memory[slot] = 0
    for slot in range(M.TIMERS, M.SIZE):
        memory[slot] = T.IDLE
    memory[M.PLAN_SINCE_MIN] = -1


def _first_step(memory: "array[int]", settings: "array[int]", readings: "array[int]") -> None:
    """Whole waits, also for what is known from before; requests from before do not count."""
    now = readings[R.NOW_MS]
    memory[M.BOOTED] = 1
    if S.first_fault(settings) >= 0:
        Q.put_flag(memory, M.FLAG_INVALID, True)
        memory[M.LOCK_WORD] = C.LOCK_ALL
        return
    memory[M.ACK_SEEN] = readings[R.ACK_SEQ]
    memory[M.MODE_SEEN] = readings[R.MODE_SEQ]
    memory[M.DROP_SEEN] = readings[R.DROP_SEQ]
    memory[M.ADVICE_SEEN] = readings[R.ADVICE_SEQ]
    B.resume(memory, settings, now)
    T.arm(memory, M.OFF_T, now, (settings[S.MIN_OFF_S] + settings[S.RESTART_STAGGER_S]) * 1000)
    Q.put_flag(memory, M.FLAG_BOOT_WAIT, True)
    T.arm(memory, M.TRAY_T, now, settings[S.TRAY_RETURN_S] * 1000)
    Q.put_flag(memory, M.FLAG_MAINS, Q.mains_good(settings, readings))
    E.refill_progress(memory, settings)
    T.arm(memory, M.DELIVERY_OFF_T, now, settings[S.DELIVERY_OFF_S] * 1000)
    if settings[S.ICE_BANK]:
        memory[M.ICE_T] = T.DUE  # ice of unknown thickness: none is added until seen melted
    for i in range(P.ROOM):
        memory[M.STORE_LOW_STUCK_LEFT_MS + i] = settings[S.STUCK_MIN] * 60000


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
    for i in range(R.PROBES):
        P.update(memory, settings, readings, i)
    E.plan(memory, settings, readings)
    D.update(memory, settings, readings)
    E.mode(memory, readings)
    E.acknowledge(memory, settings, readings)
    Q.update_flags(memory, settings, readings)
    E.mains(memory, settings, readings)
    E.flood(memory, settings, readings)
    E.tray(memory, settings, readings)
    E.flow(memory, settings, readings)
    E.coil(memory, settings, readings)
    E.disagreement(memory, settings, readings)
    E.progress(memory, settings, readings)
    E.ice(memory, settings, readings)
    E.pull_down(memory, settings, readings)
    E.welded(memory, settings, readings)


def _note_edges(memory: "array[int]", settings: "array[int]", now: int, out: int) -> None:
    """Start the timers that belong to a motor starting or stopping."""
    rising = out & ~memory[M.OUT]
    falling = memory[M.OUT] & ~out
    if rising & (O.COMPRESSOR | O.PUMP | O.FAN):
        T.arm(memory, M.SPACING_T, now, 5000)
    if rising & O.COMPRESSOR:
        T.arm(memory, M.ON_T, now, settings[S.MIN_ON_S] * 1000)
        slot = M.START_1_T
        while T.waiting(memory, slot) and slot < M.START_4_T:
            slot += 1
        T.arm(memory, slot, now, 3600000)
    if falling & O.COMPRESSOR:
        memory[M.ON_T] = T.IDLE
        T.arm_longer(memory, M.OFF_T, now, settings[S.MIN_OFF_S] * 1000)
        Q.put_flag(memory, M.FLAG_BOOT_WAIT | M.FLAG_MAINS_WAIT, False)
        if memory[M.STORE_WORD] & C.STORE_FULL:
            E.refill_progress(memory, settings)
    if rising & (O.PUMP | O.FAN):
        T.arm(memory, M.DELIVERY_ON_T, now, settings[S.DELIVERY_ON_S] * 1000)
    if falling & (O.PUMP | O.FAN):
        memory[M.DELIVERY_ON_T] = T.IDLE
        T.arm(memory, M.DELIVERY_OFF_T, now, settings[S.DELIVERY_OFF_S] * 1000)
    if rising & O.PUMP:
        if Q.has(settings, F.FLOW):
            T.arm(memory, M.FLOW_T, now, settings[S.PRIME_S] * 1000)
        if Q.spells_only(settings):
            T.arm(memory, M.SPELL_T, now, settings[S.SPELL_ON_S] * 1000)
    if falling & O.PUMP and Q.spells_only(settings):
        T.arm(memory, M.SPELL_T, now, settings[S.SPELL_OFF_S] * 1000)


def _dropped(memory: "array[int]", settings: "array[int]", readings: "array[int]") -> None:
    """The outputs dropped by themselves: every motor counts as stopped, with its whole wait."""
    if readings[R.DROP_SEQ] == memory[M.DROP_SEEN]:
        return
    memory[M.DROP_SEEN] = readings[R.DROP_SEQ]
    now = readings[R.NOW_MS]
    _note_edges(memory, settings, now, 0)
    memory[M.OUT] = 0
    wait_ms = (settings[S.MIN_OFF_S] + settings[S.RESTART_STAGGER_S]) * 1000
    T.arm_longer(memory, M.OFF_T, now, wait_ms)
    T.arm_longer(memory, M.DELIVERY_OFF_T, now, settings[S.DELIVERY_OFF_S] * 1000)


def step(memory: "array[int]", settings: "array[int]", readings: "array[int]") -> int:
    """Take one scan's readings and return the output bits to drive."""
    now = readings[R.NOW_MS]
    near.begin(readings)
    T.expire(memory, now)
    if not memory[M.BOOTED]:
        _first_step(memory, settings, readings)
    if Q.flag(memory, M.FLAG_INVALID):
        return 0  # no slot of the settings may be believed, not even as an index
    _observe(memory, settings, readings)
    memory[M.STORE_WORD] = Q.store_word(memory, settings, readings)
    memory[M.ROOM_WORD] = Q.room_word(memory, settings, readings)
    memory[M.LOCK_WORD] = Q.lock_word(memory, settings, readings)
    memory[M.STORE_STATE] = next_store_state(memory[M.STORE_STATE], memory[M.STORE_WORD])
    memory[M.ROOM_STATE] = next_room_state(memory[M.ROOM_STATE], memory[M.ROOM_WORD])
    asked = K.STORE_OUTPUTS[memory[M.STORE_STATE]] | K.ROOM_OUTPUTS[memory[M.ROOM_STATE]]
    out = I.grant(asked, memory[M.OUT], memory[M.LOCK_WORD])
    _note_edges(memory, settings, now, out)
    memory[M.OUT] = out
    return out

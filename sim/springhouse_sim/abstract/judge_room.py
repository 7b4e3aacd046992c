"""Room side: 3, 9, 10, 12, 13, 14, 17, 18."""

from springhouse import fitted as F
from springhouse import latch as L
from springhouse import memory as M
from springhouse import output as O
from springhouse import reading as R
from springhouse import setting as S
from springhouse import timekeeping as T

from springhouse_sim.abstract import env as V
from springhouse_sim.abstract.fields import left_ms
from springhouse_sim.abstract.waits import DAY_MS, DELIVERY, shortened, unlimited
from springhouse_sim.records import IntRecord

RETRY_MS = (60000, 300000, 1800000)


def _coil_freezes(before: IntRecord, settings: IntRecord, env: IntRecord) -> bool:
    """Whether water in the coil threatens to freeze, by what the trusted probes say."""
    water = 99000
    error = 0
    if before[M.OUT] & O.PUMP and env[V.COIL_IN_TRUSTED]:
        water = env[V.COIL_IN_MC]
        error = settings[S.COIL_IN_ERR_MK]
    elif env[V.LOW_TRUSTED]:
        water = env[V.LOW_MC]
        error = settings[S.STORE_LOW_ERR_MK]
    if settings[S.BRINE]:
        return water - error < settings[S.BRINE_LIMIT_MC]
    if water + error < 0:
        return True
    if env[V.COIL_AIR_TRUSTED]:
        return env[V.COIL_AIR_MC] - settings[S.COIL_AIR_ERR_MK] < 3000
    return env[V.ROOM_TRUSTED] != 0 and env[V.ROOM_MC] - settings[S.ROOM_ERR_MK] < 3000


def _flow(
    before: IntRecord,
    memory: IntRecord,
    settings: IntRecord,
    readings: IntRecord,
    env: IntRecord,
    out: int,
) -> int:
    """9: while the pump runs, either flow shows now or a clock runs that stops it in time."""
    now = readings[R.NOW_MS]
    if settings[S.FITTED] & F.FLOW:
        slot = M.FLOW_T
        first_ms = settings[S.PRIME_S] * 1000
        later_ms = settings[S.FLOW_GAP_S] * 1000
        shown = env[V.FLOW_SEEN] != 0
    elif settings[S.FITTED] & F.COIL_IN:
        slot = M.FOLLOW_T
        first_ms = settings[S.FOLLOW_S] * 1000
        later_ms = first_ms
        shown = env[V.FLOW_SEEN] != 0 and env[V.LOW_TRUSTED] != 0
    else:
        slot = M.SPELL_T
        first_ms = settings[S.SPELL_ON_S] * 1000
        later_ms = first_ms
        shown = False
    started = out & ~before[M.OUT] & O.PUMP != 0
    if slot == M.SPELL_T:
        if started and before[slot] >= 0:
            return 9
        off_ms = settings[S.SPELL_OFF_S] * 1000
        if before[M.OUT] & ~out & O.PUMP and left_ms(memory, slot, now) < off_ms:
            return 9
    if not out & O.PUMP:
        return 0
    if before[slot] == T.DUE and not started and not shown:
        return 9
    if not shown and not (started and slot == M.FOLLOW_T):
        if started:  # the clock of an earlier spell is none of this one
            is_ms = left_ms(memory, slot, now)
            return 9 if is_ms < 0 or is_ms > first_ms else 0
        most_ms = first_ms if before[slot] >= 0 else later_ms
        if unlimited(before, memory, slot, now, most_ms):
            return 9
    return 0


def room(
    before: IntRecord,
    memory: IntRecord,
    settings: IntRecord,
    readings: IntRecord,
    env: IntRecord,
    out: int,
) -> int:
    """Delivery's own slice."""
    now = readings[R.NOW_MS]
    if out & O.FAN and not env[V.ROOM_TRUSTED]:
        return 3
    if out & O.PUMP and _coil_freezes(before, settings, env):
        return 13
    tray = settings[S.FITTED] & F.TRAY and (env[V.TRAY_OPEN] or before[M.TRAY_T] >= 0)
    if tray and out & DELIVERY:
        return 12
    if before[M.LATCH] & L.ROOM and not env[V.PRESSED] and out & DELIVERY:
        return 18
    if env[V.OWNER_STOP] and out & (DELIVERY | O.COMPRESSOR):
        return 18
    if before[M.DRY_WAIT_T] >= 0 and out & O.PUMP:
        return 10
    if shortened(before, memory, M.DRY_WAIT_T, now):
        return 10
    return _flow(before, memory, settings, readings, env, out)


def dry(
    before: IntRecord,
    memory: IntRecord,
    settings: IntRecord,
    readings: IntRecord,
    env: IntRecord,
    out: int,
) -> int:
    """10 and 18: each dry run is counted and waited for, the fourth of a day latches."""
    broken = _flow(before, memory, settings, readings, env, out)
    if broken:
        return broken
    now = readings[R.NOW_MS]
    if env[V.PRESSED]:
        return 0 if not memory[M.LATCH] & L.DRY or not out & O.PUMP else 18
    counted = before[M.DRY_COUNT]
    if before[M.DRY_DAY_T] == T.DUE:
        counted = 0
    if memory[M.DRY_COUNT] < counted:
        return 10
    if memory[M.DRY_COUNT] > counted:
        if left_ms(memory, M.DRY_DAY_T, now) < DAY_MS:
            return 10
        n = memory[M.DRY_COUNT]
        if n <= 3 and left_ms(memory, M.DRY_WAIT_T, now) < RETRY_MS[n - 1]:
            return 10
        if n > 3 and not memory[M.LATCH] & L.DRY:
            return 10
    if before[M.LATCH] & L.DRY and not memory[M.LATCH] & L.DRY:
        return 18
    if memory[M.LATCH] & L.DRY and out & O.PUMP:
        return 18
    if memory[M.DRY_COUNT] > 4:
        return 10
    return 0


def air(
    before: IntRecord,
    memory: IntRecord,
    settings: IntRecord,
    readings: IntRecord,
    env: IntRecord,
    out: int,
) -> int:
    """13: freezing coil. 14: no air. 17: battery. 18: the latch of the fans."""
    now = readings[R.NOW_MS]
    if out & O.PUMP and _coil_freezes(before, settings, env):
        return 13
    if memory[M.COIL_T] >= 0 and out & O.PUMP:
        return 13
    if shortened(before, memory, M.COIL_T, now):
        return 13
    if out & DELIVERY and _battery_low(before, settings, env):
        return 17
    if memory[M.LATCH] & L.STILL and out & DELIVERY:
        return 18
    if before[M.LATCH] & L.STILL & ~memory[M.LATCH] and not env[V.PRESSED]:
        return 18
    return _still(before, memory, settings, readings, env, out)


def _battery_low(before: IntRecord, settings: IntRecord, env: IntRecord) -> bool:
    """Whether the battery must not be drawn from: below its cut-off, or not yet well above it."""
    if not settings[S.FITTED] & F.BATTERY:
        return False
    if settings[S.FITTED] & F.MAINS and not env[V.MAINS_BAD]:
        return False
    if before[M.FLAGS] & M.FLAG_BATTERY_LOW:
        rearm_mv = settings[S.BATTERY_CUT_MV] + settings[S.BATTERY_REARM_MV]
        return env[V.BATTERY_MV] <= rearm_mv
    return env[V.BATTERY_MV] < settings[S.BATTERY_CUT_MV]


def _still(
    before: IntRecord,
    memory: IntRecord,
    settings: IntRecord,
    readings: IntRecord,
    env: IntRecord,
    out: int,
) -> int:
    """14: while fans stand still a clock runs that stops the pump in time."""
    if not settings[S.FITTED] & F.FAN_TACH or env[V.FAN_TURNS]:
        return 0
    now = readings[R.NOW_MS]
    both = before[M.OUT] & DELIVERY == DELIVERY
    if both and before[M.STILL_T] == T.DUE and out & O.PUMP:
        return 14
    most_ms = settings[S.FAN_STILL_S] * 1000
    counts = both and before[M.STILL_T] != T.DUE
    return 14 if counts and unlimited(before, memory, M.STILL_T, now, most_ms) else 0

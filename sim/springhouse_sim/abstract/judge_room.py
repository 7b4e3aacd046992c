"""Room side: 3, 9, 10, 12, 13, 14, 17, 18."""

from springhouse import fitted, latch, output, reading, setting, timekeeping
from springhouse import memory as cell

from springhouse_sim.abstract import env as env_slot
from springhouse_sim.abstract.fields import left_ms
from springhouse_sim.abstract.waits import DAY_MS, DELIVERY, shortened, unlimited
from springhouse_sim.records import IntRecord

RETRY_MS = (60000, 300000, 1800000)


def _coil_freezes(before: IntRecord, settings: IntRecord, env: IntRecord) -> bool:
    """Whether water in the coil threatens to freeze, by what the trusted probes say."""
    water = 99000
    error = 0
    if before[cell.OUT] & output.PUMP and env[env_slot.COIL_IN_TRUSTED]:
        water = env[env_slot.COIL_IN_MC]
        error = settings[setting.COIL_IN_ERR_MK]
    elif env[env_slot.LOW_TRUSTED]:
        water = env[env_slot.LOW_MC]
        error = settings[setting.STORE_LOW_ERR_MK]
    if settings[setting.BRINE]:
        return water - error < settings[setting.BRINE_LIMIT_MC]
    if water + error < 0:
        return True
    if env[env_slot.COIL_AIR_TRUSTED]:
        return env[env_slot.COIL_AIR_MC] - settings[setting.COIL_AIR_ERR_MK] < 3000
    return (
        env[env_slot.ROOM_TRUSTED] != 0
        and env[env_slot.ROOM_MC] - settings[setting.ROOM_ERR_MK] < 3000
    )


def _flow(
    before: IntRecord,
    memory: IntRecord,
    settings: IntRecord,
    readings: IntRecord,
    env: IntRecord,
    out: int,
) -> int:
    """9: while the pump runs, either flow shows now or a clock runs that stops it in time."""
    now = readings[reading.NOW_MS]
    if settings[setting.FITTED] & fitted.FLOW:
        slot = cell.FLOW_T
        first_ms = settings[setting.PRIME_S] * 1000
        later_ms = settings[setting.FLOW_GAP_S] * 1000
        shown = env[env_slot.FLOW_SEEN] != 0
    elif settings[setting.FITTED] & fitted.COIL_IN:
        slot = cell.FOLLOW_T
        first_ms = settings[setting.FOLLOW_S] * 1000
        later_ms = first_ms
        shown = env[env_slot.FLOW_SEEN] != 0 and env[env_slot.LOW_TRUSTED] != 0
    else:
        slot = cell.SPELL_T
        first_ms = settings[setting.SPELL_ON_S] * 1000
        later_ms = first_ms
        shown = False
    started = out & ~before[cell.OUT] & output.PUMP != 0
    if slot == cell.SPELL_T:
        if started and before[slot] >= 0:
            return 9
        off_ms = settings[setting.SPELL_OFF_S] * 1000
        if before[cell.OUT] & ~out & output.PUMP and left_ms(memory, slot, now) < off_ms:
            return 9
    if not out & output.PUMP:
        return 0
    if before[slot] == timekeeping.DUE and not started and not shown:
        return 9
    if not shown and not (started and slot == cell.FOLLOW_T):
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
    now = readings[reading.NOW_MS]
    if out & output.FAN and not env[env_slot.ROOM_TRUSTED]:
        return 3
    if out & output.PUMP and _coil_freezes(before, settings, env):
        return 13
    tray = settings[setting.FITTED] & fitted.TRAY and (
        env[env_slot.TRAY_OPEN] or before[cell.TRAY_T] >= 0
    )
    if tray and out & DELIVERY:
        return 12
    if before[cell.LATCH] & latch.ROOM and not env[env_slot.PRESSED] and out & DELIVERY:
        return 18
    if env[env_slot.OWNER_STOP] and out & (DELIVERY | output.COMPRESSOR):
        return 18
    if before[cell.DRY_WAIT_T] >= 0 and out & output.PUMP:
        return 10
    if shortened(before, memory, cell.DRY_WAIT_T, now):
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
    now = readings[reading.NOW_MS]
    if env[env_slot.PRESSED]:
        return 0 if not memory[cell.LATCH] & latch.DRY or not out & output.PUMP else 18
    counted = before[cell.DRY_COUNT]
    if before[cell.DRY_DAY_T] == timekeeping.DUE:
        counted = 0
    if memory[cell.DRY_COUNT] < counted:
        return 10
    if memory[cell.DRY_COUNT] > counted:
        if left_ms(memory, cell.DRY_DAY_T, now) < DAY_MS:
            return 10
        n = memory[cell.DRY_COUNT]
        if n <= 3 and left_ms(memory, cell.DRY_WAIT_T, now) < RETRY_MS[n - 1]:
            return 10
        if n > 3 and not memory[cell.LATCH] & latch.DRY:
            return 10
    if before[cell.LATCH] & latch.DRY and not memory[cell.LATCH] & latch.DRY:
        return 18
    if memory[cell.LATCH] & latch.DRY and out & output.PUMP:
        return 18
    if memory[cell.DRY_COUNT] > 4:
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
    now = readings[reading.NOW_MS]
    if out & output.PUMP and _coil_freezes(before, settings, env):
        return 13
    if memory[cell.COIL_T] >= 0 and out & output.PUMP:
        return 13
    if shortened(before, memory, cell.COIL_T, now):
        return 13
    if out & DELIVERY and _battery_low(before, settings, env):
        return 17
    if memory[cell.LATCH] & latch.STILL and out & DELIVERY:
        return 18
    if before[cell.LATCH] & latch.STILL & ~memory[cell.LATCH] and not env[env_slot.PRESSED]:
        return 18
    return _still(before, memory, settings, readings, env, out)


def _battery_low(before: IntRecord, settings: IntRecord, env: IntRecord) -> bool:
    """Whether the battery must not be drawn from: below its cut-off, or not yet well above it."""
    if not settings[setting.FITTED] & fitted.BATTERY:
        return False
    if settings[setting.FITTED] & fitted.MAINS and not env[env_slot.MAINS_BAD]:
        return False
    if before[cell.FLAGS] & cell.FLAG_BATTERY_LOW:
        rearm_mv = settings[setting.BATTERY_CUT_MV] + settings[setting.BATTERY_REARM_MV]
        return env[env_slot.BATTERY_MV] <= rearm_mv
    return env[env_slot.BATTERY_MV] < settings[setting.BATTERY_CUT_MV]


def _still(
    before: IntRecord,
    memory: IntRecord,
    settings: IntRecord,
    readings: IntRecord,
    env: IntRecord,
    out: int,
) -> int:
    """14: while fans stand still a clock runs that stops the pump in time."""
    if not settings[setting.FITTED] & fitted.FAN_TACH or env[env_slot.FAN_TURNS]:
        return 0
    now = readings[reading.NOW_MS]
    both = before[cell.OUT] & DELIVERY == DELIVERY
    if both and before[cell.STILL_T] == timekeeping.DUE and out & output.PUMP:
        return 14
    most_ms = settings[setting.FAN_STILL_S] * 1000
    counts = both and before[cell.STILL_T] != timekeeping.DUE
    return 14 if counts and unlimited(before, memory, cell.STILL_T, now, most_ms) else 0

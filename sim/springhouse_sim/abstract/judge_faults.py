"""Latches, floats and acknowledgements: 11, 12, 18."""

from springhouse import fitted, output, reading, setting, timekeeping
from springhouse import latch as latches
from springhouse import memory as cell

from springhouse_sim.abstract import env as env_slot
from springhouse_sim.abstract.fields import left_ms
from springhouse_sim.abstract.waits import ACK_WAIT_MS, DELIVERY, MOTORS
from springhouse_sim.records import IntRecord


def faults(
    before: IntRecord,
    memory: IntRecord,
    settings: IntRecord,
    readings: IntRecord,
    env: IntRecord,
    out: int,
) -> int:
    """A latch holds until pressed, a press while the fault is true does not count."""
    latch = memory[cell.LATCH]
    if before[cell.LATCH] & ~latch and not env[env_slot.PRESSED]:
        return 18
    if env[env_slot.FLOODED] and not latch & latches.FLOOD and not env[env_slot.SERVICE]:
        return 11
    if latch & latches.FLOOD and out & MOTORS:
        return 18
    if latch & latches.STORE and out & output.COMPRESSOR:
        return 18
    if latch & latches.ROOM and out & DELIVERY:
        return 18
    if not settings[setting.FITTED] & fitted.TRAY:
        return 0
    if env[env_slot.TRAY_OPEN]:
        return _open_tray(before, memory, env, out)
    return _closed_tray(before, memory, settings, readings, env, out)


def _open_tray(before: IntRecord, memory: IntRecord, env: IntRecord, out: int) -> int:
    """Delivery is off; a press does not clear the latch; the third opening of a day latches."""
    latched = memory[cell.LATCH] & latches.TRAY
    if out & DELIVERY:
        return 12
    if env[env_slot.PRESSED] and before[cell.LATCH] & latches.TRAY and not latched:
        return 18
    opens = (
        not before[cell.FLAGS] & cell.FLAG_TRAY
        and not env[env_slot.SERVICE]
        and not env[env_slot.PRESSED]
    )
    third = before[cell.TRAY_COUNT] >= 2 and before[cell.TRAY_DAY_T] != timekeeping.DUE
    return 12 if opens and third and not latched else 0


def _closed_tray(
    before: IntRecord,
    memory: IntRecord,
    settings: IntRecord,
    readings: IntRecord,
    env: IntRecord,
    out: int,
) -> int:
    """Delivery waits its whole time after the tray closed, or after a press a minute."""
    now = readings[reading.NOW_MS]
    is_ms = left_ms(memory, cell.TRAY_T, now)
    was_ms = left_ms(before, cell.TRAY_T, now)
    least_ms = min(was_ms, ACK_WAIT_MS) if env[env_slot.PRESSED] else was_ms
    if env[env_slot.BOOT]:
        least_ms = settings[setting.TRAY_RETURN_S] * 1000
    elif before[cell.FLAGS] & cell.FLAG_TRAY:
        least_ms = ACK_WAIT_MS if env[env_slot.SERVICE] else settings[setting.TRAY_RETURN_S] * 1000
    if is_ms < least_ms or (is_ms >= 0 and out & DELIVERY):
        return 12
    return 0

"""Latches, floats and acknowledgements: 11, 12, 18."""

from springhouse import fitted as F
from springhouse import latch as L
from springhouse import memory as M
from springhouse import output as O
from springhouse import reading as R
from springhouse import setting as S
from springhouse import timekeeping as T

from springhouse_sim.abstract import env as V
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
    latch = memory[M.LATCH]
    if before[M.LATCH] & ~latch and not env[V.PRESSED]:
        return 18
    if env[V.FLOODED] and not latch & L.FLOOD and not env[V.SERVICE]:
        return 11
    if latch & L.FLOOD and out & MOTORS:
        return 18
    if latch & L.STORE and out & O.COMPRESSOR:
        return 18
    if latch & L.ROOM and out & DELIVERY:
        return 18
    if not settings[S.FITTED] & F.TRAY:
        return 0
    if env[V.TRAY_OPEN]:
        return _open_tray(before, memory, env, out)
    return _closed_tray(before, memory, settings, readings, env, out)


def _open_tray(before: IntRecord, memory: IntRecord, env: IntRecord, out: int) -> int:
    """Delivery is off; a press does not clear the latch; the third opening of a day latches."""
    latched = memory[M.LATCH] & L.TRAY
    if out & DELIVERY:
        return 12
    if env[V.PRESSED] and before[M.LATCH] & L.TRAY and not latched:
        return 18
    opens = not before[M.FLAGS] & M.FLAG_TRAY and not env[V.SERVICE] and not env[V.PRESSED]
    third = before[M.TRAY_COUNT] >= 2 and before[M.TRAY_DAY_T] != T.DUE
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
    now = readings[R.NOW_MS]
    is_ms = left_ms(memory, M.TRAY_T, now)
    was_ms = left_ms(before, M.TRAY_T, now)
    least_ms = min(was_ms, ACK_WAIT_MS) if env[V.PRESSED] else was_ms
    if env[V.BOOT]:
        least_ms = settings[S.TRAY_RETURN_S] * 1000
    elif before[M.FLAGS] & M.FLAG_TRAY:
        least_ms = ACK_WAIT_MS if env[V.SERVICE] else settings[S.TRAY_RETURN_S] * 1000
    if is_ms < least_ms or (is_ms >= 0 and out & DELIVERY):
        return 12
    return 0

"""Trust of one probe: 3."""

from springhouse import memory as cell
from springhouse import reading, setting, timekeeping

from springhouse_sim.abstract import env as env_slot
from springhouse_sim.abstract.waits import unlimited
from springhouse_sim.records import IntRecord

TRUSTED = 3
BAD_MS = 8000


def probe(
    before: IntRecord,
    memory: IntRecord,
    settings: IntRecord,
    readings: IntRecord,
    env: IntRecord,
) -> int:
    """Trust grows by one good new frame at a time and ends as the rules say.

    Judged on the one fitted probe of the slice.
    """
    i = 0
    while not settings[setting.FITTED] & (1 << i):
        i += 1
    was = before[cell.STORE_LOW_GOOD + i]
    good = memory[cell.STORE_LOW_GOOD + i]
    if good > was + 1 or good > TRUSTED:
        return 3
    if env[env_slot.NO_FRAMES] and good:
        return 3
    if good > was and (env[env_slot.FRAME_BAD] or (was and not env[env_slot.FRAME_NEW])):
        return 3
    if env[env_slot.STEP_TOO_BIG] and was and good > was:
        return 3
    if env[env_slot.FRAME_BAD] or env[env_slot.STEP_TOO_BIG]:
        return _rejected(before, memory, readings, i)
    if not env[env_slot.NO_FRAMES] and not memory[cell.VALID] & (1 << i):
        return 3
    return 0


def _rejected(before: IntRecord, memory: IntRecord, readings: IntRecord, i: int) -> int:
    """A rejected frame is no number; trust outlives it only while a clock runs."""
    was = before[cell.STORE_LOW_GOOD + i]
    good = memory[cell.STORE_LOW_GOOD + i]
    if 0 < was < TRUSTED and good > 1:
        return 3
    if good < TRUSTED:
        return 0
    if memory[cell.VALID] & (1 << i) or before[cell.STORE_LOW_BAD_T + i] == timekeeping.DUE:
        return 3
    now = readings[reading.NOW_MS]
    return 3 if unlimited(before, memory, cell.STORE_LOW_BAD_T + i, now, BAD_MS) else 0

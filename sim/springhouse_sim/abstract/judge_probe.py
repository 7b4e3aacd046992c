"""Trust of one probe: 3."""

from springhouse import memory as M
from springhouse import reading as R
from springhouse import setting as S
from springhouse import timekeeping as T

from springhouse_sim.abstract import env as V
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
    while not settings[S.FITTED] & (1 << i):
        i += 1
    was = before[M.STORE_LOW_GOOD + i]
    good = memory[M.STORE_LOW_GOOD + i]
    if good > was + 1 or good > TRUSTED:
        return 3
    if env[V.NO_FRAMES] and good:
        return 3
    if good > was and (env[V.FRAME_BAD] or (was and not env[V.FRAME_NEW])):
        return 3
    if env[V.STEP_TOO_BIG] and was and good > was:
        return 3
    if env[V.FRAME_BAD] or env[V.STEP_TOO_BIG]:
        return _rejected(before, memory, readings, i)
    if not env[V.NO_FRAMES] and not memory[M.VALID] & (1 << i):
        return 3
    return 0


def _rejected(before: IntRecord, memory: IntRecord, readings: IntRecord, i: int) -> int:
    """A rejected frame is no number; trust outlives it only while a clock runs."""
    was = before[M.STORE_LOW_GOOD + i]
    good = memory[M.STORE_LOW_GOOD + i]
    if 0 < was < TRUSTED and good > 1:
        return 3
    if good < TRUSTED:
        return 0
    if memory[M.VALID] & (1 << i) or before[M.STORE_LOW_BAD_T + i] == T.DUE:
        return 3
    now = readings[R.NOW_MS]
    return 3 if unlimited(before, memory, M.STORE_LOW_BAD_T + i, now, BAD_MS) else 0

"""Store side: 1, 2, 4-8, 16, 18, 25, and the ration of an ice bank (1)."""

from springhouse import fitted as F
from springhouse import latch as L
from springhouse import memory as M
from springhouse import output as O
from springhouse import reading as R
from springhouse import setting as S
from springhouse import timekeeping as T

from springhouse_sim.abstract import env as V
from springhouse_sim.abstract.fields import START_STAMPS, left_ms
from springhouse_sim.abstract.waits import shortened, unlimited
from springhouse_sim.records import IntRecord

HOUR_MS = 3600000
UNSURE_MK = 1500  # a top that reads so much warmer, errors aside, is surely said to be warm
CARE_LATCHES = L.NO_COOLING | L.PROBES


def _coldest_allowed(settings: IntRecord, env: IntRecord) -> int:
    """0, or the invariant that a running compressor would break by what the probes say."""
    low_mc = env[V.LOW_MC] - settings[S.STORE_LOW_ERR_MK]
    high_mc = env[V.HIGH_MC] - settings[S.STORE_HIGH_ERR_MK]
    if not env[V.LOW_TRUSTED] and not env[V.HIGH_TRUSTED]:
        return 2
    if not env[V.HIGH_TRUSTED] and low_mc <= settings[S.FLOOR_MC]:
        return 2
    if env[V.LOW_TRUSTED] and low_mc <= settings[S.FREEZE_MC]:
        return 1
    if env[V.HIGH_TRUSTED] and high_mc <= settings[S.FREEZE_MC]:
        return 1
    return 0


def _errors_mk(settings: IntRecord) -> int:
    return settings[S.STORE_LOW_ERR_MK] + settings[S.STORE_HIGH_ERR_MK]


def _at_the_floor(memory: IntRecord, settings: IntRecord, env: IntRecord, warm_mk: int) -> bool:
    """29: the floor is in force and reached, with a top not ``warm_mk`` above the bottom."""
    sunk = memory[M.FLAGS] & M.FLAG_SUNK
    unneeded = settings[S.ICE_BANK] or not settings[S.FITTED] & F.STORE_LOW
    if not sunk and (unneeded or memory[M.FLAGS] & M.FLAG_VOUCHED):
        return False
    coldest_mc = env[V.HIGH_MC] - settings[S.STORE_HIGH_ERR_MK]
    if env[V.LOW_TRUSTED]:
        low_mc = env[V.LOW_MC] - settings[S.STORE_LOW_ERR_MK]
        if not env[V.HIGH_TRUSTED] or low_mc < coldest_mc:
            coldest_mc = low_mc
        warm = env[V.HIGH_TRUSTED] and env[V.HIGH_MC] - env[V.LOW_MC] > warm_mk
        if warm and not sunk:
            return False
    return bool(coldest_mc <= settings[S.FLOOR_MC])


def _start_stamps(before: IntRecord, memory: IntRecord, now: int, started: bool) -> bool:
    """Whether the ring of starts gained exactly this start's hour, and lost nothing.

    A stamp that stood longer would ration starts for ever.
    """
    fresh = 0
    for n in range(START_STAMPS):
        was_ms = left_ms(before, M.START_1_T + n, now)
        is_ms = left_ms(memory, M.START_1_T + n, now)
        if was_ms >= 0 and is_ms < was_ms:
            return False
        if was_ms < 0 and is_ms >= 0:
            fresh += 1
            if is_ms != HOUR_MS:
                return False
    return fresh == (1 if started else 0)


def _waits(
    before: IntRecord,
    memory: IntRecord,
    settings: IntRecord,
    readings: IntRecord,
    env: IntRecord,
    out: int,
) -> int:
    """4, 5, 7: off-times and starts."""
    now = readings[R.NOW_MS]
    rises = out & ~before[M.OUT] & O.COMPRESSOR
    falls = before[M.OUT] & ~out & O.COMPRESSOR
    was_ms = left_ms(before, M.OFF_T, now)
    is_ms = left_ms(memory, M.OFF_T, now)
    if rises and was_ms >= 0:
        return 4
    if is_ms < was_ms or (falls and is_ms < settings[S.MIN_OFF_S] * 1000):
        return 4
    returns = settings[S.FITTED] & F.MAINS and not env[V.MAINS_BAD]
    returns = returns and not before[M.FLAGS] & M.FLAG_MAINS
    whole_ms = (settings[S.MIN_OFF_S] + settings[S.RESTART_STAGGER_S]) * 1000
    if (env[V.BOOT] or returns) and is_ms < whole_ms:
        return 5
    if is_ms > max(was_ms, whole_ms):
        return 26
    running = 0
    for n in range(START_STAMPS):
        if before[M.START_1_T + n] >= 0:
            running += 1
    if rises and running >= settings[S.STARTS_PER_HOUR]:
        return 7
    if not env[V.BOOT] and not _start_stamps(before, memory, now, rises != 0):
        return 7
    return 0


def _may_stop(before: IntRecord, memory: IntRecord, settings: IntRecord, env: IntRecord) -> bool:
    """Whether a guard or the owner may end a run before its time."""
    if _at_the_floor(memory, settings, env, _errors_mk(settings) + UNSURE_MK):
        return True
    if env[V.MAINS_BAD] or env[V.OWNER_STOP] or env[V.SETTINGS_BAD] or env[V.FLOODED]:
        return True
    if settings[S.ICE_BANK] and memory[M.ICE_T] == T.DUE:
        return True
    return before[M.LATCH] & L.STORE != 0 or before[M.REST_T] >= 0


def _ran_on(
    before: IntRecord, memory: IntRecord, settings: IntRecord, env: IntRecord, barred: int
) -> int:
    """0, or the invariant that a compressor breaks which is on."""
    if barred:
        return barred
    if _at_the_floor(memory, settings, env, _errors_mk(settings)):
        return 29
    if env[V.MAINS_BAD]:
        return 16
    if before[M.LATCH] & L.STORE:
        return 18
    return 8 if before[M.REST_T] >= 0 else 0


def store(
    before: IntRecord,
    memory: IntRecord,
    settings: IntRecord,
    readings: IntRecord,
    env: IntRecord,
    out: int,
) -> int:
    """The compressor's own slice."""
    broken = _waits(before, memory, settings, readings, env, out)
    if broken:
        return broken
    now = readings[R.NOW_MS]
    barred = _coldest_allowed(settings, env)
    on = out & O.COMPRESSOR
    broken = _ran_on(before, memory, settings, env, barred) if on else 0
    if broken:
        return broken
    if on & ~before[M.OUT] and env[V.NO_START] and not env[V.FREE_MODE]:
        return 25
    cut = before[M.OUT] & ~out & O.COMPRESSOR and left_ms(before, M.ON_T, now) >= 0
    if cut and not barred and not _may_stop(before, memory, settings, env):
        return 6
    if on & ~before[M.OUT]:
        if left_ms(memory, M.ON_T, now) < settings[S.MIN_ON_S] * 1000:
            return 6
    elif on and left_ms(memory, M.ON_T, now) < left_ms(before, M.ON_T, now):
        return 6
    return 0


def care(
    before: IntRecord,
    memory: IntRecord,
    settings: IntRecord,
    readings: IntRecord,
    env: IntRecord,
    out: int,
) -> int:
    """8: progress or rest, the third rest latches. 18: latches. 1: the ration of ice."""
    now = readings[R.NOW_MS]
    rest_ms = left_ms(memory, M.REST_T, now)
    if out & O.COMPRESSOR and rest_ms >= 0:
        return 8
    if shortened(before, memory, M.REST_T, now):
        return 8
    longest_min = max(settings[S.REST_MIN], settings[S.PULL_DOWN_REST_MIN])
    if rest_ms > longest_min * 60000:
        return 26
    if memory[M.LATCH] & CARE_LATCHES and out & O.COMPRESSOR:
        return 18
    if before[M.LATCH] & CARE_LATCHES & ~memory[M.LATCH] and not env[V.PRESSED]:
        return 18
    most_ms = settings[S.PROGRESS_MIN] * 60000
    if memory[M.PROGRESS_LEFT_MS] > most_ms or left_ms(memory, M.PROGRESS_T, now) > most_ms:
        return 8
    chilling = before[M.OUT] & (O.COMPRESSOR | O.PUMP) == O.COMPRESSOR
    if chilling and env[V.JUDGED] and not env[V.FALLEN]:
        broken = _no_progress(before, memory, settings, readings, env)
        if broken:
            return broken
    return _ice(before, memory, settings, env)


def _no_progress(
    before: IntRecord, memory: IntRecord, settings: IntRecord, readings: IntRecord, env: IntRecord
) -> int:
    """8: a clock runs while chilling shows no progress; it ends in a rest, the third latches."""
    now = readings[R.NOW_MS]
    if before[M.PROGRESS_T] == T.DUE:
        if left_ms(memory, M.REST_T, now) < settings[S.REST_MIN] * 60000:
            return 8
        third = before[M.REST_COUNT] >= 2 and before[M.REST_DAY_T] >= 0 and not env[V.PRESSED]
        return 8 if third and not memory[M.LATCH] & CARE_LATCHES else 0
    if env[V.APART] or not memory[M.OUT] & O.COMPRESSOR:
        return 0
    most_ms = settings[S.PROGRESS_MIN] * 60000
    return 8 if unlimited(before, memory, M.PROGRESS_T, now, most_ms) else 0


def _ice(before: IntRecord, memory: IntRecord, settings: IntRecord, env: IntRecord) -> int:
    """1: the ration of an ice bank comes back only when the ice was seen melted."""
    if not settings[S.ICE_BANK] or not env[V.HIGH_TRUSTED] or env[V.BOOT]:
        return 0
    if env[V.MELTED] and (memory[M.ICE_T] != T.IDLE or memory[M.ICE_LEFT_MS] <= 0):
        return 1
    if before[M.ICE_T] == T.DUE and not env[V.MELTED] and memory[M.ICE_T] != T.DUE:
        return 1  # a ration used up stays so until the ice was seen melted
    if not env[V.MELTED] and memory[M.ICE_LEFT_MS] > before[M.ICE_LEFT_MS]:
        return 1
    return 0

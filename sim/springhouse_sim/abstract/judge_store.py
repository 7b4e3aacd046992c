"""Store side: 1, 2, 4-8, 16, 18, 25, and the ration of an ice bank (1)."""

from springhouse import fitted, latch, output, reading, setting, timekeeping
from springhouse import memory as cell

from springhouse_sim.abstract import env as env_slot
from springhouse_sim.abstract.fields import START_STAMPS, left_ms
from springhouse_sim.abstract.waits import shortened, unlimited
from springhouse_sim.records import IntRecord

HOUR_MS = 3600000
UNSURE_MK = 1500  # a top that reads so much warmer, errors aside, is surely said to be warm
CARE_LATCHES = latch.NO_COOLING | latch.PROBES


def _coldest_allowed(settings: IntRecord, env: IntRecord) -> int:
    """0, or the invariant that a running compressor would break by what the probes say."""
    low_mc = env[env_slot.LOW_MC] - settings[setting.STORE_LOW_ERR_MK]
    high_mc = env[env_slot.HIGH_MC] - settings[setting.STORE_HIGH_ERR_MK]
    if not env[env_slot.LOW_TRUSTED] and not env[env_slot.HIGH_TRUSTED]:
        return 2
    if not env[env_slot.HIGH_TRUSTED] and low_mc <= settings[setting.FLOOR_MC]:
        return 2
    if env[env_slot.LOW_TRUSTED] and low_mc <= settings[setting.FREEZE_MC]:
        return 1
    if env[env_slot.HIGH_TRUSTED] and high_mc <= settings[setting.FREEZE_MC]:
        return 1
    return 0


def _errors_mk(settings: IntRecord) -> int:
    return settings[setting.STORE_LOW_ERR_MK] + settings[setting.STORE_HIGH_ERR_MK]


def _at_the_floor(memory: IntRecord, settings: IntRecord, env: IntRecord, warm_mk: int) -> bool:
    """29: the floor is in force and reached, with a top not ``warm_mk`` above the bottom."""
    sunk = memory[cell.FLAGS] & cell.FLAG_SUNK
    unneeded = settings[setting.ICE_BANK] or not settings[setting.FITTED] & fitted.STORE_LOW
    if not sunk and (unneeded or memory[cell.FLAGS] & cell.FLAG_VOUCHED):
        return False
    coldest_mc = env[env_slot.HIGH_MC] - settings[setting.STORE_HIGH_ERR_MK]
    if env[env_slot.LOW_TRUSTED]:
        low_mc = env[env_slot.LOW_MC] - settings[setting.STORE_LOW_ERR_MK]
        if not env[env_slot.HIGH_TRUSTED] or low_mc < coldest_mc:
            coldest_mc = low_mc
        warm = env[env_slot.HIGH_TRUSTED] and env[env_slot.HIGH_MC] - env[env_slot.LOW_MC] > warm_mk
        if warm and not sunk:
            return False
    return bool(coldest_mc <= settings[setting.FLOOR_MC])


def _start_stamps(before: IntRecord, memory: IntRecord, now: int, started: bool) -> bool:
    """Whether the ring of starts gained exactly this start's hour, and lost nothing.

    A stamp that stood longer would ration starts for ever.
    """
    fresh = 0
    for n in range(START_STAMPS):
        was_ms = left_ms(before, cell.START_1_T + n, now)
        is_ms = left_ms(memory, cell.START_1_T + n, now)
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
    now = readings[reading.NOW_MS]
    rises = out & ~before[cell.OUT] & output.COMPRESSOR
    falls = before[cell.OUT] & ~out & output.COMPRESSOR
    was_ms = left_ms(before, cell.OFF_T, now)
    is_ms = left_ms(memory, cell.OFF_T, now)
    if rises and was_ms >= 0:
        return 4
    if is_ms < was_ms or (falls and is_ms < settings[setting.MIN_OFF_S] * 1000):
        return 4
    returns = settings[setting.FITTED] & fitted.MAINS and not env[env_slot.MAINS_BAD]
    returns = returns and not before[cell.FLAGS] & cell.FLAG_MAINS
    whole_ms = (settings[setting.MIN_OFF_S] + settings[setting.RESTART_STAGGER_S]) * 1000
    if (env[env_slot.BOOT] or returns) and is_ms < whole_ms:
        return 5
    if is_ms > max(was_ms, whole_ms):
        return 26
    running = 0
    for n in range(START_STAMPS):
        if before[cell.START_1_T + n] >= 0:
            running += 1
    if rises and running >= settings[setting.STARTS_PER_HOUR]:
        return 7
    if not env[env_slot.BOOT] and not _start_stamps(before, memory, now, rises != 0):
        return 7
    return 0


def _may_stop(before: IntRecord, memory: IntRecord, settings: IntRecord, env: IntRecord) -> bool:
    """Whether a guard or the owner may end a run before its time."""
    if _at_the_floor(memory, settings, env, _errors_mk(settings) + UNSURE_MK):
        return True
    if (
        env[env_slot.MAINS_BAD]
        or env[env_slot.OWNER_STOP]
        or env[env_slot.SETTINGS_BAD]
        or env[env_slot.FLOODED]
    ):
        return True
    if settings[setting.ICE_BANK] and memory[cell.ICE_T] == timekeeping.DUE:
        return True
    return before[cell.LATCH] & latch.STORE != 0 or before[cell.REST_T] >= 0


def _ran_on(
    before: IntRecord, memory: IntRecord, settings: IntRecord, env: IntRecord, barred: int
) -> int:
    """0, or the invariant that a compressor breaks which is on."""
    if barred:
        return barred
    if _at_the_floor(memory, settings, env, _errors_mk(settings)):
        return 29
    if env[env_slot.MAINS_BAD]:
        return 16
    if before[cell.LATCH] & latch.STORE:
        return 18
    return 8 if before[cell.REST_T] >= 0 else 0


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
    now = readings[reading.NOW_MS]
    barred = _coldest_allowed(settings, env)
    on = out & output.COMPRESSOR
    broken = _ran_on(before, memory, settings, env, barred) if on else 0
    if broken:
        return broken
    if on & ~before[cell.OUT] and env[env_slot.NO_START] and not env[env_slot.FREE_MODE]:
        return 25
    cut = before[cell.OUT] & ~out & output.COMPRESSOR and left_ms(before, cell.ON_T, now) >= 0
    if cut and not barred and not _may_stop(before, memory, settings, env):
        return 6
    if on & ~before[cell.OUT]:
        if left_ms(memory, cell.ON_T, now) < settings[setting.MIN_ON_S] * 1000:
            return 6
    elif on and left_ms(memory, cell.ON_T, now) < left_ms(before, cell.ON_T, now):
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
    now = readings[reading.NOW_MS]
    rest_ms = left_ms(memory, cell.REST_T, now)
    if out & output.COMPRESSOR and rest_ms >= 0:
        return 8
    if shortened(before, memory, cell.REST_T, now):
        return 8
    longest_min = max(settings[setting.REST_MIN], settings[setting.PULL_DOWN_REST_MIN])
    if rest_ms > longest_min * 60000:
        return 26
    if memory[cell.LATCH] & CARE_LATCHES and out & output.COMPRESSOR:
        return 18
    if before[cell.LATCH] & CARE_LATCHES & ~memory[cell.LATCH] and not env[env_slot.PRESSED]:
        return 18
    most_ms = settings[setting.PROGRESS_MIN] * 60000
    if memory[cell.PROGRESS_LEFT_MS] > most_ms or left_ms(memory, cell.PROGRESS_T, now) > most_ms:
        return 8
    chilling = before[cell.OUT] & (output.COMPRESSOR | output.PUMP) == output.COMPRESSOR
    if chilling and env[env_slot.JUDGED] and not env[env_slot.FALLEN]:
        broken = _no_progress(before, memory, settings, readings, env)
        if broken:
            return broken
    return _ice(before, memory, settings, env)


def _no_progress(
    before: IntRecord, memory: IntRecord, settings: IntRecord, readings: IntRecord, env: IntRecord
) -> int:
    """8: a clock runs while chilling shows no progress; it ends in a rest, the third latches."""
    now = readings[reading.NOW_MS]
    if before[cell.PROGRESS_T] == timekeeping.DUE:
        if left_ms(memory, cell.REST_T, now) < settings[setting.REST_MIN] * 60000:
            return 8
        third = (
            before[cell.REST_COUNT] >= 2
            and before[cell.REST_DAY_T] >= 0
            and not env[env_slot.PRESSED]
        )
        return 8 if third and not memory[cell.LATCH] & CARE_LATCHES else 0
    if env[env_slot.APART] or not memory[cell.OUT] & output.COMPRESSOR:
        return 0
    most_ms = settings[setting.PROGRESS_MIN] * 60000
    return 8 if unlimited(before, memory, cell.PROGRESS_T, now, most_ms) else 0


def _ice(before: IntRecord, memory: IntRecord, settings: IntRecord, env: IntRecord) -> int:
    """1: the ration of an ice bank comes back only when the ice was seen melted."""
    if not settings[setting.ICE_BANK] or not env[env_slot.HIGH_TRUSTED] or env[env_slot.BOOT]:
        return 0
    if env[env_slot.MELTED] and (
        memory[cell.ICE_T] != timekeeping.IDLE or memory[cell.ICE_LEFT_MS] <= 0
    ):
        return 1
    if (
        before[cell.ICE_T] == timekeeping.DUE
        and not env[env_slot.MELTED]
        and memory[cell.ICE_T] != timekeeping.DUE
    ):
        return 1  # a ration used up stays so until the ice was seen melted
    if not env[env_slot.MELTED] and memory[cell.ICE_LEFT_MS] > before[cell.ICE_LEFT_MS]:
        return 1
    return 0

"""Invariants of the store side: 1-8, 16, 25, 26."""

from springhouse import fitted, mode, output, reading, setting

from springhouse_sim.records import IntRecord
from springhouse_sim.watch import shadow as shadow_slot
from springhouse_sim.watch import trust
from springhouse_sim.watch.tally import tally

LOW, HIGH, ROOM = range(3)
NO_START = 2  # kind of window


def probes(
    shadow: IntRecord,
    settings: IntRecord,
    readings: IntRecord,
    out: int,
    cases: IntRecord,
    violations: IntRecord,
) -> None:
    """1: not near freezing. 2: never blind, nor below the floor without top or wall. 3: trust.

    16: no compressor without mains.
    """
    if out & output.COMPRESSOR:
        warm = True
        judged = False
        for i in range(2):
            if trust.sure(shadow, readings, i):
                judged = True
                mc = trust.value_mc(settings, readings, i) - settings[setting.STORE_LOW_ERR_MK + i]
                if mc <= settings[setting.FREEZE_MC]:
                    warm = False
        if judged:
            tally(cases, violations, 1, warm)
        blind = trust.surely_not(shadow, LOW) and trust.surely_not(shadow, HIGH)
        below = False
        if trust.surely_not(shadow, HIGH) and trust.sure(shadow, readings, LOW):
            mc = trust.value_mc(settings, readings, LOW) - settings[setting.STORE_LOW_ERR_MK]
            below = mc <= settings[setting.FLOOR_MC]
        tally(cases, violations, 2, not blind and not below)
        tally(cases, violations, 3, not blind)
        if settings[setting.FITTED] & fitted.MAINS:
            since = shadow[shadow_slot.MAINS_SINCE_MS]
            tally(
                cases, violations, 16, since != -1 and shadow[shadow_slot.TIME_MS] - since >= 60000
            )
    both = output.PUMP | output.FAN
    if out & both == both:
        tally(cases, violations, 3, not trust.surely_not(shadow, ROOM))


def _in_no_start(settings: IntRecord, week_min: int) -> bool:
    """Whether a no-start window is open, minute by minute of a whole week."""
    for w in range(setting.WINDOWS):
        base = setting.WINDOW_1_KIND + setting.WINDOW_STRIDE * w
        if settings[base] != NO_START:
            continue
        start = settings[base + 2]
        end = settings[base + 3]
        if end <= start:
            end += 1440
        for day in range(7):
            if settings[base + 1] & (1 << day):
                begin = day * 1440 + start
                stop = day * 1440 + end
                if begin <= week_min < stop or begin <= week_min + 10080 < stop:
                    return True
    return False


def _tariff_excused(shadow: IntRecord, settings: IntRecord, readings: IntRecord) -> bool:
    if (
        shadow[shadow_slot.MODE] == mode.CHARGE_NOW
        or shadow[shadow_slot.MODE] == mode.FIRST_PULL_DOWN
    ):
        return True
    if not settings[setting.TARIFF_OVERRIDE] or trust.surely_not(shadow, ROOM):
        return False
    room = shadow[shadow_slot.LOW_LAST_MC + ROOM]  # a rejected frame leaves the one before in force
    return room >= settings[setting.ROOM_LIMIT_MC] - 600


def starts(
    shadow: IntRecord,
    settings: IntRecord,
    readings: IntRecord,
    out: int,
    cases: IntRecord,
    violations: IntRecord,
) -> None:
    """4: off-time. 5: full wait after power-up and mains. 7: starts an hour. 25: tariff."""
    if not out & ~shadow[shadow_slot.OUT] & output.COMPRESSOR:
        return
    now = shadow[shadow_slot.TIME_MS]
    least = settings[setting.MIN_OFF_S] * 1000
    tally(cases, violations, 4, now - shadow[shadow_slot.C_OFF_MS] >= least)
    whole = least + settings[setting.RESTART_STAGGER_S] * 1000
    mains_since = shadow[shadow_slot.MAINS_SINCE_MS]
    waited = now - shadow[shadow_slot.BOOT_MS] >= whole
    tally(cases, violations, 5, waited and mains_since != -1 and now - mains_since >= whole)
    recent = 0
    for slot in range(shadow_slot.START_1_MS, shadow_slot.START_4_MS + 1):
        if now - shadow[slot] < 3600000:
            recent += 1
    tally(cases, violations, 7, recent < settings[setting.STARTS_PER_HOUR])
    shadow[shadow_slot.START_1_MS + shadow[shadow_slot.START_NEXT]] = now
    shadow[shadow_slot.START_NEXT] = (shadow[shadow_slot.START_NEXT] + 1) % 4
    if readings[reading.WEEK_MIN] >= 0 and _in_no_start(settings, readings[reading.WEEK_MIN]):
        tally(cases, violations, 25, _tariff_excused(shadow, settings, readings))
    elif readings[reading.WEEK_MIN] >= 0:
        tally(cases, violations, 25, True)
    shadow[shadow_slot.C_ON_MS] = now


def stops(
    shadow: IntRecord,
    settings: IntRecord,
    readings: IntRecord,
    out: int,
    resting: bool,
    cases: IntRecord,
    violations: IntRecord,
) -> None:
    """6: minimum on-time, unless a guard or the owner ends the run."""
    if not shadow[shadow_slot.OUT] & ~out & output.COMPRESSOR:
        return
    now = shadow[shadow_slot.TIME_MS]
    shadow[shadow_slot.C_OFF_MS] = now
    excused = resting or shadow[shadow_slot.MAINS_SINCE_MS] == -1 or shadow[shadow_slot.FLOOD] != 0
    excused = (
        excused or shadow[shadow_slot.MODE] == mode.OFF or shadow[shadow_slot.MODE] == mode.SERVICE
    )
    excused = excused or not readings[reading.SETTINGS_OK]
    excused = excused or not readings[reading.LEVEL_OK] or not readings[reading.FLOOR_DRY]
    for i in range(2):
        if not settings[setting.FITTED] & (fitted.STORE_LOW << i):
            continue
        if not trust.sure(shadow, readings, i):
            excused = True  # blind, or the floor without the high probe
        else:
            mc = trust.value_mc(settings, readings, i) - settings[setting.STORE_LOW_ERR_MK + i]
            if mc <= _stops_below_mc(shadow, settings, readings):
                excused = True
    if settings[setting.ICE_BANK]:
        excused = True  # the ration of ice may be used up
    tally(
        cases,
        violations,
        6,
        excused or now - shadow[shadow_slot.C_ON_MS] >= settings[setting.MIN_ON_S] * 1000,
    )


def _stops_below_mc(shadow: IntRecord, settings: IntRecord, readings: IntRecord) -> int:
    """Coldest reading less its error at or below which the freeze guard may stop the compressor.

    Whether the low probe vouches for the top is not seen from outside: where it must, that may be
    the floor.
    """
    limit = settings[setting.FREEZE_MC]
    if not settings[setting.ICE_BANK] or not trust.sure(shadow, readings, HIGH):
        limit = max(limit, settings[setting.FLOOR_MC])
    return limit


def _mean_mc(shadow: IntRecord, settings: IntRecord, readings: IntRecord, pattern: int) -> int:
    low = trust.value_mc(settings, readings, LOW)
    high = trust.value_mc(settings, readings, HIGH)
    if pattern == 1:
        return low
    return high if pattern == 2 else (low + high) // 2


def _pattern(shadow: IntRecord, readings: IntRecord) -> int:
    """Bits of the surely trusted store probes."""
    pattern = 0
    for i in range(2):
        if trust.sure(shadow, readings, i):
            pattern |= 1 << i
    return pattern


def progress(
    shadow: IntRecord,
    settings: IntRecord,
    readings: IntRecord,
    out: int,
    cases: IntRecord,
    violations: IntRecord,
) -> None:
    """8: an unbroken run without delivery makes progress or ends.

    Where the controller begins to count cannot be seen from outside: it goes on from earlier runs,
    and from the moment of its latest progress. But of any two spans one after the other one lies
    inside what is seen here. Progress is how far both probes together are below their highest.
    """
    pattern = 0
    fallen = 0
    for i in range(2):
        if trust.believed(shadow, readings, i):
            pattern |= 1 << i
            mc = trust.value_mc(settings, readings, i)
            shadow[shadow_slot.RUN_LOW_MC + i] = max(shadow[shadow_slot.RUN_LOW_MC + i], mc)
            fallen += shadow[shadow_slot.RUN_LOW_MC + i] - mc
    chilling = out & (output.COMPRESSOR | output.PUMP) == output.COMPRESSOR
    if not chilling or pattern == 0 or settings[setting.ICE_BANK]:
        shadow[shadow_slot.RUN_TRUST] = 0
        return
    if pattern != shadow[shadow_slot.RUN_TRUST] or fallen >= settings[setting.PROGRESS_MK]:
        shadow[shadow_slot.RUN_TRUST] = pattern
        shadow[shadow_slot.RUN_MS] = shadow[shadow_slot.TIME_MS]
        for i in range(2):
            shadow[shadow_slot.RUN_LOW_MC + i] = trust.value_mc(settings, readings, i)
    run_ms = shadow[shadow_slot.TIME_MS] - shadow[shadow_slot.RUN_MS]
    tally(cases, violations, 8, run_ms <= settings[setting.PROGRESS_MIN] * 120000 + 2000)


def demand(
    shadow: IntRecord,
    settings: IntRecord,
    readings: IntRecord,
    out: int,
    latched: bool,
    resting: bool,
    cases: IntRecord,
    violations: IntRecord,
) -> None:
    """26: healthy inputs and demand for cold start the compressor within the longest wait."""
    pattern = _pattern(shadow, readings)
    healthy = not latched and not resting and shadow[shadow_slot.MODE] == mode.AUTOMATIC
    healthy = (
        healthy and shadow[shadow_slot.MAINS_SINCE_MS] != -1 and readings[reading.SETTINGS_OK] != 0
    )
    all_fitted = settings[setting.FITTED] & (fitted.STORE_LOW | fitted.STORE_HIGH)
    healthy = healthy and pattern == all_fitted
    wants = False
    if healthy:
        mean = _mean_mc(shadow, settings, readings, pattern)
        wants = (
            settings[setting.SHALLOW_MC] + settings[setting.BAND_MK]
            <= mean
            < settings[setting.WARM_FILL_MC]
        )
        limit = _stops_below_mc(shadow, settings, readings)
        for i in range(2):
            if pattern & (1 << i):
                mc = trust.value_mc(settings, readings, i) - settings[setting.STORE_LOW_ERR_MK + i]
                if mc < limit + settings[setting.FREEZE_CLEAR_MK]:
                    wants = False
        week_min = readings[reading.WEEK_MIN]
        if week_min >= 0 and _in_no_start(settings, week_min):
            wants = False
        if (
            settings[setting.ADVISED]
            and shadow[shadow_slot.TIME_MS] < shadow[shadow_slot.ADVICE_END_MS]
        ):
            wants = False  # a plan may wait
    if not wants or out & output.COMPRESSOR:
        shadow[shadow_slot.DEMAND_MS] = -1
        if wants:
            tally(cases, violations, 26, True)
        return
    if shadow[shadow_slot.DEMAND_MS] == -1:
        shadow[shadow_slot.DEMAND_MS] = shadow[shadow_slot.TIME_MS]
    longest = settings[setting.MIN_OFF_S] + settings[setting.RESTART_STAGGER_S]
    if longest < 3600:
        longest = 3600  # the ring of starts
    waited = shadow[shadow_slot.TIME_MS] - shadow[shadow_slot.DEMAND_MS]
    tally(cases, violations, 26, waited <= longest * 1000 + 2000 + 15000)

"""How long the controller cannot change its mind, and between which readings.

    ms = horizon(memory, settings, readings, watch)

`watch` holds a lowest and a highest a reading slot (at 2 * slot and 2 * slot + 1, both allowed).
After a step that changed nothing, further steps change nothing either while every reading stays
between its two and less than `ms` have gone by, provided that frames keep arriving: the age of a
fitted probe's frame is the runner's business. Bands may be narrower than needed, never wider.

`decisions` promises less, so that a jump goes further: while readings stay in its bands nothing
changes but what `probes.update` keeps (anchors and stuck timers, which a runner can follow by
calling that alone) and bits of the condition words that decide nothing in the present states. The
words are made afresh at every step, so an old one misleads nobody but a person who reads it.
Of terms that must all hold it is enough to watch one that does not.
"""

from array import array

from springhouse import advice as D
from springhouse import conditions as Q
from springhouse import fitted as F
from springhouse import memory as M
from springhouse import output as O
from springhouse import probes as P
from springhouse import reading as R
from springhouse import setting as S
from springhouse import statechart as K
from springhouse import timekeeping as T
from springhouse import vouching as V
from springhouse import week as N

FAR = T.LAST  # wider than any reading, ticks included

_FREE = (R.NOW_MS, R.FLOW_ML_MIN, R.FAN_RPM, R.BATTERY_MV)  # built once: no allocation later


def _cut(watch: "array[int]", slot: int, low: int, high: int) -> None:
    """Narrow the band of a slot."""
    if low > watch[2 * slot]:
        watch[2 * slot] = low
    if high < watch[2 * slot + 1]:
        watch[2 * slot + 1] = high


def _edge(watch: "array[int]", readings: "array[int]", slot: int, q: int, x: int) -> None:
    """Keep the comparison `q >= x`, where `q` moves at most as far as the reading does."""
    if q >= x:
        _cut(watch, slot, readings[slot] - (q - x), FAR)
    else:
        _cut(watch, slot, -FAR, readings[slot] + (x - 1 - q))


def _apart(
    watch: "array[int]", readings: "array[int]", slot_1: int, slot_2: int, q: int, x: int
) -> None:
    """Keep `q >= x`, where `q` depends on the distance of two readings."""
    room = (q - x) >> 1 if q >= x else (x - 1 - q) >> 1
    _cut(watch, slot_1, readings[slot_1] - room, readings[slot_1] + room)
    _cut(watch, slot_2, readings[slot_2] - room, readings[slot_2] + room)


def _store(
    memory: "array[int]",
    settings: "array[int]",
    readings: "array[int]",
    watch: "array[int]",
    i: int,
    words: bool,
) -> None:
    """Thresholds on store probe `i`, alone and as part of mean and coldest."""
    slot = R.STORE_LOW_MC + i
    mc = P.value_mc(memory, settings, readings, i)
    if words or V.chilling(memory):
        _edge(watch, readings, slot, mc, 5000)  # disagreement is judged above
    coldest = P.coldest_mc(memory, settings, readings)
    limit = V.freeze_limit_mc(memory, settings, readings)
    if words or not Q.flag(memory, M.FLAG_FREEZE):
        _edge(watch, readings, slot, coldest, limit + 1)
    if words or Q.flag(memory, M.FLAG_FREEZE):
        _edge(watch, readings, slot, coldest, limit + settings[S.FREEZE_CLEAR_MK])
    mean = P.mean_mc(memory, settings, readings)
    _mean(memory, settings, readings, watch, slot, mean, words)
    if words or memory[M.PROGRESS_T] != T.IDLE:
        _edge(watch, readings, slot, mean, memory[M.PROGRESS_MC] - settings[S.PROGRESS_MK] + 1)
    if memory[M.REST_BY] != 0:
        q = P.mean_of(memory, settings, readings, memory[M.REST_BY])
        _edge(watch, readings, slot, q, memory[M.REST_MC] - settings[S.CHILLS_MK] + 1)
    if settings[S.ICE_BANK]:
        _edge(watch, readings, slot, mc, settings[S.ICE_ZONE_MC])
        _edge(watch, readings, slot, mc, settings[S.MELTED_MC])


def _mean(
    memory: "array[int]",
    settings: "array[int]",
    readings: "array[int]",
    watch: "array[int]",
    slot: int,
    mean: int,
    words: bool,
) -> None:
    """Thresholds on the mean of the store: start, stop, warm fill, spent."""
    state = memory[M.STORE_STATE]
    start = Q.store_start_mc(memory, settings)
    ready = state == K.HOLD and mean >= start
    idle = state == K.CHARGE and not memory[M.OUT] & O.COMPRESSOR
    if words or state == K.HOLD:
        _edge(watch, readings, slot, mean, start)
    if words or ready or state == K.CHARGE:
        _edge(watch, readings, slot, mean, Q.store_target_mc(memory, settings) + 1)
    if words or ready or idle:
        _edge(watch, readings, slot, mean, settings[S.WARM_FILL_MC])
    if words or _delivery_open(memory, settings, readings):
        _edge(watch, readings, slot, mean, Q.spent_mc(memory, settings))
    if memory[M.ADVICE] == D.WAIT:
        _edge(watch, readings, slot, mean, D.longest_wait_mc(settings))


def _delivery_open(memory: "array[int]", settings: "array[int]", readings: "array[int]") -> bool:
    """Whether delivery goes on, or lacks neither the wish nor a warm room."""
    if memory[M.ROOM_STATE] == K.DISCHARGE:
        return True
    if (
        memory[M.ROOM_STATE] != K.WAITING
        or not Q.wanted(memory, settings)
        or not P.trusted(memory, P.ROOM)
    ):
        return False
    return P.value_mc(memory, settings, readings, P.ROOM) >= Q.room_start_mc(memory, settings)


def _two_probes(
    memory: "array[int]",
    settings: "array[int]",
    readings: "array[int]",
    watch: "array[int]",
    words: bool,
) -> None:
    """Thresholds on the distance between two probes."""
    both = P.trusted(memory, P.LOW) and P.trusted(memory, P.HIGH)
    if both and (words or V.chilling(memory)):
        low = P.value_mc(memory, settings, readings, P.LOW)
        high = P.value_mc(memory, settings, readings, P.HIGH)
        apart = abs(low - high)
        _apart(watch, readings, R.STORE_LOW_MC, R.STORE_HIGH_MC, apart, settings[S.DISAGREE_MK])
    if not P.store_seen(memory):
        return
    draw = P.draw_mc(memory, settings, readings)
    slot = R.STORE_LOW_MC if P.trusted(memory, P.LOW) else R.STORE_HIGH_MC
    useful = words or _delivery_open(memory, settings, readings)
    if P.trusted(memory, P.ROOM) and useful:
        room = P.value_mc(memory, settings, readings, P.ROOM)
        _apart(watch, readings, R.ROOM_MC, slot, room - draw, Q.useful_mk(memory, settings))
    followed = memory[M.OUT] & O.PUMP and not Q.has(settings, F.FLOW)
    if P.trusted(memory, P.COIL_IN) and (words or followed):
        inlet = P.value_mc(memory, settings, readings, P.COIL_IN)
        gap = abs(inlet - draw)
        _apart(watch, readings, R.COIL_IN_MC, slot, gap, settings[S.FOLLOW_MK] + 1)


def _vouching(
    memory: "array[int]", settings: "array[int]", readings: "array[int]", watch: "array[int]"
) -> None:
    """Thresholds of what the store probes vouch for, and of the bottom warmer than the top."""
    low = P.value_mc(memory, settings, readings, P.LOW)
    high = P.value_mc(memory, settings, readings, P.HIGH)
    gap = high - low
    differ = V.may_differ_mk(settings)
    _edge(watch, readings, R.STORE_LOW_MC, low, V.judged_from_mc(settings))
    if not memory[M.OUT] & O.PUMP:
        x = V.DENSEST_MC + differ + 1
        if low < x or -gap > differ:
            _edge(watch, readings, R.STORE_LOW_MC, low, x)
        if low >= x:
            _apart(watch, readings, R.STORE_LOW_MC, R.STORE_HIGH_MC, -gap, differ + 1)
    vouched = Q.flag(memory, M.FLAG_VOUCHED)
    if low >= V.judged_from_mc(settings):
        if V.chilling(memory):
            _apart(watch, readings, R.STORE_LOW_MC, R.STORE_HIGH_MC, gap, differ + 1)
            _apart(watch, readings, R.STORE_LOW_MC, R.STORE_HIGH_MC, -gap, differ + 1)
    else:
        _edge(watch, readings, R.STORE_HIGH_MC, high, V.least_top_mc(memory, settings) + 1)
        if vouched:
            _edge(watch, readings, R.STORE_HIGH_MC, high, memory[M.TOP_LEAST_MC] + V.RISE_MK)
    if not memory[M.OUT] & O.COMPRESSOR:
        return
    if V.chilling(memory):
        _edge(watch, readings, R.STORE_LOW_MC, low, memory[M.CHILL_LOW_MC] + V.STEP_MK)
    if low >= V.sinks_below_mc(settings):
        _edge(watch, readings, R.STORE_LOW_MC, low, V.sinks_below_mc(settings))
        return
    _edge(watch, readings, R.STORE_LOW_MC, low, V.colder_than_ever_mc(memory, settings) + 1)
    if V.chilling(memory):
        _edge(watch, readings, R.STORE_LOW_MC, low, memory[M.CHILL_LOW_MC] - V.SINK_MK + 1)
    _apart(watch, readings, R.STORE_LOW_MC, R.STORE_HIGH_MC, gap, differ + 1)


def _warm_top(
    memory: "array[int]",
    settings: "array[int]",
    readings: "array[int]",
    watch: "array[int]",
    words: bool,
) -> None:
    """The gap that puts the floor in force; a store well above the floor needs no guard."""
    settled = Q.flag(memory, M.FLAG_VOUCHED) or Q.flag(memory, M.FLAG_SUNK)
    if settled or not V.needed(settings):
        return
    coldest = P.coldest_mc(memory, settings, readings)
    x = max(settings[S.FREEZE_MC], settings[S.FLOOR_MC]) + settings[S.FREEZE_CLEAR_MK]
    if coldest >= x and not words:
        _edge(watch, readings, R.STORE_LOW_MC, coldest, x)
        _edge(watch, readings, R.STORE_HIGH_MC, coldest, x)
        return
    gap = V.gap_mk(memory, settings, readings)
    x = V.warm_gap_mk(memory, settings) + 1
    _apart(watch, readings, R.STORE_LOW_MC, R.STORE_HIGH_MC, gap, x)


def _room(
    memory: "array[int]",
    settings: "array[int]",
    readings: "array[int]",
    watch: "array[int]",
    words: bool,
) -> None:
    """Thresholds on the room probe alone."""
    room = P.value_mc(memory, settings, readings, P.ROOM)
    discharge = memory[M.ROOM_STATE] == K.DISCHARGE
    limit = settings[S.ROOM_LIMIT_MC]
    if words or Q.wanted(memory, settings):
        _edge(watch, readings, R.ROOM_MC, room, limit)
        _edge(watch, readings, R.ROOM_MC, room, limit - Q.HOT_BAND_MK)
    if words or (Q.wanted(memory, settings) and memory[M.ROOM_STATE] == K.WAITING):
        _edge(watch, readings, R.ROOM_MC, room, Q.room_start_mc(memory, settings))
    if words or _delivery_open(memory, settings, readings):
        _edge(watch, readings, R.ROOM_MC, room, settings[S.ROOM_TARGET_MC] + 1)
    if words or discharge:
        _edge(watch, readings, R.ROOM_MC, room, Q.full_fan_mc(memory, settings))


def _coil(
    memory: "array[int]", settings: "array[int]", readings: "array[int]", watch: "array[int]"
) -> None:
    """Thresholds of the coil-freeze stop."""
    i = Q.coil_water_probe(memory)
    if i >= 0:
        mc = P.value_mc(memory, settings, readings, i)
        x = Q.coil_water_limit_mc(memory, settings, i)
        _edge(watch, readings, R.STORE_LOW_MC + i, mc, x)
    i = Q.coil_air_probe(memory)
    if i >= 0:
        mc = P.value_mc(memory, settings, readings, i) - settings[S.STORE_LOW_ERR_MK + i]
        _edge(watch, readings, R.STORE_LOW_MC + i, mc, Q.coil_air_limit_mc(memory))


def _plain(settings: "array[int]", readings: "array[int]", watch: "array[int]") -> None:
    """Flow, fans and battery voltage, where fitted; with mains seen the voltage decides nothing."""
    if Q.has(settings, F.FLOW):
        flow = readings[R.FLOW_ML_MIN]
        _edge(watch, readings, R.FLOW_ML_MIN, flow, settings[S.FLOW_LEAST_ML_MIN])
        _edge(watch, readings, R.FLOW_ML_MIN, flow, settings[S.FLOW_MOST_ML_MIN] + 1)
    if Q.has(settings, F.FAN_TACH):
        _edge(watch, readings, R.FAN_RPM, readings[R.FAN_RPM], settings[S.FAN_LEAST_RPM])
    if not Q.has(settings, F.BATTERY):
        return
    if Q.has(settings, F.MAINS) and readings[R.MAINS_OK] != 0:
        return
    mv = readings[R.BATTERY_MV]
    _edge(watch, readings, R.BATTERY_MV, mv, settings[S.BATTERY_CUT_MV])
    x = settings[S.BATTERY_CUT_MV] + settings[S.BATTERY_REARM_MV] + 1
    _edge(watch, readings, R.BATTERY_MV, mv, x)


def _open_bands(readings: "array[int]", watch: "array[int]") -> None:
    """Two-valued inputs and counters must stay; time and frame ticks are free."""
    for slot in range(R.SIZE):
        watch[2 * slot] = readings[slot]
        watch[2 * slot + 1] = readings[slot]
    for slot in range(R.STORE_LOW_MC, R.STORE_LOW_FAULT):
        watch[2 * slot] = -FAR
        watch[2 * slot + 1] = FAR
    for slot in _FREE:
        watch[2 * slot] = -FAR
        watch[2 * slot + 1] = FAR


def _fill(
    memory: "array[int]",
    settings: "array[int]",
    readings: "array[int]",
    watch: "array[int]",
    words: bool,
) -> int:
    """Fill `watch`; with `words` set no anchor and no bit of a condition word may change."""
    _open_bands(readings, watch)
    if Q.flag(memory, M.FLAG_INVALID):
        return T.LONGEST_MS  # everything stays off
    ms = T.nearest_ms(memory, readings[R.NOW_MS])
    _plan(memory, readings, watch)
    for i in range(R.PROBES):
        if not P.fitted(settings, i):
            continue
        slot = R.STORE_LOW_MC + i
        if not memory[M.VALID] & (1 << i):
            # A rejected frame: only its code or its return to sense can matter.
            _cut(watch, slot, readings[slot], readings[slot])
            continue
        if memory[M.STORE_LOW_GOOD + i] < P.TRUST_FRAMES:
            ms = 0  # each further frame counts
        _cut(watch, slot, P.LOWEST_MC[i], P.HIGHEST_MC[i])
        if i <= P.HIGH and P.trusted(memory, i):
            _store(memory, settings, readings, watch, i, words)
        if words or (i <= P.HIGH and T.due(memory, M.STORE_LOW_STUCK_T + i)):
            _anchor(memory, settings, watch, i)  # a stuck probe that moves is trusted again
    if P.trusted(memory, P.ROOM):
        _room(memory, settings, readings, watch, words)
    _two_probes(memory, settings, readings, watch, words)
    if V.both(memory):
        _vouching(memory, settings, readings, watch)
        _warm_top(memory, settings, readings, watch, words)
    _coil(memory, settings, readings, watch)
    _plain(settings, readings, watch)
    return ms


def _anchor(memory: "array[int]", settings: "array[int]", watch: "array[int]", i: int) -> None:
    """Keep the anchor of probe `i` where it is."""
    anchor = memory[M.STORE_LOW_ANCHOR_MC + i] - settings[S.STORE_LOW_OFFSET_MK + i]
    low = anchor - P.ANCHOR_MK[i] + 1
    _cut(watch, R.STORE_LOW_MC + i, low, anchor + P.ANCHOR_MK[i] - 1)


def _plan(memory: "array[int]", readings: "array[int]", watch: "array[int]") -> None:
    """The minutes for which the plan in force was found."""
    if memory[M.PLAN_SINCE_MIN] >= 0:
        week_min = readings[R.WEEK_MIN]
        gone = week_min - memory[M.PLAN_SINCE_MIN]
        if gone < 0:
            gone += N.WEEK_MIN
        last = week_min + memory[M.PLAN_LENGTH_MIN] - gone - 1
        watch[2 * R.WEEK_MIN + 1] = min(last, N.WEEK_MIN - 1)


def decisions(
    memory: "array[int]", settings: "array[int]", readings: "array[int]", watch: "array[int]"
) -> int:
    """Fill `watch` with what may decide; return the ms until the next deadline, 0 .. 2**28."""
    return _fill(memory, settings, readings, watch, False)


def horizon(
    memory: "array[int]", settings: "array[int]", readings: "array[int]", watch: "array[int]"
) -> int:
    """Fill `watch`; return the ms until the next deadline, 0 .. 2**28."""
    return _fill(memory, settings, readings, watch, True)

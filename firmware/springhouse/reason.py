"""Why each region does what it does, as (number, ms left or -1). Words for it stand in why.py.

Asked between two steps, with the readings of the last; not in the step path. The first cause in
force that a person would want to hear is given: faults, the owner's wish, need, then waits.
"""

from array import array

from springhouse import advice as D
from springhouse import condition as C
from springhouse import conditions as Q
from springhouse import fitted as F
from springhouse import latch as L
from springhouse import memory as M
from springhouse import mode as W
from springhouse import output as O
from springhouse import probes as P
from springhouse import reading as R
from springhouse import setting as S
from springhouse import statechart as K
from springhouse import timekeeping as T
from springhouse import week as N

(
    SETTINGS_INVALID,
    OFF_ASKED,
    SERVICE_ASKED,
    LEVEL_LATCHED,
    FLOOR_LATCHED,
    NO_COOLING_LATCHED,
    PROBES_LATCHED,
    DRY_LATCHED,
    TRAY_LATCHED,
    STILL_LATCHED,
    CHARGING,
    KEEPING_UP,
    PULLING_DOWN,
    MINIMUM_RUN,
    STORE_UNSEEN,
    PROBE_STUCK,
    STORE_GAINING,
    ICE,
    ICE_FLOOR,
    NO_MAINS,
    RESTING,
    MOTOR_RESTING,
    ICE_RUN_USED,
    FULL,
    WARM_FILL,
    COLD_ENOUGH,
    CHARGE_LATER,
    OFF_TIME_BOOT,
    OFF_TIME_MAINS,
    OFF_TIME,
    STARTS_USED,
    QUIET_ASKED,
    PURGE_BARS,
    TARIFF,
    STARTING,
    TRAY_FULL,
    TRAY_WAIT,
    DRY_WAIT,
    GHOST_FLOW,
    COIL_COLD,
    COIL_WAIT,
    NO_POWER,
    BATTERY_LOW,
    SPELL_PAUSE,
    DELIVERING,
    PRIMING,
    PURGING,
    ROOM_UNSEEN,
    ROOM_GAINING,
    NOT_WANTED,
    ROOM_COOL,
    NOT_USEFUL,
    STORE_SPENT,
    ROOM_NEAR,
    PAUSED,
    MINIMUM_DELIVERY,
    COIL_UNSEEN,
    WELDED_LATCHED,
    TOP_UNSURE,
    FLOW_TOO_HIGH,
    CHARGING_BY_PLAN,
    PLAN_WAITS,
    SIZE,
) = range(63)

_STORE_LATCHES = (
    (L.LEVEL, LEVEL_LATCHED),
    (L.FLOOR, FLOOR_LATCHED),
    (L.WELDED, WELDED_LATCHED),
    (L.NO_COOLING, NO_COOLING_LATCHED),
    (L.PROBES, PROBES_LATCHED),
)
_ROOM_LATCHES = (
    (L.LEVEL, LEVEL_LATCHED),
    (L.FLOOR, FLOOR_LATCHED),
    (L.DRY, DRY_LATCHED),
    (L.TRAY, TRAY_LATCHED),
    (L.STILL, STILL_LATCHED),
)


def left_ms(memory: "array[int]", readings: "array[int]", timer: int) -> int:
    """Time left of a timer, -1 if it does not run."""
    if not T.waiting(memory, timer):
        return -1
    return max(0, T.ticks_diff(memory[timer], readings[R.NOW_MS]))


def mode_left_ms(memory: "array[int]", readings: "array[int]") -> int:
    """Time left of the owner's mode, -1 in automatic."""
    return left_ms(memory, readings, M.MODE_T)


def plan_left_ms(settings: "array[int]", readings: "array[int]", bits: int, wanted: int) -> int:
    """Time until the week plan masked by `bits` is `wanted`; -1 if it never is, or no clock."""
    week_min = readings[R.WEEK_MIN]
    if week_min < 0:
        return -1
    gone = 0
    while gone < N.WEEK_MIN:
        step = N.minutes_to_edge(settings, week_min)
        gone += step
        week_min = (week_min + step) % N.WEEK_MIN
        if N.plan_at(settings, week_min) & bits == wanted:
            return gone * 60000
    return -1


def _stopped_for_all(
    memory: "array[int]", readings: "array[int]", latches: "tuple[tuple[int, int], ...]"
) -> "tuple[int, int]":
    """Causes that stop either region; (-1, -1) if none does."""
    if Q.flag(memory, M.FLAG_INVALID) or not readings[R.SETTINGS_OK]:
        return SETTINGS_INVALID, -1
    for bit, reason in latches:
        if memory[M.LATCH] & bit:
            return reason, -1
    if memory[M.MODE] == W.OFF:
        return OFF_ASKED, mode_left_ms(memory, readings)
    if memory[M.MODE] == W.SERVICE:
        return SERVICE_ASKED, mode_left_ms(memory, readings)
    return -1, -1


def _running(memory: "array[int]", readings: "array[int]") -> "tuple[int, int]":
    word = memory[M.STORE_WORD]
    if word & C.STORE_FULL:
        return MINIMUM_RUN, left_ms(memory, readings, M.ON_T)
    if memory[M.OUT] & O.PUMP:
        return KEEPING_UP, -1
    if memory[M.MODE] == W.FIRST_PULL_DOWN:
        return PULLING_DOWN, left_ms(memory, readings, M.RUN_T)
    return (CHARGING_BY_PLAN if memory[M.ADVICE] == D.CHARGE else CHARGING), -1


def _store_unseen(memory: "array[int]", settings: "array[int]") -> "tuple[int, int]":
    for i in range(P.ROOM):
        if P.fitted(settings, i) and T.due(memory, M.STORE_LOW_STUCK_T + i):
            return PROBE_STUCK, -1
    for i in range(P.ROOM):
        if memory[M.STORE_LOW_GOOD + i] > 0:
            return STORE_GAINING, -1
    return STORE_UNSEEN, -1


def _barred(
    memory: "array[int]", settings: "array[int]", readings: "array[int]"
) -> "tuple[int, int]":
    """What keeps the compressor off whether or not cold is needed; (-1, -1) if nothing does."""
    word = memory[M.STORE_WORD]
    if not word & C.STORE_SEEN:
        return _store_unseen(memory, settings)
    if word & C.FREEZE:
        if not P.trusted(memory, P.HIGH):
            return ICE_FLOOR, -1
        # Guard on, and the coldest is not near ice: it stands at the floor.
        ice_mc = settings[S.FREEZE_MC] + settings[S.FREEZE_CLEAR_MK]
        if P.coldest_mc(memory, settings, readings) < ice_mc:
            return ICE, -1
        if word & C.STORE_WARM:
            return TOP_UNSURE, -1
    if not word & C.MAINS:
        return NO_MAINS, -1
    if T.waiting(memory, M.REST_T):
        rest = MOTOR_RESTING if memory[M.MODE] == W.FIRST_PULL_DOWN else RESTING
        return rest, left_ms(memory, readings, M.REST_T)
    if T.due(memory, M.ICE_T):
        return ICE_RUN_USED, -1
    return -1, -1


def _not_needed(
    memory: "array[int]", settings: "array[int]", readings: "array[int]"
) -> "tuple[int, int]":
    """Why the store needs no cold now; (-1, -1) if it does."""
    word = memory[M.STORE_WORD]
    if word & C.STORE_WARM:
        return -1, -1
    target = Q.store_target_mc(memory, settings)
    later_mc = settings[S.DEEP_MC] + settings[S.BAND_MK]
    if target != settings[S.DEEP_MC] and Q.store_above(memory, settings, readings, 0, later_mc):
        if memory[M.ADVICE]:
            return PLAN_WAITS, -1
        both = N.PLAN_CHARGE | N.PLAN_LEAD
        return CHARGE_LATER, plan_left_ms(settings, readings, both, both)
    return (FULL if word & C.STORE_FULL else COLD_ENOUGH), -1


def _waiting(
    memory: "array[int]", settings: "array[int]", readings: "array[int]"
) -> "tuple[int, int]":
    """Why a store that needs cold does not get it yet."""
    mode = memory[M.MODE]
    if Q.too_warm(memory, settings, readings) and mode != W.FIRST_PULL_DOWN:
        return WARM_FILL, -1
    if mode == W.QUIET:
        return QUIET_ASKED, mode_left_ms(memory, readings)
    if mode == W.PURGE:
        return PURGE_BARS, mode_left_ms(memory, readings)
    if memory[M.ADVICE] == D.WAIT and not memory[M.PLAN] & N.PLAN_NO_START:
        return PLAN_WAITS, -1
    if memory[M.STORE_WORD] & C.BAR_START:
        return TARIFF, plan_left_ms(settings, readings, N.PLAN_NO_START, 0)
    left = left_ms(memory, readings, M.OFF_T)
    if left >= 0:
        if Q.flag(memory, M.FLAG_MAINS_WAIT):
            return OFF_TIME_MAINS, left
        return (OFF_TIME_BOOT if Q.flag(memory, M.FLAG_BOOT_WAIT) else OFF_TIME), left
    if not Q.starts_left(memory, settings):
        soonest = T.LONGEST_MS
        for n in range(settings[S.STARTS_PER_HOUR]):
            soonest = min(soonest, left_ms(memory, readings, M.START_1_T + n))
        return STARTS_USED, soonest
    return STARTING, left_ms(memory, readings, M.SPACING_T)


def store_reason(
    memory: "array[int]", settings: "array[int]", readings: "array[int]"
) -> "tuple[int, int]":
    """Why the compressor is on or off."""
    found = _stopped_for_all(memory, readings, _STORE_LATCHES)
    if found[0] < 0 and memory[M.OUT] & O.COMPRESSOR:
        return _running(memory, readings)
    if found[0] < 0:
        found = _barred(memory, settings, readings)
    if found[0] < 0:
        found = _not_needed(memory, settings, readings)
    if found[0] < 0:
        found = _waiting(memory, settings, readings)
    return found


def flow_too_high(settings: "array[int]", readings: "array[int]") -> bool:
    """Whether the flow sensor shows more than the pump can deliver: a fault of the sensor."""
    most = settings[S.FLOW_MOST_ML_MIN]
    return Q.has(settings, F.FLOW) and readings[R.FLOW_ML_MIN] > most


def _no_delivery(
    memory: "array[int]", settings: "array[int]", readings: "array[int]"
) -> "tuple[int, int]":
    """Guards that keep the pump off; (-1, -1) if none does."""
    word = memory[M.ROOM_WORD]
    if word & C.TRAY:
        if not readings[R.TRAY_OK]:
            return TRAY_FULL, -1
        return TRAY_WAIT, left_ms(memory, readings, M.TRAY_T)
    if word & C.DRY:
        left = left_ms(memory, readings, M.DRY_WAIT_T)
        if flow_too_high(settings, readings):
            return FLOW_TOO_HIGH, left
        return (DRY_WAIT if left >= 0 else GHOST_FLOW), left
    if word & C.COIL:
        if Q.flag(memory, M.FLAG_COIL):
            return COIL_COLD, -1
        return COIL_WAIT, left_ms(memory, readings, M.COIL_T)
    if not word & C.POWER:
        return (BATTERY_LOW if Q.has(settings, F.BATTERY) else NO_POWER), -1
    if word & C.SPELL:
        return SPELL_PAUSE, left_ms(memory, readings, M.SPELL_T)
    return -1, -1


def _pumping(
    memory: "array[int]", settings: "array[int]", readings: "array[int]"
) -> "tuple[int, int]":
    if memory[M.ROOM_STATE] == K.PURGE:
        return PURGING, mode_left_ms(memory, readings)
    word = memory[M.ROOM_WORD]
    for timer in (M.FLOW_T, M.FOLLOW_T):
        if T.waiting(memory, timer):
            return PRIMING, left_ms(memory, readings, timer)
    if word & C.ROOM_COOL or not word & C.USEFUL:
        return MINIMUM_DELIVERY, left_ms(memory, readings, M.DELIVERY_ON_T)
    return DELIVERING, left_ms(memory, readings, M.SPELL_T)


def _soon(memory: "array[int]", readings: "array[int]") -> "tuple[int, int]":
    """What a pump that is to run waits for."""
    if memory[M.ROOM_WORD] & C.PAUSE:
        return PAUSED, left_ms(memory, readings, M.DELIVERY_OFF_T)
    return STARTING, left_ms(memory, readings, M.SPACING_T)


def _no_need(
    memory: "array[int]", settings: "array[int]", readings: "array[int]"
) -> "tuple[int, int]":
    """Why a room side that could deliver does not."""
    word = memory[M.ROOM_WORD]
    if word & C.PURGE_ASKED:
        return _soon(memory, readings)
    if memory[M.MODE] == W.PURGE:
        return COIL_UNSEEN, -1
    if not word & C.ROOM_SEEN:
        return (ROOM_GAINING if memory[M.ROOM_GOOD] > 0 else ROOM_UNSEEN), -1
    if not word & C.WANTED:
        if D.tells_room(memory, settings):
            return NOT_WANTED, -1
        return NOT_WANTED, plan_left_ms(settings, readings, N.PLAN_WANTED, N.PLAN_WANTED)
    if word & C.ROOM_COOL:
        return ROOM_COOL, -1
    if not P.store_seen(memory):
        return _store_unseen(memory, settings)
    if not word & C.USEFUL:
        spent = Q.spent(memory, settings, readings)
        return (STORE_SPENT if spent else NOT_USEFUL), -1
    if not word & C.ROOM_WARM and memory[M.ROOM_STATE] != K.DISCHARGE:
        return ROOM_NEAR, -1
    return _soon(memory, readings)


def room_reason(
    memory: "array[int]", settings: "array[int]", readings: "array[int]"
) -> "tuple[int, int]":
    """Why the pump is on or off."""
    found = _stopped_for_all(memory, readings, _ROOM_LATCHES)
    if found[0] == DRY_LATCHED and flow_too_high(settings, readings):
        return FLOW_TOO_HIGH, -1
    if found[0] < 0:
        found = _no_delivery(memory, settings, readings)
    if found[0] < 0 and memory[M.OUT] & O.PUMP:
        return _pumping(memory, settings, readings)
    if found[0] < 0:
        found = _no_need(memory, settings, readings)
    return found

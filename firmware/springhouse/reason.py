"""Why each region does what it does, as (number, ms left or -1). Words for it stand in why.py.

Asked between two steps, with the readings of the last; not in the step path. The first cause in
force that a person would want to hear is given: faults, the owner's wish, need, then waits.
"""

from array import array

from springhouse import (
    advice,
    condition,
    conditions,
    fitted,
    latch,
    output,
    probes,
    reading,
    setting,
    statechart,
    timekeeping,
    week,
)
from springhouse import memory as cell
from springhouse import mode as modes

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
    (latch.LEVEL, LEVEL_LATCHED),
    (latch.FLOOR, FLOOR_LATCHED),
    (latch.WELDED, WELDED_LATCHED),
    (latch.NO_COOLING, NO_COOLING_LATCHED),
    (latch.PROBES, PROBES_LATCHED),
)
_ROOM_LATCHES = (
    (latch.LEVEL, LEVEL_LATCHED),
    (latch.FLOOR, FLOOR_LATCHED),
    (latch.DRY, DRY_LATCHED),
    (latch.TRAY, TRAY_LATCHED),
    (latch.STILL, STILL_LATCHED),
)


def left_ms(memory: "array[int]", readings: "array[int]", timer: int) -> int:
    """Time left of a timer, -1 if it does not run."""
    if not timekeeping.waiting(memory, timer):
        return -1
    return max(0, timekeeping.ticks_diff(memory[timer], readings[reading.NOW_MS]))


def mode_left_ms(memory: "array[int]", readings: "array[int]") -> int:
    """Time left of the owner's mode, -1 in automatic."""
    return left_ms(memory, readings, cell.MODE_T)


def plan_left_ms(settings: "array[int]", readings: "array[int]", bits: int, wanted: int) -> int:
    """Time until the week plan masked by `bits` is `wanted`; -1 if it never is, or no clock."""
    week_min = readings[reading.WEEK_MIN]
    if week_min < 0:
        return -1
    gone = 0
    while gone < week.WEEK_MIN:
        step = week.minutes_to_edge(settings, week_min)
        gone += step
        week_min = (week_min + step) % week.WEEK_MIN
        if week.plan_at(settings, week_min) & bits == wanted:
            return gone * 60000
    return -1


def _stopped_for_all(
    memory: "array[int]", readings: "array[int]", latches: "tuple[tuple[int, int], ...]"
) -> "tuple[int, int]":
    """Causes that stop either region; (-1, -1) if none does."""
    if conditions.flag(memory, cell.FLAG_INVALID) or not readings[reading.SETTINGS_OK]:
        return SETTINGS_INVALID, -1
    for bit, reason in latches:
        if memory[cell.LATCH] & bit:
            return reason, -1
    if memory[cell.MODE] == modes.OFF:
        return OFF_ASKED, mode_left_ms(memory, readings)
    if memory[cell.MODE] == modes.SERVICE:
        return SERVICE_ASKED, mode_left_ms(memory, readings)
    return -1, -1


def _running(memory: "array[int]", readings: "array[int]") -> "tuple[int, int]":
    word = memory[cell.STORE_WORD]
    if word & condition.STORE_FULL:
        return MINIMUM_RUN, left_ms(memory, readings, cell.ON_T)
    if memory[cell.OUT] & output.PUMP:
        return KEEPING_UP, -1
    if memory[cell.MODE] == modes.FIRST_PULL_DOWN:
        return PULLING_DOWN, left_ms(memory, readings, cell.RUN_T)
    return (CHARGING_BY_PLAN if memory[cell.ADVICE] == advice.CHARGE else CHARGING), -1


def _store_unseen(memory: "array[int]", settings: "array[int]") -> "tuple[int, int]":
    for i in range(probes.ROOM):
        if probes.fitted(settings, i) and timekeeping.due(memory, cell.STORE_LOW_STUCK_T + i):
            return PROBE_STUCK, -1
    for i in range(probes.ROOM):
        if memory[cell.STORE_LOW_GOOD + i] > 0:
            return STORE_GAINING, -1
    return STORE_UNSEEN, -1


def _barred(
    memory: "array[int]", settings: "array[int]", readings: "array[int]"
) -> "tuple[int, int]":
    """What keeps the compressor off whether or not cold is needed; (-1, -1) if nothing does."""
    word = memory[cell.STORE_WORD]
    if not word & condition.STORE_SEEN:
        return _store_unseen(memory, settings)
    if word & condition.FREEZE:
        if not probes.trusted(memory, probes.HIGH):
            return ICE_FLOOR, -1
        # Guard on, and the coldest is not near ice: it stands at the floor.
        ice_mc = settings[setting.FREEZE_MC] + settings[setting.FREEZE_CLEAR_MK]
        if probes.coldest_mc(memory, settings, readings) < ice_mc:
            return ICE, -1
        if word & condition.STORE_WARM:
            return TOP_UNSURE, -1
    if not word & condition.MAINS:
        return NO_MAINS, -1
    if timekeeping.waiting(memory, cell.REST_T):
        rest = MOTOR_RESTING if memory[cell.MODE] == modes.FIRST_PULL_DOWN else RESTING
        return rest, left_ms(memory, readings, cell.REST_T)
    if timekeeping.due(memory, cell.ICE_T):
        return ICE_RUN_USED, -1
    return -1, -1


def _not_needed(
    memory: "array[int]", settings: "array[int]", readings: "array[int]"
) -> "tuple[int, int]":
    """Why the store needs no cold now; (-1, -1) if it does."""
    word = memory[cell.STORE_WORD]
    if word & condition.STORE_WARM:
        return -1, -1
    target = conditions.store_target_mc(memory, settings)
    deep_mc = settings[setting.DEEP_MC]
    later_mc = deep_mc + settings[setting.BAND_MK]
    if target != deep_mc and conditions.store_above(memory, settings, readings, 0, later_mc):
        if memory[cell.ADVICE]:
            return PLAN_WAITS, -1
        both = week.PLAN_CHARGE | week.PLAN_LEAD
        return CHARGE_LATER, plan_left_ms(settings, readings, both, both)
    return (FULL if word & condition.STORE_FULL else COLD_ENOUGH), -1


def _waiting(
    memory: "array[int]", settings: "array[int]", readings: "array[int]"
) -> "tuple[int, int]":
    """Why a store that needs cold does not get it yet."""
    mode = memory[cell.MODE]
    if conditions.too_warm(memory, settings, readings) and mode != modes.FIRST_PULL_DOWN:
        return WARM_FILL, -1
    if mode == modes.QUIET:
        return QUIET_ASKED, mode_left_ms(memory, readings)
    if mode == modes.PURGE:
        return PURGE_BARS, mode_left_ms(memory, readings)
    if memory[cell.ADVICE] == advice.WAIT and not memory[cell.PLAN] & week.PLAN_NO_START:
        return PLAN_WAITS, -1
    if memory[cell.STORE_WORD] & condition.BAR_START:
        return TARIFF, plan_left_ms(settings, readings, week.PLAN_NO_START, 0)
    left = left_ms(memory, readings, cell.OFF_T)
    if left >= 0:
        if conditions.flag(memory, cell.FLAG_MAINS_WAIT):
            return OFF_TIME_MAINS, left
        return (OFF_TIME_BOOT if conditions.flag(memory, cell.FLAG_BOOT_WAIT) else OFF_TIME), left
    if not conditions.starts_left(memory, settings):
        soonest = timekeeping.LONGEST_MS
        for n in range(settings[setting.STARTS_PER_HOUR]):
            soonest = min(soonest, left_ms(memory, readings, cell.START_1_T + n))
        return STARTS_USED, soonest
    return STARTING, left_ms(memory, readings, cell.SPACING_T)


def store_reason(
    memory: "array[int]", settings: "array[int]", readings: "array[int]"
) -> "tuple[int, int]":
    """Why the compressor is on or off."""
    found = _stopped_for_all(memory, readings, _STORE_LATCHES)
    if found[0] < 0 and memory[cell.OUT] & output.COMPRESSOR:
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
    most = settings[setting.FLOW_MOST_ML_MIN]
    return conditions.has(settings, fitted.FLOW) and readings[reading.FLOW_ML_MIN] > most


def _no_delivery(
    memory: "array[int]", settings: "array[int]", readings: "array[int]"
) -> "tuple[int, int]":
    """Guards that keep the pump off; (-1, -1) if none does."""
    word = memory[cell.ROOM_WORD]
    if word & condition.TRAY:
        if not readings[reading.TRAY_OK]:
            return TRAY_FULL, -1
        return TRAY_WAIT, left_ms(memory, readings, cell.TRAY_T)
    if word & condition.DRY:
        left = left_ms(memory, readings, cell.DRY_WAIT_T)
        if flow_too_high(settings, readings):
            return FLOW_TOO_HIGH, left
        return (DRY_WAIT if left >= 0 else GHOST_FLOW), left
    if word & condition.COIL:
        if conditions.flag(memory, cell.FLAG_COIL):
            return COIL_COLD, -1
        return COIL_WAIT, left_ms(memory, readings, cell.COIL_T)
    if not word & condition.POWER:
        return (BATTERY_LOW if conditions.has(settings, fitted.BATTERY) else NO_POWER), -1
    if word & condition.SPELL:
        return SPELL_PAUSE, left_ms(memory, readings, cell.SPELL_T)
    return -1, -1


def _pumping(
    memory: "array[int]", settings: "array[int]", readings: "array[int]"
) -> "tuple[int, int]":
    if memory[cell.ROOM_STATE] == statechart.PURGE:
        return PURGING, mode_left_ms(memory, readings)
    word = memory[cell.ROOM_WORD]
    for timer in (cell.FLOW_T, cell.FOLLOW_T):
        if timekeeping.waiting(memory, timer):
            return PRIMING, left_ms(memory, readings, timer)
    if word & condition.ROOM_COOL or not word & condition.USEFUL:
        return MINIMUM_DELIVERY, left_ms(memory, readings, cell.DELIVERY_ON_T)
    return DELIVERING, left_ms(memory, readings, cell.SPELL_T)


def _soon(memory: "array[int]", readings: "array[int]") -> "tuple[int, int]":
    """What a pump that is to run waits for."""
    if memory[cell.ROOM_WORD] & condition.PAUSE:
        return PAUSED, left_ms(memory, readings, cell.DELIVERY_OFF_T)
    return STARTING, left_ms(memory, readings, cell.SPACING_T)


def _no_need(
    memory: "array[int]", settings: "array[int]", readings: "array[int]"
) -> "tuple[int, int]":
    """Why a room side that could deliver does not."""
    word = memory[cell.ROOM_WORD]
    if word & condition.PURGE_ASKED:
        return _soon(memory, readings)
    if memory[cell.MODE] == modes.PURGE:
        return COIL_UNSEEN, -1
    if not word & condition.ROOM_SEEN:
        return (ROOM_GAINING if memory[cell.ROOM_GOOD] > 0 else ROOM_UNSEEN), -1
    if not word & condition.WANTED:
        if advice.tells_room(memory, settings):
            return NOT_WANTED, -1
        return NOT_WANTED, plan_left_ms(settings, readings, week.PLAN_WANTED, week.PLAN_WANTED)
    if word & condition.ROOM_COOL:
        return ROOM_COOL, -1
    if not probes.store_seen(memory):
        return _store_unseen(memory, settings)
    if not word & condition.USEFUL:
        spent = conditions.spent(memory, settings, readings)
        return (STORE_SPENT if spent else NOT_USEFUL), -1
    if not word & condition.ROOM_WARM and memory[cell.ROOM_STATE] != statechart.DISCHARGE:
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
    if found[0] < 0 and memory[cell.OUT] & output.PUMP:
        return _pumping(memory, settings, readings)
    if found[0] < 0:
        found = _no_need(memory, settings, readings)
    return found

"""What happened since the last step: faults are latched, waits begin, requests are taken.

Each function changes memory only when something crosses, so that a step with unchanged readings
and no deadline leaves memory as it is.
"""

from array import array

from springhouse import (
    conditions,
    fitted,
    near,
    output,
    probes,
    reading,
    setting,
    timekeeping,
    vouching,
    week,
)
from springhouse import latch as latches
from springhouse import memory as cell
from springhouse import mode as modes

DAY_MS = 86400000
DRY_WAIT_MS = (60000, 300000, 1800000)  # after the first, second, third dry run; then latched
TRAY_OPENINGS = 3  # the third within a day latches
RESTS = 3
STILLS = 3
COUNT_MOST = 4  # counts saturate where the last of them latches
MADE_MOST_MK = 100000  # no store; keeps what lying probes add up to inside 31 bits
GHOST_MS = 60000
MIXED_FROM_MC = 5000  # chilled water above mixes: probes far apart are not in the same water
ACK_WAIT_MS = 60000  # from an acknowledged empty tray to delivery
SETTLE_MS = 300000  # after the compressor: the film at the cold wall
STIRRED_MS = 900000  # after the pump: warm water on top of water near 4 °C, hardly lighter than it
WELDED_MS = 1800000
NOTICED_MS = SETTLE_MS + WELDED_MS  # of being switched off, whatever ran last
DENSEST_MC = 3980  # of water
LIVE_MS = 2000  # a contact is debounced over 1.4 s: noticed within 5 s


def plan(memory: "array[int]", settings: "array[int]", readings: "array[int]") -> None:
    """Look the week plan up again when the minute has left the span it was found for."""
    week_min = readings[reading.WEEK_MIN]
    since = memory[cell.PLAN_SINCE_MIN]
    if week_min < 0:
        if since >= 0 or memory[cell.PLAN_LENGTH_MIN] == 0:
            memory[cell.PLAN] = week.PLAN_NO_CLOCK
            memory[cell.PLAN_SINCE_MIN] = -1
            memory[cell.PLAN_LENGTH_MIN] = 1
        return
    if since >= 0:
        gone = week_min - since
        if gone < 0:
            gone += week.WEEK_MIN
        if gone < memory[cell.PLAN_LENGTH_MIN]:
            return
    memory[cell.PLAN] = week.plan_at(settings, week_min)
    memory[cell.PLAN_SINCE_MIN] = week_min
    memory[cell.PLAN_LENGTH_MIN] = week.minutes_to_edge(settings, week_min)


def mode(memory: "array[int]", readings: "array[int]") -> None:
    """Take a new request of the owner, end one whose time is over."""
    if readings[reading.MODE_SEQ] != memory[cell.MODE_SEEN]:
        memory[cell.MODE_SEEN] = readings[reading.MODE_SEQ]
        asked = readings[reading.MODE]
        minutes = readings[reading.MODE_MIN]
        if asked == modes.AUTOMATIC:
            memory[cell.MODE] = modes.AUTOMATIC
            memory[cell.MODE_T] = timekeeping.IDLE
        elif 0 < asked < modes.SIZE and 0 < minutes <= modes.LIMIT_MIN[asked]:
            memory[cell.MODE] = asked
            timekeeping.arm(memory, cell.MODE_T, readings[reading.NOW_MS], minutes * 60000)
    if timekeeping.due(memory, cell.MODE_T):
        memory[cell.MODE] = modes.AUTOMATIC
        memory[cell.MODE_T] = timekeeping.IDLE


def acknowledge(memory: "array[int]", settings: "array[int]", readings: "array[int]") -> None:
    """A new press clears every latch; what is still wrong is latched again in the same step."""
    if readings[reading.ACK_SEQ] == memory[cell.ACK_SEEN]:
        return
    memory[cell.ACK_SEEN] = readings[reading.ACK_SEQ]
    tray_open = conditions.flag(memory, cell.FLAG_TRAY) or tray_full(settings, readings)
    memory[cell.LATCH] &= latches.TRAY if tray_open else 0
    memory[cell.DRY_COUNT] = 0
    memory[cell.DRY_WAIT_T] = timekeeping.IDLE
    memory[cell.REST_COUNT] = 0
    memory[cell.STILL_COUNT] = 0
    memory[cell.WELDED_T] = timekeeping.IDLE  # so a freezer that runs on shows within 35 min
    memory[cell.REST_BY] = 0
    if not tray_open:
        memory[cell.TRAY_COUNT] = 0
        if timekeeping.waiting(memory, cell.TRAY_T):
            left = timekeeping.ticks_diff(memory[cell.TRAY_T], readings[reading.NOW_MS])
            if left > ACK_WAIT_MS:
                timekeeping.arm(memory, cell.TRAY_T, readings[reading.NOW_MS], ACK_WAIT_MS)


def tray_full(settings: "array[int]", readings: "array[int]") -> bool:
    """Whether the tray float has opened."""
    return conditions.has(settings, fitted.TRAY) and not readings[reading.TRAY_OK]


def forget_old(memory: "array[int]", day_slot: int, count_slot: int) -> None:
    """A count starts again a day after its latest event."""
    if timekeeping.due(memory, day_slot):
        memory[day_slot] = timekeeping.IDLE
        memory[count_slot] = 0


def count(memory: "array[int]", day_slot: int, count_slot: int, now: int) -> int:
    """One more event of a kind; returns the count of the day."""
    timekeeping.arm(memory, day_slot, now, DAY_MS)
    if memory[count_slot] < COUNT_MOST:
        memory[count_slot] += 1
    return memory[count_slot]


def flood(memory: "array[int]", settings: "array[int]", readings: "array[int]") -> None:
    """Level low or wet floor: latched at once. In service the level float may be lifted."""
    low = conditions.has(settings, fitted.LEVEL) and not readings[reading.LEVEL_OK]
    if low and memory[cell.MODE] != modes.SERVICE:
        memory[cell.LATCH] |= latches.LEVEL
    if conditions.has(settings, fitted.FLOOR) and not readings[reading.FLOOR_DRY]:
        memory[cell.LATCH] |= latches.FLOOR


def tray(memory: "array[int]", settings: "array[int]", readings: "array[int]") -> None:
    """Tray float: count openings, wait after closing."""
    forget_old(memory, cell.TRAY_DAY_T, cell.TRAY_COUNT)
    if not conditions.has(settings, fitted.TRAY):
        return
    now = readings[reading.NOW_MS]
    was_open = conditions.flag(memory, cell.FLAG_TRAY)
    if tray_full(settings, readings):
        if not was_open:
            conditions.put_flag(memory, cell.FLAG_TRAY, True)
            if memory[cell.MODE] != modes.SERVICE:
                if count(memory, cell.TRAY_DAY_T, cell.TRAY_COUNT, now) >= TRAY_OPENINGS:
                    memory[cell.LATCH] |= latches.TRAY
    elif was_open:
        conditions.put_flag(memory, cell.FLAG_TRAY, False)
        in_service = memory[cell.MODE] == modes.SERVICE
        wait_ms = ACK_WAIT_MS if in_service else settings[setting.TRAY_RETURN_S] * 1000
        timekeeping.arm(memory, cell.TRAY_T, now, wait_ms)


def flow(memory: "array[int]", settings: "array[int]", readings: "array[int]") -> None:
    """Dry run: flow, or the coil inlet in its place, must show while the pump runs."""
    forget_old(memory, cell.DRY_DAY_T, cell.DRY_COUNT)
    now = readings[reading.NOW_MS]
    pump = memory[cell.OUT] & output.PUMP != 0
    dry = False
    ghost = False
    if conditions.has(settings, fitted.FLOW):
        dark = pump and not conditions.flow_shown(settings, readings)
        dry = timekeeping.hold(memory, cell.FLOW_T, now, dark, settings[setting.FLOW_GAP_S] * 1000)
        if not pump:
            least = settings[setting.FLOW_LEAST_ML_MIN]
            ghost = near.at_least(
                readings, 0, reading.FLOW_ML_MIN, readings[reading.FLOW_ML_MIN], least
            )
    elif conditions.has(settings, fitted.COIL_IN):
        astray = pump and not conditions.inlet_follows(memory, settings, readings)
        follow_ms = settings[setting.FOLLOW_S] * 1000
        dry = timekeeping.hold(memory, cell.FOLLOW_T, now, astray, follow_ms)
    timekeeping.hold(memory, cell.GHOST_T, now, ghost, GHOST_MS)
    if dry:
        memory[cell.FLOW_T] = timekeeping.IDLE
        memory[cell.FOLLOW_T] = timekeeping.IDLE
        n = count(memory, cell.DRY_DAY_T, cell.DRY_COUNT, now)
        if n > len(DRY_WAIT_MS):
            memory[cell.LATCH] |= latches.DRY
        else:
            timekeeping.arm(memory, cell.DRY_WAIT_T, now, DRY_WAIT_MS[n - 1])


def coil(memory: "array[int]", settings: "array[int]", readings: "array[int]") -> None:
    """Coil-freeze and fans without air: the pump stops, waits, and tries again."""
    forget_old(memory, cell.STILL_DAY_T, cell.STILL_COUNT)
    now = readings[reading.NOW_MS]
    wait_ms = settings[setting.COIL_WAIT_S] * 1000
    cold = conditions.coil_cold(memory, settings, readings)
    if conditions.flag(memory, cell.FLAG_COIL) and not cold:
        timekeeping.arm(memory, cell.COIL_T, now, wait_ms)
    conditions.put_flag(memory, cell.FLAG_COIL, cold)
    both = output.PUMP | output.FAN
    still = False
    if conditions.has(settings, fitted.FAN_TACH) and memory[cell.OUT] & both == both:
        least = settings[setting.FAN_LEAST_RPM]
        still = not near.at_least(readings, 0, reading.FAN_RPM, readings[reading.FAN_RPM], least)
    if timekeeping.hold(memory, cell.STILL_T, now, still, settings[setting.FAN_STILL_S] * 1000):
        memory[cell.STILL_T] = timekeeping.IDLE
        timekeeping.arm(memory, cell.COIL_T, now, wait_ms)
        if count(memory, cell.STILL_DAY_T, cell.STILL_COUNT, now) >= STILLS:
            memory[cell.LATCH] |= latches.STILL


def mains(memory: "array[int]", settings: "array[int]", readings: "array[int]") -> None:
    """After mains returns the compressor waits its whole off-time plus the stagger."""
    good = conditions.mains_good(settings, readings)
    if good and not conditions.flag(memory, cell.FLAG_MAINS):
        wait_ms = (settings[setting.MIN_OFF_S] + settings[setting.RESTART_STAGGER_S]) * 1000
        timekeeping.arm_longer(memory, cell.OFF_T, readings[reading.NOW_MS], wait_ms)
        conditions.put_flag(memory, cell.FLAG_BOOT_WAIT, False)
        conditions.put_flag(memory, cell.FLAG_MAINS_WAIT, True)
    conditions.put_flag(memory, cell.FLAG_MAINS, good)


def rest(memory: "array[int]", settings: "array[int]", now: int, latch: int) -> None:
    """The compressor rests; the third time within a day it waits for a person."""
    timekeeping.arm(memory, cell.REST_T, now, settings[setting.REST_MIN] * 60000)
    refill_progress(memory, settings)
    if count(memory, cell.REST_DAY_T, cell.REST_COUNT, now) >= RESTS:
        memory[cell.LATCH] |= latch


def refill_progress(memory: "array[int]", settings: "array[int]") -> None:
    """Begin the judgement of progress anew."""
    memory[cell.PROGRESS_MADE_MK] = 0
    whole_ms = settings[setting.PROGRESS_MIN] * 60000
    timekeeping.refill(memory, cell.PROGRESS_T, cell.PROGRESS_LEFT_MS, whole_ms)


def progress(memory: "array[int]", settings: "array[int]", readings: "array[int]") -> None:
    """No cooling: too little progress over compressor-on time without delivery.

    That time comes in spells; delivery warms the store in between, so each spell goes on from the
    progress that the spells before it made. So does a spell that is judged by other probes than
    before: a mean that jumps because a probe is no longer believed is no progress.
    """
    now = readings[reading.NOW_MS]
    chilling = memory[cell.OUT] & (output.COMPRESSOR | output.PUMP) == output.COMPRESSOR
    by = probes.store_trust(memory)
    judged = chilling and by != 0 and not in_ice_zone(memory, settings, readings)
    same = judged and by == memory[cell.PROGRESS_BY]
    if timekeeping.waiting(memory, cell.PROGRESS_T) and not same:
        made = memory[cell.PROGRESS_MC]
        made -= probes.mean_of(memory, settings, readings, memory[cell.PROGRESS_BY])
        memory[cell.PROGRESS_MADE_MK] = min(max(made, -MADE_MOST_MK), MADE_MOST_MK)
    if judged:
        mean = probes.mean_of(memory, settings, readings, by)
        if memory[cell.PROGRESS_T] == timekeeping.IDLE or not same:
            memory[cell.PROGRESS_MC] = mean + memory[cell.PROGRESS_MADE_MK]
            memory[cell.PROGRESS_BY] = by
        goal_mc = memory[cell.PROGRESS_MC] - settings[setting.PROGRESS_MK]
        if not near.store_at_least(readings, 0, by, mean, goal_mc + 1):
            refill_progress(memory, settings)
            memory[cell.PROGRESS_MC] = mean
    if timekeeping.bank(memory, cell.PROGRESS_T, cell.PROGRESS_LEFT_MS, now, judged):
        rest(memory, settings, now, latches.NO_COOLING)


def coldest_reading_mc(memory: "array[int]", settings: "array[int]", readings: "array[int]") -> int:
    """Coldest trusted store reading, error budget aside."""
    if not probes.trusted(memory, probes.HIGH):
        return probes.value_mc(memory, settings, readings, probes.LOW)
    high = probes.value_mc(memory, settings, readings, probes.HIGH)
    if not probes.trusted(memory, probes.LOW):
        return high
    return min(high, probes.value_mc(memory, settings, readings, probes.LOW))


def in_ice_zone(memory: "array[int]", settings: "array[int]", readings: "array[int]") -> bool:
    """Ice bank: the store is so cold that chilling makes ice, bounded by the ice run."""
    if not settings[setting.ICE_BANK]:
        return False
    coldest = coldest_reading_mc(memory, settings, readings)
    x = settings[setting.ICE_ZONE_MC]
    return not near.store_at_least(readings, 0, probes.store_trust(memory), coldest, x)


def ice(memory: "array[int]", settings: "array[int]", readings: "array[int]") -> None:
    """Ice bank: compressor-on time in the ice zone is rationed until the ice was seen melted."""
    if not settings[setting.ICE_BANK]:
        return
    if probes.trusted(memory, probes.HIGH):
        high = probes.value_mc(memory, settings, readings, probes.HIGH)
        if near.at_least(readings, 0, reading.STORE_HIGH_MC, high, settings[setting.MELTED_MC]):
            whole_ms = settings[setting.ICE_RUN_MIN] * 60000
            timekeeping.refill(memory, cell.ICE_T, cell.ICE_LEFT_MS, whole_ms)
            return
    growing = memory[cell.OUT] & output.COMPRESSOR != 0 and probes.store_seen(memory)
    growing = growing and in_ice_zone(memory, settings, readings)
    timekeeping.bank(memory, cell.ICE_T, cell.ICE_LEFT_MS, readings[reading.NOW_MS], growing)


def disagreement(memory: "array[int]", settings: "array[int]", readings: "array[int]") -> None:
    """Store probes long in contradiction: one of them is not in the water.

    Far apart while chilled water mixes; the bottom warmer than the top; or sunk below 4 °C under
    a top said to be warm (see vouching.py). The last two hold at rest too, for the freeze guard
    ends the chill.
    """
    forget_old(memory, cell.REST_DAY_T, cell.REST_COUNT)
    now = readings[reading.NOW_MS]
    apart = conditions.flag(memory, cell.FLAG_SUNK)
    if vouching.both(memory):
        if not memory[cell.OUT] & output.PUMP and vouching.upside_down(memory, settings, readings):
            apart = True
        if vouching.chilling(memory):
            colder = coldest_reading_mc(memory, settings, readings)
            which = fitted.STORE_LOW | fitted.STORE_HIGH
            if near.store_at_least(readings, 0, which, colder, MIXED_FROM_MC):
                gap = vouching.gap_mk(memory, settings, readings)
                most = settings[setting.DISAGREE_MK] - 1
                up = reading.STORE_HIGH_MC
                if not near.apart_within(readings, 0, up, reading.STORE_LOW_MC, gap, most):
                    apart = True
    most_ms = settings[setting.DISAGREE_MIN] * 60000
    if timekeeping.hold(memory, cell.DISAGREE_T, now, apart, most_ms):
        memory[cell.DISAGREE_T] = timekeeping.IDLE
        rest(memory, settings, now, latches.PROBES)


def pull_down(memory: "array[int]", settings: "array[int]", readings: "array[int]") -> None:
    """First pull-down: long runs are cut by rests that spare the motor."""
    now = readings[reading.NOW_MS]
    running = memory[cell.OUT] & output.COMPRESSOR != 0
    running = running and memory[cell.MODE] == modes.FIRST_PULL_DOWN
    run_ms = settings[setting.PULL_DOWN_RUN_MIN] * 60000
    if timekeeping.hold(memory, cell.RUN_T, now, running, run_ms):
        memory[cell.RUN_T] = timekeeping.IDLE
        rest_ms = settings[setting.PULL_DOWN_REST_MIN] * 60000
        timekeeping.arm_longer(memory, cell.REST_T, now, rest_ms)


def welded(memory: "array[int]", settings: "array[int]", readings: "array[int]") -> None:
    """Switched off, yet the freezer runs: its contact shows it, or the store gets colder.

    With compressor and pump off nothing else cools water so fast: a place colder than the store
    takes a tenth of what the weakest compressor does (`CHILLS_MK` is set between the two), melting
    ice holds the water it touches at 0 °C, and warm water does not sink. Below 4 °C it does: it
    mixes down and the mean of two probes falls, but mixing brings nothing below the colder of them.
    So where that is the top, below 4 °C, it alone is followed: a bottom above 4 °C under it turns
    over and falls by itself. Where it is the bottom, the fall of the mean is measured from that. In
    service a person has hands and hoses in the store, so its temperatures prove nothing then.
    """
    now = readings[reading.NOW_MS]
    live = conditions.has(settings, fitted.RELAY) and not readings[reading.RELAY_OPEN]
    live = live and not memory[cell.OUT] & output.COMPRESSOR
    if timekeeping.hold(memory, cell.LIVE_T, now, live, LIVE_MS):
        memory[cell.LATCH] |= latches.WELDED
    by = probes.store_trust(memory)
    idle = memory[cell.OUT] & (output.COMPRESSOR | output.PUMP) == 0
    idle = idle and memory[cell.MODE] != modes.SERVICE
    if not idle or by == 0:
        memory[cell.WELDED_T] = timekeeping.IDLE
        memory[cell.REST_BY] = 0
        # What ran last, as long as nothing is measured.
        memory[cell.REST_MC] = memory[cell.OUT] & output.PUMP
        return
    first = memory[cell.REST_BY] == 0
    stirred = first and memory[cell.REST_MC] == output.PUMP
    settle_ms = STIRRED_MS if stirred else SETTLE_MS
    followed = memory[cell.REST_BY]
    # The high probe alone is judged by itself, whether the low one is trusted or not.
    same = followed == by or (followed == fitted.STORE_HIGH and by & followed != 0)
    if memory[cell.WELDED_T] == timekeeping.IDLE or not (first or same):
        timekeeping.arm(memory, cell.WELDED_T, now, settle_ms)
        memory[cell.REST_BY] = 0
    elif timekeeping.due(memory, cell.WELDED_T):
        timekeeping.arm(memory, cell.WELDED_T, now, NOTICED_MS - settle_ms if first else WELDED_MS)
        from_mc = probes.mean_of(memory, settings, readings, by)
        if by == fitted.STORE_LOW | fitted.STORE_HIGH:
            low = probes.value_mc(memory, settings, readings, probes.LOW)
            high = probes.value_mc(memory, settings, readings, probes.HIGH)
            light = not near.at_least(readings, 0, reading.STORE_HIGH_MC, high, DENSEST_MC)
            gap = low - high
            if light and near.apart_at_least(
                readings, 0, reading.STORE_LOW_MC, reading.STORE_HIGH_MC, gap, 1
            ):
                by = fitted.STORE_HIGH
                from_mc = high
            elif not near.store_at_least(readings, 0, by, from_mc, DENSEST_MC):
                from_mc = low
        memory[cell.REST_BY] = by
        memory[cell.REST_MC] = from_mc
    elif not first:
        now_mc = probes.mean_of(memory, settings, readings, followed)
        fallen_mc = memory[cell.REST_MC] - settings[setting.CHILLS_MK]
        if not near.store_at_least(readings, 0, followed, now_mc, fallen_mc + 1):
            memory[cell.LATCH] |= latches.WELDED
            memory[cell.WELDED_T] = timekeeping.IDLE
            memory[cell.REST_BY] = 0

"""What happened since the last step: faults are latched, waits begin, requests are taken.

Each function changes memory only when something crosses, so that a step with unchanged readings
and no deadline leaves memory as it is.
"""

from array import array

from springhouse import conditions as Q
from springhouse import fitted as F
from springhouse import latch as L
from springhouse import memory as M
from springhouse import mode as W
from springhouse import near
from springhouse import output as O
from springhouse import probes as P
from springhouse import reading as R
from springhouse import setting as S
from springhouse import timekeeping as T
from springhouse import vouching as V
from springhouse import week as N

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
    week_min = readings[R.WEEK_MIN]
    since = memory[M.PLAN_SINCE_MIN]
    if week_min < 0:
        if since >= 0 or memory[M.PLAN_LENGTH_MIN] == 0:
            memory[M.PLAN] = N.PLAN_NO_CLOCK
            memory[M.PLAN_SINCE_MIN] = -1
            memory[M.PLAN_LENGTH_MIN] = 1
        return
    if since >= 0:
        gone = week_min - since
        if gone < 0:
            gone += N.WEEK_MIN
        if gone < memory[M.PLAN_LENGTH_MIN]:
            return
    memory[M.PLAN] = N.plan_at(settings, week_min)
    memory[M.PLAN_SINCE_MIN] = week_min
    memory[M.PLAN_LENGTH_MIN] = N.minutes_to_edge(settings, week_min)


def mode(memory: "array[int]", readings: "array[int]") -> None:
    """Take a new request of the owner, end one whose time is over."""
    if readings[R.MODE_SEQ] != memory[M.MODE_SEEN]:
        memory[M.MODE_SEEN] = readings[R.MODE_SEQ]
        asked = readings[R.MODE]
        minutes = readings[R.MODE_MIN]
        if asked == W.AUTOMATIC:
            memory[M.MODE] = W.AUTOMATIC
            memory[M.MODE_T] = T.IDLE
        elif 0 < asked < W.SIZE and 0 < minutes <= W.LIMIT_MIN[asked]:
            memory[M.MODE] = asked
            T.arm(memory, M.MODE_T, readings[R.NOW_MS], minutes * 60000)
    if T.due(memory, M.MODE_T):
        memory[M.MODE] = W.AUTOMATIC
        memory[M.MODE_T] = T.IDLE


def acknowledge(memory: "array[int]", settings: "array[int]", readings: "array[int]") -> None:
    """A new press clears every latch; what is still wrong is latched again in the same step."""
    if readings[R.ACK_SEQ] == memory[M.ACK_SEEN]:
        return
    memory[M.ACK_SEEN] = readings[R.ACK_SEQ]
    tray_open = Q.flag(memory, M.FLAG_TRAY) or tray_full(settings, readings)
    memory[M.LATCH] &= L.TRAY if tray_open else 0
    memory[M.DRY_COUNT] = 0
    memory[M.DRY_WAIT_T] = T.IDLE
    memory[M.REST_COUNT] = 0
    memory[M.STILL_COUNT] = 0
    memory[M.WELDED_T] = T.IDLE  # a freezer that runs on is noticed within 35 min of the press
    memory[M.REST_BY] = 0
    if not tray_open:
        memory[M.TRAY_COUNT] = 0
        if T.waiting(memory, M.TRAY_T):
            left = T.ticks_diff(memory[M.TRAY_T], readings[R.NOW_MS])
            if left > ACK_WAIT_MS:
                T.arm(memory, M.TRAY_T, readings[R.NOW_MS], ACK_WAIT_MS)


def tray_full(settings: "array[int]", readings: "array[int]") -> bool:
    """Whether the tray float has opened."""
    return Q.has(settings, F.TRAY) and not readings[R.TRAY_OK]


def forget_old(memory: "array[int]", day_slot: int, count_slot: int) -> None:
    """A count starts again a day after its latest event."""
    if T.due(memory, day_slot):
        memory[day_slot] = T.IDLE
        memory[count_slot] = 0


def count(memory: "array[int]", day_slot: int, count_slot: int, now: int) -> int:
    """One more event of a kind; returns the count of the day."""
    T.arm(memory, day_slot, now, DAY_MS)
    if memory[count_slot] < COUNT_MOST:
        memory[count_slot] += 1
    return memory[count_slot]


def flood(memory: "array[int]", settings: "array[int]", readings: "array[int]") -> None:
    """Level low or wet floor: latched at once. In service the level float may be lifted."""
    if Q.has(settings, F.LEVEL) and not readings[R.LEVEL_OK] and memory[M.MODE] != W.SERVICE:
        memory[M.LATCH] |= L.LEVEL
    if Q.has(settings, F.FLOOR) and not readings[R.FLOOR_DRY]:
        memory[M.LATCH] |= L.FLOOR


def tray(memory: "array[int]", settings: "array[int]", readings: "array[int]") -> None:
    """Tray float: count openings, wait after closing."""
    forget_old(memory, M.TRAY_DAY_T, M.TRAY_COUNT)
    if not Q.has(settings, F.TRAY):
        return
    now = readings[R.NOW_MS]
    was_open = Q.flag(memory, M.FLAG_TRAY)
    if tray_full(settings, readings):
        if not was_open:
            Q.put_flag(memory, M.FLAG_TRAY, True)
            if memory[M.MODE] != W.SERVICE:
                if count(memory, M.TRAY_DAY_T, M.TRAY_COUNT, now) >= TRAY_OPENINGS:
                    memory[M.LATCH] |= L.TRAY
    elif was_open:
        Q.put_flag(memory, M.FLAG_TRAY, False)
        in_service = memory[M.MODE] == W.SERVICE
        T.arm(
            memory, M.TRAY_T, now, ACK_WAIT_MS if in_service else settings[S.TRAY_RETURN_S] * 1000
        )


def flow(memory: "array[int]", settings: "array[int]", readings: "array[int]") -> None:
    """Dry run: flow, or the coil inlet in its place, must show while the pump runs."""
    forget_old(memory, M.DRY_DAY_T, M.DRY_COUNT)
    now = readings[R.NOW_MS]
    pump = memory[M.OUT] & O.PUMP != 0
    dry = False
    ghost = False
    if Q.has(settings, F.FLOW):
        dark = pump and not Q.flow_shown(settings, readings)
        dry = T.hold(memory, M.FLOW_T, now, dark, settings[S.FLOW_GAP_S] * 1000)
        if not pump:
            least = settings[S.FLOW_LEAST_ML_MIN]
            ghost = near.at_least(readings, 0, R.FLOW_ML_MIN, readings[R.FLOW_ML_MIN], least)
    elif Q.has(settings, F.COIL_IN):
        astray = pump and not Q.inlet_follows(memory, settings, readings)
        dry = T.hold(memory, M.FOLLOW_T, now, astray, settings[S.FOLLOW_S] * 1000)
    T.hold(memory, M.GHOST_T, now, ghost, GHOST_MS)
    if dry:
        memory[M.FLOW_T] = T.IDLE
        memory[M.FOLLOW_T] = T.IDLE
        n = count(memory, M.DRY_DAY_T, M.DRY_COUNT, now)
        if n > len(DRY_WAIT_MS):
            memory[M.LATCH] |= L.DRY
        else:
            T.arm(memory, M.DRY_WAIT_T, now, DRY_WAIT_MS[n - 1])


def coil(memory: "array[int]", settings: "array[int]", readings: "array[int]") -> None:
    """Coil-freeze and fans without air: the pump stops, waits, and tries again."""
    forget_old(memory, M.STILL_DAY_T, M.STILL_COUNT)
    now = readings[R.NOW_MS]
    wait_ms = settings[S.COIL_WAIT_S] * 1000
    cold = Q.coil_cold(memory, settings, readings)
    if Q.flag(memory, M.FLAG_COIL) and not cold:
        T.arm(memory, M.COIL_T, now, wait_ms)
    Q.put_flag(memory, M.FLAG_COIL, cold)
    both = O.PUMP | O.FAN
    still = False
    if Q.has(settings, F.FAN_TACH) and memory[M.OUT] & both == both:
        least = settings[S.FAN_LEAST_RPM]
        still = not near.at_least(readings, 0, R.FAN_RPM, readings[R.FAN_RPM], least)
    if T.hold(memory, M.STILL_T, now, still, settings[S.FAN_STILL_S] * 1000):
        memory[M.STILL_T] = T.IDLE
        T.arm(memory, M.COIL_T, now, wait_ms)
        if count(memory, M.STILL_DAY_T, M.STILL_COUNT, now) >= STILLS:
            memory[M.LATCH] |= L.STILL


def mains(memory: "array[int]", settings: "array[int]", readings: "array[int]") -> None:
    """After mains returns the compressor waits its whole off-time plus the stagger."""
    good = Q.mains_good(settings, readings)
    if good and not Q.flag(memory, M.FLAG_MAINS):
        wait_ms = (settings[S.MIN_OFF_S] + settings[S.RESTART_STAGGER_S]) * 1000
        T.arm_longer(memory, M.OFF_T, readings[R.NOW_MS], wait_ms)
        Q.put_flag(memory, M.FLAG_BOOT_WAIT, False)
        Q.put_flag(memory, M.FLAG_MAINS_WAIT, True)
    Q.put_flag(memory, M.FLAG_MAINS, good)


def rest(memory: "array[int]", settings: "array[int]", now: int, latch: int) -> None:
    """The compressor rests; the third time within a day it waits for a person."""
    T.arm(memory, M.REST_T, now, settings[S.REST_MIN] * 60000)
    refill_progress(memory, settings)
    if count(memory, M.REST_DAY_T, M.REST_COUNT, now) >= RESTS:
        memory[M.LATCH] |= latch


def refill_progress(memory: "array[int]", settings: "array[int]") -> None:
    """Begin the judgement of progress anew."""
    memory[M.PROGRESS_MADE_MK] = 0
    T.refill(memory, M.PROGRESS_T, M.PROGRESS_LEFT_MS, settings[S.PROGRESS_MIN] * 60000)


def progress(memory: "array[int]", settings: "array[int]", readings: "array[int]") -> None:
    """No cooling: too little progress over compressor-on time without delivery.

    That time comes in spells; delivery warms the store in between, so each spell goes on from the
    progress that the spells before it made. So does a spell that is judged by other probes than
    before: a mean that jumps because a probe is no longer believed is no progress.
    """
    now = readings[R.NOW_MS]
    chilling = memory[M.OUT] & (O.COMPRESSOR | O.PUMP) == O.COMPRESSOR
    by = P.store_trust(memory)
    judged = chilling and by != 0 and not in_ice_zone(memory, settings, readings)
    same = judged and by == memory[M.PROGRESS_BY]
    if T.waiting(memory, M.PROGRESS_T) and not same:
        made = memory[M.PROGRESS_MC]
        made -= P.mean_of(memory, settings, readings, memory[M.PROGRESS_BY])
        memory[M.PROGRESS_MADE_MK] = min(max(made, -MADE_MOST_MK), MADE_MOST_MK)
    if judged:
        mean = P.mean_of(memory, settings, readings, by)
        if memory[M.PROGRESS_T] == T.IDLE or not same:
            memory[M.PROGRESS_MC] = mean + memory[M.PROGRESS_MADE_MK]
            memory[M.PROGRESS_BY] = by
        goal_mc = memory[M.PROGRESS_MC] - settings[S.PROGRESS_MK]
        if not near.store_at_least(readings, 0, by, mean, goal_mc + 1):
            refill_progress(memory, settings)
            memory[M.PROGRESS_MC] = mean
    if T.bank(memory, M.PROGRESS_T, M.PROGRESS_LEFT_MS, now, judged):
        rest(memory, settings, now, L.NO_COOLING)


def coldest_reading_mc(memory: "array[int]", settings: "array[int]", readings: "array[int]") -> int:
    """Coldest trusted store reading, error budget aside."""
    if not P.trusted(memory, P.HIGH):
        return P.value_mc(memory, settings, readings, P.LOW)
    high = P.value_mc(memory, settings, readings, P.HIGH)
    if not P.trusted(memory, P.LOW):
        return high
    return min(high, P.value_mc(memory, settings, readings, P.LOW))


def in_ice_zone(memory: "array[int]", settings: "array[int]", readings: "array[int]") -> bool:
    """Ice bank: the store is so cold that chilling makes ice, bounded by the ice run."""
    if not settings[S.ICE_BANK]:
        return False
    coldest = coldest_reading_mc(memory, settings, readings)
    x = settings[S.ICE_ZONE_MC]
    return not near.store_at_least(readings, 0, P.store_trust(memory), coldest, x)


def ice(memory: "array[int]", settings: "array[int]", readings: "array[int]") -> None:
    """Ice bank: compressor-on time in the ice zone is rationed until the ice was seen melted."""
    if not settings[S.ICE_BANK]:
        return
    if P.trusted(memory, P.HIGH):
        high = P.value_mc(memory, settings, readings, P.HIGH)
        if near.at_least(readings, 0, R.STORE_HIGH_MC, high, settings[S.MELTED_MC]):
            T.refill(memory, M.ICE_T, M.ICE_LEFT_MS, settings[S.ICE_RUN_MIN] * 60000)
            return
    growing = memory[M.OUT] & O.COMPRESSOR != 0 and P.store_seen(memory)
    growing = growing and in_ice_zone(memory, settings, readings)
    T.bank(memory, M.ICE_T, M.ICE_LEFT_MS, readings[R.NOW_MS], growing)


def disagreement(memory: "array[int]", settings: "array[int]", readings: "array[int]") -> None:
    """Store probes long in contradiction: one of them is not in the water.

    Far apart while chilled water mixes; the bottom warmer than the top; or sunk below 4 °C under
    a top said to be warm (see vouching.py). The last two hold at rest too, for the freeze guard
    ends the chill.
    """
    forget_old(memory, M.REST_DAY_T, M.REST_COUNT)
    now = readings[R.NOW_MS]
    apart = Q.flag(memory, M.FLAG_SUNK)
    if V.both(memory):
        if not memory[M.OUT] & O.PUMP and V.upside_down(memory, settings, readings):
            apart = True
        if V.chilling(memory):
            colder = coldest_reading_mc(memory, settings, readings)
            which = F.STORE_LOW | F.STORE_HIGH
            if near.store_at_least(readings, 0, which, colder, MIXED_FROM_MC):
                gap = V.gap_mk(memory, settings, readings)
                most = settings[S.DISAGREE_MK] - 1
                up = R.STORE_HIGH_MC
                if not near.apart_within(readings, 0, up, R.STORE_LOW_MC, gap, most):
                    apart = True
    if T.hold(memory, M.DISAGREE_T, now, apart, settings[S.DISAGREE_MIN] * 60000):
        memory[M.DISAGREE_T] = T.IDLE
        rest(memory, settings, now, L.PROBES)


def pull_down(memory: "array[int]", settings: "array[int]", readings: "array[int]") -> None:
    """First pull-down: long runs are cut by rests that spare the motor."""
    now = readings[R.NOW_MS]
    running = memory[M.MODE] == W.FIRST_PULL_DOWN and memory[M.OUT] & O.COMPRESSOR != 0
    if T.hold(memory, M.RUN_T, now, running, settings[S.PULL_DOWN_RUN_MIN] * 60000):
        memory[M.RUN_T] = T.IDLE
        T.arm_longer(memory, M.REST_T, now, settings[S.PULL_DOWN_REST_MIN] * 60000)


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
    now = readings[R.NOW_MS]
    live = Q.has(settings, F.RELAY) and not readings[R.RELAY_OPEN]
    live = live and not memory[M.OUT] & O.COMPRESSOR
    if T.hold(memory, M.LIVE_T, now, live, LIVE_MS):
        memory[M.LATCH] |= L.WELDED
    by = P.store_trust(memory)
    idle = memory[M.OUT] & (O.COMPRESSOR | O.PUMP) == 0 and memory[M.MODE] != W.SERVICE
    if not idle or by == 0:
        memory[M.WELDED_T] = T.IDLE
        memory[M.REST_BY] = 0
        memory[M.REST_MC] = memory[M.OUT] & O.PUMP  # what ran last, as long as nothing is measured
        return
    first = memory[M.REST_BY] == 0
    stirred = first and memory[M.REST_MC] == O.PUMP
    settle_ms = STIRRED_MS if stirred else SETTLE_MS
    followed = memory[M.REST_BY]
    # The high probe alone is judged by itself, whether the low one is trusted or not.
    same = followed == by or (followed == F.STORE_HIGH and by & followed != 0)
    if memory[M.WELDED_T] == T.IDLE or not (first or same):
        T.arm(memory, M.WELDED_T, now, settle_ms)
        memory[M.REST_BY] = 0
    elif T.due(memory, M.WELDED_T):
        T.arm(memory, M.WELDED_T, now, NOTICED_MS - settle_ms if first else WELDED_MS)
        from_mc = P.mean_of(memory, settings, readings, by)
        if by == F.STORE_LOW | F.STORE_HIGH:
            low = P.value_mc(memory, settings, readings, P.LOW)
            high = P.value_mc(memory, settings, readings, P.HIGH)
            light = not near.at_least(readings, 0, R.STORE_HIGH_MC, high, DENSEST_MC)
            gap = low - high
            if light and near.apart_at_least(readings, 0, R.STORE_LOW_MC, R.STORE_HIGH_MC, gap, 1):
                by = F.STORE_HIGH
                from_mc = high
            elif not near.store_at_least(readings, 0, by, from_mc, DENSEST_MC):
                from_mc = low
        memory[M.REST_BY] = by
        memory[M.REST_MC] = from_mc
    elif not first:
        now_mc = P.mean_of(memory, settings, readings, followed)
        fallen_mc = memory[M.REST_MC] - settings[S.CHILLS_MK]
        if not near.store_at_least(readings, 0, followed, now_mc, fallen_mc + 1):
            memory[M.LATCH] |= L.WELDED
            memory[M.WELDED_T] = T.IDLE
            memory[M.REST_BY] = 0

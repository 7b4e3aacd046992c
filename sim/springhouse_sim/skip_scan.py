"""Whether a reading may leave its band within a step, and at which tick it first does.

`arm` bounds every reading over the whole step: the hull of the curve goes through the sensor, its
error and the whole of its noise. Only what may touch its band is then looked at tick by tick, with
the exact noise and the exact count.
"""

from springhouse import fault as A
from springhouse import fitted as F
from springhouse import horizon as H
from springhouse import memory as M
from springhouse import probes as P
from springhouse import reading as R
from springhouse import setting as S
from springhouse import timekeeping as T

from springhouse_sim import sense as E
from springhouse_sim import sensing
from springhouse_sim.plant import electricity, param
from springhouse_sim.plant import state as X
from springhouse_sim.records import FloatRecord, IntRecord
from springhouse_sim.skip_dense import TICK_MS, hull, share_at, value

# What is looked at tick by tick: the five probes, then these.
FLOW, TRAY, FLOOR, CUT_OUT, VOLTS, BLOCK = range(R.PROBES, R.PROBES + 6)  # BLOCK: every tick
FLAGS = R.PROBES + 6
NEVER = 1 << 40
HALF_COUNT_MK = 32  # rounded up
LONGEST_SLEEP = 600  # ticks; the observer is to see a scan at least so often
LIGHTEST_KG_M3, HEAVIEST_KG_M3 = 900.0, 1001.0  # store water, ice included


def honest(settings: IntRecord, sense: IntRecord, i: int) -> bool:
    """Whether probe ``i`` sends frames that follow the plant."""
    if not settings[S.FITTED] & (F.STORE_LOW << i) or sense[E.SILENT_0 + i]:
        return False
    return sense[E.CODE_0 + i] == A.NONE and not sense[E.STUCK_0 + i]


def next_wake(
    memory: IntRecord,
    settings: IntRecord,
    readings: IntRecord,
    sense: IntRecord,
    watch: IntRecord,
    tick: int,
) -> int:
    """Fill the bands after a step that changed nothing; return the tick of the next deadline."""
    ms = H.decisions(memory, settings, readings, watch)
    now = readings[R.NOW_MS]
    for i in range(R.PROBES):
        if not settings[S.FITTED] & (F.STORE_LOW << i):
            continue
        if sense[E.SILENT_0 + i] and memory[M.STORE_LOW_GOOD + i] > 0:
            left = P.AGE_MS + 1 - T.ticks_diff(now, readings[R.STORE_LOW_AT_MS + i])
            ms = min(ms, max(0, left))
        if i <= P.HIGH and memory[M.STORE_LOW_STUCK_T + i] == T.IDLE:
            # Armed by the next frame that does not move, which is not waited for.
            ms = min(ms, memory[M.STORE_LOW_STUCK_LEFT_MS + i])
    if sense[E.CLOCK_KNOWN] and watch[2 * R.WEEK_MIN + 1] < H.FAR:
        second = (sense[E.CLOCK_S] + sense[E.CLOCK_SHIFT_S] + tick) % sensing.WEEK_S
        ms = min(ms, ((watch[2 * R.WEEK_MIN + 1] + 1) * 60 - second) * 1000)
    return tick + min(LONGEST_SLEEP, max(1, -(-ms // TICK_MS)))


def _probe(
    curve: FloatRecord, sense: IntRecord, watch: IntRecord, i: int, first: int, last: int
) -> bool:
    low, high = watch[2 * (R.STORE_LOW_MC + i)], watch[2 * (R.STORE_LOW_MC + i) + 1]
    if low <= -H.FAR and high >= H.FAR:
        return False
    least_c, most_c = hull(curve, sensing.PROBE_STATES[i])
    # A ramp is monotone, so its ends bound it.
    shift_1, shift_2 = sensing.shift_mk(sense, first, i), sensing.shift_mk(sense, last, i)
    error = sense[E.OFFSET_MK_0 + i]
    least = least_c * 1000.0 + error + min(shift_1, shift_2) - sense[E.NOISE_MK]
    most = most_c * 1000.0 + error + max(shift_1, shift_2) + sense[E.NOISE_MK]
    return sensing.quantised_mc(least) < low or sensing.quantised_mc(most) > high


def _level(p: FloatRecord, sense: IntRecord, least_kg: float, most_kg: float) -> bool:
    """Whether the level float may move, from the least and greatest density of what is there."""
    low_m = sense[E.LEVEL_LOW_MM] / 1000.0
    area_m2 = p[param.STORE_AREA_M2]
    surely_over = least_kg / HEAVIEST_KG_M3 / area_m2 >= low_m
    surely_under = most_kg / LIGHTEST_KG_M3 / area_m2 < low_m
    return bool(sense[E.LEVEL] == E.FOLLOWS and not surely_over and not surely_under)


def _flow(curve: FloatRecord, sense: IntRecord, watch: IntRecord) -> bool:
    low, high = hull(curve, X.FLOW_L_MIN)
    if sensing.flow_ml_min(sense, low) < watch[2 * R.FLOW_ML_MIN]:
        return True
    return bool(sensing.flow_ml_min(sense, high) > watch[2 * R.FLOW_ML_MIN + 1])


def _tray(curve: FloatRecord, p: FloatRecord, sense: IntRecord) -> bool:
    low, high = hull(curve, X.TRAY_L)
    return bool(sense[E.TRAY] == E.FOLLOWS and low < p[param.TRAY_FLOAT_L] <= high)


def _floor(curve: FloatRecord, sense: IntRecord) -> bool:
    """Both are totals that only grow."""
    spilled_0, spilled_1 = hull(curve, X.SPILL_L)
    leaked_0, leaked_1 = hull(curve, X.LEAKED_KG)
    wet_ml = sense[E.FLOOR_WET_ML] + sense[E.FLOOR_MOPPED_ML]
    low = (spilled_0 + leaked_0) * 1000.0
    high = (spilled_1 + leaked_1) * 1000.0
    return bool(sense[E.FLOOR] == E.FOLLOWS and low < wet_ml <= high)


def _cut_out(curve: FloatRecord, sense: IntRecord) -> bool:
    if sense[E.CUT_OUT_OPENS_MC] == E.NO_CUT_OUT:
        return False
    low, high = hull(curve, X.STORE_HIGH_PROBE_C)
    if sense[E.CUT_OUT_OPEN]:
        return bool(high * 1000.0 >= sense[E.CUT_OUT_CLOSES_MC])
    return bool(low * 1000.0 <= sense[E.CUT_OUT_OPENS_MC])


def _battery_mv(u: FloatRecord, p: FloatRecord, cut: float, wh: float, charged_wh: float) -> int:
    """Return the voltage shown at an energy, with the current of another (the same, if exact)."""
    load = electricity.load_w(u, p)
    into_w = electricity.stored_w(u, p, charged_wh, cut, load)
    return sensing.battery_mv(electricity.terminal_v(p, wh, cut, into_w))


def _volts(curve: FloatRecord, u: FloatRecord, p: FloatRecord, watch: IntRecord) -> bool:
    """Voltage rises with energy, charging current falls with it; the load is that of the step."""
    least, most = watch[2 * R.BATTERY_MV], watch[2 * R.BATTERY_MV + 1]
    if least <= -H.FAR and most >= H.FAR:
        return False
    low_wh, high_wh = hull(curve, X.BATTERY_WH)
    cut = curve[X.BATTERY_CUT]
    if _battery_mv(u, p, cut, low_wh, high_wh) < least:
        return True
    return bool(_battery_mv(u, p, cut, high_wh, low_wh) > most)


def arm(
    curve: FloatRecord,
    u: FloatRecord,
    p: FloatRecord,
    settings: IntRecord,
    sense: IntRecord,
    watch: IntRecord,
    flags: IntRecord,
    first: int,
    last: int,
) -> bool:
    """Set the flags of all that may leave its band from tick ``first`` to ``last``; any at all?"""
    for i in range(R.PROBES):
        may = honest(settings, sense, i) and _probe(curve, sense, watch, i, first, last)
        flags[i] = 1 if may else 0
    flags[FLOW] = 1 if _flow(curve, sense, watch) else 0
    flags[TRAY] = 1 if _tray(curve, p, sense) else 0
    flags[FLOOR] = 1 if _floor(curve, sense) else 0
    flags[CUT_OUT] = 1 if _cut_out(curve, sense) else 0
    flags[VOLTS] = 1 if _volts(curve, u, p, watch) else 0
    low_kg, high_kg = hull(curve, X.STORE_KG)
    flags[BLOCK] = 1 if _level(p, sense, low_kg, high_kg) else 0
    found = 0
    for flag in range(FLAGS):
        found += flags[flag]
    return found > 0


def _probe_outside(
    curve: FloatRecord, sense: IntRecord, watch: IntRecord, i: int, tick: int, share: float
) -> bool:
    slot = R.STORE_LOW_MC + i
    low, high = watch[2 * slot], watch[2 * slot + 1]
    true_c = value(curve, sensing.PROBE_STATES[i], share)
    about = true_c * 1000.0 + sense[E.OFFSET_MK_0 + i] + sensing.shift_mk(sense, tick, i)
    # Half a count and the whole noise: whoever is further inside needs no dice.
    reach = sense[E.NOISE_MK] + HALF_COUNT_MK
    if low <= about - reach and about + reach <= high:
        return False
    shown = sensing.shown_mc(sense, true_c, tick, i)
    return bool(shown < low or shown > high)


def outside(
    curve: FloatRecord,
    u: FloatRecord,
    p: FloatRecord,
    sense: IntRecord,
    readings: IntRecord,
    watch: IntRecord,
    flags: IntRecord,
    tick: int,
) -> bool:
    """Whether a flagged reading is outside its band at a tick, or cannot be judged here."""
    if flags[BLOCK]:
        return True
    share = share_at(curve, tick)
    for i in range(R.PROBES):
        if flags[i] and _probe_outside(curve, sense, watch, i, tick, share):
            return True
    if flags[FLOW]:
        shown = sensing.flow_ml_min(sense, value(curve, X.FLOW_L_MIN, share))
        if shown < watch[2 * R.FLOW_ML_MIN] or shown > watch[2 * R.FLOW_ML_MIN + 1]:
            return True
    if flags[VOLTS]:
        wh = value(curve, X.BATTERY_WH, share)
        mv = _battery_mv(u, p, curve[X.BATTERY_CUT], wh, wh)
        if mv < watch[2 * R.BATTERY_MV] or mv > watch[2 * R.BATTERY_MV + 1]:
            return True
    return _contact_outside(curve, p, sense, readings, flags, share)


def _contact_outside(
    curve: FloatRecord,
    p: FloatRecord,
    sense: IntRecord,
    readings: IntRecord,
    flags: IntRecord,
    share: float,
) -> bool:
    """Whether a flagged contact has moved: tray float, floor sensor, freeze cut-out."""
    if flags[TRAY]:
        full = value(curve, X.TRAY_L, share) >= p[param.TRAY_FLOAT_L]
        if readings[R.TRAY_OK] != (0 if full else 1):
            return True
    if flags[FLOOR]:
        floor_l = value(curve, X.SPILL_L, share) + value(curve, X.LEAKED_KG, share)
        wet = floor_l * 1000.0 - sense[E.FLOOR_MOPPED_ML] >= sense[E.FLOOR_WET_ML]
        if readings[R.FLOOR_DRY] != (0 if wet else 1):
            return True
    if not flags[CUT_OUT]:
        return False
    bulb_mc = value(curve, X.STORE_HIGH_PROBE_C, share) * 1000.0
    if sense[E.CUT_OUT_OPEN]:
        return bool(bulb_mc >= sense[E.CUT_OUT_CLOSES_MC])
    return bool(bulb_mc <= sense[E.CUT_OUT_OPENS_MC])

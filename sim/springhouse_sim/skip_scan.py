"""Whether a reading may leave its band within a step, and at which tick it first does.

`arm` bounds every reading over the whole step: the hull of the curve goes through the sensor, its
error and the whole of its noise. Only what may touch its band is then looked at tick by tick, with
the exact noise and the exact count.
"""

from springhouse import fault, fitted, horizon, probes, reading, setting, timekeeping
from springhouse import memory as cell

from springhouse_sim import sense as sense_slot
from springhouse_sim import sensing
from springhouse_sim.plant import electricity, param, state
from springhouse_sim.records import FloatRecord, IntRecord
from springhouse_sim.skip_dense import TICK_MS, hull, share_at, value

# What is looked at tick by tick: the five probes, then these. BLOCK: every tick.
FLAGS = reading.PROBES + 6
FLOW, TRAY, FLOOR, CUT_OUT, VOLTS, BLOCK = range(reading.PROBES, FLAGS)
NEVER = 1 << 40
HALF_COUNT_MK = 32  # rounded up
LONGEST_SLEEP = 600  # ticks; the observer is to see a scan at least so often
LIGHTEST_KG_M3, HEAVIEST_KG_M3 = 900.0, 1001.0  # store water, ice included


def honest(settings: IntRecord, sense: IntRecord, i: int) -> bool:
    """Whether probe ``i`` sends frames that follow the plant."""
    if not settings[setting.FITTED] & (fitted.STORE_LOW << i) or sense[sense_slot.SILENT_0 + i]:
        return False
    return sense[sense_slot.CODE_0 + i] == fault.NONE and not sense[sense_slot.STUCK_0 + i]


def next_wake(
    memory: IntRecord,
    settings: IntRecord,
    readings: IntRecord,
    sense: IntRecord,
    watch: IntRecord,
    tick: int,
) -> int:
    """Fill the bands after a step that changed nothing; return the tick of the next deadline."""
    ms = horizon.decisions(memory, settings, readings, watch)
    now = readings[reading.NOW_MS]
    for i in range(reading.PROBES):
        if not settings[setting.FITTED] & (fitted.STORE_LOW << i):
            continue
        if sense[sense_slot.SILENT_0 + i] and memory[cell.STORE_LOW_GOOD + i] > 0:
            left = (
                probes.AGE_MS
                + 1
                - timekeeping.ticks_diff(now, readings[reading.STORE_LOW_AT_MS + i])
            )
            ms = min(ms, max(0, left))
        if i <= probes.HIGH and memory[cell.STORE_LOW_STUCK_T + i] == timekeeping.IDLE:
            # Armed by the next frame that does not move, which is not waited for.
            ms = min(ms, memory[cell.STORE_LOW_STUCK_LEFT_MS + i])
    if sense[sense_slot.CLOCK_KNOWN] and watch[2 * reading.WEEK_MIN + 1] < horizon.FAR:
        second = (
            sense[sense_slot.CLOCK_S] + sense[sense_slot.CLOCK_SHIFT_S] + tick
        ) % sensing.WEEK_S
        ms = min(ms, ((watch[2 * reading.WEEK_MIN + 1] + 1) * 60 - second) * 1000)
    return tick + min(LONGEST_SLEEP, max(1, -(-ms // TICK_MS)))


def _probe(
    curve: FloatRecord, sense: IntRecord, watch: IntRecord, i: int, first: int, last: int
) -> bool:
    low, high = watch[2 * (reading.STORE_LOW_MC + i)], watch[2 * (reading.STORE_LOW_MC + i) + 1]
    if low <= -horizon.FAR and high >= horizon.FAR:
        return False
    least_c, most_c = hull(curve, sensing.PROBE_STATES[i])
    # A ramp is monotone, so its ends bound it.
    shift_1, shift_2 = sensing.shift_mk(sense, first, i), sensing.shift_mk(sense, last, i)
    error = sense[sense_slot.OFFSET_MK_0 + i]
    least = least_c * 1000.0 + error + min(shift_1, shift_2) - sense[sense_slot.NOISE_MK]
    most = most_c * 1000.0 + error + max(shift_1, shift_2) + sense[sense_slot.NOISE_MK]
    return sensing.quantised_mc(least) < low or sensing.quantised_mc(most) > high


def _level(p: FloatRecord, sense: IntRecord, least_kg: float, most_kg: float) -> bool:
    """Whether the level float may move, from the least and greatest density of what is there."""
    low_m = sense[sense_slot.LEVEL_LOW_MM] / 1000.0
    area_m2 = p[param.STORE_AREA_M2]
    surely_over = least_kg / HEAVIEST_KG_M3 / area_m2 >= low_m
    surely_under = most_kg / LIGHTEST_KG_M3 / area_m2 < low_m
    return bool(
        sense[sense_slot.LEVEL] == sense_slot.FOLLOWS and not surely_over and not surely_under
    )


def _flow(curve: FloatRecord, sense: IntRecord, watch: IntRecord) -> bool:
    low, high = hull(curve, state.FLOW_L_MIN)
    if sensing.flow_ml_min(sense, low) < watch[2 * reading.FLOW_ML_MIN]:
        return True
    return bool(sensing.flow_ml_min(sense, high) > watch[2 * reading.FLOW_ML_MIN + 1])


def _tray(curve: FloatRecord, p: FloatRecord, sense: IntRecord) -> bool:
    low, high = hull(curve, state.TRAY_L)
    return bool(
        sense[sense_slot.TRAY] == sense_slot.FOLLOWS and low < p[param.TRAY_FLOAT_L] <= high
    )


def _floor(curve: FloatRecord, sense: IntRecord) -> bool:
    """Both are totals that only grow."""
    spilled_0, spilled_1 = hull(curve, state.SPILL_L)
    leaked_0, leaked_1 = hull(curve, state.LEAKED_KG)
    wet_ml = sense[sense_slot.FLOOR_WET_ML] + sense[sense_slot.FLOOR_MOPPED_ML]
    low = (spilled_0 + leaked_0) * 1000.0
    high = (spilled_1 + leaked_1) * 1000.0
    return bool(sense[sense_slot.FLOOR] == sense_slot.FOLLOWS and low < wet_ml <= high)


def _cut_out(curve: FloatRecord, sense: IntRecord) -> bool:
    if sense[sense_slot.CUT_OUT_OPENS_MC] == sense_slot.NO_CUT_OUT:
        return False
    low, high = hull(curve, state.STORE_HIGH_PROBE_C)
    if sense[sense_slot.CUT_OUT_OPEN]:
        return bool(high * 1000.0 >= sense[sense_slot.CUT_OUT_CLOSES_MC])
    return bool(low * 1000.0 <= sense[sense_slot.CUT_OUT_OPENS_MC])


def _battery_mv(u: FloatRecord, p: FloatRecord, cut: float, wh: float, charged_wh: float) -> int:
    """Return the voltage shown at an energy, with the current of another (the same, if exact)."""
    load = electricity.load_w(u, p)
    into_w = electricity.stored_w(u, p, charged_wh, cut, load)
    return sensing.battery_mv(electricity.terminal_v(p, wh, cut, into_w))


def _volts(curve: FloatRecord, u: FloatRecord, p: FloatRecord, watch: IntRecord) -> bool:
    """Voltage rises with energy, charging current falls with it; the load is that of the step."""
    least, most = watch[2 * reading.BATTERY_MV], watch[2 * reading.BATTERY_MV + 1]
    if least <= -horizon.FAR and most >= horizon.FAR:
        return False
    low_wh, high_wh = hull(curve, state.BATTERY_WH)
    cut = curve[state.BATTERY_CUT]
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
    for i in range(reading.PROBES):
        may = honest(settings, sense, i) and _probe(curve, sense, watch, i, first, last)
        flags[i] = 1 if may else 0
    flags[FLOW] = 1 if _flow(curve, sense, watch) else 0
    flags[TRAY] = 1 if _tray(curve, p, sense) else 0
    flags[FLOOR] = 1 if _floor(curve, sense) else 0
    flags[CUT_OUT] = 1 if _cut_out(curve, sense) else 0
    flags[VOLTS] = 1 if _volts(curve, u, p, watch) else 0
    low_kg, high_kg = hull(curve, state.STORE_KG)
    flags[BLOCK] = 1 if _level(p, sense, low_kg, high_kg) else 0
    found = 0
    for flag in range(FLAGS):
        found += flags[flag]
    return found > 0


def _probe_outside(
    curve: FloatRecord, sense: IntRecord, watch: IntRecord, i: int, tick: int, share: float
) -> bool:
    slot = reading.STORE_LOW_MC + i
    low, high = watch[2 * slot], watch[2 * slot + 1]
    true_c = value(curve, sensing.PROBE_STATES[i], share)
    about = true_c * 1000.0 + sense[sense_slot.OFFSET_MK_0 + i] + sensing.shift_mk(sense, tick, i)
    # Half a count and the whole noise: whoever is further inside needs no dice.
    reach = sense[sense_slot.NOISE_MK] + HALF_COUNT_MK
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
    for i in range(reading.PROBES):
        if flags[i] and _probe_outside(curve, sense, watch, i, tick, share):
            return True
    if flags[FLOW]:
        shown = sensing.flow_ml_min(sense, value(curve, state.FLOW_L_MIN, share))
        if shown < watch[2 * reading.FLOW_ML_MIN] or shown > watch[2 * reading.FLOW_ML_MIN + 1]:
            return True
    if flags[VOLTS]:
        wh = value(curve, state.BATTERY_WH, share)
        mv = _battery_mv(u, p, curve[state.BATTERY_CUT], wh, wh)
        if mv < watch[2 * reading.BATTERY_MV] or mv > watch[2 * reading.BATTERY_MV + 1]:
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
        full = value(curve, state.TRAY_L, share) >= p[param.TRAY_FLOAT_L]
        if readings[reading.TRAY_OK] != (0 if full else 1):
            return True
    if flags[FLOOR]:
        floor_l = value(curve, state.SPILL_L, share) + value(curve, state.LEAKED_KG, share)
        wet = floor_l * 1000.0 - sense[sense_slot.FLOOR_MOPPED_ML] >= sense[sense_slot.FLOOR_WET_ML]
        if readings[reading.FLOOR_DRY] != (0 if wet else 1):
            return True
    if not flags[CUT_OUT]:
        return False
    bulb_mc = value(curve, state.STORE_HIGH_PROBE_C, share) * 1000.0
    if sense[sense_slot.CUT_OUT_OPEN]:
        return bool(bulb_mc >= sense[sense_slot.CUT_OUT_CLOSES_MC])
    return bool(bulb_mc <= sense[sense_slot.CUT_OUT_OPENS_MC])

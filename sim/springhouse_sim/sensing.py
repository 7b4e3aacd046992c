"""What the board sees of the plant: plant state and taps to the readings record.

Every function is plain and works on flat records, so the same text runs compiled. Noise is a
bounded function of (tick, seed): the same run twice sees the same noise, whatever ran before.
"""

import math

from springhouse import fault, fitted, reading, setting, timekeeping

from springhouse_sim import sense as sense_slot
from springhouse_sim.plant import given, state, tap
from springhouse_sim.records import FloatRecord, IntRecord

PROBE_STATES = (
    state.STORE_LOW_PROBE_C,
    state.STORE_HIGH_PROBE_C,
    state.ROOM_PROBE_C,
    state.COIL_IN_PROBE_C,
    state.COIL_AIR_PROBE_C,
)
WEEK_S = 604800
COUNTS_PER_K = 16  # 12-bit probe: 62.5 m°C a count
LOWEST_COUNT = -55 * COUNTS_PER_K  # the probe's own range, -55 to 125 °C
HIGHEST_COUNT = 125 * COUNTS_PER_K
_31_BITS = 0x7FFFFFFF


def hashed(tick: int, seed: int, stream: int) -> int:
    """Mix three numbers into 0 .. 2**31 - 1; every product stays inside 63 bits."""
    h = (tick * 0x9E3779B1 + seed * 0x85EBCA6B + stream * 0x27D4EB2F) & _31_BITS
    h = ((h ^ (h >> 15)) * 0x2C1B3C6D) & _31_BITS
    h = ((h ^ (h >> 12)) * 0x297A2D39) & _31_BITS
    return h ^ (h >> 15)


def noise_mk(bound_mk: int, tick: int, seed: int, stream: int) -> int:
    """Return noise within +-``bound_mk`` [mK], evenly spread."""
    return hashed(tick, seed, stream) % (2 * bound_mk + 1) - bound_mk


def quantised_mc(true_mc: float) -> int:
    """Return what a 12-bit probe makes of a temperature: the nearest count of 62.5 m°C [m°C]."""
    count = math.floor(true_mc * COUNTS_PER_K / 1000.0 + 0.5)
    count = min(HIGHEST_COUNT, max(LOWEST_COUNT, count))
    return (count * 125) >> 1


def shift_mk(sense: IntRecord, tick: int, i: int) -> int:
    """Return the error a fault adds to probe ``i`` now [mK]: a ramp, or a step if over 0 s."""
    gone = tick - sense[sense_slot.SHIFT_FROM_S_0 + i]
    over = sense[sense_slot.SHIFT_OVER_S_0 + i]
    if gone >= over:
        return sense[sense_slot.SHIFT_MK_0 + i]
    return sense[sense_slot.SHIFT_MK_0 + i] * gone // over


def shown_mc(sense: IntRecord, true_c: float, tick: int, i: int) -> int:
    """Return what an intact frame of probe ``i`` shows at ``true_c`` [m°C]."""
    error_mk = sense[sense_slot.OFFSET_MK_0 + i] + shift_mk(sense, tick, i)
    error_mk += noise_mk(sense[sense_slot.NOISE_MK], tick, sense[sense_slot.SEED], i)
    return quantised_mc(true_c * 1000.0 + error_mk)


def read_probe(
    readings: IntRecord,
    sense: IntRecord,
    true_c: float,
    tick: int,
    i: int,
) -> None:
    """Take one frame of probe ``i``."""
    if sense[sense_slot.SILENT_0 + i]:
        return
    readings[reading.STORE_LOW_AT_MS + i] = readings[reading.NOW_MS]
    code = sense[sense_slot.CODE_0 + i]
    readings[reading.STORE_LOW_FAULT + i] = code
    if code == fault.ALL_ZERO:
        readings[reading.STORE_LOW_MC + i] = 0
    elif code == fault.POWER_ON:
        readings[reading.STORE_LOW_MC + i] = 85000
    if code != fault.NONE or sense[sense_slot.STUCK_0 + i]:
        return
    readings[reading.STORE_LOW_MC + i] = shown_mc(sense, true_c, tick, i)


def flow_ml_min(sense: IntRecord, true_l_min: float) -> int:
    """Return what the flow sensor shows [mL/min]."""
    if sense[sense_slot.FLOW_JAMMED_ML_MIN] >= 0:
        return sense[sense_slot.FLOW_JAMMED_ML_MIN]
    flow = math.floor(true_l_min * 1000.0 + 0.5)
    if sense[sense_slot.FLOW_DEAD] or flow < sense[sense_slot.FLOW_STARTS_ML_MIN]:
        return 0
    return flow * sense[sense_slot.FLOW_GAIN_PM] // 1000


def battery_mv(volts: float) -> int:
    """Return the reading of the battery voltage."""
    return math.floor(volts * 1000.0 + 0.5)


def held(forced: int, good: bool) -> int:
    """Return a two-valued input, honest or forced."""
    if forced == sense_slot.FORCED_BAD:
        return 0
    return 1 if good or forced == sense_slot.FORCED_GOOD else 0


def week_min(sense: IntRecord, tick: int) -> int:
    """Return the local minute of the week, -1 if the clock is unknown."""
    if not sense[sense_slot.CLOCK_KNOWN]:
        return -1
    return (sense[sense_slot.CLOCK_S] + sense[sense_slot.CLOCK_SHIFT_S] + tick) % WEEK_S // 60


def read(
    readings: IntRecord,
    settings: IntRecord,
    sense: IntRecord,
    x: FloatRecord,
    u: FloatRecord,
    t: FloatRecord,
    tick: int,
) -> None:
    """Fill ``readings`` as the drivers would at ``tick`` seconds after scenario start.

    Args:
        readings: record of `reading.py`; stuck and silent probes keep what stands in it.
        settings: only FITTED is used: a probe that is not fitted sends no frames.
        sense: record of `sense.py`.
        x: plant state.
        u: what acts on the plant.
        t: plant taps, at most one control tick old.
        tick: whole seconds since scenario start.
    """
    readings[reading.NOW_MS] = (sense[sense_slot.TICK_ORIGIN_MS] + tick * 1000) & timekeeping.LAST
    readings[reading.WEEK_MIN] = week_min(sense, tick)
    for i in range(reading.PROBES):
        if settings[setting.FITTED] & (fitted.STORE_LOW << i):
            read_probe(readings, sense, x[PROBE_STATES[i]], tick, i)
    readings[reading.FLOW_ML_MIN] = flow_ml_min(sense, x[state.FLOW_L_MIN])
    rpm = (
        0.0
        if sense[sense_slot.TACH_DEAD]
        else u[given.FAN_DUTY] * u[given.FAN_FACTOR] * t[tap.POWERED]
    )
    readings[reading.FAN_RPM] = int(rpm * sense[sense_slot.FAN_FULL_RPM])
    readings[reading.BATTERY_MV] = battery_mv(t[tap.BATTERY_V])
    readings[reading.MAINS_OK] = held(sense[sense_slot.MAINS], u[given.MAINS] > 0.5)
    readings[reading.TRAY_OK] = held(sense[sense_slot.TRAY], t[tap.FLOAT_OPEN] < 0.5)
    readings[reading.LEVEL_OK] = held(
        sense[sense_slot.LEVEL], t[tap.LEVEL_M] * 1000.0 >= sense[sense_slot.LEVEL_LOW_MM]
    )
    on_floor_ml = (x[state.SPILL_L] + x[state.LEAKED_KG]) * 1000.0
    on_floor_ml -= sense[sense_slot.FLOOR_MOPPED_ML]
    readings[reading.FLOOR_DRY] = held(
        sense[sense_slot.FLOOR], on_floor_ml < sense[sense_slot.FLOOR_WET_ML]
    )
    readings[reading.SETTINGS_OK] = 0 if sense[sense_slot.SETTINGS_BAD] else 1
    readings[reading.ACK_SEQ] = sense[sense_slot.ACK_SEQ]
    readings[reading.MODE] = sense[sense_slot.MODE]
    readings[reading.MODE_MIN] = sense[sense_slot.MODE_MIN]
    readings[reading.MODE_SEQ] = sense[sense_slot.MODE_SEQ]
    readings[reading.ADVICE] = sense[sense_slot.ADVICE]
    readings[reading.ADVICE_WANTED] = sense[sense_slot.ADVICE_WANTED]
    readings[reading.ADVICE_MC] = sense[sense_slot.ADVICE_MC]
    readings[reading.ADVICE_MIN] = sense[sense_slot.ADVICE_MIN]
    readings[reading.ADVICE_SEQ] = sense[sense_slot.ADVICE_SEQ]
    live = sense[sense_slot.RELAY_LIVE] != 0 and u[given.MAINS] > 0.5
    readings[reading.RELAY_OPEN] = held(sense[sense_slot.RELAY_CONTACT], not live)

"""What the board sees of the plant: plant state and taps to the readings record.

Every function is plain and works on flat records, so the same text runs compiled. Noise is a
bounded function of (tick, seed): the same run twice sees the same noise, whatever ran before.
"""

import math

from springhouse import fault as A
from springhouse import fitted as F
from springhouse import reading as R
from springhouse import setting as S
from springhouse import timekeeping as T

from springhouse_sim import sense as E
from springhouse_sim.plant import given as U
from springhouse_sim.plant import state as X
from springhouse_sim.plant import tap as Y
from springhouse_sim.records import FloatRecord, IntRecord

PROBE_STATES = (
    X.STORE_LOW_PROBE_C,
    X.STORE_HIGH_PROBE_C,
    X.ROOM_PROBE_C,
    X.COIL_IN_PROBE_C,
    X.COIL_AIR_PROBE_C,
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
    gone = tick - sense[E.SHIFT_FROM_S_0 + i]
    over = sense[E.SHIFT_OVER_S_0 + i]
    if gone >= over:
        return sense[E.SHIFT_MK_0 + i]
    return sense[E.SHIFT_MK_0 + i] * gone // over


def shown_mc(sense: IntRecord, true_c: float, tick: int, i: int) -> int:
    """Return what an intact frame of probe ``i`` shows at ``true_c`` [m°C]."""
    error_mk = sense[E.OFFSET_MK_0 + i] + shift_mk(sense, tick, i)
    error_mk += noise_mk(sense[E.NOISE_MK], tick, sense[E.SEED], i)
    return quantised_mc(true_c * 1000.0 + error_mk)


def read_probe(
    readings: IntRecord,
    sense: IntRecord,
    true_c: float,
    tick: int,
    i: int,
) -> None:
    """Take one frame of probe ``i``."""
    if sense[E.SILENT_0 + i]:
        return
    readings[R.STORE_LOW_AT_MS + i] = readings[R.NOW_MS]
    code = sense[E.CODE_0 + i]
    readings[R.STORE_LOW_FAULT + i] = code
    if code == A.ALL_ZERO:
        readings[R.STORE_LOW_MC + i] = 0
    elif code == A.POWER_ON:
        readings[R.STORE_LOW_MC + i] = 85000
    if code != A.NONE or sense[E.STUCK_0 + i]:
        return
    readings[R.STORE_LOW_MC + i] = shown_mc(sense, true_c, tick, i)


def flow_ml_min(sense: IntRecord, true_l_min: float) -> int:
    """Return what the flow sensor shows [mL/min]."""
    if sense[E.FLOW_JAMMED_ML_MIN] >= 0:
        return sense[E.FLOW_JAMMED_ML_MIN]
    flow = math.floor(true_l_min * 1000.0 + 0.5)
    if sense[E.FLOW_DEAD] or flow < sense[E.FLOW_STARTS_ML_MIN]:
        return 0
    return flow * sense[E.FLOW_GAIN_PM] // 1000


def battery_mv(volts: float) -> int:
    """Return the reading of the battery voltage."""
    return math.floor(volts * 1000.0 + 0.5)


def held(forced: int, good: bool) -> int:
    """Return a two-valued input, honest or forced."""
    if forced == E.FORCED_BAD:
        return 0
    return 1 if good or forced == E.FORCED_GOOD else 0


def week_min(sense: IntRecord, tick: int) -> int:
    """Return the local minute of the week, -1 if the clock is unknown."""
    if not sense[E.CLOCK_KNOWN]:
        return -1
    return (sense[E.CLOCK_S] + sense[E.CLOCK_SHIFT_S] + tick) % WEEK_S // 60


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
    readings[R.NOW_MS] = (sense[E.TICK_ORIGIN_MS] + tick * 1000) & T.LAST
    readings[R.WEEK_MIN] = week_min(sense, tick)
    for i in range(R.PROBES):
        if settings[S.FITTED] & (F.STORE_LOW << i):
            read_probe(readings, sense, x[PROBE_STATES[i]], tick, i)
    readings[R.FLOW_ML_MIN] = flow_ml_min(sense, x[X.FLOW_L_MIN])
    rpm = 0.0 if sense[E.TACH_DEAD] else u[U.FAN_DUTY] * u[U.FAN_FACTOR] * t[Y.POWERED]
    readings[R.FAN_RPM] = int(rpm * sense[E.FAN_FULL_RPM])
    readings[R.BATTERY_MV] = battery_mv(t[Y.BATTERY_V])
    readings[R.MAINS_OK] = held(sense[E.MAINS], u[U.MAINS] > 0.5)
    readings[R.TRAY_OK] = held(sense[E.TRAY], t[Y.FLOAT_OPEN] < 0.5)
    readings[R.LEVEL_OK] = held(sense[E.LEVEL], t[Y.LEVEL_M] * 1000.0 >= sense[E.LEVEL_LOW_MM])
    on_floor_ml = (x[X.SPILL_L] + x[X.LEAKED_KG]) * 1000.0 - sense[E.FLOOR_MOPPED_ML]
    readings[R.FLOOR_DRY] = held(sense[E.FLOOR], on_floor_ml < sense[E.FLOOR_WET_ML])
    readings[R.SETTINGS_OK] = 0 if sense[E.SETTINGS_BAD] else 1
    readings[R.ACK_SEQ] = sense[E.ACK_SEQ]
    readings[R.MODE] = sense[E.MODE]
    readings[R.MODE_MIN] = sense[E.MODE_MIN]
    readings[R.MODE_SEQ] = sense[E.MODE_SEQ]
    readings[R.ADVICE] = sense[E.ADVICE]
    readings[R.ADVICE_WANTED] = sense[E.ADVICE_WANTED]
    readings[R.ADVICE_MC] = sense[E.ADVICE_MC]
    readings[R.ADVICE_MIN] = sense[E.ADVICE_MIN]
    readings[R.ADVICE_SEQ] = sense[E.ADVICE_SEQ]
    live = sense[E.RELAY_LIVE] != 0 and u[U.MAINS] > 0.5
    readings[R.RELAY_OPEN] = held(sense[E.RELAY_CONTACT], not live)

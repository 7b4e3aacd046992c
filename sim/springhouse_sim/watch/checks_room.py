"""Invariants of the room side and of water: 9-14, 17, 18, 27."""

from springhouse import advice as A
from springhouse import fitted as F
from springhouse import latch as L
from springhouse import mode as W
from springhouse import output as O
from springhouse import reading as R
from springhouse import setting as S

from springhouse_sim.records import IntRecord
from springhouse_sim.watch import shadow as X
from springhouse_sim.watch import trust as U
from springhouse_sim.watch.tally import tally

LOW, HIGH, ROOM, COIL_IN, COIL_AIR = range(5)
SCAN_MS = 1000
DAY_MS = 86400000
WANTED = 3  # kind of window
MOTORS = O.COMPRESSOR | O.PUMP | O.FAN
DELIVERY = O.PUMP | O.FAN


def flood(
    shadow: IntRecord,
    settings: IntRecord,
    readings: IntRecord,
    out: int,
    pressed: bool,
    cases: IntRecord,
    violations: IntRecord,
) -> None:
    """11: level low or wet floor: all off. 18: and off until acknowledged after it was over."""
    low = settings[S.FITTED] & F.LEVEL and not readings[R.LEVEL_OK]
    low = low and shadow[X.MODE] != W.SERVICE
    wet = settings[S.FITTED] & F.FLOOR and not readings[R.FLOOR_DRY]
    if low or wet:
        shadow[X.FLOOD] = 1
        tally(cases, violations, 11, out & MOTORS == 0)
    elif pressed:
        shadow[X.FLOOD] = 0
    if shadow[X.FLOOD]:
        tally(cases, violations, 18, out & MOTORS == 0)


def tray(
    shadow: IntRecord,
    settings: IntRecord,
    readings: IntRecord,
    out: int,
    pressed: bool,
    cases: IntRecord,
    violations: IntRecord,
) -> None:
    """12: tray full stops delivery at once, and for a while after; 18: the third in a day."""
    if not settings[S.FITTED] & F.TRAY:
        return
    now = shadow[X.TIME_MS]
    if now - shadow[X.TRAY_OPEN_MS] >= DAY_MS:
        shadow[X.TRAY_OPENINGS] = 0
    if not readings[R.TRAY_OK]:
        if shadow[X.TRAY_SHUT_MS] != -1 and shadow[X.MODE] != W.SERVICE:
            shadow[X.TRAY_OPENINGS] += 1
            shadow[X.TRAY_OPEN_MS] = now
        shadow[X.TRAY_SHUT_MS] = -1
        tally(cases, violations, 12, out & DELIVERY == 0)
    else:
        if shadow[X.TRAY_SHUT_MS] == -1:
            shadow[X.TRAY_SHUT_MS] = now
            shadow[X.TRAY_SHORT] = 1 if shadow[X.MODE] == W.SERVICE else 0
            shadow[X.TRAY_ACK_MS] = now
        elif pressed:
            shadow[X.TRAY_OPENINGS] = 0
            if not shadow[X.TRAY_SHORT]:
                shadow[X.TRAY_SHORT] = 1
                shadow[X.TRAY_ACK_MS] = now
        if out & DELIVERY:
            waited = now - shadow[X.TRAY_SHUT_MS] >= settings[S.TRAY_RETURN_S] * 1000
            if shadow[X.TRAY_SHORT] and now - shadow[X.TRAY_ACK_MS] >= 60000:
                waited = True
            tally(cases, violations, 12, waited)
    if shadow[X.TRAY_OPENINGS] >= 3:
        tally(cases, violations, 18, out & DELIVERY == 0)


def _no_flow_limit_ms(shadow: IntRecord, settings: IntRecord) -> int:
    """Longest time the pump may run on without evidence of flow, from now on."""
    if settings[S.FITTED] & F.FLOW:
        if shadow[X.FLOW_MS] == -1:
            return settings[S.PRIME_S] * 1000
        return settings[S.FLOW_GAP_S] * 1000
    if settings[S.FITTED] & F.COIL_IN:
        return settings[S.FOLLOW_S] * 1000
    return settings[S.SPELL_ON_S] * 1000


def _flow_shown(shadow: IntRecord, settings: IntRecord, readings: IntRecord) -> bool:
    """Whether this scan shows flow; MAYBE probes count as showing it."""
    if settings[S.FITTED] & F.FLOW:
        flow = readings[R.FLOW_ML_MIN]
        return settings[S.FLOW_LEAST_ML_MIN] <= flow <= settings[S.FLOW_MOST_ML_MIN]
    if not settings[S.FITTED] & F.COIL_IN:
        return False
    if not U.sure(shadow, readings, COIL_IN) or not U.sure(shadow, readings, LOW):
        return True
    gap = U.value_mc(settings, readings, COIL_IN) - U.value_mc(settings, readings, LOW)
    return abs(gap) <= settings[S.FOLLOW_MK]


def flow(
    shadow: IntRecord,
    settings: IntRecord,
    readings: IntRecord,
    out: int,
    pressed: bool,
    cases: IntRecord,
    violations: IntRecord,
) -> None:
    """9: no pump without flow. 10: at most four dry runs a day, then (18) off."""
    now = shadow[X.TIME_MS]
    if pressed or now - shadow[X.LAST_DRY_MS] >= DAY_MS:
        shadow[X.DRY_TRIES] = 0
    if shadow[X.OUT] & O.PUMP:  # judged on the pump as it was driven up to this scan
        shown = _flow_shown(shadow, settings, readings)
        if shown:
            shadow[X.FLOW_MS] = now
        since = now - shadow[X.PUMP_ON_MS]
        if shadow[X.FLOW_MS] != -1:
            since = now - shadow[X.FLOW_MS]
        limit = _no_flow_limit_ms(shadow, settings)
        if out & O.PUMP:
            tally(cases, violations, 9, since <= limit + 2 * SCAN_MS)
        elif not shown and since >= limit and settings[S.FITTED] & (F.FLOW | F.COIL_IN):
            shadow[X.DRY_TRIES] += 1
            shadow[X.LAST_DRY_MS] = now
            tally(cases, violations, 10, shadow[X.DRY_TRIES] <= 4)
    elif out & O.PUMP:
        shadow[X.PUMP_ON_MS] = now
        shadow[X.FLOW_MS] = -1
    if shadow[X.DRY_TRIES] >= 4:
        tally(cases, violations, 18, not out & O.PUMP)


def coil(
    shadow: IntRecord,
    settings: IntRecord,
    readings: IntRecord,
    out: int,
    cases: IntRecord,
    violations: IntRecord,
) -> None:
    """13: no pump into a freezing coil. 14: no pump for long without air."""
    if not out & O.PUMP:
        shadow[X.AIR_MS] = shadow[X.TIME_MS]
        return
    safe = True
    judged = False
    i = LOW
    if shadow[X.OUT] & O.PUMP and settings[S.FITTED] & F.COIL_IN:
        i = COIL_IN
    if U.sure(shadow, readings, i):
        judged = True
        mc = U.value_mc(settings, readings, i)
        error = settings[S.STORE_LOW_ERR_MK + i]
        if settings[S.BRINE]:
            safe = mc - error >= settings[S.BRINE_LIMIT_MC]
        else:
            safe = mc + error >= 0
    i = COIL_AIR if settings[S.FITTED] & F.COIL_AIR else ROOM
    if not settings[S.BRINE] and U.sure(shadow, readings, i):
        air = U.value_mc(settings, readings, i) - settings[S.STORE_LOW_ERR_MK + i]
        safe = safe and air >= 3000
        judged = True
    if judged:
        tally(cases, violations, 13, safe)
    turning = readings[R.FAN_RPM] >= settings[S.FAN_LEAST_RPM]
    if turning or not out & O.FAN or not settings[S.FITTED] & F.FAN_TACH:
        shadow[X.AIR_MS] = shadow[X.TIME_MS]
    if settings[S.FITTED] & F.FAN_TACH and out & O.FAN:
        still_ms = shadow[X.TIME_MS] - shadow[X.AIR_MS]
        tally(cases, violations, 14, still_ms <= settings[S.FAN_STILL_S] * 1000 + 2 * SCAN_MS)


def latches(
    shadow: IntRecord,
    announced: int,
    out: int,
    pressed: bool,
    cases: IntRecord,
    violations: IntRecord,
) -> None:
    """18: whatever was announced as latched keeps its outputs off until acknowledged.

    A reset, a power cut or a late scan acknowledges nothing.
    """
    if pressed:
        shadow[X.LATCHED] = 0
    shadow[X.LATCHED] |= announced
    if shadow[X.LATCHED] & L.STORE:
        tally(cases, violations, 18, not out & O.COMPRESSOR)
    if shadow[X.LATCHED] & L.ROOM:
        tally(cases, violations, 18, out & DELIVERY == 0)


def _stop_excused(shadow: IntRecord, settings: IntRecord, readings: IntRecord) -> bool:
    """Whether a guard, the owner or the plan may have ended delivery now.

    What is left are the two ends that need no haste: the room is cool, or the store of no more use.
    """
    fitted = settings[S.FITTED]
    for i in range(5):
        if fitted & (1 << i) and not U.sure(shadow, readings, i):
            return True
    if settings[S.ADVISED] == A.CHARGING_AND_ROOM:
        return True
    for w in range(S.WINDOWS):
        if settings[S.WINDOW_1_KIND + S.WINDOW_STRIDE * w] == WANTED:
            return True
    for mode in (shadow[X.MODE], shadow[X.MODE_BEFORE]):  # it was asked for, or its time is over
        if mode != W.AUTOMATIC and mode != W.COOL_NOW:
            return True
    if not readings[R.SETTINGS_OK] or shadow[X.LATCHED] or not readings[R.TRAY_OK]:
        return True
    if not fitted & F.FLOW or not _flow_shown(shadow, settings, readings):
        return True
    if fitted & F.FAN_TACH and readings[R.FAN_RPM] < settings[S.FAN_LEAST_RPM]:
        return True
    if not _surely_powered(settings, readings):
        return True
    return _maybe_cold(settings, readings)


def _surely_powered(settings: IntRecord, readings: IntRecord) -> bool:
    """Whether pump and fans have a supply beyond doubt."""
    fitted = settings[S.FITTED]
    if fitted & F.MAINS and readings[R.MAINS_OK]:
        return True
    if not fitted & F.BATTERY:
        return not fitted & F.MAINS
    return readings[R.BATTERY_MV] > settings[S.BATTERY_CUT_MV] + settings[S.BATTERY_REARM_MV]


def _maybe_cold(settings: IntRecord, readings: IntRecord) -> bool:
    """Whether the coil could be near freezing."""
    fitted = settings[S.FITTED]
    air = U.value_mc(settings, readings, ROOM)
    if fitted & F.COIL_AIR:
        air = min(air, U.value_mc(settings, readings, COIL_AIR))
    water = U.value_mc(settings, readings, LOW if fitted & F.STORE_LOW else HIGH)
    if fitted & F.COIL_IN:
        water = min(water, U.value_mc(settings, readings, COIL_IN))
    return air < 6000 or water < (7000 if settings[S.BRINE] else 1500)


def rhythm(
    shadow: IntRecord,
    settings: IntRecord,
    readings: IntRecord,
    out: int,
    cases: IntRecord,
    violations: IntRecord,
) -> None:
    """27: pump and fans rest their least off-time, and run their least on-time if all is well."""
    now = shadow[X.TIME_MS]
    for k in range(2):
        bit = O.FAN if k else O.PUMP
        if not (out ^ shadow[X.OUT]) & bit:
            continue
        since = now - shadow[X.PUMP_MOVED_MS + k]
        shadow[X.PUMP_MOVED_MS + k] = now
        if out & bit:
            tally(cases, violations, 27, since >= settings[S.DELIVERY_OFF_S] * 1000)
        elif not _stop_excused(shadow, settings, readings):
            tally(cases, violations, 27, since >= settings[S.DELIVERY_ON_S] * 1000)


def battery(
    shadow: IntRecord,
    settings: IntRecord,
    readings: IntRecord,
    out: int,
    cases: IntRecord,
    violations: IntRecord,
) -> None:
    """17: below the cut-off nothing runs, until well above it or mains is back."""
    if not settings[S.FITTED] & F.BATTERY:
        return
    if settings[S.FITTED] & F.MAINS and readings[R.MAINS_OK]:
        shadow[X.BATTERY_LOW] = 0
        return
    mv = readings[R.BATTERY_MV]
    if mv < settings[S.BATTERY_CUT_MV]:
        shadow[X.BATTERY_LOW] = 1
    elif mv > settings[S.BATTERY_CUT_MV] + settings[S.BATTERY_REARM_MV]:
        shadow[X.BATTERY_LOW] = 0
    if shadow[X.BATTERY_LOW]:
        tally(cases, violations, 17, out & DELIVERY == 0)

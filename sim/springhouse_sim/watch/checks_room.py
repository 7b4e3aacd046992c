"""Invariants of the room side and of water: 9-14, 17, 18, 27."""

from springhouse import advice, latch, output, reading, setting
from springhouse import fitted as fitted_bits
from springhouse import mode as modes

from springhouse_sim.records import IntRecord
from springhouse_sim.watch import shadow as shadow_slot
from springhouse_sim.watch import trust
from springhouse_sim.watch.tally import tally

LOW, HIGH, ROOM, COIL_IN, COIL_AIR = range(5)
SCAN_MS = 1000
DAY_MS = 86400000
WANTED = 3  # kind of window
MOTORS = output.COMPRESSOR | output.PUMP | output.FAN
DELIVERY = output.PUMP | output.FAN


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
    low = settings[setting.FITTED] & fitted_bits.LEVEL and not readings[reading.LEVEL_OK]
    low = low and shadow[shadow_slot.MODE] != modes.SERVICE
    wet = settings[setting.FITTED] & fitted_bits.FLOOR and not readings[reading.FLOOR_DRY]
    if low or wet:
        shadow[shadow_slot.FLOOD] = 1
        tally(cases, violations, 11, out & MOTORS == 0)
    elif pressed:
        shadow[shadow_slot.FLOOD] = 0
    if shadow[shadow_slot.FLOOD]:
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
    if not settings[setting.FITTED] & fitted_bits.TRAY:
        return
    now = shadow[shadow_slot.TIME_MS]
    if now - shadow[shadow_slot.TRAY_OPEN_MS] >= DAY_MS:
        shadow[shadow_slot.TRAY_OPENINGS] = 0
    if not readings[reading.TRAY_OK]:
        if shadow[shadow_slot.TRAY_SHUT_MS] != -1 and shadow[shadow_slot.MODE] != modes.SERVICE:
            shadow[shadow_slot.TRAY_OPENINGS] += 1
            shadow[shadow_slot.TRAY_OPEN_MS] = now
        shadow[shadow_slot.TRAY_SHUT_MS] = -1
        tally(cases, violations, 12, out & DELIVERY == 0)
    else:
        if shadow[shadow_slot.TRAY_SHUT_MS] == -1:
            shadow[shadow_slot.TRAY_SHUT_MS] = now
            shadow[shadow_slot.TRAY_SHORT] = 1 if shadow[shadow_slot.MODE] == modes.SERVICE else 0
            shadow[shadow_slot.TRAY_ACK_MS] = now
        elif pressed:
            shadow[shadow_slot.TRAY_OPENINGS] = 0
            if not shadow[shadow_slot.TRAY_SHORT]:
                shadow[shadow_slot.TRAY_SHORT] = 1
                shadow[shadow_slot.TRAY_ACK_MS] = now
        if out & DELIVERY:
            waited = (
                now - shadow[shadow_slot.TRAY_SHUT_MS] >= settings[setting.TRAY_RETURN_S] * 1000
            )
            if shadow[shadow_slot.TRAY_SHORT] and now - shadow[shadow_slot.TRAY_ACK_MS] >= 60000:
                waited = True
            tally(cases, violations, 12, waited)
    if shadow[shadow_slot.TRAY_OPENINGS] >= 3:
        tally(cases, violations, 18, out & DELIVERY == 0)


def _no_flow_limit_ms(shadow: IntRecord, settings: IntRecord) -> int:
    """Longest time the pump may run on without evidence of flow, from now on."""
    if settings[setting.FITTED] & fitted_bits.FLOW:
        if shadow[shadow_slot.FLOW_MS] == -1:
            return settings[setting.PRIME_S] * 1000
        return settings[setting.FLOW_GAP_S] * 1000
    if settings[setting.FITTED] & fitted_bits.COIL_IN:
        return settings[setting.FOLLOW_S] * 1000
    return settings[setting.SPELL_ON_S] * 1000


def _flow_shown(shadow: IntRecord, settings: IntRecord, readings: IntRecord) -> bool:
    """Whether this scan shows flow; MAYBE probes count as showing it."""
    if settings[setting.FITTED] & fitted_bits.FLOW:
        flow = readings[reading.FLOW_ML_MIN]
        return settings[setting.FLOW_LEAST_ML_MIN] <= flow <= settings[setting.FLOW_MOST_ML_MIN]
    if not settings[setting.FITTED] & fitted_bits.COIL_IN:
        return False
    if not trust.sure(shadow, readings, COIL_IN) or not trust.sure(shadow, readings, LOW):
        return True
    gap = trust.value_mc(settings, readings, COIL_IN) - trust.value_mc(settings, readings, LOW)
    return abs(gap) <= settings[setting.FOLLOW_MK]


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
    now = shadow[shadow_slot.TIME_MS]
    if pressed or now - shadow[shadow_slot.LAST_DRY_MS] >= DAY_MS:
        shadow[shadow_slot.DRY_TRIES] = 0
    if shadow[shadow_slot.OUT] & output.PUMP:  # judged on the pump as it was driven up to this scan
        shown = _flow_shown(shadow, settings, readings)
        if shown:
            shadow[shadow_slot.FLOW_MS] = now
        since = now - shadow[shadow_slot.PUMP_ON_MS]
        if shadow[shadow_slot.FLOW_MS] != -1:
            since = now - shadow[shadow_slot.FLOW_MS]
        limit = _no_flow_limit_ms(shadow, settings)
        if out & output.PUMP:
            tally(cases, violations, 9, since <= limit + 2 * SCAN_MS)
        elif (
            not shown
            and since >= limit
            and settings[setting.FITTED] & (fitted_bits.FLOW | fitted_bits.COIL_IN)
        ):
            shadow[shadow_slot.DRY_TRIES] += 1
            shadow[shadow_slot.LAST_DRY_MS] = now
            tally(cases, violations, 10, shadow[shadow_slot.DRY_TRIES] <= 4)
    elif out & output.PUMP:
        shadow[shadow_slot.PUMP_ON_MS] = now
        shadow[shadow_slot.FLOW_MS] = -1
    if shadow[shadow_slot.DRY_TRIES] >= 4:
        tally(cases, violations, 18, not out & output.PUMP)


def coil(
    shadow: IntRecord,
    settings: IntRecord,
    readings: IntRecord,
    out: int,
    cases: IntRecord,
    violations: IntRecord,
) -> None:
    """13: no pump into a freezing coil. 14: no pump for long without air."""
    if not out & output.PUMP:
        shadow[shadow_slot.AIR_MS] = shadow[shadow_slot.TIME_MS]
        return
    safe = True
    judged = False
    i = LOW
    if shadow[shadow_slot.OUT] & output.PUMP and settings[setting.FITTED] & fitted_bits.COIL_IN:
        i = COIL_IN
    if trust.sure(shadow, readings, i):
        judged = True
        mc = trust.value_mc(settings, readings, i)
        error = settings[setting.STORE_LOW_ERR_MK + i]
        if settings[setting.BRINE]:
            safe = mc - error >= settings[setting.BRINE_LIMIT_MC]
        else:
            safe = mc + error >= 0
    i = COIL_AIR if settings[setting.FITTED] & fitted_bits.COIL_AIR else ROOM
    if not settings[setting.BRINE] and trust.sure(shadow, readings, i):
        air = trust.value_mc(settings, readings, i) - settings[setting.STORE_LOW_ERR_MK + i]
        safe = safe and air >= 3000
        judged = True
    if judged:
        tally(cases, violations, 13, safe)
    turning = readings[reading.FAN_RPM] >= settings[setting.FAN_LEAST_RPM]
    if turning or not out & output.FAN or not settings[setting.FITTED] & fitted_bits.FAN_TACH:
        shadow[shadow_slot.AIR_MS] = shadow[shadow_slot.TIME_MS]
    if settings[setting.FITTED] & fitted_bits.FAN_TACH and out & output.FAN:
        still_ms = shadow[shadow_slot.TIME_MS] - shadow[shadow_slot.AIR_MS]
        tally(cases, violations, 14, still_ms <= settings[setting.FAN_STILL_S] * 1000 + 2 * SCAN_MS)


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
        shadow[shadow_slot.LATCHED] = 0
    shadow[shadow_slot.LATCHED] |= announced
    if shadow[shadow_slot.LATCHED] & latch.STORE:
        tally(cases, violations, 18, not out & output.COMPRESSOR)
    if shadow[shadow_slot.LATCHED] & latch.ROOM:
        tally(cases, violations, 18, out & DELIVERY == 0)


def _stop_excused(shadow: IntRecord, settings: IntRecord, readings: IntRecord) -> bool:
    """Whether a guard, the owner or the plan may have ended delivery now.

    What is left are the two ends that need no haste: the room is cool, or the store of no more use.
    """
    fitted = settings[setting.FITTED]
    for i in range(5):
        if fitted & (1 << i) and not trust.sure(shadow, readings, i):
            return True
    if settings[setting.ADVISED] == advice.CHARGING_AND_ROOM:
        return True
    for w in range(setting.WINDOWS):
        if settings[setting.WINDOW_1_KIND + setting.WINDOW_STRIDE * w] == WANTED:
            return True
    for mode in (
        shadow[shadow_slot.MODE],
        shadow[shadow_slot.MODE_BEFORE],
    ):  # it was asked for, or its time is over
        if mode != modes.AUTOMATIC and mode != modes.COOL_NOW:
            return True
    if (
        not readings[reading.SETTINGS_OK]
        or shadow[shadow_slot.LATCHED]
        or not readings[reading.TRAY_OK]
    ):
        return True
    if not fitted & fitted_bits.FLOW or not _flow_shown(shadow, settings, readings):
        return True
    if (
        fitted & fitted_bits.FAN_TACH
        and readings[reading.FAN_RPM] < settings[setting.FAN_LEAST_RPM]
    ):
        return True
    if not _surely_powered(settings, readings):
        return True
    return _maybe_cold(settings, readings)


def _surely_powered(settings: IntRecord, readings: IntRecord) -> bool:
    """Whether pump and fans have a supply beyond doubt."""
    fitted = settings[setting.FITTED]
    if fitted & fitted_bits.MAINS and readings[reading.MAINS_OK]:
        return True
    if not fitted & fitted_bits.BATTERY:
        return not fitted & fitted_bits.MAINS
    return (
        readings[reading.BATTERY_MV]
        > settings[setting.BATTERY_CUT_MV] + settings[setting.BATTERY_REARM_MV]
    )


def _maybe_cold(settings: IntRecord, readings: IntRecord) -> bool:
    """Whether the coil could be near freezing."""
    fitted = settings[setting.FITTED]
    air = trust.value_mc(settings, readings, ROOM)
    if fitted & fitted_bits.COIL_AIR:
        air = min(air, trust.value_mc(settings, readings, COIL_AIR))
    water = trust.value_mc(settings, readings, LOW if fitted & fitted_bits.STORE_LOW else HIGH)
    if fitted & fitted_bits.COIL_IN:
        water = min(water, trust.value_mc(settings, readings, COIL_IN))
    return air < 6000 or water < (7000 if settings[setting.BRINE] else 1500)


def rhythm(
    shadow: IntRecord,
    settings: IntRecord,
    readings: IntRecord,
    out: int,
    cases: IntRecord,
    violations: IntRecord,
) -> None:
    """27: pump and fans rest their least off-time, and run their least on-time if all is well."""
    now = shadow[shadow_slot.TIME_MS]
    for k in range(2):
        bit = output.FAN if k else output.PUMP
        if not (out ^ shadow[shadow_slot.OUT]) & bit:
            continue
        since = now - shadow[shadow_slot.PUMP_MOVED_MS + k]
        shadow[shadow_slot.PUMP_MOVED_MS + k] = now
        if out & bit:
            tally(cases, violations, 27, since >= settings[setting.DELIVERY_OFF_S] * 1000)
        elif not _stop_excused(shadow, settings, readings):
            tally(cases, violations, 27, since >= settings[setting.DELIVERY_ON_S] * 1000)


def battery(
    shadow: IntRecord,
    settings: IntRecord,
    readings: IntRecord,
    out: int,
    cases: IntRecord,
    violations: IntRecord,
) -> None:
    """17: below the cut-off nothing runs, until well above it or mains is back."""
    if not settings[setting.FITTED] & fitted_bits.BATTERY:
        return
    if settings[setting.FITTED] & fitted_bits.MAINS and readings[reading.MAINS_OK]:
        shadow[shadow_slot.BATTERY_LOW] = 0
        return
    mv = readings[reading.BATTERY_MV]
    if mv < settings[setting.BATTERY_CUT_MV]:
        shadow[shadow_slot.BATTERY_LOW] = 1
    elif mv > settings[setting.BATTERY_CUT_MV] + settings[setting.BATTERY_REARM_MV]:
        shadow[shadow_slot.BATTERY_LOW] = 0
    if shadow[shadow_slot.BATTERY_LOW]:
        tally(cases, violations, 17, out & DELIVERY == 0)

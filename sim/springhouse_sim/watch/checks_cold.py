"""Invariants of a cold store: 29 and 30, from the requirement and the physics it rests on."""

from springhouse import fitted, mode, output, reading, setting

from springhouse_sim.records import IntRecord
from springhouse_sim.watch import shadow as shadow_slot
from springhouse_sim.watch import trust
from springhouse_sim.watch.tally import tally

LOW, HIGH = range(2)
FAR_MC = 100000
UNMIXED_MK = 1000  # surely more than chilled water differs from bottom to top, errors aside
ROSE_MK = 1250  # surely a rise: 0.75 K and the steps of a probe
SANK_MK = 500
EVER_MK = 1500  # surely colder than the top ever was, and than the greatest density
WARM_MK = 750  # above the floor: surely seen warm
LIVE_MS = 5000
SETTLED_MS = 300000
STIRRED_MS = 900000  # after the pump
DENSEST_MC = 3980
NOTICED_MS = 2100000
NOISE_MK = 250
UNSURE = -2  # since when it has been off: a probe was not sure meanwhile


def begin(shadow: IntRecord) -> None:
    """Nothing is known of the water, and nothing was seen to run."""
    shadow[shadow_slot.TOP_LEAST_MC] = FAR_MC
    shadow[shadow_slot.TOP_ROSE] = 1
    shadow[shadow_slot.BOTTOM_MOST_MC] = -FAR_MC
    shadow[shadow_slot.TOP_EVER_MC] = -FAR_MC
    shadow[shadow_slot.LIVE_MS] = -1
    shadow[shadow_slot.OFF_MS] = -1


def _top_ever(shadow: IntRecord, settings: IntRecord, readings: IntRecord) -> None:
    """Follow how cold the top has ever been since the bottom was warm and chilled."""
    if not trust.sure(shadow, readings, LOW) or not trust.sure(shadow, readings, HIGH):
        shadow[shadow_slot.TOP_EVER_MC] = -FAR_MC
        return
    warm_mc = settings[setting.FLOOR_MC] + settings[setting.STORE_LOW_ERR_MK] + WARM_MK
    chilled = shadow[shadow_slot.OUT] & (output.COMPRESSOR | output.PUMP) == output.COMPRESSOR
    if chilled and trust.value_mc(settings, readings, LOW) >= warm_mc:
        shadow[shadow_slot.TOP_EVER_MC] = FAR_MC
    high = trust.value_mc(settings, readings, HIGH)
    shadow[shadow_slot.TOP_EVER_MC] = min(shadow[shadow_slot.TOP_EVER_MC], high)


def top(
    shadow: IntRecord,
    settings: IntRecord,
    readings: IntRecord,
    out: int,
    cases: IntRecord,
    violations: IntRecord,
) -> None:
    """29: below the floor only on a high probe that the low one bears out.

    Both were together while the bottom was warm, and the top did not come up since. And no bottom
    that is chilled falls below 4 °C under a top that is warmer, nor gets far colder than both 4 °C
    and what that top ever was, delivery or not.
    """
    _top_ever(shadow, settings, readings)
    if not trust.believed(shadow, readings, LOW) or not trust.believed(shadow, readings, HIGH):
        shadow[shadow_slot.BOTTOM_MOST_MC] = -FAR_MC
        return
    low = trust.value_mc(settings, readings, LOW)
    high = trust.value_mc(settings, readings, HIGH)
    errors = settings[setting.STORE_LOW_ERR_MK] + settings[setting.STORE_HIGH_ERR_MK]
    gap = high - low
    if low >= settings[setting.FLOOR_MC] + settings[setting.STORE_LOW_ERR_MK] + 250:
        shadow[shadow_slot.TOP_ROSE] = 0
        shadow[shadow_slot.TOP_LEAST_MC] = FAR_MC
    else:
        shadow[shadow_slot.TOP_LEAST_MC] = min(shadow[shadow_slot.TOP_LEAST_MC], high)
        if high - shadow[shadow_slot.TOP_LEAST_MC] >= ROSE_MK:
            shadow[shadow_slot.TOP_ROSE] = 1
    if not out & output.COMPRESSOR or out & output.PUMP or shadow[shadow_slot.OUT] & output.PUMP:
        shadow[shadow_slot.BOTTOM_MOST_MC] = -FAR_MC
    if not out & output.COMPRESSOR:
        return
    kept = True
    if shadow[shadow_slot.TOP_ROSE] and not settings[setting.ICE_BANK]:
        coldest = low - settings[setting.STORE_LOW_ERR_MK]
        coldest = min(coldest, high - settings[setting.STORE_HIGH_ERR_MK])
        kept = coldest > settings[setting.FLOOR_MC] or gap > errors + 400
    if not out & output.PUMP:
        shadow[shadow_slot.BOTTOM_MOST_MC] = max(shadow[shadow_slot.BOTTOM_MOST_MC], low)
        sank = low <= shadow[shadow_slot.BOTTOM_MOST_MC] - SANK_MK
        sank = sank and low + settings[setting.STORE_LOW_ERR_MK] < 3900
        if sank and gap > errors + UNMIXED_MK:
            kept = False
    ever = min(shadow[shadow_slot.TOP_EVER_MC] - settings[setting.CHILLS_MK], DENSEST_MC)
    colder = low + settings[setting.STORE_LOW_ERR_MK] < ever - EVER_MK
    if shadow[shadow_slot.OUT] & output.COMPRESSOR and colder and gap > errors + UNMIXED_MK:
        kept = False
    tally(cases, violations, 29, kept)


def _measured_from_mc(mean: int, low: int, high: int, pattern: int) -> int:
    """Below 4 °C warm water sinks: mixing alone takes a mean of two probes to the colder one's."""
    if pattern == 3 and min(mean, high) < DENSEST_MC + NOISE_MK:
        return min(mean, low, high)
    return mean


def _seen_live(
    shadow: IntRecord,
    settings: IntRecord,
    readings: IntRecord,
    out: int,
    alarm: bool,
    cases: IntRecord,
    violations: IntRecord,
) -> None:
    """30 where a contact shows that the freezer has power."""
    live = settings[setting.FITTED] & fitted.RELAY and not readings[reading.RELAY_OPEN]
    if not live or out & output.COMPRESSOR or shadow[shadow_slot.OUT] & output.COMPRESSOR:
        shadow[shadow_slot.LIVE_MS] = -1
        return
    if shadow[shadow_slot.LIVE_MS] == -1:
        shadow[shadow_slot.LIVE_MS] = shadow[shadow_slot.TIME_MS]
    if shadow[shadow_slot.TIME_MS] - shadow[shadow_slot.LIVE_MS] > LIVE_MS:
        tally(cases, violations, 30, alarm)


def _off(shadow: IntRecord, ran: int, pressed: bool, sure: bool) -> bool:
    """Whether it is known since when nothing runs and what ran last."""
    off_ms = shadow[shadow_slot.OFF_MS]
    if ran or shadow[shadow_slot.MODE] == mode.SERVICE:
        shadow[shadow_slot.OFF_MS] = -1
        shadow[shadow_slot.OFF_STIRRED] = 1 if ran & output.PUMP else 0
        return False
    if pressed and (off_ms != UNSURE or not shadow[shadow_slot.OFF_STIRRED]):
        settled_ms = STIRRED_MS if shadow[shadow_slot.OFF_STIRRED] else SETTLED_MS
        if off_ms >= 0 and shadow[shadow_slot.TIME_MS] - off_ms > settled_ms:
            shadow[shadow_slot.OFF_STIRRED] = 0  # it had settled before the press
        shadow[shadow_slot.OFF_MS] = -1
        return False
    if not sure:
        # It may be measured from before the gap or from behind it.
        shadow[shadow_slot.OFF_MS] = UNSURE
    return shadow[shadow_slot.OFF_MS] != UNSURE


def switched_off(
    shadow: IntRecord,
    settings: IntRecord,
    readings: IntRecord,
    out: int,
    pressed: bool,
    cases: IntRecord,
    violations: IntRecord,
) -> None:
    """30: a freezer that runs although switched off sounds the alarm.

    Within 5 s where a contact shows it, within 35 min where only the falling store does: below the
    mean of its probes, or below the colder of them where one is under 4 °C and warm water sinks.
    """
    now = shadow[shadow_slot.TIME_MS]
    alarm = out & output.ALARM != 0
    _seen_live(shadow, settings, readings, out, alarm, cases, violations)
    pattern = 0
    for i in range(2):
        if trust.sure(shadow, readings, i):
            pattern |= 1 << i
    ran = (out | shadow[shadow_slot.OUT]) & (output.COMPRESSOR | output.PUMP)
    all_fitted = settings[setting.FITTED] & (fitted.STORE_LOW | fitted.STORE_HIGH)
    if not _off(shadow, ran, pressed, pattern == all_fitted):
        return
    settled_ms = STIRRED_MS if shadow[shadow_slot.OFF_STIRRED] else SETTLED_MS
    low = trust.value_mc(settings, readings, LOW)
    high = trust.value_mc(settings, readings, HIGH)
    mean = (low + high) // 2
    if pattern != 3:
        mean = low if pattern == 1 else high
    if shadow[shadow_slot.OFF_MS] == -1:
        shadow[shadow_slot.OFF_MS] = now
    # The high probe alone may be followed: only what both show is surely seen.
    seen = max(mean, high) if pattern == 3 else mean
    gone_ms = now - shadow[shadow_slot.OFF_MS]
    if gone_ms <= settled_ms:
        shadow[shadow_slot.OFF_MC] = _measured_from_mc(mean, low, high, pattern)
    elif (
        gone_ms <= NOTICED_MS
        and shadow[shadow_slot.OFF_MC] - seen >= settings[setting.CHILLS_MK] + NOISE_MK
    ):
        shadow[shadow_slot.OFF_FALLEN] += 1
        if shadow[shadow_slot.OFF_FALLEN] > 2:
            tally(cases, violations, 30, alarm)
        return
    shadow[shadow_slot.OFF_FALLEN] = 0

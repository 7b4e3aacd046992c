"""Invariants of a cold store: 29 and 30, from the requirement and the physics it rests on."""

from springhouse import fitted as F
from springhouse import mode as W
from springhouse import output as O
from springhouse import reading as R
from springhouse import setting as S

from springhouse_sim.records import IntRecord
from springhouse_sim.watch import shadow as X
from springhouse_sim.watch import trust as U
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
    shadow[X.TOP_LEAST_MC] = FAR_MC
    shadow[X.TOP_ROSE] = 1
    shadow[X.BOTTOM_MOST_MC] = -FAR_MC
    shadow[X.TOP_EVER_MC] = -FAR_MC
    shadow[X.LIVE_MS] = -1
    shadow[X.OFF_MS] = -1


def _top_ever(shadow: IntRecord, settings: IntRecord, readings: IntRecord) -> None:
    """Follow how cold the top has ever been since the bottom was warm and chilled."""
    if not U.sure(shadow, readings, LOW) or not U.sure(shadow, readings, HIGH):
        shadow[X.TOP_EVER_MC] = -FAR_MC
        return
    warm_mc = settings[S.FLOOR_MC] + settings[S.STORE_LOW_ERR_MK] + WARM_MK
    chilled = shadow[X.OUT] & (O.COMPRESSOR | O.PUMP) == O.COMPRESSOR
    if chilled and U.value_mc(settings, readings, LOW) >= warm_mc:
        shadow[X.TOP_EVER_MC] = FAR_MC
    high = U.value_mc(settings, readings, HIGH)
    shadow[X.TOP_EVER_MC] = min(shadow[X.TOP_EVER_MC], high)


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
    if not U.believed(shadow, readings, LOW) or not U.believed(shadow, readings, HIGH):
        shadow[X.BOTTOM_MOST_MC] = -FAR_MC
        return
    low = U.value_mc(settings, readings, LOW)
    high = U.value_mc(settings, readings, HIGH)
    errors = settings[S.STORE_LOW_ERR_MK] + settings[S.STORE_HIGH_ERR_MK]
    gap = high - low
    if low >= settings[S.FLOOR_MC] + settings[S.STORE_LOW_ERR_MK] + 250:
        shadow[X.TOP_ROSE] = 0
        shadow[X.TOP_LEAST_MC] = FAR_MC
    else:
        shadow[X.TOP_LEAST_MC] = min(shadow[X.TOP_LEAST_MC], high)
        if high - shadow[X.TOP_LEAST_MC] >= ROSE_MK:
            shadow[X.TOP_ROSE] = 1
    if not out & O.COMPRESSOR or out & O.PUMP or shadow[X.OUT] & O.PUMP:
        shadow[X.BOTTOM_MOST_MC] = -FAR_MC
    if not out & O.COMPRESSOR:
        return
    kept = True
    if shadow[X.TOP_ROSE] and not settings[S.ICE_BANK]:
        coldest = low - settings[S.STORE_LOW_ERR_MK]
        coldest = min(coldest, high - settings[S.STORE_HIGH_ERR_MK])
        kept = coldest > settings[S.FLOOR_MC] or gap > errors + 400
    if not out & O.PUMP:
        shadow[X.BOTTOM_MOST_MC] = max(shadow[X.BOTTOM_MOST_MC], low)
        sank = low <= shadow[X.BOTTOM_MOST_MC] - SANK_MK
        sank = sank and low + settings[S.STORE_LOW_ERR_MK] < 3900
        if sank and gap > errors + UNMIXED_MK:
            kept = False
    ever = min(shadow[X.TOP_EVER_MC] - settings[S.CHILLS_MK], DENSEST_MC)
    colder = low + settings[S.STORE_LOW_ERR_MK] < ever - EVER_MK
    if shadow[X.OUT] & O.COMPRESSOR and colder and gap > errors + UNMIXED_MK:
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
    live = settings[S.FITTED] & F.RELAY and not readings[R.RELAY_OPEN]
    if not live or out & O.COMPRESSOR or shadow[X.OUT] & O.COMPRESSOR:
        shadow[X.LIVE_MS] = -1
        return
    if shadow[X.LIVE_MS] == -1:
        shadow[X.LIVE_MS] = shadow[X.TIME_MS]
    if shadow[X.TIME_MS] - shadow[X.LIVE_MS] > LIVE_MS:
        tally(cases, violations, 30, alarm)


def _off(shadow: IntRecord, ran: int, pressed: bool, sure: bool) -> bool:
    """Whether it is known since when nothing runs and what ran last."""
    off_ms = shadow[X.OFF_MS]
    if ran or shadow[X.MODE] == W.SERVICE:
        shadow[X.OFF_MS] = -1
        shadow[X.OFF_STIRRED] = 1 if ran & O.PUMP else 0
        return False
    if pressed and (off_ms != UNSURE or not shadow[X.OFF_STIRRED]):
        settled_ms = STIRRED_MS if shadow[X.OFF_STIRRED] else SETTLED_MS
        if off_ms >= 0 and shadow[X.TIME_MS] - off_ms > settled_ms:
            shadow[X.OFF_STIRRED] = 0  # it had settled before the press
        shadow[X.OFF_MS] = -1
        return False
    if not sure:
        shadow[X.OFF_MS] = UNSURE  # it may be measured from before the gap or from behind it
    return shadow[X.OFF_MS] != UNSURE


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
    now = shadow[X.TIME_MS]
    alarm = out & O.ALARM != 0
    _seen_live(shadow, settings, readings, out, alarm, cases, violations)
    pattern = 0
    for i in range(2):
        if U.sure(shadow, readings, i):
            pattern |= 1 << i
    ran = (out | shadow[X.OUT]) & (O.COMPRESSOR | O.PUMP)
    all_fitted = settings[S.FITTED] & (F.STORE_LOW | F.STORE_HIGH)
    if not _off(shadow, ran, pressed, pattern == all_fitted):
        return
    settled_ms = STIRRED_MS if shadow[X.OFF_STIRRED] else SETTLED_MS
    low = U.value_mc(settings, readings, LOW)
    high = U.value_mc(settings, readings, HIGH)
    mean = (low + high) // 2
    if pattern != 3:
        mean = low if pattern == 1 else high
    if shadow[X.OFF_MS] == -1:
        shadow[X.OFF_MS] = now
    # The high probe alone may be followed: only what both show is surely seen.
    seen = max(mean, high) if pattern == 3 else mean
    gone_ms = now - shadow[X.OFF_MS]
    if gone_ms <= settled_ms:
        shadow[X.OFF_MC] = _measured_from_mc(mean, low, high, pattern)
    elif gone_ms <= NOTICED_MS and shadow[X.OFF_MC] - seen >= settings[S.CHILLS_MK] + NOISE_MK:
        shadow[X.OFF_FALLEN] += 1
        if shadow[X.OFF_FALLEN] > 2:
            tally(cases, violations, 30, alarm)
        return
    shadow[X.OFF_FALLEN] = 0

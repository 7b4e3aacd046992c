"""The observer's own opinion of each probe: NO, MAYBE or YES.

Where the rule of hazards "three good frames, at most 10 s old, no step over 5 K" leaves the
controller some freedom (which frame a step is measured from, when within 10 s trust ends) the
opinion is MAYBE and nothing is judged from it.
"""

from springhouse import reading, setting

from springhouse_sim.records import IntRecord
from springhouse_sim.watch import shadow as shadow_slot

NO, MAYBE, YES = range(3)
GONE_MS = 12000  # 10 s and two scans
SURE_STEP_MK = 4750  # a step below is surely none ...
STEP_MK = 5250  # ... above surely one
MOVED_MK = 250
STUCK_DOUBT_MS = 1800000  # a probe that has not moved for so long may be called stuck
LOWEST_MC = (-5000, -5000, -10000, -10000, -10000)
HIGHEST_MC = (45000, 45000, 60000, 60000, 60000)


def age_ms(readings: IntRecord, i: int) -> int:
    """Age of the latest frame by wrapped ticks, below 0 if it looks newer than now."""
    d = readings[reading.NOW_MS] - readings[reading.STORE_LOW_AT_MS + i]
    if d >= 1 << 29:
        d -= 1 << 30
    elif d < -(1 << 29):
        d += 1 << 30
    return d


def fresh_and_sane(readings: IntRecord, i: int) -> bool:
    """Static checks on the latest frame."""
    raw = readings[reading.STORE_LOW_MC + i]
    if readings[reading.STORE_LOW_FAULT + i] != 0 or raw == 85000:
        return False
    return LOWEST_MC[i] <= raw <= HIGHEST_MC[i] and 0 <= age_ms(readings, i) <= 10000


def _note_good(shadow: IntRecord, readings: IntRecord, i: int, mc: int) -> None:
    shadow[shadow_slot.LOW_LAST_MC + i] = mc
    shadow[shadow_slot.LOW_LAST_MS + i] = shadow[shadow_slot.TIME_MS]
    frame = readings[reading.STORE_LOW_AT_MS + i]
    if frame != shadow[shadow_slot.LOW_FRAME_MS + i] or shadow[shadow_slot.LOW_GOOD + i] == 0:
        shadow[shadow_slot.LOW_GOOD + i] += 1
    shadow[shadow_slot.LOW_FRAME_MS + i] = frame
    if abs(mc - shadow[shadow_slot.LOW_MARK_MC + i]) >= MOVED_MK:
        shadow[shadow_slot.LOW_MARK_MC + i] = mc
        shadow[shadow_slot.LOW_MOVED_MS + i] = shadow[shadow_slot.TIME_MS]


def judge(shadow: IntRecord, settings: IntRecord, readings: IntRecord, i: int) -> None:
    """Update the opinion of probe `i` (bit order of fitted.py)."""
    if not settings[setting.FITTED] & (1 << i):
        shadow[shadow_slot.LOW_TRUST + i] = NO
        return
    mc = readings[reading.STORE_LOW_MC + i] + settings[setting.STORE_LOW_OFFSET_MK + i]
    trust = shadow[shadow_slot.LOW_TRUST + i]
    good = fresh_and_sane(readings, i)
    if good and i < 3 and shadow[shadow_slot.LOW_GOOD + i] > 0:
        step = abs(mc - shadow[shadow_slot.LOW_LAST_MC + i])
        if step > STEP_MK:
            good = False
            if trust == NO:  # counting begins anew from here
                shadow[shadow_slot.LOW_GOOD + i] = 0
                _note_good(shadow, readings, i, mc)
                return
        elif step > SURE_STEP_MK:
            shadow[shadow_slot.LOW_GOOD + i] = 1
            shadow[shadow_slot.LOW_TRUST + i] = MAYBE
            _note_good(shadow, readings, i, mc)
            return
    if good:
        _note_good(shadow, readings, i, mc)
        if shadow[shadow_slot.LOW_GOOD + i] > 5:
            shadow[shadow_slot.LOW_TRUST + i] = YES
        elif shadow[shadow_slot.LOW_GOOD + i] >= 3 and trust == NO:
            shadow[shadow_slot.LOW_TRUST + i] = MAYBE
    else:
        if trust == YES:
            shadow[shadow_slot.LOW_TRUST + i] = MAYBE
        shadow[shadow_slot.LOW_GOOD + i] = 0
        if shadow[shadow_slot.TIME_MS] - shadow[shadow_slot.LOW_LAST_MS + i] > GONE_MS:
            shadow[shadow_slot.LOW_TRUST + i] = NO


def believed(shadow: IntRecord, readings: IntRecord, i: int) -> bool:
    """Whether the controller must believe probe `i` this scan, unless it calls it stuck."""
    return shadow[shadow_slot.LOW_TRUST + i] == YES and fresh_and_sane(readings, i)


def sure(shadow: IntRecord, readings: IntRecord, i: int) -> bool:
    """Whether the controller must believe probe `i` this scan. Only store probes can be stuck."""
    if not believed(shadow, readings, i):
        return False
    return (
        i > 1 or shadow[shadow_slot.TIME_MS] - shadow[shadow_slot.LOW_MOVED_MS + i] < STUCK_DOUBT_MS
    )


def surely_not(shadow: IntRecord, i: int) -> bool:
    """Whether the controller must not use probe `i`."""
    return shadow[shadow_slot.LOW_TRUST + i] == NO


def value_mc(settings: IntRecord, readings: IntRecord, i: int) -> int:
    """Calibrated reading of probe `i`."""
    return readings[reading.STORE_LOW_MC + i] + settings[setting.STORE_LOW_OFFSET_MK + i]

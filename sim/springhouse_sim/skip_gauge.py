"""The figures of `gauge.py` over all ticks of a step at once, as if each had been looked at.

Spells and peaks are those of the ticks. Where the curve surely only rises or falls the first and
last tick are enough; where a bound shows that nothing is touched, none is looked at.
"""

from springhouse_sim import gauge
from springhouse_sim.plant import state
from springhouse_sim.records import FloatRecord, IntRecord
from springhouse_sim.skip_dense import hull, monotone, share_at, value


def spell_of(counts: IntRecord, slot: int, ticks: int) -> None:
    """Count ``ticks`` seconds of a spell that goes on."""
    counts[slot] += ticks
    counts[slot + 1] = max(counts[slot + 1], counts[slot])


def dry(
    curve: FloatRecord,
    counts: IntRecord,
    pumping: bool,
    least_l_min: float,
    first: int,
    last: int,
) -> None:
    """The pump turning without flow."""
    if not pumping:
        counts[gauge.DRY_S] = 0
        return
    low, high = hull(curve, state.FLOW_L_MIN)
    if low >= least_l_min:
        counts[gauge.DRY_S] = 0
    elif high < least_l_min:
        spell_of(counts, gauge.DRY_S, last - first + 1)
    else:
        for tick in range(first, last + 1):
            flow = value(curve, state.FLOW_L_MIN, share_at(curve, tick))
            gauge.spell(counts, gauge.DRY_S, flow < least_l_min)


def ice_at(curve: FloatRecord, share: float) -> float:
    """Return all ice [kg]."""
    ice_kg = 0.0
    for i in range(state.LAYERS):
        ice_kg += value(curve, state.ICE_KG + i, share)
    return ice_kg


def ice(curve: FloatRecord, counts: IntRecord, peaks: FloatRecord, first: int, last: int) -> None:
    """Ice that stands, and the most of it."""
    low_kg = 0.0
    high_kg = 0.0
    for i in range(state.LAYERS):
        low, high = hull(curve, state.ICE_KG + i)
        low_kg += low
        high_kg += high
    if high_kg > peaks[gauge.ICE_MAX_KG] or low_kg < gauge.ICE_STANDS_KG <= high_kg:
        for tick in range(first, last + 1):
            now_kg = ice_at(curve, share_at(curve, tick))
            gauge.spell(counts, gauge.ICE_S, now_kg >= gauge.ICE_STANDS_KG)
            peaks[gauge.ICE_MAX_KG] = max(peaks[gauge.ICE_MAX_KG], now_kg)
    elif low_kg >= gauge.ICE_STANDS_KG:
        spell_of(counts, gauge.ICE_S, last - first + 1)
    else:
        counts[gauge.ICE_S] = 0


def highest(
    curve: FloatRecord, peaks: FloatRecord, peak: int, slot: int, sign: float, first: int, last: int
) -> None:
    """Raise a peak to the greatest of ``sign`` times a slot; with -1 the peak is a least value."""
    low, high = hull(curve, slot)
    if sign * (high if sign > 0.0 else low) <= sign * peaks[peak]:
        return
    every = 1 if not monotone(curve, slot) else max(1, last - first)
    for tick in range(first, last + 1, every):
        now = value(curve, slot, share_at(curve, tick))
        if sign * now > sign * peaks[peak]:
            peaks[peak] = now


def span(
    curve: FloatRecord,
    counts: IntRecord,
    peaks: FloatRecord,
    pumping: bool,
    least_l_min: float,
    first: int,
    last: int,
) -> None:
    """Take in ticks ``first`` to ``last`` of the step, all with the same outputs and supply."""
    if last < first:
        return
    dry(curve, counts, pumping, least_l_min, first, last)
    ice(curve, counts, peaks, first, last)
    for i in range(state.LAYERS):
        highest(curve, peaks, gauge.STORE_MIN_C, state.WATER_C + i, -1.0, first, last)
    highest(curve, peaks, gauge.WINDING_MAX_C, state.WINDING_C, 1.0, first, last)
    highest(curve, peaks, gauge.FROST_MAX_KG, state.FROST_KG, 1.0, first, last)
    highest(curve, peaks, gauge.TRAY_MAX_L, state.TRAY_L, 1.0, first, last)

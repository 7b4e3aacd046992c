"""The figures of `gauge.py` over all ticks of a step at once, as if each had been looked at.

Spells and peaks are those of the ticks. Where the curve surely only rises or falls the first and
last tick are enough; where a bound shows that nothing is touched, none is looked at.
"""

from springhouse_sim import gauge as G
from springhouse_sim.plant import state as X
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
        counts[G.DRY_S] = 0
        return
    low, high = hull(curve, X.FLOW_L_MIN)
    if low >= least_l_min:
        counts[G.DRY_S] = 0
    elif high < least_l_min:
        spell_of(counts, G.DRY_S, last - first + 1)
    else:
        for tick in range(first, last + 1):
            flow = value(curve, X.FLOW_L_MIN, share_at(curve, tick))
            G.spell(counts, G.DRY_S, flow < least_l_min)


def ice_at(curve: FloatRecord, share: float) -> float:
    """Return all ice [kg]."""
    ice_kg = 0.0
    for i in range(X.LAYERS):
        ice_kg += value(curve, X.ICE_KG + i, share)
    return ice_kg


def ice(curve: FloatRecord, counts: IntRecord, peaks: FloatRecord, first: int, last: int) -> None:
    """Ice that stands, and the most of it."""
    low_kg = 0.0
    high_kg = 0.0
    for i in range(X.LAYERS):
        low, high = hull(curve, X.ICE_KG + i)
        low_kg += low
        high_kg += high
    if high_kg > peaks[G.ICE_MAX_KG] or low_kg < G.ICE_STANDS_KG <= high_kg:
        for tick in range(first, last + 1):
            now_kg = ice_at(curve, share_at(curve, tick))
            G.spell(counts, G.ICE_S, now_kg >= G.ICE_STANDS_KG)
            peaks[G.ICE_MAX_KG] = max(peaks[G.ICE_MAX_KG], now_kg)
    elif low_kg >= G.ICE_STANDS_KG:
        spell_of(counts, G.ICE_S, last - first + 1)
    else:
        counts[G.ICE_S] = 0


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
    for i in range(X.LAYERS):
        highest(curve, peaks, G.STORE_MIN_C, X.WATER_C + i, -1.0, first, last)
    highest(curve, peaks, G.WINDING_MAX_C, X.WINDING_C, 1.0, first, last)
    highest(curve, peaks, G.FROST_MAX_KG, X.FROST_KG, 1.0, first, last)
    highest(curve, peaks, G.TRAY_MAX_L, X.TRAY_L, 1.0, first, last)

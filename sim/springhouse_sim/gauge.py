"""Figures that need every control tick: starts, off gaps, dry running, ice, extremes.

Two flat records: ``counts`` (64-bit integers, seconds unless the name says else) and ``peaks``
(floats). Everything is judged on what the plant really did, not on what the board believes.
"""

from springhouse_sim.plant import given, state, tap
from springhouse_sim.records import FloatRecord, IntRecord

START_RING = 16  # starts remembered: more an hour than that are not told apart
HOUR_S = 3600
ICE_STANDS_KG = 0.01  # less than this is a wet film, not ice that stands

(
    ENERGISED,  # compressor motor had both relay and mains at the last tick
    OFF_SINCE,  # tick from which it has been off
    OFF_GAP_MIN_S,  # shortest time off before a start, power-up counting as a stop; NEVER if none
    STARTS,
    STARTS_PER_HOUR_MAX,  # in any sliding hour
    RING_NEXT,
    DRY_S,  # pump turning without flow, this time
    DRY_MAX_S,
    ICE_S,  # ice standing, this time
    ICE_MAX_S,
    BOOTS,
    ALIVE,  # the board had a supply at the last tick
    RING_0,
    _END_OF_RING,
) = (*range(12), 12, 12 + START_RING)
STORE_STATE_S_0 = _END_OF_RING  # seconds in each state of the store side
ROOM_STATE_S_0 = STORE_STATE_S_0 + 5
COUNTS = ROOM_STATE_S_0 + 8

(
    STORE_MIN_C,  # coldest liquid layer
    ICE_MAX_KG,
    WINDING_MAX_C,
    FROST_MAX_KG,
    TRAY_MAX_L,
    PEAKS,
) = range(6)

NEVER = 1 << 40


def clear(counts: IntRecord, peaks: FloatRecord) -> None:
    """Begin a run: the compressor has been off since just now, the board is dead."""
    for slot in range(COUNTS):
        counts[slot] = 0
    counts[OFF_GAP_MIN_S] = NEVER
    for slot in range(RING_0, RING_0 + START_RING):
        counts[slot] = -NEVER
    for slot in range(PEAKS):
        peaks[slot] = 0.0
    peaks[STORE_MIN_C] = 1000.0
    peaks[WINDING_MAX_C] = -1000.0


def motor(counts: IntRecord, energised: bool, tick: int) -> None:
    """Follow the compressor motor: true off gaps and starts in a sliding hour."""
    if energised and not counts[ENERGISED]:
        gap = tick - counts[OFF_SINCE]
        counts[OFF_GAP_MIN_S] = min(counts[OFF_GAP_MIN_S], gap)
        counts[STARTS] += 1
        counts[RING_0 + counts[RING_NEXT]] = tick
        counts[RING_NEXT] = (counts[RING_NEXT] + 1) % START_RING
        within = 0
        for slot in range(RING_0, RING_0 + START_RING):
            if tick - counts[slot] < HOUR_S:
                within += 1
        counts[STARTS_PER_HOUR_MAX] = max(counts[STARTS_PER_HOUR_MAX], within)
    elif not energised and counts[ENERGISED]:
        counts[OFF_SINCE] = tick
    counts[ENERGISED] = 1 if energised else 0


def spell(counts: IntRecord, slot: int, lasts: bool) -> None:
    """Count the seconds something lasts in ``slot`` and its longest time in the slot after it."""
    if lasts:
        counts[slot] += 1
        counts[slot + 1] = max(counts[slot + 1], counts[slot])
    else:
        counts[slot] = 0


def watch(
    counts: IntRecord,
    peaks: FloatRecord,
    x: FloatRecord,
    u: FloatRecord,
    t: FloatRecord,
    flow_least_l_min: float,
    tick: int,
) -> None:
    """Take in one control tick, after the outputs have been driven.

    A second counts as dry when it began with the pump turning and less than
    ``flow_least_l_min`` flowing, so the seconds in which flow builds up count too.
    """
    motor(counts, u[given.COMPRESSOR_RELAY] > 0.5 and u[given.MAINS] > 0.5, tick)
    turning = u[given.PUMP_DUTY] * t[tap.POWERED] > 0.0
    spell(counts, DRY_S, turning and x[state.FLOW_L_MIN] < flow_least_l_min)
    ice_kg = 0.0
    coldest_c = x[state.WATER_C]
    for i in range(state.LAYERS):
        ice_kg += x[state.ICE_KG + i]
        coldest_c = min(coldest_c, x[state.WATER_C + i])
    spell(counts, ICE_S, ice_kg >= ICE_STANDS_KG)
    peaks[STORE_MIN_C] = min(peaks[STORE_MIN_C], coldest_c)
    peaks[ICE_MAX_KG] = max(peaks[ICE_MAX_KG], ice_kg)
    peaks[WINDING_MAX_C] = max(peaks[WINDING_MAX_C], x[state.WINDING_C])
    peaks[FROST_MAX_KG] = max(peaks[FROST_MAX_KG], x[state.FROST_KG])
    peaks[TRAY_MAX_L] = max(peaks[TRAY_MAX_L], x[state.TRAY_L])

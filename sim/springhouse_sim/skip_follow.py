"""Keeps probe anchors and stuck timers as if every frame had been seen.

They change with every count of a probe and decide nothing by themselves, so the controller is not
stepped for them. Its own `probes.update` is called at the few frames that leave a mark.
"""

from springhouse import memory as cell
from springhouse import probes, reading, setting, timekeeping

from springhouse_sim import sense as sense_slot
from springhouse_sim import sensing
from springhouse_sim.records import FloatRecord, IntRecord
from springhouse_sim.skip_dense import hull, share_at, value
from springhouse_sim.skip_scan import HALF_COUNT_MK, honest

COUNT_MK = 62  # an anchor that moves by so little moves with every count
FAR_MK = 4000  # a probe that goes so far within a step is followed frame by frame


def _shown(curve: FloatRecord, sense: IntRecord, tick: int, i: int) -> int:
    true_c = value(curve, sensing.PROBE_STATES[i], share_at(curve, tick))
    return sensing.shown_mc(sense, true_c, tick, i)


def _show(
    memory: IntRecord,
    settings: IntRecord,
    readings: IntRecord,
    sense: IntRecord,
    tick: int,
    shown: int,
    i: int,
) -> None:
    """Let the controller take in one frame of one probe."""
    readings[reading.NOW_MS] = (sense[sense_slot.TICK_ORIGIN_MS] + tick * 1000) & timekeeping.LAST
    readings[reading.STORE_LOW_AT_MS + i] = readings[reading.NOW_MS]
    readings[reading.STORE_LOW_MC + i] = shown
    probes.update(memory, settings, readings, i)


def follow(
    curve: FloatRecord,
    memory: IntRecord,
    settings: IntRecord,
    readings: IntRecord,
    sense: IntRecord,
    after: int,
    last: int,
) -> None:
    """Take in the frames of ticks ``after`` + 1 to ``last``, all within the step."""
    if last <= after:
        return
    for i in range(reading.PROBES):
        if not honest(settings, sense, i) or not memory[cell.VALID] & (1 << i):
            continue
        low_c, high_c = hull(curve, sensing.PROBE_STATES[i])
        near = (high_c - low_c) * 1000.0 < FAR_MK and sense[sense_slot.SHIFT_MK_0 + i] == 0
        if probes.ANCHOR_MK[i] <= COUNT_MK and near:
            _last_move(curve, memory, settings, readings, sense, after, last, i)
        else:
            _every_frame(curve, memory, settings, readings, sense, after, last, i)


def _last_move(
    curve: FloatRecord,
    memory: IntRecord,
    settings: IntRecord,
    readings: IntRecord,
    sense: IntRecord,
    after: int,
    last: int,
    i: int,
) -> None:
    """Only the last change of count leaves a mark: it, the frame before and the frame after it."""
    tick = last
    shown = _shown(curve, sense, tick, i)
    while tick - 1 > after:
        before = _shown(curve, sense, tick - 1, i)
        if before != shown:
            break
        tick -= 1
    first = max(after + 1, tick - 1)
    for frame in range(first, min(last, first + 2) + 1):
        _show(memory, settings, readings, sense, frame, _shown(curve, sense, frame, i), i)
    if last > first + 2:
        readings[reading.STORE_LOW_MC + i] = shown


def _every_frame(
    curve: FloatRecord,
    memory: IntRecord,
    settings: IntRecord,
    readings: IntRecord,
    sense: IntRecord,
    after: int,
    last: int,
    i: int,
) -> None:
    """Every frame that reaches the anchor's width, unless none of them can."""
    anchor = memory[cell.STORE_LOW_ANCHOR_MC + i] - settings[setting.STORE_LOW_OFFSET_MK + i]
    room = probes.ANCHOR_MK[i] - HALF_COUNT_MK - sense[sense_slot.NOISE_MK]
    low_c, high_c = hull(curve, sensing.PROBE_STATES[i])
    error = sense[sense_slot.OFFSET_MK_0 + i]
    steady = sense[sense_slot.SHIFT_MK_0 + i] == 0 and i > probes.HIGH
    inside = anchor - room < low_c * 1000.0 + error and high_c * 1000.0 + error < anchor + room
    if steady and inside:
        return
    for frame in range(after + 1, last + 1):
        shown = _shown(curve, sense, frame, i)
        anchor = memory[cell.STORE_LOW_ANCHOR_MC + i] - settings[setting.STORE_LOW_OFFSET_MK + i]
        if i <= probes.HIGH or abs(shown - anchor) >= probes.ANCHOR_MK[i]:
            _show(memory, settings, readings, sense, frame, shown, i)

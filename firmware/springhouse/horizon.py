"""How long the controller cannot change its mind, and between which readings.

    ms = horizon(memory, settings, readings, watch)

Asked after a step on readings with room for its notes (`near.SIZE`). `watch` holds a lowest and a
highest a reading slot (at 2 * slot and 2 * slot + 1, both allowed). After a step that changed
nothing, further steps change nothing either while every reading stays between its two and less than
`ms` have gone by, provided that frames keep arriving: the age of a fitted probe's frame is the
runner's business. Bands may be narrower than needed, never wider.

`decisions` promises less, so that a jump goes further: while readings stay in its bands nothing
changes but what `probes.update` keeps (anchors and stuck timers, which a runner can follow by
calling that alone) and bits of the condition words that decide nothing in the present states. The
words are made afresh at every step, so an old one misleads nobody but a person who reads it.
What decides is read off the rows: a row is held back by one condition of it that fails.
"""

from array import array

from springhouse import memory as cell
from springhouse import near, output, probes, reading, statechart, timekeeping, week

FAR = near.FAR
STORE_ROWS = statechart.STORE_ROWS
ROOM_ROWS = statechart.ROOM_ROWS
_FREE = (reading.NOW_MS, reading.FLOW_ML_MIN, reading.FAN_RPM, reading.BATTERY_MV)


def _open_bands(memory: "array[int]", readings: "array[int]", watch: "array[int]") -> None:
    """Two-valued inputs and counters must stay; time and frame ticks are free."""
    for slot in range(reading.SIZE):
        free = slot in _FREE or reading.STORE_LOW_MC <= slot < reading.STORE_LOW_FAULT
        watch[2 * slot] = -FAR if free else readings[slot]
        watch[2 * slot + 1] = FAR if free else readings[slot]
    if memory[cell.PLAN_SINCE_MIN] >= 0:  # the minutes for which the plan in force was found
        week_min = readings[reading.WEEK_MIN]
        gone = week_min - memory[cell.PLAN_SINCE_MIN]
        if gone < 0:
            gone += week.WEEK_MIN
        last = week_min + memory[cell.PLAN_LENGTH_MIN] - gone - 1
        watch[2 * reading.WEEK_MIN + 1] = min(last, week.WEEK_MIN - 1)


def _unsettled(
    memory: "array[int]", settings: "array[int]", readings: "array[int]", watch: "array[int]"
) -> bool:
    """Whether each further frame of a probe counts. Of a rejected one any change may matter."""
    gaining = False
    for i in range(reading.PROBES):
        slot = reading.STORE_LOW_MC + i
        if probes.fitted(settings, i) and not memory[cell.VALID] & (1 << i):
            watch[2 * slot] = readings[slot]
            watch[2 * slot + 1] = readings[slot]
        elif probes.fitted(settings, i) and memory[cell.STORE_LOW_GOOD + i] < probes.TRUST_FRAMES:
            gaining = True
    return gaining


def _holding(rows: "tuple[tuple[int, ...], ...]", state: int, word: int, near_bits: int) -> int:
    """Bits with a comparison behind them that hold back rows which nothing else holds back."""
    kept = 0
    for start, must, must_not, _ in rows:
        if start & 1 << state:
            failing = (must & ~word) | (must_not & word)
            if failing & ~near_bits == 0 and failing & kept == 0:
                # The lower bit: of warm and cool, or warm and full, it is the farther one.
                kept |= failing & -failing
    return kept


def _deciding(memory: "array[int]", readings: "array[int]") -> int:
    """What matters of all that comparisons were noted for."""
    noted = 0
    for n in range(min(readings[near.COUNT], near.NOTES)):
        noted |= readings[near.COUNT + 1 + 4 * n]
    bits = noted & (near.ROOM - 1)
    kept = _holding(STORE_ROWS, memory[cell.STORE_STATE], memory[cell.STORE_WORD], bits)
    bits = (noted & (near.FAN_CAP - 1)) // near.ROOM
    kept |= _holding(ROOM_ROWS, memory[cell.ROOM_STATE], memory[cell.ROOM_WORD], bits) * near.ROOM
    if statechart.ROOM_OUTPUTS[memory[cell.ROOM_STATE]] & output.FAN_FULL:
        kept |= near.FAN_CAP
    return kept


def _narrow(memory: "array[int]", readings: "array[int]", watch: "array[int]", kept: int) -> None:
    """Narrow the bands by the notes on what is kept."""
    for n in range(min(readings[near.COUNT], near.NOTES)):
        at = near.COUNT + 1 + 4 * n
        why = readings[at]
        slot = readings[at + 1]
        i = slot - reading.STORE_LOW_MC
        # A stuck probe that moves is trusted again.
        stuck = (
            why == near.ANCHOR
            and i <= probes.HIGH
            and timekeeping.due(memory, cell.STORE_LOW_STUCK_T + i)
        )
        if why == 0 or why & kept or stuck:
            watch[2 * slot] = max(watch[2 * slot], readings[at + 2])
            watch[2 * slot + 1] = min(watch[2 * slot + 1], readings[at + 3])


def nearest_ms(memory: "array[int]", now: int) -> int:
    """Time to the next deadline of any timer, at most timekeeping.LONGEST_MS."""
    best = timekeeping.LONGEST_MS
    for slot in range(cell.TIMERS, cell.SIZE):
        at = memory[slot]
        if at >= 0:
            ms = timekeeping.ticks_diff(at, now)
            if ms < best:
                best = ms
    return best


def _fill(
    memory: "array[int]",
    settings: "array[int]",
    readings: "array[int]",
    watch: "array[int]",
    words: bool,
) -> int:
    """Fill `watch`; with `words` set no anchor and no bit of a condition word may change."""
    _open_bands(memory, readings, watch)
    if memory[cell.FLAGS] & cell.FLAG_INVALID:
        return timekeeping.LONGEST_MS  # everything stays off
    if len(readings) < near.SIZE:
        return 0  # nothing was noted
    unsettled = _unsettled(memory, settings, readings, watch)
    _narrow(memory, readings, watch, -1 if words else _deciding(memory, readings))
    if unsettled or readings[near.COUNT] > near.NOTES:
        return 0
    return nearest_ms(memory, readings[reading.NOW_MS])


def decisions(
    memory: "array[int]", settings: "array[int]", readings: "array[int]", watch: "array[int]"
) -> int:
    """Fill `watch` with what may decide; return the ms until the next deadline, 0 .. 2**28."""
    return _fill(memory, settings, readings, watch, False)


def horizon(
    memory: "array[int]", settings: "array[int]", readings: "array[int]", watch: "array[int]"
) -> int:
    """Fill `watch`; return the ms until the next deadline, 0 .. 2**28."""
    return _fill(memory, settings, readings, watch, True)

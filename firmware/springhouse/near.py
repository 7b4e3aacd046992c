"""Comparisons of analog readings: the core makes no others, and each knows how near it was.

On the board every call becomes the plain comparison when the image is built; what only the notes
need is not asked for there, so it must change nothing. Where the readings record has room for notes
(`SIZE` slots), as in a simulation that skips quiet time, each also notes between which two values
its reading may move while the answer stays. `horizon.py` gathers them.

`q` is what is compared: it moves at most as far as the reading in `slot` does, in its direction.
`why` says what hangs on the answer: 0 if memory does, a condition bit (a room bit times ROOM), the
speed of the fans, or where a probe's anchor stands.
"""

from array import array

from springhouse import condition, fitted, reading

FAR = (1 << 30) - 1  # wider than any reading
COUNT = reading.SIZE  # slot of the number of notes; each is why, slot, lowest, highest
NOTES = 80
SIZE = reading.SIZE + 1 + 4 * NOTES
ROOM = 1 << condition.STORE_BITS  # store bits lie below
FAN_CAP = ROOM << condition.ROOM_BITS  # whether the fans stay at the quiet level
ANCHOR = FAN_CAP << 1  # whether a probe has moved


def begin(readings: "array[int]") -> None:
    """Forget the notes of the step before."""
    if len(readings) > reading.SIZE:
        readings[COUNT] = 0


def moot(readings: "array[int]", latest: int) -> None:
    """Take back the note before so many latest ones, which alone settle the answer."""
    if len(readings) > reading.SIZE and readings[COUNT] <= NOTES:
        last = COUNT + 1 + 4 * (readings[COUNT] - 1)
        for at in range(last - 4 * latest, last):
            readings[at] = readings[at + 4]
        readings[COUNT] -= 1


def _note(readings: "array[int]", why: int, slot: int, low: int, high: int) -> None:
    n = readings[COUNT]
    readings[COUNT] = n + 1  # of a note that finds no place there is the count
    if n < NOTES:
        at = COUNT + 1 + 4 * n
        readings[at] = why
        readings[at + 1] = slot
        readings[at + 2] = low
        readings[at + 3] = high


def _below(readings: "array[int]", why: int, slot: int, room: int) -> None:
    _note(readings, why, slot, -FAR, readings[slot] + room)


def _above(readings: "array[int]", why: int, slot: int, room: int) -> None:
    _note(readings, why, slot, readings[slot] - room, FAR)


def at_least(readings: "array[int]", why: int, slot: int, q: int, x: int) -> bool:
    """`q >= x` of one reading."""
    if len(readings) > reading.SIZE:
        if q >= x:
            _above(readings, why, slot, q - x)
        else:
            _below(readings, why, slot, x - 1 - q)
    return q >= x


def inside(readings: "array[int]", why: int, slot: int, q: int, low: int, high: int) -> bool:
    """`low <= q <= high` of one reading."""
    if len(readings) > reading.SIZE:
        if q < low:
            _below(readings, why, slot, low - 1 - q)
        elif q > high:
            _above(readings, why, slot, q - high - 1)
        else:
            _note(readings, why, slot, readings[slot] - (q - low), readings[slot] + (high - q))
    return low <= q <= high


def store_at_least(readings: "array[int]", why: int, which: int, q: int, x: int) -> bool:
    """`q >= x` of the mean or the coldest of these store probes (bits of fitted.py)."""
    if len(readings) > reading.SIZE:
        if which & fitted.STORE_LOW:
            at_least(readings, why, reading.STORE_LOW_MC, q, x)
        if which & fitted.STORE_HIGH:
            at_least(readings, why, reading.STORE_HIGH_MC, q, x)
    return q >= x


def apart_at_least(readings: "array[int]", why: int, up: int, down: int, q: int, x: int) -> bool:
    """`q >= x` of the reading in slot `up` less that in slot `down`."""
    if len(readings) > reading.SIZE:
        if q >= x:
            _above(readings, why, up, (q - x) >> 1)
            _below(readings, why, down, (q - x) >> 1)
        else:
            _below(readings, why, up, (x - 1 - q) >> 1)
            _above(readings, why, down, (x - 1 - q) >> 1)
    return q >= x


def apart_within(readings: "array[int]", why: int, up: int, down: int, q: int, most: int) -> bool:
    """`-most <= q <= most` of the reading in slot `up` less that in slot `down`."""
    if len(readings) > reading.SIZE:
        if q <= most:
            apart_at_least(readings, why, up, down, q, -most)
        if q >= -most:
            apart_at_least(readings, why, up, down, q, most + 1)
    return -most <= q <= most

"""What the controller remembers over a reset, on flash: see `restart.py` for what that is.

A start is stored before the relay closes, for the supply may dip when it does. Written are only
changes: a start, that it was survived, that it is an hour old, a latch, a count, the owner's stop
and each half hour of it. That is some thirty writes on a day of charging and, with four starts in
every hour, 288, each in another place of the file system; the log alone makes 144 a day.
"""

import struct
from array import array

from springhouse import events, latch, mode, output, restart, timekeeping
from springhouse import memory as cell
from springhouse.storage import Files, TwoSlots

_BODY = "<BHBBBBBBBBB"
_VERSION = 1
SURVIVED_MS = 60000  # a supply that the motor's inrush brings down does so in the first second
_STEP_MIN = 30  # an owner's stop is stored again whenever so much of it has gone
_AGAIN_MS = 600000  # after a write that failed
_STARTS = 4
_COUNTS = 4

# Slots of the record.
(LEFT_MIN, MODE, LATCH, DRY, TRAY, REST, STILL, STARTS, TRAY_OPEN, PENDING, SIZE) = range(11)


class Kept:
    """`put` gives a fresh memory what is known; `look` once a scan, then `save` if it says so."""

    def __init__(self, base: str, files: Files) -> None:
        self._slots = TwoSlots(base, files)
        self._record = array("h", [0] * SIZE)  # as stored
        self._fresh = array("h", [0] * SIZE)
        self._started_at = -1  # tick of the start that has not been survived yet, -1 = none
        self._failed_at = -1
        self._out = 0
        self.survived = False  # a start of the compressor was survived since power-up
        self.failures = 0
        body = self._slots.load()
        if body is not None:
            self._take(body)
        self.struck = self._record[PENDING] != 0  # the last run ended while the motor was starting

    def _take(self, body: bytes) -> None:
        """Believe a record that can be meant, no other."""
        if len(body) != struct.calcsize(_BODY) or body[0] != _VERSION:
            return
        left_min, *rest = struct.unpack(_BODY, body)[1:]
        record = array("h", [left_min & 0x7FFF] + rest)
        if record[MODE] not in (mode.AUTOMATIC, mode.OFF, mode.SERVICE):
            return
        if left_min > mode.LIMIT_MIN[record[MODE]] or (record[MODE] and not left_min):
            return
        if record[LATCH] & ~(latch.STORE | latch.ROOM) or record[STARTS] > _STARTS:
            return
        if max(record[DRY : DRY + _COUNTS]) > events.COUNT_MOST:
            return
        self._record = record

    def put(self, memory: "array[int]") -> None:
        """Write what is known into a memory just made by `power_up`."""
        record = self._record
        memory[cell.MODE] = record[MODE]
        memory[cell.MODE_LEFT_MS] = record[LEFT_MIN] * 60000
        memory[cell.LATCH] = record[LATCH]
        for n in range(_COUNTS):
            memory[cell.DRY_COUNT + n] = record[DRY + n]
        for n in range(record[STARTS]):
            memory[cell.START_1_T + n] = timekeeping.DUE
        if record[TRAY_OPEN]:
            memory[cell.FLAGS] |= cell.FLAG_TRAY

    def look(self, memory: "array[int]", now: int, out: int) -> bool:
        """Whether something is to be stored before `out` is driven. Allocates nothing."""
        fresh, record = self._fresh, self._record
        if out & ~self._out & output.COMPRESSOR:
            self._started_at = now
        elif self._started_at >= 0 and timekeeping.ticks_diff(now, self._started_at) >= SURVIVED_MS:
            self._started_at = -1
            self.survived = True
        self._out = out
        left_min = (restart.mode_left_ms(memory, now) + 59999) // 60000
        fresh[LEFT_MIN] = left_min
        fresh[MODE] = memory[cell.MODE] if left_min else mode.AUTOMATIC
        fresh[LATCH] = memory[cell.LATCH]
        for n in range(_COUNTS):
            fresh[DRY + n] = memory[cell.DRY_COUNT + n]
        starts = 0
        for n in range(_STARTS):
            if restart.started(memory, n):
                starts += 1
        fresh[STARTS] = starts
        fresh[TRAY_OPEN] = 1 if memory[cell.FLAGS] & cell.FLAG_TRAY else 0
        fresh[PENDING] = 1 if self._started_at >= 0 else 0
        if self._failed_at >= 0 and timekeeping.ticks_diff(now, self._failed_at) < _AGAIN_MS:
            return False
        self._failed_at = now  # unless `save` says otherwise
        for slot in range(MODE, SIZE):
            if fresh[slot] != record[slot]:
                return True
        if left_min > record[LEFT_MIN] or record[LEFT_MIN] - left_min >= _STEP_MIN:
            return True
        self._failed_at = -1
        return False

    def save(self) -> bool:
        """Store what `look` saw; a failure is tried again after ten minutes."""
        fresh = self._fresh
        try:
            stored = self._slots.save(struct.pack(_BODY, _VERSION, *fresh))
        except MemoryError:
            stored = False
        if not stored:
            self.failures = min(self.failures + 1, 255)
            return False
        self._failed_at = -1
        for slot in range(SIZE):
            self._record[slot] = fresh[slot]
        return True

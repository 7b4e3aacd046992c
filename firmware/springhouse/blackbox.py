"""Black box: the last 72 h of one-minute records and every transition, on flash.

Records gather in RAM and are appended ten minutes at a time (flash wears out by erasing), each
batch with its own sequence number and CRC. A batch cut short by a power failure is simply not
there when read. Old segment files are deleted whole. One record has RECORD_SIZE bytes whatever
it reports.
"""

import struct
from binascii import crc32

from springhouse.storage import Files

TYPE_CHECKING = False
if TYPE_CHECKING:
    from springhouse.kinds import File

MINUTE, TRANSITION, BOOT, CLOCK, COMMAND, FAULT, SETTING, TRIAL, TEST = range(9)  # kinds of record
BEGUN, KEPT, FAILED = range(3)  # detail of a TRIAL: of a new version; failed: the old one is back
# Detail of a FAULT: something raised, the contacts did not settle, SILENT + number in beats.py.
RAISED, UNSETTLED, SILENT = 1, 2, 8

# kind, boot number, detail, minutes since 1970 (0 = unknown), uptime s, five temperatures in
# 10 m°C, mL/min, mV, rev/min, RH 1/100 %, probe faults (3 bits each), interlock word, output
# bits, states (store << 4 | room), inputs, latches, owner's mode, records dropped before this
# A SETTING record has the slot as detail and, in place of the six numbers from mL/min to interlock
# word, the old value, the new value and the tick, each as two halves, the lower first. There a TEST
# has the days since the ice points and the word of selftest.py; its detail is what failed, as bits.
_RECORD = "<BBHIIhhhhhHHHHHHBBBBBB"
RECORD_SIZE = struct.calcsize(_RECORD)
FIELDS = 22

BATCH_MS = 600000
_ROOM = 48  # records in RAM: ten minutes and 36 transitions ...
_LAST_WORDS = 2  # ... and what ends the run
_BATCHES_A_SEGMENT = 36
SEGMENTS = 13  # 12 hold 72 h, one more is being written
_HEAD = "<4sIH"  # magic, sequence number, bytes of payload
_HEAD_SIZE = struct.calcsize(_HEAD)
TAIL_SIZE = 4
_MAGIC = b"SPB1"
_DIGITS = "0123456789abcdef"
_PAYLOAD_MOST = _ROOM * RECORD_SIZE


def _is_segment(name: str) -> bool:
    """Whether a name is `%08x.box`; whatever else lies in the folder is not ours."""
    return len(name) == 12 and name[8:] == ".box" and all([c in _DIGITS for c in name[:8]])


def next_batch(f: "File") -> "tuple[int, int] | None":
    """(Sequence number, bytes) of the next batch of a segment, None at its end or at damage.

    The file then stands at the first record. A batch is checked record by record: a heap that has
    been in use for long may not have a piece of its size.
    """
    head = f.read(_HEAD_SIZE)
    if len(head) != _HEAD_SIZE:
        return None
    magic, seq, length = struct.unpack(_HEAD, head)
    if magic != _MAGIC or length > _PAYLOAD_MOST or length % RECORD_SIZE:
        return None
    crc = crc32(head)
    for _ in range(length // RECORD_SIZE):
        record = f.read(RECORD_SIZE)
        if len(record) != RECORD_SIZE:
            return None
        crc = crc32(record, crc)
    tail = f.read(TAIL_SIZE)
    if len(tail) != TAIL_SIZE or struct.unpack("<I", tail)[0] != crc:
        return None
    f.seek(-length - TAIL_SIZE, 1)
    return seq, length


class BlackBox:
    """`note` adds a record in RAM, `flush` appends a batch when it is time."""

    def __init__(self, folder: str, files: Files) -> None:
        self.folder = folder
        self._files = files
        self._ram = bytearray(_PAYLOAD_MOST)
        self._view = memoryview(self._ram)
        self._used = 0
        self.dropped = 0
        self.failures = 0  # appends that raised; what gathered is kept for the next one
        self._seq = 0
        self._batches = _BATCHES_A_SEGMENT  # in the segment being written: full = begin another
        self._segment = ""
        self._find_end()

    def segments(self) -> "list[str]":
        """Names of the segment files, oldest first."""
        try:
            return sorted([n for n in self._files.listdir(self.folder) if _is_segment(n)])
        except OSError:
            return []

    def _find_end(self) -> None:
        """Go on after the last whole batch; behind a torn one a new segment begins."""
        names = self.segments()
        if not names:
            try:
                self._files.mkdir(self.folder)
            except OSError:
                pass  # it is there already, or every append will fail and be counted
            return
        path = self.folder + "/" + names[-1]
        self._seq = int(names[-1][:8], 16)
        count = 0
        size = 0
        try:
            with self._files.open(path, "rb") as f:
                batch = next_batch(f)
                while batch is not None:
                    self._seq = batch[0] + 1
                    count += 1
                    size += _HEAD_SIZE + batch[1] + TAIL_SIZE
                    f.seek(batch[1] + TAIL_SIZE, 1)
                    batch = next_batch(f)
            if self._files.size(path) == size:
                self._segment = path
                self._batches = count
            else:
                self._seq += 1  # the torn batch had this number; its segment keeps its name
        except OSError:
            self.failures += 1

    def note(self, values: "tuple[int, ...]") -> bool:
        """Add a record; False if the buffer is full until the next flush.

        Half of it is kept from changes of settings: a busy owner must not hide what the board did.
        The last places are kept for what ends a run.
        """
        most = _PAYLOAD_MOST - _LAST_WORDS * RECORD_SIZE
        if values[0] == SETTING:
            most = _PAYLOAD_MOST // 2
        elif values[0] in (FAULT, COMMAND):
            most = _PAYLOAD_MOST
        if self._used + RECORD_SIZE > most:
            self.dropped = min(self.dropped + 1, 255)
            return False
        struct.pack_into(_RECORD, self._ram, self._used, *values)
        self._used += RECORD_SIZE
        return True

    def flush(self) -> bool:
        """Append what has gathered. A failure keeps it for the next time."""
        if not self._used:
            return True
        try:
            payload = self._view[: self._used]
            head = struct.pack(_HEAD, _MAGIC, self._seq, self._used)
            tail = struct.pack("<I", crc32(payload, crc32(head)))
            if self._batches >= _BATCHES_A_SEGMENT:
                self._begin_segment()
            with self._files.open(self._segment, "ab") as f:
                f.write(head)
                f.write(payload)
                f.write(tail)
                f.flush()
        except (OSError, MemoryError):
            self.failures = min(self.failures + 1, 255)
            self._batches = _BATCHES_A_SEGMENT  # the file may end torn: begin another
            self._seq += 1
            return False
        self._seq += 1
        self._batches += 1
        self._used = 0
        self.dropped = 0
        return True

    def _begin_segment(self) -> None:
        names = self.segments()
        for name in names[: max(0, len(names) - SEGMENTS + 1)]:
            self._files.remove(self.folder + "/" + name)
        self._segment = self.folder + "/" + "%08x.box" % self._seq
        self._batches = 0


def fields(payload: "bytes | memoryview", n: int) -> "tuple[int, ...]":
    """Record `n` of a payload."""
    return struct.unpack_from(_RECORD, payload, n * RECORD_SIZE)

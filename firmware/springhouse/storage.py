"""Records in two slot files, each with a sequence number and a CRC: load old or new, never mixed.

A record is written to a third name, flushed, read back, and only then renamed over the older
slot; a power cut at any byte leaves the newer slot untouched. Rename is atomic on littlefs.

All files go through one buffer taken at start: a heap that has been in use for a month may not have
a piece of that size any more.
"""

import os
import struct
from binascii import crc32

TYPE_CHECKING = False
if TYPE_CHECKING:
    from springhouse.kinds import File

_MAGIC = b"SPH1"
_HEAD = "<4sII"  # magic, sequence number, length of the body
_HEAD_SIZE = 12
LONGEST = 1024  # bytes of body
_TAIL_SIZE = 4
_SEQ_MASK = 0x3FFFFFFF
# One byte more than a whole file has, so that a longer one shows.
_buffer = bytearray(_HEAD_SIZE + LONGEST + _TAIL_SIZE + 1)


class Files:
    """The calls on the file system that may fail half-way; a test hands in its own."""

    def open(self, path: str, mode: str) -> "File":
        """Open a file."""
        return open(path, mode)

    def rename(self, old: str, new: str) -> None:
        """Put `old` in the place of `new`."""
        os.rename(old, new)

    def remove(self, path: str) -> None:
        """Delete a file."""
        os.remove(path)

    def listdir(self, path: str) -> "list[str]":
        """Names in a folder."""
        return os.listdir(path)

    def size(self, path: str) -> int:
        """Bytes in a file."""
        return os.stat(path)[6]

    def mkdir(self, path: str) -> None:
        """Make a folder."""
        os.mkdir(path)


def pack(seq: int, body: bytes) -> bytes:
    """A whole slot file."""
    data = struct.pack(_HEAD, _MAGIC, seq, len(body)) + body
    return data + struct.pack("<I", crc32(data))


def unpack(data: "bytes | memoryview") -> "tuple[int, bytes] | None":
    """(sequence number, body) of a slot file, None unless it is whole."""
    if len(data) < _HEAD_SIZE + _TAIL_SIZE:
        return None
    magic, seq, length = struct.unpack_from(_HEAD, data, 0)
    if magic != _MAGIC or length > LONGEST or len(data) != _HEAD_SIZE + length + _TAIL_SIZE:
        return None
    if struct.unpack_from("<I", data, _HEAD_SIZE + length)[0] != crc32(data[:-_TAIL_SIZE]):
        return None
    return seq, bytes(data[_HEAD_SIZE:-_TAIL_SIZE])


class TwoSlots:
    """One kind of record under `base`, in files base.0, base.1 and, while writing, base.new."""

    def __init__(self, base: str, files: Files) -> None:
        self._base = base
        self._files = files
        self.seq = 0
        self.shortages = 0  # records not written because memory was short
        self._slot = 1  # the slot that holds the newer record

    def _read(self, path: str) -> memoryview:
        """What a file holds, in the one buffer: only until the next call. Empty if unreadable."""
        try:
            with self._files.open(path, "rb") as f:
                count = f.readinto(_buffer) or 0
                return memoryview(_buffer)[:count]
        except OSError:
            return memoryview(_buffer)[:0]

    def load(self) -> "bytes | None":
        """The newest whole record, or None."""
        best = None
        for slot in (0, 1):
            found = unpack(self._read(self._base + "." + str(slot)))
            if found is None:
                continue
            ahead = (found[0] - self.seq) & _SEQ_MASK
            if best is None or 0 < ahead <= _SEQ_MASK >> 1:
                self.seq, best = found
                self._slot = slot
        return best

    def save(self, body: bytes) -> bool:
        """Replace the older record. False if it could not be written; the newer one stands."""
        fresh = self._base + ".new"
        try:
            data = pack((self.seq + 1) & _SEQ_MASK, body)
            with self._files.open(fresh, "wb") as f:
                f.write(data)
                f.flush()
            if self._read(fresh) != data:
                return False
            self._files.rename(fresh, self._base + "." + str(1 - self._slot))
        except MemoryError:
            self.shortages = min(self.shortages + 1, 9999)
            return False
        except OSError:
            return False
        self._slot = 1 - self._slot
        self.seq = (self.seq + 1) & _SEQ_MASK
        return True

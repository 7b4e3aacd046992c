"""Records in two slot files, each with a sequence number and a CRC: load old or new, never mixed.

A record is written to a third name, flushed, read back, and only then renamed over the older
slot; a power cut at any byte leaves the newer slot untouched. Rename is atomic on littlefs.
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
LONGEST = 8192  # bytes of body
_SEQ_MASK = 0x3FFFFFFF


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


def unpack(data: bytes) -> "tuple[int, bytes] | None":
    """(sequence number, body) of a slot file, None unless it is whole."""
    if len(data) < _HEAD_SIZE + 4:
        return None
    magic, seq, length = struct.unpack_from(_HEAD, data, 0)
    if magic != _MAGIC or length > LONGEST or len(data) != _HEAD_SIZE + length + 4:
        return None
    if struct.unpack_from("<I", data, _HEAD_SIZE + length)[0] != crc32(data[:-4]):
        return None
    return seq, data[_HEAD_SIZE:-4]


class TwoSlots:
    """One kind of record under `base`, in files base.0, base.1 and, while writing, base.new."""

    def __init__(self, base: str, files: Files) -> None:
        self._base = base
        self._files = files
        self.seq = 0
        self._slot = 1  # the slot that holds the newer record

    def _read(self, path: str) -> "bytes | None":
        try:
            with self._files.open(path, "rb") as f:
                data: bytes = f.read(LONGEST + 64)
                return data
        except OSError:
            return None

    def load(self) -> "bytes | None":
        """The newest whole record, or None."""
        best = None
        for slot in (0, 1):
            data = self._read(self._base + "." + str(slot))
            found = unpack(data) if data else None
            if found is None:
                continue
            ahead = (found[0] - self.seq) & _SEQ_MASK
            if best is None or 0 < ahead <= _SEQ_MASK >> 1:
                self.seq, best = found
                self._slot = slot
        return best

    def save(self, body: bytes) -> bool:
        """Replace the older record. False if it could not be written; the newer one stands."""
        data = pack((self.seq + 1) & _SEQ_MASK, body)
        fresh = self._base + ".new"
        try:
            with self._files.open(fresh, "wb") as f:
                f.write(data)
                f.flush()
            if self._read(fresh) != data:
                return False
            self._files.rename(fresh, self._base + "." + str(1 - self._slot))
        except OSError:
            return False
        self._slot = 1 - self._slot
        self.seq = (self.seq + 1) & _SEQ_MASK
        return True

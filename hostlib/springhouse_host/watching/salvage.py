"""Records out of a damaged database, from its bytes and without its index.

SQLite's file format (sqlite.org/fileformat2.html, sections 1.6 and 2.1, from memory): a row of a
table is its length, its number and a record: the types of its values, then the values. A row of
ours never leaves its page, so each is found by its types and is whole or is passed over; what the
write-ahead log still holds is found in the same way.
"""

import mmap
import re
import struct
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from springhouse_sim.outside import OutsideError, regular

from .board_record import BoardRecord, parse

MOST_BYTES = 4_000_000_000
COLUMNS = (4, 6)  # of the first version, of this one
INTEGER_BYTES = {1: 1, 2: 2, 3: 3, 4: 4, 5: 6, 6: 8}
# Types of number, time, uptime and a text of at most 512 bytes, after the length of the types.
_TYPES = re.compile(rb"(?=[\x06-\x0b]\x00[\x01-\x09][\x01-\x06\x08\x09][\x81-\x88])", re.DOTALL)


@dataclass(frozen=True)
class SalvagedRow:
    """A row of the table of records as it was written."""

    number: int
    seen_s: float
    up_s: int
    line: str
    whose: str | None
    checksum: int | None

    @property
    def good(self) -> bool:
        """Whether the row is as it was written, as far as that can be told."""
        if self.checksum is None:  # written by the first version
            found = parse(self.line, self.seen_s) if 0.0 <= self.seen_s < 1e11 else None
            return found is not None and found.line.up == self.up_s
        return self.checksum == checksum(self.seen_s, self.whose, self.line)

    def record(self) -> BoardRecord | None:
        """Return the record, None where a byte of the row is not what was written."""
        found = parse(self.line, self.seen_s) if self.good else None
        return found if found is not None and found.line.up == self.up_s else None


def checksum(seen_s: float, whose: str | None, line: str) -> int:
    """Return the CRC-32 that a row carries."""
    return zlib.crc32(f"{float(seen_s)!r} {whose} {line}".encode(errors="replace"))


def row_of(values: tuple[Any, ...]) -> SalvagedRow | None:
    """Return a row from its values, None where one has another type."""
    number, seen_s, up_s, line, whose, told = values
    good = (
        isinstance(number, int)
        and isinstance(seen_s, int | float)
        and isinstance(up_s, int)
        and isinstance(line, str)
        and isinstance(whose, str | None)
        and isinstance(told, int | None)
    )
    return SalvagedRow(number, float(seen_s), up_s, line, whose, told) if good else None


def rows(path: Path) -> dict[int, SalvagedRow]:
    """Return every whole row that a file holds, by number.

    Raises:
        OSError: the file cannot be read.
    """
    return rows_in(Path(f"{path}-wal")) | rows_in(path)


def rows_in(path: Path) -> dict[int, SalvagedRow]:
    """Return every whole row in a file, without the log beside it; none where there is no file."""
    return {row.number: row for row in _rows(path) if row.good}


def _rows(path: Path) -> Iterator[SalvagedRow]:
    try:
        size = regular(path)
    except OutsideError:
        return
    if not 0 < size <= MOST_BYTES:
        return
    with path.open("rb") as file, mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as data:
        for match in _TYPES.finditer(data):
            row = _row(data, match.start())
            if row is not None:
                yield row


def _varint(data: Any, at: int) -> tuple[int, int]:
    """Return (value, next place)."""
    value = 0
    for place in range(at, at + 9):
        byte = data[place]
        value = value << 7 | byte & 127
        if byte < 128:
            return value, place + 1
    return value, at + 9


def _encoded(value: int) -> bytes:
    parts = [value & 127]
    while value := value >> 7:
        parts.append(value & 127 | 128)
    return bytes(reversed(parts))


def _row(data: Any, start: int) -> SalvagedRow | None:
    try:
        body = start + data[start]
        types, at = [], start + 1
        while at < body:
            kind, at = _varint(data, at)
            types.append(kind)
        if at != body or len(types) not in COLUMNS:
            return None
        values: list[Any] = []
        for kind in types:
            value, at = _value(data, kind, at)
            values.append(value)
    except (IndexError, ValueError, UnicodeDecodeError, struct.error):
        return None
    number = _number(data, start, at - start)
    if number is None:
        return None
    return row_of((number, *values[1:], *([None] * (6 - len(types)))))


def _value(data: Any, kind: int, at: int) -> tuple[Any, int]:
    if kind in INTEGER_BYTES:
        end = at + INTEGER_BYTES[kind]
        return int.from_bytes(data[at:end], "big", signed=True), end
    if kind == 7:
        return struct.unpack(">d", data[at : at + 8])[0], at + 8
    if kind in (0, 8, 9):
        return (None, 0, 1)[kind and kind - 7], at
    if kind < 13 or kind % 2 == 0 or kind > 2 * 1024 + 13:
        raise ValueError
    end = at + (kind - 13) // 2
    return data[at:end].decode(), end


def _number(data: Any, start: int, length: int) -> int | None:
    """Return the number of a row: before its types, which begin at ``start``, after its length."""
    told = _encoded(length)
    for size in range(1, 6):
        at = start - size - len(told)
        if at >= 0 and data[at : at + len(told)] == told:
            number, end = _varint(data, at + len(told))
            if end == start:
                return number
    return None

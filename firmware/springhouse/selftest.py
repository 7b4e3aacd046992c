"""What a board can look at by itself a minute after power-up and each day, moving nothing.

Probes and loops are looked at for ten seconds, the contact behind the relay against what the relay
is told, the stored settings against those in force, each file of the code against what it was at
power-up, when it was held against its manifest. The flash is not written for it: the boot count of
power-up was, and read back, and so is what the black box appends. How old the ice points are is
told by `ice_point_day` of the wiring, which `flash` takes from the site.

One item has two bits of `word`, in the order of `words.TESTED`.
"""

import os
from binascii import crc32

from springhouse import fitted, output, reading, setting
from springhouse import memory as cell

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Iterator

    from springhouse.app import Board
    from springhouse.scan import Scanner

FIRST_S = 60
EVERY_S = 86_400
ICE_POINT_DAYS = 366  # docs/live-with-it.md: each year
WINDOW_S = 10
_SETTLED = 5  # scans in a row with which the contact behind the relay must agree
_CHUNK = 512

UNKNOWN, WELL, FAILED, UNGUARDED = range(4)
# Items 0 to 7 are the first eight bits of fitted.py: five probes and three loops.
SENSED = 8
RELAY, SETTINGS, FLASH, ICE_POINT, ITEMS = range(SENSED, 13)


def state(word: int, item: int) -> int:
    """How an item fared."""
    return word >> 2 * item & 3


def failed(word: int) -> int:
    """Items that failed, as bits."""
    bits = 0
    for item in range(ITEMS):
        if state(word, item) == FAILED:
            bits |= 1 << item
    return bits


def healthy(scanner: "Scanner") -> int:
    """Probes that answer and loops that are closed in this scan, as bits of fitted.py."""
    readings = scanner.readings
    bits = 0
    for i in range(reading.PROBES):
        if readings[reading.STORE_LOW_FAULT + i] == 0:
            bits |= 1 << i
    for i, slot in enumerate((reading.TRAY_OK, reading.LEVEL_OK, reading.FLOOR_DRY)):
        if readings[slot]:
            bits |= 1 << reading.PROBES + i
    return bits


def _files(folder: str) -> "Iterator[str]":
    """Every file of the code."""
    for name in os.listdir(folder):
        path = folder + "/" + name
        if os.stat(path)[0] & 0x4000:
            yield from _files(path)
        else:
            yield path


class SelfTest:
    """`second` each second, behind a scan."""

    def __init__(self, board: "Board") -> None:
        self._board = board
        self.word = 0  # of the last test that ended, 0 = none yet
        self.ice_days = -1  # since the ice points, -1 = not known
        self.at_s = 0  # uptime of that test
        self._due_s = FIRST_S
        self._going: Iterator[int] | None = None
        self._found = 0
        self._code = -1  # checksum of the code at power-up
        self._failures = 0  # of writes, when it was last looked

    def second(self, uptime_s: int) -> bool:
        """Go on by one short look; True if a test has just ended.

        Raises:
            MemoryError: given up until tomorrow.
        """
        if self._going is None:
            if uptime_s < self._due_s:
                return False
            self._due_s = uptime_s + EVERY_S
            self._found = 0
            self._going = self._looks()
        going, self._going = self._going, None
        if next(going, -1) >= 0:
            self._going = going
            return False
        self.word = self._found
        self.at_s = uptime_s
        return True

    def _note(self, item: int, is_well: bool) -> None:
        self._found |= (WELL if is_well else FAILED) << 2 * item

    def _looks(self) -> "Iterator[int]":
        """One look at a time."""
        board = self._board
        scanner = board.scanner
        seen = agreed = turned = 0
        out = scanner.memory[cell.OUT] & output.COMPRESSOR
        for _ in range(WINDOW_S):
            seen |= healthy(scanner)
            if scanner.memory[cell.OUT] & output.COMPRESSOR != out:
                out = scanner.memory[cell.OUT] & output.COMPRESSOR
                turned = 1
            agreed = agreed + 1 if bool(scanner.readings[reading.RELAY_OPEN]) != bool(out) else 0
            yield 0
        fits = scanner.settings[setting.FITTED]
        for item in range(SENSED):
            if fits >> item & 1:
                self._note(item, bool(seen >> item & 1))
            else:
                self._found |= UNGUARDED << 2 * item
        if not fits & fitted.RELAY:
            self._found |= UNGUARDED << 2 * RELAY
        elif agreed >= _SETTLED or not turned:
            self._note(RELAY, agreed >= _SETTLED)
        yield 0
        body = board.slots.load()
        self._note(SETTINGS, body is not None and body == board.record.encode())
        yield 0
        yield from self._read_code()
        self.ice_days = board.ice_days()
        if self.ice_days >= 0:
            self._note(ICE_POINT, self.ice_days <= ICE_POINT_DAYS)

    def _read_code(self) -> "Iterator[int]":
        """A file a second. A folder's order is no matter: the checksums are combined by XOR."""
        board = self._board
        total = 0
        readable = True
        piece = bytearray(_CHUNK)
        try:
            for path in _files(board.home + "springhouse"):
                crc = crc32(path.encode())
                with open(path, "rb") as f:
                    count = f.readinto(piece)
                    while count:
                        crc = crc32(memoryview(piece)[:count], crc)
                        count = f.readinto(piece)
                total ^= crc
                yield 0
        except OSError:
            readable = False
        if self._code < 0:
            self._code = total
        failures = board.box.failures + board.kept.failures
        written = failures <= self._failures
        self._failures = failures
        self._note(FLASH, readable and written and total == self._code)

"""An onlooker's second opinion on what the controller may know: trust, modes, plan, runs.

Written from the rules, from readings and outputs alone; shares no code with the core.
"""

from __future__ import annotations

from collections.abc import Iterator

from drive import mode, output
from story import Record, Scan

MOTORS = (output.COMPRESSOR, output.PUMP, output.FAN)
LIMITS_MIN = {1: 4320, 2: 1440, 3: 720, 4: 720, 5: 120, 6: 30, 7: 4320}
LOW, HIGH, ROOM, COIL_IN, COIL_AIR = range(5)
NAMES = ("STORE_LOW", "STORE_HIGH", "ROOM", "COIL_IN", "COIL_AIR")
_RANGE = ((-5000, 45000), (-5000, 45000), (-10000, 60000), (-10000, 60000), (-10000, 60000))
_STEP = (5000, 5000, 5000, 70000, 70000)
_LSB = 125  # two steps of a 12-bit probe: inside this much of a limit a frame is `unsure`


class Probe:
    """Follows one probe: `may` = could be trusted now, `sure` = must be, `mc` = good value now."""

    def __init__(self, record: Record, i: int) -> None:
        self.i = i
        self.name = NAMES[i]
        self.here = record.fitted(1 << i)
        self.offset = record.setting(self.name + "_OFFSET_MK")
        self.error = record.setting(self.name + "_ERR_MK")
        self.stuck_ms = record.setting("STUCK_MIN") * 60000
        self.forget()
        self.flat_ms = 0
        self.flat_at = 0
        self.t_ms = 0
        self.unsure = False
        self.mc: int | None = None

    def forget(self) -> None:
        self.good: list[int] = []  # ticks of good frames in a row, at most three
        self.last: int | None = None
        self.bad_since: int | None = None

    @property
    def may(self) -> bool:
        return len(self.good) == 3

    @property
    def sure(self) -> bool:
        return self.may and not self.unsure and self.flat_ms < self.stuck_ms

    def see(self, scan: Scan, compressor_was_on: bool) -> None:
        """Take one scan."""
        if scan.boot:
            self.forget()
            self.unsure = False
            self.flat_ms = 0
        if compressor_was_on:
            self.flat_ms += scan.t_ms - self.t_ms
        self.t_ms = scan.t_ms
        self.mc = None
        if not self.here or scan.age_ms[self.i] > 10000:
            self.forget()
            return
        raw = scan[self.name + "_MC"]
        low, high = _RANGE[self.i]
        good = scan[self.name + "_FAULT"] == 0 and raw != 85000 and low <= raw <= high
        if good and self.last is not None:
            step = abs(raw - self.last)
            self.unsure |= abs(step - _STEP[self.i]) <= _LSB
            if step > _STEP[self.i]:
                if self.may:
                    good = False
                else:
                    self.good = []
        if good:
            self._accept(scan, raw)
        elif not self.may:
            self.forget()
        else:
            if self.bad_since is None:
                self.bad_since = scan.t_ms
            if scan.t_ms - self.bad_since >= 8000:
                self.forget()

    def _accept(self, scan: Scan, raw: int) -> None:
        at = scan[self.name + "_AT_MS"]
        if at not in self.good[-1:] and len(self.good) < 3:
            self.good.append(at)
        if abs(raw - self.flat_at) >= 125 or not self.may:
            self.flat_ms = 0
            self.flat_at = raw
        self.last = raw
        self.bad_since = None
        self.mc = raw + self.offset


class Mode:
    """Follows the owner's requests."""

    def __init__(self) -> None:
        self.now = mode.AUTOMATIC
        self.until_ms = 0
        self.seen: int | None = None

    def see(self, scan: Scan) -> None:
        if scan.boot:
            self.now = mode.AUTOMATIC
        elif scan["MODE_SEQ"] != self.seen:
            asked, minutes = scan["MODE"], scan["MODE_MIN"]
            if asked == mode.AUTOMATIC:
                self.now = asked
            elif asked in LIMITS_MIN and 0 < minutes <= LIMITS_MIN[asked]:
                self.now = asked
                self.until_ms = scan.t_ms + minutes * 60000
        self.seen = scan["MODE_SEQ"]
        if self.now != mode.AUTOMATIC and scan.t_ms >= self.until_ms:
            self.now = mode.AUTOMATIC


def pairs(record: Record) -> Iterator[tuple[Scan | None, Scan]]:
    """Each scan with the one before it; None before the first and after a reset."""
    before: Scan | None = None
    for scan in record.scans:
        yield (None if scan.boot else before), scan
        before = scan


def rises(before: Scan | None, scan: Scan, bit: int) -> bool:
    return bool(scan.out & bit and not (before and before.out & bit))


def falls(before: Scan | None, scan: Scan, bit: int) -> bool:
    return bool(before and before.out & bit and not scan.out & bit)


def pressed(before: Scan | None, scan: Scan) -> bool:
    return before is not None and before["ACK_SEQ"] != scan["ACK_SEQ"]

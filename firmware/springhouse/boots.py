"""Boots nobody asked for: the third in a row that lasted under ten minutes means safe mode.

Two small writes a boot: one counts it, one ten minutes later clears the count. Power-on counts
like a watchdog reset, since a supply that dips when a motor starts looks the same.
"""

from springhouse.storage import Files, TwoSlots

TOO_MANY = 3
CLEAR_S = 600

ABNORMAL, ASKED, SERVICE = range(3)  # what the last run left behind


class Boots:
    """`count` is the number of boots nobody asked for, `serial` counts all of them (mod 256)."""

    def __init__(self, base: str, files: Files) -> None:
        self._slots = TwoSlots(base, files)
        body = self._slots.load()
        if body is None or len(body) != 3:
            body = b"\0\0\0"
        self.reason = body[0]
        self.count = body[1]
        self.serial = (body[2] + 1) & 0xFF

    def begin(self) -> bool:
        """Count this boot; True if it must end in safe mode."""
        if self.reason == ABNORMAL:
            self.count = min(self.count + 1, 255)
        self._save(ABNORMAL)
        return self.count >= TOO_MANY

    def clear(self) -> None:
        """The run has lasted ten minutes, or a person has looked."""
        self.count = 0
        self._save(ABNORMAL)

    def ask(self, reason: int) -> bool:
        """Note that the coming reset is wanted; False if that could not be written."""
        self.count = 0
        return self._save(reason)

    def _save(self, reason: int) -> bool:
        return self._slots.save(bytes([reason, self.count, self.serial]))

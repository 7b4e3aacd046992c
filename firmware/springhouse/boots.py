"""Boots nobody asked for: the third in a row means safe mode.

The row ends when a run has lasted ten minutes and has started the compressor and outlived that, or
has lasted a day without: a supply that dips when the relay closes must not clear the count one
second before it does so again. Power-on counts like a watchdog reset, since such a dip looks the
same. Two small writes a boot.
"""

from springhouse.storage import Files, TwoSlots

TOO_MANY = 3
CLEAR_S = 600
QUIET_S = 86400

# What the last run left behind. ABNORMAL: nothing, it was cut short; FAULTED: it ended itself.
ABNORMAL, ASKED, SERVICE, FAULTED = range(4)


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
        self.stored = True  # False: this boot could not be counted

    def begin(self) -> bool:
        """Count this boot; True if it must end in safe mode.

        A boot that cannot be counted may be one of any number: safe mode, too.
        """
        if self.reason in (ABNORMAL, FAULTED):
            self.count = min(self.count + 1, 255)
        self.stored = self._save(ABNORMAL) or self._save(ABNORMAL)
        return self.count >= TOO_MANY or not self.stored

    def lived(self, uptime_s: int, survived: bool) -> None:
        """Once a second: clear the count when this run has shown that it lasts."""
        if not self.count or uptime_s < CLEAR_S:
            return
        if survived or uptime_s >= QUIET_S:
            self.clear()

    def clear(self) -> None:
        """The run lasts, or a person has looked."""
        self.count = 0
        self._save(ABNORMAL)

    def ask(self, reason: int) -> bool:
        """Note what the coming reset is for; False if that could not be written."""
        if reason != FAULTED:
            self.count = 0
        return self._save(reason)

    def _save(self, reason: int) -> bool:
        return self._slots.save(bytes([reason, self.count, self.serial]))

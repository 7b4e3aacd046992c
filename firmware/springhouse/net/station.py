"""The board as a Wi-Fi station. Nothing here waits: each step looks how far the radio has come.

`active` and `connect` go to the radio's own driver, which may take its time or hang. The watchdog
ends that, and online.py then stays off the network for a day.
"""

import network

from springhouse import timekeeping

_JOIN_MS = 20_000
_PAUSE_FIRST_MS = 60_000
_PAUSE_MOST_MS = 1_800_000
_READ_MS = 60_000  # the router may give another address meanwhile


class Pause:
    """Time between two attempts, doubled by each failure."""

    def __init__(self, first_ms: int, most_ms: int) -> None:
        self._first_ms = first_ms
        self._most_ms = most_ms
        self.clear()

    def clear(self) -> None:
        """It worked: the next attempt may follow at once, the next pause is short again."""
        self._ms = self._first_ms
        self._until = -1  # tick, -1 = no pause; never kept once it has passed

    def fail(self, now: int) -> None:
        """It did not work: begin a pause."""
        self._until = timekeeping.ticks_add(now, self._ms)
        self._ms = min(2 * self._ms, self._most_ms)

    def over(self, now: int) -> bool:
        """Whether an attempt may be made."""
        if self._until >= 0 and timekeeping.ticks_diff(self._until, now) > 0:
            return False
        self._until = -1
        return True


class Station:
    """`address` is the board's own in numbers, "" while it has none."""

    def __init__(self, text: "dict[str, str]") -> None:
        """Switch the radio on; `text` is that of config.py."""
        if text["country"]:
            network.country(text["country"])
        self.address = ""
        self._text = text
        self._pause = Pause(_PAUSE_FIRST_MS, _PAUSE_MOST_MS)
        self._joining_until = -1  # tick, -1 = not joining
        self._read_at = 0  # tick at which the address was read
        self._wlan = network.WLAN(network.STA_IF)
        self._wlan.active(True)

    def step(self, now: int) -> None:
        """Look, and join if it is time."""
        wlan = self._wlan
        if wlan.isconnected():
            if not self.address or timekeeping.ticks_diff(now, self._read_at) >= _READ_MS:
                self.address = wlan.ifconfig()[0]
                self._read_at = now
                self._joining_until = -1
                self._pause.clear()
        elif self._joining_until >= 0:
            if timekeeping.ticks_diff(now, self._joining_until) >= 0:
                self._joining_until = -1
                self._pause.fail(now)
                wlan.disconnect()  # else some drivers go on trying, and refuse the next attempt
        else:
            self.address = ""
            if self._pause.over(now):
                self._joining_until = timekeeping.ticks_add(now, _JOIN_MS)
                wlan.connect(self._text["ssid"], self._text["password"])

    def off(self) -> None:
        """Switch the radio off for good."""
        self.address = ""
        self._wlan.active(False)

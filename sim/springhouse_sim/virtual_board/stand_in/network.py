# mypy: ignore-errors
"""Stand-in for `network`: a radio that joins in two seconds while the access point is there.

The board's own address is the loopback one. Places for injected faults: radio, join.
"""

import plant_wire as W

STA_IF = 0
_JOIN_MS = 2000


def country(code):
    """Which channels are allowed."""


class WLAN:
    """A station."""

    def __init__(self, _interface):
        self._on = False
        self._since = -1

    def active(self, on):
        """Switch the radio."""
        W.trouble("radio")
        self._on = on
        self._since = -1

    def connect(self, _name, _password):
        """Begin to join."""
        W.trouble("join")
        if not self._on:
            raise OSError("radio is off")
        self._since = W.S.now

    def disconnect(self):
        """Leave."""
        self._since = -1

    def isconnected(self):
        """Joined, with an address."""
        if not W.S.wifi and self._since >= 0:
            self._since = W.S.now  # goes on trying
        return self._since >= 0 and W.S.now - self._since >= _JOIN_MS

    def ifconfig(self):
        """Address, mask, gateway, name server."""
        return ("127.0.0.1", "255.0.0.0", "127.0.0.1", "0.0.0.0")

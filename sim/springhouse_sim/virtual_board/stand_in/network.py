# mypy: ignore-errors
"""Stand-in for `network`: a radio that joins in two seconds while the access point is there.

The board's own address is the loopback one. Places for injected faults: radio, join.
"""

import plant_wire

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
        plant_wire.trouble("radio")
        self._on = on
        self._since = -1

    def connect(self, _name, _password):
        """Begin to join."""
        plant_wire.trouble("join")
        if not self._on:
            raise OSError("radio is off")
        self._since = plant_wire.S.now

    def disconnect(self):
        """Leave."""
        self._since = -1

    def isconnected(self):
        """Joined, with an address."""
        if not plant_wire.S.wifi and self._since >= 0:
            self._since = plant_wire.S.now  # goes on trying
        return self._since >= 0 and plant_wire.S.now - self._since >= _JOIN_MS

    def ifconfig(self):
        """Address, mask, gateway, name server."""
        return ("127.0.0.1", "255.0.0.0", "127.0.0.1", "0.0.0.0")

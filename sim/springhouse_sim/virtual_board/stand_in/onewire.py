# mypy: ignore-errors
"""Stand-in for the board's `onewire` module: a bus of probes that answer command by command.

The scratchpads come from the plant's side, checksums included.
"""

import plant_wire


class OneWire:
    """Bus in one of four conditions: ok, absent (nothing answers), short (low), high (stuck)."""

    def __init__(self, pin):
        self._sent = b""

    def reset(self, required=False):
        """Reset pulse; True if something pulls the line low in answer."""
        plant_wire.trouble("onewire")
        self._sent = b""
        plant_wire.advance(1)
        return plant_wire.S.bus == "ok" or plant_wire.S.bus == "short"

    def writebyte(self, byte):
        """Send a byte."""
        self._sent += bytes([byte])

    def write(self, data):
        """Send bytes."""
        self._sent += data
        plant_wire.advance(5)

    def readinto(self, buffer):
        """Read; the line stays high where nobody answers."""
        fill = 0 if plant_wire.S.bus == "short" else 0xFF
        answer = b""
        if plant_wire.S.bus == "ok" and self._sent[:1] == b"\x55" and self._sent[9:10] == b"\xbe":
            text = plant_wire.S.frames.get(self._sent[1:9].hex(), "-")
            answer = b"" if text == "-" else bytes.fromhex(text)
        for i in range(len(buffer)):
            buffer[i] = answer[i] if i < len(answer) else fill
        plant_wire.advance(5)

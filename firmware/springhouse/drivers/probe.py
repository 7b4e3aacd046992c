"""1-wire temperature probes (DS18B20 class) by serial number.

The bus is never searched while running: a probe that drops out must not shift the others. Byte
numbers are those of the datasheet's scratchpad figure.
"""

import asyncio
from array import array

from springhouse import fault
from springhouse.drivers import crc8

TYPE_CHECKING = False
if TYPE_CHECKING:
    from springhouse.kinds import OneWireBus, Ticks

_SKIP_ROM = 0xCC
_MATCH_ROM = 0x55
_CONVERT = 0x44
_READ_SCRATCHPAD = 0xBE

CONVERT_MS = 800  # 12 bit: 750 ms at most (datasheet, AC table)
RETRIES = 2
_POWER_ON = 0x0550  # 85 °C: the register before the first conversion

# Config byte -> the bits of the temperature that are meaningful at 9, 10, 11, 12 bit.
_MASKS = {0x1F: 0xFFF8, 0x3F: 0xFFFC, 0x5F: 0xFFFE, 0x7F: 0xFFFF}


def check(frame: bytearray) -> int:
    """Fault code of a nine-byte scratchpad.

    Nine zero bytes pass the CRC and would read exactly 0.00 °C, hence the extra looks.
    """
    ones = 0
    zeros = 0
    for i in range(9):
        ones += frame[i] == 0xFF
        zeros += frame[i] == 0
    if zeros == 9:
        return fault.ALL_ZERO
    if ones == 9:
        return fault.ALL_ONE
    if crc8.onewire(frame, 9) != 0:
        return fault.CRC
    if frame[4] not in _MASKS or frame[5] != 0xFF:  # byte 5 is reserved and always FF
        return fault.CONFIG
    if frame[0] | frame[1] << 8 == _POWER_ON:
        return fault.POWER_ON
    return fault.NONE


def to_mc(frame: bytearray) -> int:
    """Temperature of a good frame: 16 steps a kelvin, two's complement, rounded half up."""
    raw = (frame[0] | frame[1] << 8) & _MASKS[frame[4]]
    if raw & 0x8000:
        raw -= 0x10000
    return (raw * 125 + 1) >> 1  # 62.5 m°C a step


class ProbeBus:
    """Up to five probes on one bus; slot i is the probe of that number in reading.py.

    `mc`, `fault_of` and `at_ms` hold the latest frame of each; a slot without a serial number
    stays ABSENT. `bus` has the calls of the board's own OneWire class. `retried` counts frames
    asked for again, it wraps at 2**16.
    """

    def __init__(self, bus: "OneWireBus", serials: "list[bytes | None]") -> None:
        self.bus = bus
        self.serials = serials
        self.mc = array("i", [0] * len(serials))
        self.fault_of = array("i", [fault.ABSENT] * len(serials))
        self.at_ms = array("i", [0] * len(serials))
        self.retried = 0
        self._frame = bytearray(9)

    def convert(self) -> bool:
        """Start a conversion on every probe at once; False if nothing answers."""
        if not self.bus.reset():
            return False
        self.bus.writebyte(_SKIP_ROM)
        self.bus.writebyte(_CONVERT)
        return True

    def _read_once(self, serial: bytes) -> int:
        if not self.bus.reset():
            return fault.ABSENT
        self.bus.writebyte(_MATCH_ROM)
        self.bus.write(serial)
        self.bus.writebyte(_READ_SCRATCHPAD)
        self.bus.readinto(self._frame)
        return check(self._frame)

    def read(self, i: int, now_ms: int) -> int:
        """Read probe `i`, again if the frame was garbled; returns and keeps the fault code."""
        serial = self.serials[i]
        if serial is None:
            return fault.ABSENT
        code = self._read_once(serial)
        for _ in range(RETRIES):
            if code != fault.CRC and code != fault.ALL_ONE:
                break
            self.retried = (self.retried + 1) & 0xFFFF
            code = self._read_once(serial)
        if code == fault.NONE:
            self.mc[i] = to_mc(self._frame)
        self.fault_of[i] = code
        self.at_ms[i] = now_ms
        return code

    async def measure(self, ticks_ms: "Ticks") -> None:
        """One round: convert, wait without holding the others up, read each probe."""
        if self.convert():
            await asyncio.sleep_ms(CONVERT_MS)
            for i in range(len(self.serials)):
                self.read(i, ticks_ms())
                await asyncio.sleep_ms(0)
            return
        for i in range(len(self.serials)):
            if self.serials[i] is not None:
                self.fault_of[i] = fault.ABSENT
                self.at_ms[i] = ticks_ms()

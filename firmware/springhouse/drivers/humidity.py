"""Air temperature and humidity over I2C: SHT4x and AHT20. Both answer with CRC-8 (poly 0x31).

Scalings keep every intermediate inside 31 bits. `rh_cpc` is relative humidity in 1/100 %.
"""

import asyncio

from springhouse import fault
from springhouse.drivers import crc8

TYPE_CHECKING = False
if TYPE_CHECKING:
    from springhouse.kinds import I2c, Ticks

_SHT4X = 0x44
_SHT4X_HIGH_PRECISION = b"\xfd"
_AHT20 = 0x38
_AHT20_MEASURE = b"\xac\x33\x00"
_AHT20_INIT = b"\xbe\x08\x00"
_BUSY = 0x80
_CALIBRATED = 0x08


def _share(raw: int, span: int, full: int) -> int:
    """Raw * span * 100 / full without leaving 31 bits; `full` below 2**21, `span` below 512."""
    part = raw * span
    return part // full * 100 + part % full * 100 // full


def sht4x_mc(raw: int) -> int:
    """T = -45 + 175 raw / 65535 °C (datasheet, conversion of signal output)."""
    part = raw * 175
    return part // 65535 * 1000 + (part % 65535 * 1000 + 32767) // 65535 - 45000


def sht4x_rh_cpc(raw: int) -> int:
    """RH = -6 + 125 raw / 65535 %, clipped to 0 ... 100."""
    return max(0, min(10000, _share(raw, 125, 65535) - 600))


def aht20_mc(raw: int) -> int:
    """T = 200 raw / 2**20 - 50 °C."""
    part = raw * 200
    return (part >> 20) * 1000 + ((part & 0xFFFFF) * 1000 >> 20) - 50000


def aht20_rh_cpc(raw: int) -> int:
    """RH = 100 raw / 2**20 %."""
    return _share(raw, 100, 1 << 20)


class Sht4x:
    """`measure` keeps `mc`, `rh_cpc`, `fault_code`, `at_ms`."""

    def __init__(self, i2c: "I2c") -> None:
        self._i2c = i2c
        self._buffer = bytearray(6)
        self.mc = 0
        self.rh_cpc = 0
        self.fault_code = fault.ABSENT
        self.at_ms = 0

    def decode(self, frame: "bytes | bytearray") -> int:
        """Take a six-byte answer; returns the fault code."""
        if crc8.humidity(frame, 0, 2) != frame[2] or crc8.humidity(frame, 3, 2) != frame[5]:
            return fault.CRC
        self.mc = sht4x_mc(frame[0] << 8 | frame[1])
        self.rh_cpc = sht4x_rh_cpc(frame[3] << 8 | frame[4])
        return fault.NONE

    async def measure(self, ticks_ms: "Ticks") -> None:
        """Ask, wait 10 ms (8.3 at most), read."""
        try:
            self._i2c.writeto(_SHT4X, _SHT4X_HIGH_PRECISION)
            await asyncio.sleep_ms(10)
            self._i2c.readfrom_into(_SHT4X, self._buffer)
            self.fault_code = self.decode(self._buffer)
        except OSError:
            self.fault_code = fault.ABSENT
        self.at_ms = ticks_ms()


class Aht20:
    """`measure` keeps `mc`, `rh_cpc`, `fault_code`, `at_ms`."""

    def __init__(self, i2c: "I2c") -> None:
        self._i2c = i2c
        self._buffer = bytearray(7)
        self.mc = 0
        self.rh_cpc = 0
        self.fault_code = fault.ABSENT
        self.at_ms = 0

    def decode(self, frame: "bytes | bytearray") -> int:
        """Take a seven-byte answer; a busy chip counts as absent, an uncalibrated as CONFIG."""
        if crc8.humidity(frame, 0, 6) != frame[6]:
            return fault.CRC
        if frame[0] & _BUSY:
            return fault.ABSENT
        if not frame[0] & _CALIBRATED:
            return fault.CONFIG
        self.rh_cpc = aht20_rh_cpc(frame[1] << 12 | frame[2] << 4 | frame[3] >> 4)
        self.mc = aht20_mc((frame[3] & 0x0F) << 16 | frame[4] << 8 | frame[5])
        return fault.NONE

    async def measure(self, ticks_ms: "Ticks") -> None:
        """Ask, wait 90 ms (about 80), read; an uncalibrated chip is told to load its constants."""
        try:
            self._i2c.writeto(_AHT20, _AHT20_MEASURE)
            await asyncio.sleep_ms(90)
            self._i2c.readfrom_into(_AHT20, self._buffer)
            self.fault_code = self.decode(self._buffer)
            if self.fault_code == fault.CONFIG:
                self._i2c.writeto(_AHT20, _AHT20_INIT)
        except OSError:
            self.fault_code = fault.ABSENT
        self.at_ms = ticks_ms()

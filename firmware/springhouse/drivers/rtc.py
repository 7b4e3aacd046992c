"""DS3231 clock chip over I2C. Registers in BCD (datasheet, timekeeping registers)."""

TYPE_CHECKING = False
if TYPE_CHECKING:
    from springhouse.kinds import I2c

_ADDRESS = 0x68
_STATUS = 0x0F
_STOPPED = 0x80  # oscillator-stop flag: the time is not to be believed
_DAYS_BEFORE = (0, 31, 59, 90, 120, 151, 181, 212, 243, 273, 304, 334)


def days_since_1970(year: int, month: int, day: int) -> int:
    """Days of the proleptic calendar for 1970 ... 2099 (every fourth year is a leap year there)."""
    past = year - 1970
    leap = (past + 1) // 4 + (1 if month > 2 and year % 4 == 0 else 0)
    return past * 365 + leap + _DAYS_BEFORE[month - 1] + day - 1


def _bcd(byte: int) -> int:
    return (byte >> 4) * 10 + (byte & 0x0F)


def _to_bcd(n: int) -> int:
    return n // 10 << 4 | n % 10


class Ds3231:
    """The chip keeps UTC."""

    def __init__(self, i2c: "I2c") -> None:
        self._i2c = i2c
        self._buffer = bytearray(7)
        self._byte = bytearray(1)

    def read(self) -> "tuple[int, int]":
        """(minutes since 1970, second), or (-1, 0) if absent, stopped or nonsense."""
        try:
            self._i2c.readfrom_mem_into(_ADDRESS, _STATUS, self._byte)
            self._i2c.readfrom_mem_into(_ADDRESS, 0, self._buffer)
        except OSError:
            return -1, 0
        b = self._buffer
        if self._byte[0] & _STOPPED or b[2] & 0x40:  # stopped, or set to 12-hour mode
            return -1, 0
        second, minute, hour = _bcd(b[0]), _bcd(b[1]), _bcd(b[2] & 0x3F)
        day, month, year = _bcd(b[4]), _bcd(b[5] & 0x1F), 2000 + _bcd(b[6])
        if second > 59 or minute > 59 or hour > 23 or not 1 <= day <= 31 or not 1 <= month <= 12:
            return -1, 0
        return days_since_1970(year, month, day) * 1440 + hour * 60 + minute, second

    def write(self, utc_min: int, second: int) -> bool:
        """Set the chip, clear its stop flag; False if it is absent or cannot hold the date."""
        days = utc_min // 1440
        year = 1970 + days // 365
        while days < days_since_1970(year, 1, 1):
            year -= 1
        if not 2000 <= year <= 2099:
            return False
        month = 12
        while days < days_since_1970(year, month, 1):
            month -= 1
        b = self._buffer
        b[0] = _to_bcd(second)
        b[1] = _to_bcd(utc_min % 60)
        b[2] = _to_bcd(utc_min // 60 % 24)
        b[3] = (days + 3) % 7 + 1  # 1 January 1970 was a Thursday
        b[4] = _to_bcd(days - days_since_1970(year, month, 1) + 1)
        b[5] = _to_bcd(month)
        b[6] = _to_bcd(year - 2000)
        try:
            self._i2c.writeto_mem(_ADDRESS, 0, b)
            self._i2c.writeto_mem(_ADDRESS, _STATUS, b"\0")
        except OSError:
            return False
        return True

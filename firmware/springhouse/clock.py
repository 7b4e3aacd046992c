"""Calendar time: UTC kept in minutes (seconds since 1970 no longer fit a small integer).

The host hands over the next changes of the local offset. Nothing here guards anything: an
unknown or wrong clock only changes which prices and wishes apply.
"""

from springhouse import timekeeping

WEEK_MIN = 10080
_FREE_STEP_S = 300
_DAY_S = 86400
LEAST_MIN = 29_300_000  # September 2025: an earlier time is an unset clock
MOST_MIN = 41_000_000  # 2047

SET, REFUSED_RANGE, REFUSED_DAY, REFUSED_FAR = range(4)  # answers of `set`


class Clock:
    """`utc_min` is -1 while the time is unknown."""

    def __init__(self, offsets: "list[list[int]]", standard_min: int, local: bool) -> None:
        """`offsets`: [from UTC minute, minutes east of UTC], ascending.

        `local` False: the tariff ignores daylight saving and follows `standard_min`.
        """
        self._offsets = offsets
        self._standard_min = standard_min
        self._local = local
        self.utc_min = -1
        self.second = 0
        self._ms = 0
        self._tick = -1  # of the latest `advance`, -1 = none yet
        self._day_step = -1  # day of the last accepted step above five minutes

    def advance(self, now: int) -> None:
        """Follow the ticks; to be called at least once a day."""
        if self._tick >= 0:
            self._ms += max(0, timekeeping.ticks_diff(now, self._tick))
        self._tick = now
        if self._ms < 1000:
            return
        seconds = self.second + self._ms // 1000
        self._ms %= 1000
        self.second = seconds % 60
        if self.utc_min >= 0:
            self.utc_min += seconds // 60

    def believe(self, utc_min: int, second: int) -> bool:
        """Take the time of the clock chip at start; False if it cannot be right."""
        if not LEAST_MIN <= utc_min <= MOST_MIN:
            return False
        self.utc_min = utc_min
        self.second = second
        self._ms = 0
        return True

    def set(self, utc_min: int, second: int, sure: bool) -> int:
        """Set by a person: small steps freely, one larger step a day, over a day only if `sure`."""
        if not LEAST_MIN <= utc_min <= MOST_MIN:
            return REFUSED_RANGE
        if self.utc_min >= 0:
            step_s = abs(utc_min - self.utc_min) * 60 + abs(second - self.second)
            if step_s > _DAY_S and not sure:
                return REFUSED_FAR
            if step_s > _FREE_STEP_S and not sure:
                if self._day_step == self.utc_min // 1440:
                    return REFUSED_DAY
                self._day_step = utc_min // 1440
        self.believe(utc_min, second)
        return SET

    def offset_min(self) -> int:
        """Minutes east of UTC in force; before the first change the standard offset."""
        offset = self._standard_min
        if self._local:
            for since, east in self._offsets:
                if self.utc_min >= since:
                    offset = east
        return offset

    def week_min(self) -> int:
        """Minute of the week, Monday 00:00 = 0; -1 if unknown."""
        if self.utc_min < 0:
            return -1
        # 1 January 1970 was a Thursday.
        return (self.utc_min + self.offset_min() + 3 * 1440) % WEEK_MIN

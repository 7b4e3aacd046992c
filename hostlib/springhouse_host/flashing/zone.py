"""What a board's wiring file says of time: the next changes of the local clock, the ice points."""

import json
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from ..errors import KnownError

CHANGES = 8
_LONGEST_SEARCH = timedelta(days=5 * 366)


def _offset_min(zone: ZoneInfo, at: datetime) -> int:
    offset = at.astimezone(zone).utcoffset()
    assert offset is not None
    return int(offset.total_seconds() // 60)


def _utc_min(at: datetime) -> int:
    return int(at.timestamp() // 60)


def offset_changes(name: str, now: datetime) -> tuple[list[list[int]], int]:
    """Return ([UTC minute, minutes east], the one in force first) and the standard offset [min].

    Args:
        name: zone of the tz database, e.g. Europe/Madrid.
        now: any moment with a zone of its own.

    Raises:
        KnownError: no such zone.
    """
    try:
        zone = ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise KnownError(f"--zone: {name!r} is not a zone such as Europe/Madrid") from None
    at = now.astimezone(UTC).replace(minute=0, second=0, microsecond=0)
    last = at + _LONGEST_SEARCH
    found = [[_utc_min(at), _offset_min(zone, at)]]
    while at < last and len(found) <= CHANGES:
        step = at + timedelta(days=1)
        if _offset_min(zone, step) != found[-1][1]:
            low, high = at, step
            while high - low > timedelta(minutes=1):
                middle = low + timedelta(minutes=(high - low) // timedelta(minutes=2))
                if _offset_min(zone, middle) == found[-1][1]:
                    low = middle
                else:
                    high = middle
            found.append([_utc_min(high), _offset_min(zone, high)])
        at = step
    return found, min(offset for _, offset in found)


def with_ice_point(wiring: bytes, on: date) -> bytes:
    """Return the wiring text with the day of the probes' last check, days since 1970.

    A day that the text names itself stays.
    """
    given = json.loads(wiring)
    given.setdefault("ice_point_day", (on - date(1970, 1, 1)).days)
    return json.dumps(given).encode()


def with_zone(wiring: bytes, name: str, now: datetime) -> bytes:
    """Return the wiring text with the offset changes of a zone."""
    given = json.loads(wiring)
    given["offsets"], given["standard_offset_min"] = offset_changes(name, now)
    return json.dumps(given).encode()

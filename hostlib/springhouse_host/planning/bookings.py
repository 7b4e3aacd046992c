"""Bookings of the room, from an iCalendar file (RFC 5545)."""

from datetime import UTC, date, datetime, time
from pathlib import Path
from zoneinfo import ZoneInfo

from springhouse_sim import outside

from .clock import QUARTER

LARGEST_BYTES = 2_000_000
FREE = ("TRANSPARENT",)  # RFC 5545, 3.8.2.7: an event that takes no time
CANCELLED = "CANCELLED"  # 3.8.1.11

Span = tuple[datetime, datetime]  # UTC


def read_bookings(path: Path, begin: datetime, end: datetime, zone: ZoneInfo) -> list[Span]:
    """Return when the room is booked between two instants; events may repeat.

    Times without a zone are the clock on the wall. An event of whole days books them whole; one
    that is cancelled or takes no time books nothing.

    Raises:
        OutsideError: one line: no calendar, an event without an end or of a zone nobody knows.
    """
    import icalendar
    import recurring_ical_events

    text = outside.read_text(path, LARGEST_BYTES)
    try:
        calendar = icalendar.Calendar.from_ical(text)
        if calendar.name != "VCALENDAR":
            raise ValueError("no VCALENDAR")
        events = recurring_ical_events.of(calendar).between(
            begin.astimezone(zone), end.astimezone(zone)
        )
        found = [_span(event, zone) for event in events if _books(event)]
    except Exception as error:  # a parser of intact files: what a damaged one does is no defect
        why = " ".join(str(error).split())[:120] or type(error).__name__
        raise outside.OutsideError(f"{path}: no iCalendar file that can be read: {why}") from None
    inside = [(max(a, begin), min(b, end)) for a, b in found]
    return sorted((a, b) for a, b in inside if a < b)


def _books(event: object) -> bool:
    get = event.get  # type: ignore[attr-defined]
    return (
        str(get("STATUS", "")).upper() != CANCELLED and str(get("TRANSP", "")).upper() not in FREE
    )


def _span(event: object, zone: ZoneInfo) -> Span:
    start, end = event.start, event.end  # type: ignore[attr-defined]
    return _instant(start, zone), _instant(end, zone)


def _instant(t: date, zone: ZoneInfo) -> datetime:
    if not isinstance(t, datetime):
        t = datetime.combine(t, time(), zone)
    if t.tzinfo is None:
        t = t.replace(tzinfo=zone)
    return t.astimezone(UTC)


def booked(spans: list[Span], start: datetime, quarters: int) -> list[bool]:
    """Return for each quarter hour whether any of it is booked."""
    times = [start + k * QUARTER for k in range(quarters)]
    return [any(a < t + QUARTER and t < b for a, b in spans) for t in times]

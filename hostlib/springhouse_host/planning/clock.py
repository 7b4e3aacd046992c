"""Instants and the clock on the wall: zone, quarter hours, the hours a clock change moves."""

import os
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np
from numpy.typing import NDArray
from springhouse.ahead import QUARTER_MIN
from springhouse_sim import outside
from springhouse_sim.world.windows import Window

from ..errors import KnownError

Flags = NDArray[np.bool_]
QUARTER = timedelta(minutes=QUARTER_MIN)
DAY_QUARTERS = 1440 // QUARTER_MIN
LOCALTIME = Path("/etc/localtime")


def zone_of(name: str | None) -> ZoneInfo:
    """Return a zone of the tz database; None is that of this computer, UTC where it names none.

    Raises:
        KnownError: no such zone.
    """
    said = name or os.environ.get("TZ", "").lstrip(":") or _computers()
    try:
        return ZoneInfo(said)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        if name is None:
            return ZoneInfo("UTC")
        raise KnownError(f"--zone: {name!r} is not a zone such as Europe/Madrid") from None


def _computers() -> str:
    try:
        return str(LOCALTIME.resolve()).partition("zoneinfo/")[2] or "UTC"
    except OSError:
        return "UTC"


@dataclass
class Stamps:
    """Reads the stamps of a file one after another, as instants (UTC).

    A stamp bears the offset of the zone at that time, or ``Z``, or none: then it is the clock on
    the wall, and an hour stands twice there on the day on which the clock is put back. One file
    keeps to one of the three.
    """

    path: Path
    zone: ZoneInfo
    kind: str = ""
    last: datetime | None = None

    def read(self, text: str, line: int) -> datetime:
        """Return an instant.

        Raises:
            OutsideError: no time, another kind than the lines before it, or of another zone.
        """
        where = f"{self.path}: line {line}, column time"
        try:
            found = datetime.fromisoformat(text)
        except ValueError:
            raise outside.OutsideError(f"{where}: {outside.said(text)} is no ISO time") from None
        if not outside.FIRST_YEAR <= found.year <= outside.LAST_YEAR:
            raise outside.OutsideError(f"{where}: {outside.said(text)}: no year of ours")
        kind = self._kind(found, where)
        if self.kind and kind != self.kind:
            raise outside.OutsideError(
                f"{where}: {outside.said(text)}: {kind}, the lines before it {self.kind}: two zones"
            )
        self.kind = kind
        if found.tzinfo is None:
            found = self._of_the_wall(found, where)
        self.last = found.astimezone(UTC)
        return self.last

    def _kind(self, found: datetime, where: str) -> str:
        offset = found.utcoffset()
        if offset is None:
            return "without an offset"
        here = found.astimezone(self.zone).utcoffset()
        if offset == here and self.kind != "in UTC":
            return f"in {self.zone.key}"
        if not offset:
            return "in UTC"
        raise outside.OutsideError(
            f"{where}: an offset that {self.zone.key} does not have then: two time zones, or "
            "another --zone is meant"
        )

    def _of_the_wall(self, found: datetime, where: str) -> datetime:
        local = found.replace(tzinfo=self.zone)
        instant = local.astimezone(UTC)
        if instant.astimezone(self.zone).replace(tzinfo=None) != found:
            raise outside.OutsideError(
                f"{where}: {found} does not exist in {self.zone.key}: the clock is put forward"
            )
        if self.last is not None and instant <= self.last:
            later = local.replace(fold=1).astimezone(UTC)
            return later if later > self.last else instant
        return instant


def quarter_of(t: datetime) -> datetime:
    """Return the beginning of the quarter hour of an instant."""
    t = t.astimezone(UTC)
    return t.replace(minute=t.minute - t.minute % QUARTER_MIN, second=0, microsecond=0)


def locals_of(start: datetime, quarters: int, zone: ZoneInfo) -> list[datetime]:
    """Return what the clock on the wall shows at the beginning of each quarter hour."""
    return [(start + k * QUARTER).astimezone(zone) for k in range(quarters)]


def minute_of_week(t: datetime) -> int:
    """Return the minute of the week of a local time, Monday 00:00 = 0."""
    return t.weekday() * 1440 + t.hour * 60 + t.minute


def inside(windows: tuple[Window, ...], local: list[datetime]) -> Flags:
    """Return for each local time whether it lies in a window of the week."""
    return inside_minutes(windows, [minute_of_week(t) for t in local])


def inside_minutes(windows: tuple[Window, ...], minutes: Iterable[int]) -> Flags:
    """Return for each minute of the week whether it lies in a window."""
    return np.array([any(w.contains(int(m)) for w in windows) for m in minutes], np.bool_)


def spells(flags: Flags) -> list[tuple[int, int]]:
    """Return where each spell of flags begins, and the place behind its last."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], flags.astype(np.int8), [0]))))
    return list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))


def changes_s(start: datetime, quarters: int, zone: ZoneInfo) -> list[tuple[int, int]]:
    """Return (seconds from the start, seconds that the clock then shows more than at the start)."""
    found: list[tuple[int, int]] = []
    first = start.astimezone(zone).utcoffset() or timedelta()
    before = timedelta()
    for k, local in enumerate(locals_of(start, quarters, zone)):
        ahead = (local.utcoffset() or timedelta()) - first
        if ahead != before:
            found.append((k * QUARTER_MIN * 60, round(ahead.total_seconds())))
            before = ahead
    return found

"""The loop: a line in, a record kept, a screen shown."""

import time
from collections.abc import Callable
from typing import TYPE_CHECKING

from .base import Base
from .calibration import Calibration
from .outlook import Trend
from .record import Record, parse
from .sources import Lines
from .view import STALE_S, Facts, facts

if TYPE_CHECKING:
    from ..site.site import Site

Shown = Callable[[Facts], None]


def watch(lines: Lines, base: Base, site: "Site | None", show: Shown) -> int:
    """Keep and show every record until the lines end; return how many were kept.

    A record counts as kept when the database has committed it; only then is it shown.

    Raises:
        KnownError: the database cannot be written.
    """
    trend, calibration = Trend(site), Calibration(site)
    last: Record | None = None
    came = 0.0  # when the last record came, by a clock that is never set
    kept = 0
    for seen_s, text in lines:
        record = parse(text, seen_s) if text else None
        if record is not None:
            base.add(record, text)
            record = calibration.applied(record)
            trend.add(record)
            last = record
            came = time.monotonic()
            kept += 1
            show(facts(record, trend.outlook(record), site, False, calibration.note))
            continue
        calibration.hear(text)
        if last is not None and (not text or time.monotonic() - came > STALE_S):
            show(facts(last, trend.outlook(last), site, True, calibration.note))
    return kept

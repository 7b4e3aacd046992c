"""The loop: a line in, a record kept, a screen shown."""

import time
from collections.abc import Callable
from typing import TYPE_CHECKING

from .board_record import BoardRecord, parse
from .calibration import Calibration
from .keeping import Keeper
from .outlook import Trend
from .sources import Lines
from .view import STALE_S, Facts, facts

if TYPE_CHECKING:
    from ..site.site import Site

Shown = Callable[[Facts], None]


def watch(lines: Lines, keeper: Keeper, site: "Site | None", show: Shown, us: bool = False) -> int:
    """Keep and show every record until the lines end; return how many came.

    A record is shown when the database has committed it, or, while that cannot be written, together
    with how many wait.
    """
    trend, calibration = Trend(site), Calibration(site)

    def present(record: BoardRecord, away: bool) -> None:
        outlook = trend.outlook(record)
        show(facts(record, outlook, site, away, calibration.note, keeper.note, us))

    last: BoardRecord | None = None
    came = 0.0  # when the last record came, by a clock that is never set
    came_in = 0
    for seen_s, text in lines:
        record = parse(text, seen_s) if text else None
        if record is not None:
            keeper.keep(record, text)
            record = calibration.applied(record)
            trend.add(record)
            last = record
            came = time.monotonic()
            came_in += 1
            present(record, away=False)
            continue
        calibration.hear(text)
        keeper.flush()
        if last is not None and (not text or time.monotonic() - came > STALE_S):
            present(last, away=True)
    return came_in

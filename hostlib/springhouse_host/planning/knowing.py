"""The present state from a board's record: a line of its link, or the database of `watch`."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

from springhouse import reading

from ..errors import KnownError
from ..outside import read_bytes, read_text
from ..site.site import Site
from ..units import show
from ..watching.base import Base
from ..watching.board_record import BoardRecord, parse
from ..watching.calibration import Calibration
from .case import State

DATABASE = b"SQLite format 3\0"
LARGEST_BYTES = 2_000_000_000
OLDEST = timedelta(hours=3)
WATER_C = (-1.0, 40.0)


def from_record(path: Path, site: Site, at: datetime, us: bool) -> State:
    """Return what the newest record before an instant says.

    Raises:
        KnownError: there is none, it is too old, or no probe of the store answered.
    """
    if read_bytes_of_head(path) == DATABASE:
        record = _of_base(path, at)
    else:
        record = _of_text(path)
    if record is None:
        raise KnownError(f"{path}: no record of a board before {at:%Y-%m-%d %H:%M} UTC")
    seen = datetime.fromtimestamp(record.seen_s, UTC)
    if abs(at - seen) > OLDEST:
        raise KnownError(
            f"{path}: its newest record is of {seen:%Y-%m-%d %H:%M} UTC, the plan begins at "
            f"{at:%Y-%m-%d %H:%M}: at most {OLDEST / timedelta(hours=1):g} h apart; or --store-c"
        )
    record = Calibration(site).applied(record)
    store_c = record.store_c()
    if store_c is None or not WATER_C[0] <= store_c <= WATER_C[1]:
        raise KnownError(f"{path}: no probe of the store answered then: --store-c")
    shown = show(store_c, "°C", us=us)
    return State(
        store_c, record.probe_c(reading.ROOM_MC - reading.STORE_LOW_MC), f"store {shown}, by {path}"
    )


def read_bytes_of_head(path: Path) -> bytes:
    """Return the first bytes of a regular file.

    Raises:
        KnownError: it cannot be read.
    """
    if not path.is_file():
        return read_bytes(path)  # says why
    try:
        with path.open("rb") as file:
            return file.read(len(DATABASE))
    except OSError as error:
        raise KnownError(f"{path}: cannot be read: {error.strerror or error}") from None


def _of_base(path: Path, at: datetime) -> BoardRecord | None:
    last: BoardRecord | None = None
    with Base(path, read_only=True) as base:
        owners = [whose for whose in base.whose() if base.whose()[whose]]
        if len(owners) > 1:
            raise KnownError(f"{path}: holds records of {len(owners)} installations: --store-c")
        until_s = at.timestamp() + 60.0
        since_s = until_s - 7 * 86400.0
        for whose in owners:
            for last in base.records(since_s, until_s, whose):  # noqa: B007
                pass
    return last


def _of_text(path: Path) -> BoardRecord | None:
    found: BoardRecord | None = None
    for line in read_text(path, 200_000_000).splitlines():
        record = parse(line.strip(), 0.0)
        if record is not None and record.line.utc >= 0:
            found = BoardRecord(record.line.utc * 60.0, record.line)
    return found

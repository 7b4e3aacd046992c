"""The rows of a watched first charge, kept as they come so that a killed program loses none.

A file of lines beside the record, gone once the step is answered. The board's mode goes on without
the computer, so a charge that broke off is taken up where it stands.
"""

import contextlib
import json
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

from springhouse import output
from springhouse_sim import outside

from ..errors import KnownError
from ..outside import read_text
from ..watching.board_record import BoardRecord

LARGEST_BYTES = 20_000_000
LONGEST_GAP_S = 12 * 3600
RESTART_S = 120.0  # the computer's clock ahead of the board's uptime by more: it began anew


@dataclass(frozen=True)
class ChargeRow:
    """One moment: the board's uptime [s], the store [°C], whether the compressor was on.

    ``seen_s`` is the computer's clock [s since 1970].
    """

    up: int
    store_c: float | None
    on: bool
    seen_s: float


def row_of(record: BoardRecord) -> ChargeRow:
    """Return the row of a record."""
    return ChargeRow(record.line.up, record.store_c(), record.on(output.COMPRESSOR), record.seen_s)


def ran_s(rows: Iterable[ChargeRow]) -> int:
    """Return the compressor's run time [s]; over a gap only where it was on before and after."""
    return sum(b.up - a.up for a, b in pairwise(rows) if a.on and (b.on or b.up - a.up <= 60))


class Rows:
    """The rows of one charge and the file they are kept in."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.kept: list[ChargeRow] = []

    def take_up(self, now: ChargeRow) -> bool:
        """Read what is kept, if it is the charge that still goes on; else begin anew.

        A board that restarted meanwhile has another charge, even where its uptime is the greater.

        Raises:
            KnownError: when the file cannot be read.
        """
        if not self.path.exists():
            return False
        lines = read_text(self.path, LARGEST_BYTES).splitlines()
        found = [row for row in map(_row, lines) if row is not None]
        if found:
            gone_s = now.up - found[-1].up
            restarted = now.seen_s - found[-1].seen_s - gone_s > RESTART_S
            if 0 <= gone_s <= LONGEST_GAP_S and not restarted:
                self.kept = found
                return True
        self.clear()
        return False

    def add(self, row: ChargeRow) -> None:
        """Keep a row.

        Raises:
            KnownError: when the file cannot be written.
        """
        self.kept.append(row)
        try:
            with self.path.open("a", encoding="utf-8") as file:
                file.write(json.dumps([row.up, row.store_c, row.on, row.seen_s]) + "\n")
        except OSError as error:
            raise KnownError(f"{self.path}: cannot be written: {error.strerror}") from None

    def clear(self) -> None:
        """Forget the rows, in memory and on the disk."""
        self.kept = []
        with contextlib.suppress(FileNotFoundError):
            self.path.unlink()


def _row(line: str) -> ChargeRow | None:
    """Return the row of a line, None where the program was killed in the middle of it."""
    try:
        up, store_c, on, seen_s = outside.from_json(line, "")
    except (ValueError, TypeError):
        return None
    good = isinstance(up, int) and isinstance(on, bool) and isinstance(store_c, float | None)
    return ChargeRow(up, store_c, on, seen_s) if good and isinstance(seen_s, float) else None

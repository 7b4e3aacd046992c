"""Where records are kept: one SQLite file, written ahead, a transaction a record or more.

A killed process loses nothing that was committed; the database opens again by itself. Every row
says whose it is and carries a checksum, so that installations never mix and a damaged row is seen.
What SQLite cannot read any more is looked for in the bytes of the file (`salvage`).
"""

import contextlib
import os
import sqlite3
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import count
from pathlib import Path
from types import TracebackType
from typing import Any

from springhouse_sim import outside

from ..errors import KnownError
from . import salvage
from .board_record import BoardRecord
from .salvage import SalvagedRow

SCHEMA = 2
SCHEMA_OF_ONE = 1  # of the first version, whose rows do not say whose they are
GREATEST_HOLE = 10_000  # numbers of lost rows in a row
WAIT_S = 0.3  # for another program's transaction; a watcher tries again later
_RECORD = """
create table record (
    id integer primary key,
    seen_s real not null,      -- this computer's clock, s since 1970, UTC
    up_s integer not null,     -- the board's uptime
    line text not null,        -- the record as it came
    whose text,                -- the installation, null where it was not yet told
    checksum integer           -- CRC-32 of the row
);
create index record_seen on record (seen_s);
create table meter (
    id integer primary key,
    read_s real not null,      -- when a person read the energy meter, s since 1970, UTC
    kwh real not null,
    whose text
);
"""
_FROM_ONE = """
alter table record add column whose text;
alter table record add column checksum integer;
alter table meter add column whose text;
"""
_NO_OWNER = ", null, null"
_ROWS = "select id, seen_s, up_s, line{} from record order by id"


@dataclass(frozen=True)
class Damage:
    """What of a base could not be read by itself: rows found in its bytes, and rows not found."""

    salvaged: int = 0
    lost: int = 0

    def words(self, path: Path) -> str:
        """Return a line about it, "" where all was well."""
        if not self.salvaged and not self.lost:
            return ""
        return (
            f"{path}: damaged: {self.salvaged} records read past the damage, "
            f"{self.lost} could not be read"
        )


class Base:
    """A database of records, opened for writing or for reading alone.

    Opened for writing, an older one is brought up to date; one too damaged to write to is set aside
    under another name, never overwritten, and a new one begun with what could be read of it.

    Raises:
        KnownError: the file cannot be opened, is no database of ours, or is of another version.
        sqlite3.OperationalError: opened for writing, it is locked or its disk full or read-only.
    """

    def __init__(self, path: Path, read_only: bool = False) -> None:
        self.path = path
        self.told = ""  # what became of a damaged one
        self.damage = Damage()
        if read_only and not path.is_file():
            raise KnownError(f"{path}: there is no such database: springhouse watch makes")
        if path.exists():
            self._refuse_other_files()
        self._columns = SCHEMA
        self._opened_as = (0, 0)
        self._data: sqlite3.Connection | None = None
        try:
            self._open(read_only)
        except sqlite3.DatabaseError as error:
            self.close()
            if not _damaged(error):
                if not read_only:
                    raise
                self._salvage_only(error)
            elif read_only:
                self._salvage_only(error)
            else:
                self._set_aside(error)

    def _refuse_other_files(self) -> None:
        try:
            outside.regular(self.path)
        except outside.OutsideError as error:
            raise KnownError(str(error)) from None

    def _connect(self, read_only: bool) -> sqlite3.Connection:
        name = self.path.absolute().as_uri() + ("?mode=ro" if read_only else "")
        data = sqlite3.connect(name, uri=True, timeout=WAIT_S, check_same_thread=False)
        data.text_factory = lambda text: text.decode(errors="replace")
        return data

    def _open(self, read_only: bool) -> None:
        self._data = data = self._connect(read_only)
        version = data.execute("pragma user_version").fetchone()[0]
        held = data.execute("select count(*) from sqlite_master").fetchone()[0]
        if not read_only and version == 0 and held == 0:
            data.executescript(f"begin; {_RECORD} pragma user_version = {SCHEMA}; commit;")
            version = SCHEMA
        if version not in (SCHEMA_OF_ONE, SCHEMA):
            self.close()
            if (version == 0 or version > 99) and held and salvage.rows(self.path):
                raise sqlite3.DatabaseError("its version is damaged")
            raise KnownError(f"{self.path}: schema {version}, this version reads {SCHEMA}")
        self._columns = version
        if read_only:
            return
        if data.execute("pragma quick_check(1)").fetchone()[0] != "ok":
            raise sqlite3.DatabaseError("it contradicts itself")
        if version == SCHEMA_OF_ONE:
            data.executescript(f"begin; {_FROM_ONE} pragma user_version = {SCHEMA}; commit;")
            self._columns = SCHEMA
        data.execute("pragma journal_mode = wal")
        data.execute("pragma synchronous = full")  # a power cut may come too
        at = os.stat(self.path)
        self._opened_as = (at.st_dev, at.st_ino)

    def _salvage_only(self, error: sqlite3.Error) -> None:
        """Go on without SQLite where the bytes hold rows of ours.

        Raises:
            KnownError: they hold none.
        """
        if not self._found_in_bytes():
            raise KnownError(f"{self.path}: is no database of records: {error}") from None

    def _found_in_bytes(self) -> dict[int, SalvagedRow]:
        try:
            return salvage.rows(self.path)
        except (OSError, ValueError):
            return {}

    def _set_aside(self, error: sqlite3.Error) -> None:
        rows = self._found_in_bytes()
        if not rows:
            raise KnownError(f"{self.path}: is no database of records: {error}") from None
        aside = next(
            to
            for n in count(1)
            if not (to := self.path.with_name(f"{self.path.name}.damaged-{n}")).exists()
        )
        self.path.rename(aside)
        for tail in ("-wal", "-shm"):
            beside = Path(f"{self.path}{tail}")
            if beside.exists():
                beside.rename(f"{aside}{tail}")
        self._open(False)
        kept = sorted(rows.items())
        self._insert([(r.seen_s, r.up_s, r.line, r.whose, r.checksum) for _, r in kept])
        lost = max(0, kept[-1][0] - len(kept))
        self.told = (
            f"{self.path}: damaged, kept as {aside.name}: {len(kept)} records taken over, "
            f"{lost} could not be read"
        )

    def __enter__(self) -> "Base":
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the file."""
        if self._data is not None:
            self._data.close()
            self._data = None

    @property
    def there(self) -> bool:
        """Whether the name still leads to the file that is open, for it may have been removed."""
        try:
            at = os.stat(self.path)
        except OSError:
            return False
        return (at.st_dev, at.st_ino) == self._opened_as

    def add(self, kept: Iterable[tuple[BoardRecord, str]], whose: str | None = None) -> None:
        """Keep records, all or none; they are on the disk when this returns.

        Raises:
            sqlite3.Error: locked, the disk is full or read-only, the file damaged.
        """
        self._insert(
            [
                (r.seen_s, r.line.up, text, whose, salvage.checksum(r.seen_s, whose, text))
                for r, text in kept
            ]
        )

    def _insert(self, rows: list[tuple[float, int, str, str | None, int | None]]) -> None:
        assert self._data is not None
        with self._data:
            self._data.executemany(
                "insert into record (seen_s, up_s, line, whose, checksum) values (?, ?, ?, ?, ?)",
                rows,
            )

    def add_meter(self, read_s: float, kwh: float, whose: str | None = None) -> None:
        """Keep a reading of the energy meter.

        Raises:
            KnownError: a reading below the one before it, or the file cannot be written.
        """
        before = self.meter_readings(whose)
        if before and (kwh < before[-1][1] or read_s < before[-1][0]):
            at = f"{before[-1][1]:g} kWh"
            raise KnownError(f"--meter: {kwh:g} kWh is below the reading before it, {at}")
        assert self._data is not None
        try:
            with self._data:
                self._data.execute(
                    "insert into meter (read_s, kwh, whose) values (?, ?, ?)", (read_s, kwh, whose)
                )
        except sqlite3.Error as error:
            raise KnownError(f"{self.path}: cannot be written: {error}") from None

    def meter_readings(self, whose: str | None = None) -> list[tuple[float, float]]:
        """Return (when [s since 1970], kWh) of an installation's meter readings, oldest first."""
        if self._data is None:
            return []
        found = []
        try:
            name = "whose" if self._columns == SCHEMA else "null"
            query = f"select read_s, kwh, {name} from meter order by read_s, id"
            for at, kwh, of in self._data.execute(query):
                if isinstance(at, float) and isinstance(kwh, float | int) and of == whose:
                    found.append((at, float(kwh)))
        except sqlite3.DatabaseError:
            pass  # what was read before the damage still counts
        return found

    def adopt(self, whose: str) -> int:
        """Give the records and readings that say no owner to an installation; return how many.

        Raises:
            KnownError: the file cannot be written.
        """
        assert self._data is not None
        self._data.create_function("sum_of", 3, salvage.checksum, deterministic=True)
        try:
            with self._data:
                done = self._data.execute(
                    "update record set whose = ?1, checksum = sum_of(seen_s, ?1, line) "
                    "where whose is null",
                    (whose,),
                )
                self._data.execute("update meter set whose = ? where whose is null", (whose,))
        except sqlite3.Error as error:
            raise KnownError(f"{self.path}: cannot be written: {error}") from None
        return done.rowcount

    def count(self) -> int:
        """Return how many records there are."""
        return sum(self.whose().values())

    def whose(self) -> dict[str | None, int]:
        """Return how many records each installation has."""
        found: dict[str | None, int] = {}
        for row in self._good_rows():
            found[row.whose] = found.get(row.whose, 0) + 1
        return found

    def records(
        self, since_s: float = 0.0, until_s: float = 1e12, whose: str | None = None
    ) -> Iterator[BoardRecord]:
        """Yield an installation's records of a time, oldest first; ``damage`` is then known."""
        for row in self._good_rows():
            if row.whose == whose and since_s <= row.seen_s < until_s:
                record = row.record()
                if record is not None:
                    yield record

    def _good_rows(self) -> Iterable[SalvagedRow]:
        """Return the rows that are as they were written, from the bytes where SQLite fails."""
        last = 0
        try:
            for values in self._rows():
                row = salvage.row_of(values)
                if row is None or row.number != last + 1 or not row.good:
                    break
                last += 1
            else:
                if self._data is not None and not self._log_holds_more(last):
                    self.damage = Damage()
                    return (row for row in map(salvage.row_of, self._rows()) if row is not None)
        except sqlite3.DatabaseError:
            pass
        return self._rows_past_damage()

    def _log_holds_more(self, last: int) -> bool:
        """Whether the write-ahead log holds a row that SQLite passes over, itself damaged."""
        assert self._data is not None
        more = max(salvage.rows_in(Path(f"{self.path}-wal")), default=0)
        if more <= last:
            return False
        now = self._data.execute("select max(id) from record").fetchone()[0]
        return more > (now or 0)

    def _rows(self) -> Iterator[tuple[Any, ...]]:
        if self._data is not None:
            query = _ROWS.format(", whose, checksum" if self._columns == SCHEMA else _NO_OWNER)
            yield from self._data.execute(query)

    def _rows_past_damage(self) -> list[SalvagedRow]:
        found: dict[int, SalvagedRow] = {}
        with contextlib.suppress(sqlite3.DatabaseError):
            for row in map(salvage.row_of, self._rows()):
                if row is not None and row.record() is not None:
                    found.setdefault(row.number, row)
        by_itself = set(found)
        for number, row in self._found_in_bytes().items():
            found.setdefault(number, row)
        once = {(row.seen_s, row.whose, row.line): row for row in found.values()}
        numbers = sorted(row.number for row in once.values())
        # A damaged number may be any; those that were written have no great holes.
        most = 0
        for number in numbers:
            if number > most + GREATEST_HOLE:
                break
            most = number
        salvaged = sum(row.number not in by_itself for row in once.values())
        self.damage = Damage(salvaged, max(0, most - len(once)))
        return sorted(once.values(), key=lambda row: row.seen_s)


def _damaged(error: sqlite3.DatabaseError) -> bool:
    """Whether the file itself is at fault, not a lock or a disk."""
    code = getattr(error, "sqlite_errorcode", None)
    if code is None:  # ours
        return True
    return code & 0xFF in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_ERROR)

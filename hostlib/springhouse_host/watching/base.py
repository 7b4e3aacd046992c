"""Where records are kept: one SQLite file, written ahead, a transaction a record.

A killed process loses nothing that was committed; the database opens again by itself.
"""

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from types import TracebackType

from ..errors import KnownError
from .record import Record, parse

SCHEMA = 1
_TABLES = """
create table record (
    id integer primary key,
    seen_s real not null,      -- this computer's clock, s since 1970, UTC
    up_s integer not null,     -- the board's uptime
    line text not null         -- the record as it came
);
create index record_seen on record (seen_s);
create table meter (
    id integer primary key,
    read_s real not null,      -- when a person read the energy meter, s since 1970, UTC
    kwh real not null
);
"""


class Base:
    """A database of records, opened for writing or for reading alone.

    Raises:
        KnownError: the file cannot be opened, is no database of ours, or is of another version.
    """

    def __init__(self, path: Path, read_only: bool = False) -> None:
        self.path = path
        try:
            if read_only:
                if not path.is_file():
                    raise KnownError(f"{path}: there is no such database: springhouse watch makes")
                self._data = sqlite3.connect(f"file:{path}?mode=ro", uri=True)
            else:
                self._data = sqlite3.connect(path)
            version = self._data.execute("pragma user_version").fetchone()[0]
            held = self._data.execute("select count(*) from sqlite_master").fetchone()[0]
            if not read_only and version == 0 and held == 0:
                self._data.executescript(
                    f"begin; {_TABLES} pragma user_version = {SCHEMA}; commit;"
                )
                version = SCHEMA
            if not read_only and version == SCHEMA:
                self._data.execute("pragma journal_mode = wal")
                self._data.execute("pragma synchronous = full")  # a power cut may come too
        except sqlite3.Error as error:
            raise KnownError(f"{path}: is no database of records: {error}") from None
        if version != SCHEMA:
            self._data.close()
            raise KnownError(f"{path}: schema {version}, this version reads {SCHEMA}")

    def __enter__(self) -> "Base":
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._data.close()

    def add(self, record: Record, text: str) -> None:
        """Keep a record; it is on the disk when this returns.

        Raises:
            KnownError: the disk is full or the file is gone.
        """
        row = (record.seen_s, record.line.up, text)
        try:
            with self._data:
                self._data.execute("insert into record (seen_s, up_s, line) values (?, ?, ?)", row)
        except sqlite3.Error as error:
            raise KnownError(f"{self.path}: cannot be written: {error}") from None

    def add_meter(self, read_s: float, kwh: float) -> None:
        """Keep a reading of the energy meter.

        Raises:
            KnownError: a reading below the one before it.
        """
        before = self.meter_readings()
        if before and (kwh < before[-1][1] or read_s < before[-1][0]):
            at = f"{before[-1][1]:g} kWh"
            raise KnownError(f"--meter: {kwh:g} kWh is below the reading before it, {at}")
        with self._data:
            self._data.execute("insert into meter (read_s, kwh) values (?, ?)", (read_s, kwh))

    def meter_readings(self) -> list[tuple[float, float]]:
        """Return (when [s since 1970], kWh) of every meter reading, oldest first."""
        rows = self._data.execute("select read_s, kwh from meter order by read_s, id")
        return [(float(at), float(kwh)) for at, kwh in rows]

    def count(self) -> int:
        """Return how many records there are."""
        return int(self._data.execute("select count(*) from record").fetchone()[0])

    def records(self, since_s: float = 0.0, until_s: float = 1e12) -> Iterator[Record]:
        """Yield the records seen in a time, oldest first."""
        query = "select seen_s, line from record where seen_s >= ? and seen_s < ? order by id"
        with closing(self._data.execute(query, (since_s, until_s))) as rows:
            for seen_s, text in rows:
                record = parse(text, seen_s)
                if record is not None:
                    yield record

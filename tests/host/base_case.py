"""Bases of records as a watcher leaves them, and ways to damage them."""

import json
import random
import sqlite3
from pathlib import Path

from springhouse_host.watching.base import Base
from springhouse_host.watching.board_record import BoardRecord, parse

PAGE = 4096


def text(up: int, store_mc: int = 4000) -> str:
    """A line as the board's report writes it."""
    keys = {
        "up": up, "utc": 29_000_000 + up // 60, "st": [0, 0], "out": up % 3,
        "mc": [store_mc, 4500, 25_000, 20_000, 20_000], "bad": [0, 0, 0, 0, 0], "ml": 0,
        "mv": 12_800, "in": 31, "w": [0, 0, 0], "lat": 0, "md": [0, 0],
    }  # fmt: skip
    return json.dumps(keys, separators=(",", ":"))


def record(up: int, seen_s: float) -> BoardRecord:
    found = parse(text(up), seen_s)
    assert found is not None
    return found


def made(path: Path, rows: int, whose: str | None = "site:A", first_s: float = 1.7e9) -> None:
    """Write a base with rows ten seconds apart, up 0, 10, ..."""
    with Base(path) as base:
        base.add([(record(10 * n, first_s + 10.0 * n), text(10 * n)) for n in range(rows)], whose)


def first_version(path: Path, rows: int) -> None:
    """Write a base as the first version made it."""
    with sqlite3.connect(path) as data:
        data.executescript(
            """
            create table record (id integer primary key, seen_s real not null,
                up_s integer not null, line text not null);
            create index record_seen on record (seen_s);
            create table meter (id integer primary key, read_s real not null, kwh real not null);
            pragma user_version = 1;
            """
        )
        data.executemany(
            "insert into record (seen_s, up_s, line) values (?, ?, ?)",
            [(1.7e9 + 10.0 * n, 10 * n, text(10 * n)) for n in range(rows)],
        )
        data.execute("insert into meter (read_s, kwh) values (1.7e9, 5.5)")
    data.close()


def damaged(data: bytes, chance: random.Random) -> tuple[bytes, str]:
    """Return the bytes of a file with one thing wrong, and what."""
    at = chance.randrange(len(data))
    page = PAGE * (at // PAGE)
    match chance.randrange(7):
        case 0:
            return data[:at] + bytes([data[at] ^ 1 << chance.randrange(8)]) + data[at + 1 :], "bit"
        case 1:
            wrong = chance.randbytes(1)
            return data[:at] + wrong + data[at + 1 :], "byte"
        case 2:
            some = min(chance.randrange(1, 200), len(data) - at)
            return data[:at] + chance.randbytes(some) + data[at + some :], "bytes"
        case 3:
            return data[:page] + bytes(PAGE) + data[page + PAGE :], "empty page"
        case 4:
            return data[:at], "cut off"
        case 5:
            head = chance.randrange(100)
            return data[:head] + chance.randbytes(1) + data[head + 1 :], "header"
        case _:
            other = PAGE * chance.randrange(max(1, len(data) // PAGE))
            return data[:page] + data[other : other + PAGE] + data[page + PAGE :], "page of another"

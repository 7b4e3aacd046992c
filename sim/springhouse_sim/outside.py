"""What comes from outside: the one door for files and texts that somebody else has written.

A regular file of a bounded size, text in UTF-8, nested only so deep, stamps in order; whatever else
it is ends as an `OutsideError` of one line with file, place and range.
"""

import csv
import json
import os
import re
import stat
import tomllib
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

DEEPEST = 32  # levels of nesting; nothing of ours needs ten
FIRST_YEAR, LAST_YEAR = 1900, 2200
KINDS: tuple[tuple[Callable[[int], bool], str], ...] = (
    (stat.S_ISDIR, "a folder"),
    (stat.S_ISFIFO, "a pipe"),
    (stat.S_ISSOCK, "a socket"),
    (stat.S_ISCHR, "a device"),
    (stat.S_ISBLK, "a device"),
)
SHOWN = 40  # longest text repeated in a line

_JSON_STRING = re.compile(r'"(?:[^"\\]|\\.)*+"?', re.DOTALL)
_PART = r"""(?:[\w-]++|"[^"\n]*+"|'[^'\n]*+')[ \t]*+\.[ \t]*+"""
_DOTTED = re.compile(rf"(?<![\w-])(?:{_PART}){{{DEEPEST}}}")


class OutsideError(ValueError):
    """One line: file, place in it, what stands there and what may."""


def _size(n: int) -> str:
    return f"{n // 1_000_000} MB" if n >= 1_000_000 else f"{n} bytes"


def read_bytes(path: Path, most: int) -> bytes:
    """Return a regular file of at most ``most`` bytes; pipes and devices are not even opened.

    Raises:
        OutsideError: it cannot be read, is no regular file or too long.
    """
    if "\0" in str(path):
        raise OutsideError(f"{str(path)!r}: is no name of a file")
    try:
        _regular(path, os.stat(path).st_mode)
        handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0))
        with os.fdopen(handle, "rb") as file:
            _regular(path, os.fstat(handle).st_mode)  # it may have been changed over
            data = file.read(most + 1)
    except OSError as error:
        raise OutsideError(f"{path}: cannot be read: {error.strerror or error}") from None
    if len(data) > most:
        raise OutsideError(f"{path}: more than {_size(most)}: too long")
    return data


def regular(path: Path) -> int:
    """Return the size of a regular file [bytes].

    Raises:
        OutsideError: it is none.
    """
    try:
        told = os.stat(path)
    except (OSError, ValueError) as error:
        raise OutsideError(f"{path}: cannot be read: {error}") from None
    _regular(path, told.st_mode)
    return told.st_size


def _regular(path: Path, mode: int) -> None:
    for is_kind, words in KINDS:
        if is_kind(mode):
            raise OutsideError(f"{path}: cannot be read: is {words}: a regular file is needed")


def read_text(path: Path, most: int, fallback: str | None = None) -> str:
    """Return the text of a file, a byte order mark left out.

    ``fallback`` is the encoding where it is not UTF-8.

    Raises:
        OutsideError: as `read_bytes`, or it is no text.
    """
    data = read_bytes(path, most)
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        if fallback is not None:
            return data.decode(fallback, errors="replace")
        raise OutsideError(f"{path}: byte {error.start}: not UTF-8 text") from None


def from_json(text: str, where: object) -> Any:
    """Return what a JSON text says; ``where`` begins the line of a refusal.

    Raises:
        OutsideError: it is no JSON, nested deeper than DEEPEST, or holds an endless number.
    """
    depth = 0
    for mark in re.finditer(r"[\[\]{}]", _JSON_STRING.sub("", text)):
        depth += 1 if mark[0] in "[{" else -1
        if depth > DEEPEST:
            raise OutsideError(f"{where}: nested more than {DEEPEST} deep")
    try:
        return json.loads(text)
    except json.JSONDecodeError as error:
        at = f"line {error.lineno}, column {error.colno}"
        raise OutsideError(f"{where}: {at}: not valid JSON: {error.msg}") from None
    except (ValueError, RecursionError) as error:
        raise OutsideError(f"{where}: not valid JSON: {error}") from None


def from_toml(text: str, where: object) -> dict[str, Any]:
    """Return what a TOML text says; ``where`` begins the line of a refusal.

    Raises:
        OutsideError: it is no TOML or nested deeper than DEEPEST.
    """
    deep = f"{where}: not valid TOML: nested too deeply, at most {DEEPEST} deep"
    dotted = _DOTTED.search(text)  # the reader's time grows with the square of these
    if dotted is not None:
        raise OutsideError(f"{deep}: line {text.count(chr(10), 0, dotted.start()) + 1}")
    try:
        found = tomllib.loads(text)
    except RecursionError:
        raise OutsideError(deep) from None
    except ValueError as error:
        raise OutsideError(f"{where}: not valid TOML: {' '.join(str(error).split())}") from None
    level: list[Any] = [found]
    for _ in range(DEEPEST):
        level = [part for whole in level for part in _parts(whole)]
        if not level:
            return found
    raise OutsideError(deep)


def _parts(whole: Any) -> list[Any]:
    parts = whole.values() if isinstance(whole, dict) else whole
    return [part for part in parts if isinstance(part, dict | list)]


def read_rows(path: Path, most: int) -> Iterator[tuple[int, list[str]]]:
    """Yield (line, cells) of a CSV file, empty lines left out.

    Raises:
        OutsideError: as `read_text`, or a line is no row of a table.
    """
    reader = csv.reader(read_text(path, most).splitlines())
    try:
        for row in reader:
            if any(cell.strip() for cell in row):
                yield reader.line_num, [cell.strip() for cell in row]
    except csv.Error as error:
        raise OutsideError(f"{path}: line {reader.line_num}: no row of a table: {error}") from None


def said(text: str) -> str:
    """Return a cell as a message repeats it."""
    return repr(text if len(text) <= SHOWN else text[: SHOWN - 3] + "...")


def stamp(text: str, where: str) -> datetime:
    """Return an ISO 8601 time without an offset.

    Raises:
        OutsideError: it is none, or of a year outside FIRST_YEAR to LAST_YEAR.
    """
    try:
        found = datetime.fromisoformat(text)
    except ValueError:
        raise OutsideError(f"{where}: {said(text)} is no ISO time") from None
    if found.tzinfo is not None:
        raise OutsideError(f"{where}: {said(text)} must not carry an offset")
    if not FIRST_YEAR <= found.year <= LAST_YEAR:
        raise OutsideError(f"{where}: {said(text)} is outside {FIRST_YEAR} to {LAST_YEAR}")
    return found


def number(text: str, where: str) -> float:
    """Return a finite number.

    Raises:
        OutsideError: it is none.
    """
    try:
        found = float(text)
    except ValueError:
        raise OutsideError(f"{where}: {said(text)} is no number") from None
    if found != found or abs(found) == float("inf"):
        raise OutsideError(f"{where}: {said(text)} is no finite number")
    return found


HOUR = timedelta(hours=1)


def out_of_order(where: str, came: datetime, due: datetime, form: str = "") -> OutsideError:
    """Return the refusal of a stamp that is not the one due, with what it looks like."""
    show = (lambda t: t.strftime(form)) if form else str
    why = ""
    if came == due - HOUR:
        why = ": an hour twice"
    elif came == due + HOUR:
        why = ": an hour is missing"
    if why:
        why += "; every hour stands once, by a clock without summer time"
    elif (came.month, came.day) == (2, 29):
        why = ": a leap day; the year of this file has none"
    elif came < due:
        why = ": stamps must run forward"
    return OutsideError(f"{where}: {show(came)} where {show(due)} is due{why}")

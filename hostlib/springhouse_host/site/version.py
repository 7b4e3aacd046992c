"""Another version of a site file with some values replaced; the old one is never touched."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from typing import Any

from ..errors import KnownError, SiteError
from ..outside import read_text
from ..screen import write_whole
from .fields import Grade
from .site import BUILT_IN, Site, load_site

_NUMBERED = re.compile(r"(.*)-(\d+)")
PLAIN = ("store.water_litres",)  # keys that hold a bare number, without a grade


@dataclass(frozen=True)
class NewValue:
    """A value found out, with the ends of its 95 % interval."""

    value: float
    low: float
    high: float
    grade: Grade


def next_version(site: Site) -> Path:
    """Return the next free name: ``site.toml``, ``site-2.toml``, ``site-3.toml`` ..."""
    path = Path(f"{site.path}.toml") if site.path in BUILT_IN else Path(site.path)
    match = _NUMBERED.fullmatch(path.stem)
    stem, number = (match[1], int(match[2])) if match else (path.stem, 1)
    while True:
        number += 1
        free = path.with_name(f"{stem}-{number}{path.suffix}")
        if not free.exists():
            return free


def check_new(path: Path) -> None:
    """Refuse to write over a file.

    Raises:
        KnownError: naming it.
    """
    if path.exists():
        raise KnownError(f"{path}: exists already: a new version never replaces a file")


def with_values(text: str, values: Mapping[str, NewValue], why: str) -> str:
    """Return the text of a site file with values replaced or added; what stood there is kept.

    Args:
        text: a valid site file.
        values: by "table.key".
        why: where the values come from, for a comment.

    Raises:
        KnownError: when a table is written in another way than under its own header.
    """
    lines = text.splitlines()
    for where, new in values.items():
        table, key = where.split(".")
        head = next((i for i, line in enumerate(lines) if _header(line) == table), None)
        if head is None:
            raise KnownError(f"{where}: the site file has no line [{table}] to write it under")
        stop = next((i for i in range(head + 1, len(lines)) if _header(lines[i])), len(lines))
        begins = re.compile(rf"\s*{re.escape(key)}\s*=")
        at = next((i for i in range(head + 1, stop) if begins.match(lines[i])), None)
        line = f"{key} = {_toml(where, new)} # {why}"
        if at is None:
            lines.insert(head + 1, line)
        else:
            lines[at : at + 1] = [f"# before: {lines[at].strip()}", line]
    return "\n".join(lines) + "\n"


def _header(line: str) -> str:
    match = re.match(r"\s*\[\s*([a-z_]+)\s*\]", line)
    return match[1] if match else ""


def _toml(where: str, new: NewValue) -> str:
    value, low, high = (f"{v:.4g}" for v in (new.value, new.low, new.high))
    if where in PLAIN:
        return value
    return f'{{ value = {value}, grade = "{new.grade}", low = {low}, high = {high} }}'


def changed_text(text: str, changes: Mapping[str, Any], heading: str) -> str:
    """Return the text with plain values by "table.key" in their places, under one more comment.

    None takes a key out.
    """
    import tomlkit

    document = tomlkit.parse(text)
    for where, value in changes.items():
        table, _, key = where.partition(".")
        if table not in document:
            document.add(table, tomlkit.table())
        if value is None:
            document[table].pop(key, None)
        else:
            document[table][key] = value
    return f"# {heading}\n{tomlkit.dumps(document)}"


def text_of(site: Site) -> str:
    """Return the text of a site's file.

    Raises:
        KnownError: the site was changed in memory.
    """
    if site.changed != "{}":
        raise KnownError(f"{site.path}: changed in memory: write it to a file first")
    if site.path in BUILT_IN:
        name = f"{site.path}.toml"
        return (resources.files("springhouse_host") / "sites" / name).read_text("utf-8")
    return read_text(Path(site.path))


def write_version(site: Site, path: Path, values: Mapping[str, NewValue], why: str) -> Site:
    """Write a new version of a site with values found out and return it as read back.

    Raises:
        KnownError: when the file is there, cannot be written, or the site was changed in memory.
        SiteError: when the site's rules refuse the new values; nothing is then left behind.
    """
    return _write(path, with_values(text_of(site), values, why))


def write_changed(site: Site, path: Path, changes: Mapping[str, Any], heading: str) -> Site:
    """Write a new version of a site with plain values changed and return it as read back.

    Raises:
        KnownError: as `write_version`.
        SiteError: as `write_version`.
    """
    return _write(path, changed_text(text_of(site), changes, heading))


def _write(path: Path, text: str) -> Site:
    check_new(path)
    write_whole(path, text)
    try:
        return load_site(path)
    except SiteError:
        path.unlink()
        raise

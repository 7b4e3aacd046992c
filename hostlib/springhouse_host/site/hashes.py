"""The hashes that tie a proof to what it was made for."""

import hashlib
import json
import struct
from array import array
from collections.abc import Iterable, Mapping
from dataclasses import fields
from functools import cache
from pathlib import Path
from typing import Any

import springhouse_sim
from springhouse_sim import board_files
from springhouse_sim.world.weather_files import LARGEST_BYTES
from springhouse_sim.world.windows import Window

from ..errors import KnownError
from ..outside import read_bytes
from .fields import Given
from .read import SiteFile


def _plain(value: Any) -> Any:
    if isinstance(value, Given):
        return {k: v for k, v in vars(value).items() if v is not None}
    if isinstance(value, Window):
        return [value.days, value.start_min, value.end_min]
    if isinstance(value, tuple):
        return [_plain(item) for item in value]
    if isinstance(value, dict):
        return {key: _plain(item) for key, item in value.items() if item is not None}
    return value


def canonical(file: SiteFile) -> str:
    """Return the parsed site as canonical JSON: keys sorted, no spaces, defaults filled in.

    Without [worth]: what parts cost changes nothing that is proven. Without [commissioned] while
    it is empty.
    """
    tables = {}
    for field in fields(file):
        if field.name == "worth":
            continue
        table = getattr(file, field.name)
        if field.name == "commissioned" and table == type(table)():
            continue
        tables[field.name] = _keys(table)
    return _text(tables)


def canonical_table(file: SiteFile, name: str) -> str:
    """Return one table of the parsed site in the same form."""
    return _text(_keys(getattr(file, name)))


def _keys(table: Any) -> Any:
    return _plain({key: getattr(table, key) for key in type(table).model_fields})


def _text(tables: Any) -> str:
    return json.dumps(
        tables, sort_keys=True, separators=(",", ":"), ensure_ascii=True, allow_nan=False
    )


def with_files_sha256(text: str, outside: Iterable[Path]) -> str:
    """Return the hash of canonical text and of the files outside it that a result depends on.

    Raises:
        KnownError: when such a file cannot be read.
    """
    digest = hashlib.sha256(text.encode())
    for path in outside:
        data = read_bytes(path, LARGEST_BYTES)
        digest.update(hashlib.sha256(data).digest())
    return digest.hexdigest()


def settings_sha256(settings: "array[int]", ranges: Iterable[tuple[int, int, int]] = ()) -> str:
    """Return the hash of the settings record, packed as little-endian int32.

    With an owner's range (slot, lowest, highest) the ranged slots count at their lowest value and
    the range follows, so that every setting inside the range has the same hash.
    """
    canonical = list(settings)
    tail = b""
    for slot, low, high in ranges:
        canonical[slot] = low
        tail += struct.pack("<Hii", slot, low, high)
    return hashlib.sha256(struct.pack(f"<{len(canonical)}i", *canonical) + tail).hexdigest()


def firmware_sha256(files: Mapping[str, Path] | None = None) -> str:
    r"""Return the hash of the board's files, by default those that this program flashes.

    Args:
        files: by POSIX path, in any order; each counts as ``path\0length\0bytes``.

    Raises:
        KnownError: when boot.py or main.py is missing.
    """
    digest = hashlib.sha256()
    _add(digest, firmware_files() if files is None else files)
    return digest.hexdigest()


def firmware_files() -> dict[str, Path]:
    """Return the sources of the board's files by their POSIX path on it, sorted.

    Raises:
        KnownError: when boot.py or main.py is missing.
    """
    try:
        return board_files.sources()
    except FileNotFoundError as error:
        raise KnownError(f"{error.filename}: {error.strerror}: install springhouse again") from None


def add_sources(digest: "hashlib._Hash", root: Path) -> None:
    r"""Add all ``*.py`` under ``root`` to a hash by path, each as ``path\0length\0bytes``."""
    _add(digest, board_files.tree(root))


def _add(digest: "hashlib._Hash", files: Mapping[str, Path]) -> None:
    for name in sorted(files):
        data = files[name].read_bytes()
        digest.update(f"{name}\0{len(data)}\0".encode() + data)


@cache
def simulation_sha256() -> str:
    """Return the hash of the sources that turn a site file into a run, the firmware left out."""
    digest = hashlib.sha256()
    for root in (Path(springhouse_sim.__file__).parent, Path(__file__).parent):
        add_sources(digest, root)
    return digest.hexdigest()

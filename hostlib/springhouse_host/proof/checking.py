"""A verdict read back: that it is whole, that it says what its numbers say, and what it is for.

Each part of a record has a seal, the hash of its canonical JSON, so that a slip of the hand or of a
disk is told with the part's name. This guards against mistakes. It does not guard against anybody
who forges a verdict: a seal holds no secret, and whoever can write the file can seal it.
"""

import hashlib
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from ..errors import KnownError
from . import rule

SCHEMA = 2
SEALS = "seals"
# What a verdict is for, by the name of its hash; of several that differ the first is told, so what
# is part of another stands before it.
CHANGED = {
    "firmware_sha256": "the firmware has changed",
    "simulator_sha256": "the simulator or its proof has changed",
    "weather_sha256": "the weather has changed",
    "tariff_sha256": "the tariff or its prices have changed",
    "settings_sha256": "the settings have changed",
    "site_sha256": "the site has changed",
}
MOST_BYTES = 20_000_000  # the demo's has some 60 kB
PROVE = "run prove --json"


def sealed(record: Mapping[str, Any]) -> dict[str, Any]:
    """Return a record with its seals."""
    return {**record, SEALS: {name: _seal(part) for name, part in record.items()}}


def _seal(part: Any) -> str:
    text = json.dumps(part, sort_keys=True, separators=(",", ":"), allow_nan=False)
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def check(path: Path, wanted: Mapping[str, str]) -> None:
    """Check that a file is a verdict that was kept, for these hashes (by their names in it).

    Raises:
        KnownError: in one line, naming the file and the part that is not as it should be.
    """
    record = _read(path)
    _check_seals(path, record)
    try:
        broken = next(rule.broken(record), "")
    except (LookupError, TypeError, AttributeError, ValueError) as error:
        why = " ".join(str(error).split())
        raise KnownError(f"{path}: is no whole verdict: {why}: {PROVE}") from None
    if record["kept"] is not True:
        said = f" ({broken})" if broken else ""
        raise KnownError(f"{path}: not kept{said}: change the site and prove again")
    if broken:
        raise KnownError(f"{path}: kept: says true, but {broken}: prove again")
    for name, value in wanted.items():
        if record[name] != value:
            raise KnownError(f"{path}: stale: {CHANGED[name]} since: prove again")


def _read(path: Path) -> dict[str, Any]:
    try:
        if path.exists() and not path.is_file():
            raise KnownError(f"{path}: is no file: {PROVE}")
        if path.stat().st_size > MOST_BYTES:
            raise KnownError(f"{path}: is no verdict: over {MOST_BYTES} bytes: {PROVE}")
        record = json.loads(path.read_bytes())
    except OSError as error:
        why = error.strerror or str(error)
        raise KnownError(f"{path}: no verdict: {why}: {PROVE}") from None
    except (ValueError, RecursionError):
        raise KnownError(f"{path}: is no verdict: {PROVE}") from None
    if not isinstance(record, dict) or not isinstance(record.get(SEALS), dict):
        raise KnownError(f"{path}: is no verdict of this version: {PROVE}")
    if record.get("schema") != SCHEMA:
        raise KnownError(f"{path}: schema: {record.get('schema')!r}, needed: {SCHEMA}: {PROVE}")
    return record


def _check_seals(path: Path, record: Mapping[str, Any]) -> None:
    seals = record[SEALS]
    for name in (*CHANGED, "kept"):
        if name not in record:
            raise KnownError(f"{path}: {name}: missing: prove again")
    for name in [*seals, *record]:
        if name == SEALS:
            continue
        if name not in record:
            raise KnownError(f"{path}: {name[:40]}: missing: prove again")
        if name not in seals:
            raise KnownError(f"{path}: {name[:40]}: was added after the proof: prove again")
        try:
            whole = _seal(record[name]) == seals[name]
        except (ValueError, RecursionError):
            whole = False
        if not whole:
            raise KnownError(f"{path}: {name[:40]}: was changed after the proof: prove again")

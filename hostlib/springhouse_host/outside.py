"""Files and texts from outside, refused in the one line that the command line prints."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from springhouse_sim import outside

from .errors import KnownError

RECORD_BYTES = 1_000_000  # wiring, network, verdicts and records that people or commands write
LOG_BYTES = 200_000_000


@contextmanager
def refusing() -> Iterator[None]:
    """Turn a refusal of `springhouse_sim.outside` into a known error."""
    try:
        yield
    except outside.OutsideError as error:
        raise KnownError(str(error)) from None


def read_bytes(path: Path, most: int = RECORD_BYTES) -> bytes:
    """Return a regular file of at most ``most`` bytes.

    Raises:
        KnownError: it cannot be read, is no regular file or too long.
    """
    with refusing():
        return outside.read_bytes(path, most)


def read_text(path: Path, most: int = RECORD_BYTES) -> str:
    """Return a text in UTF-8.

    Raises:
        KnownError: as `read_bytes`, or it is no text.
    """
    with refusing():
        return outside.read_text(path, most)


def from_json(text: str, where: object) -> Any:
    """Return what a JSON text says.

    Raises:
        KnownError: it is no JSON, or nested too deeply.
    """
    with refusing():
        return outside.from_json(text, where)


def read_json(path: Path, most: int = RECORD_BYTES) -> Any:
    """Return what a JSON file says.

    Raises:
        KnownError: as `read_text` and `from_json`.
    """
    return from_json(read_text(path, most), path)


def from_toml(text: str, where: object) -> dict[str, Any]:
    """Return what a TOML text says.

    Raises:
        KnownError: it is no TOML, or nested too deeply.
    """
    with refusing():
        return outside.from_toml(text, where)


def message(text: str, most: int) -> dict[str, Any] | None:
    """Return the object in a line of a board's link, None if it holds anything else."""
    if len(text) > most:
        return None
    try:
        found = outside.from_json(text, "")
    except outside.OutsideError:
        return None
    return found if isinstance(found, dict) else None

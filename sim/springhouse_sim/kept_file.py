"""A file that is kept: it carries what it was made from and a checksum, or it is not believed."""

import hashlib
import os
import tempfile
from pathlib import Path

from .cache_folder import say_once

MAGIC = b"springhouse kept file 1\n"
HASH_BYTES = 32


def pack(made_from: str, content: bytes) -> bytes:
    """Return the file's bytes: magic, checksum of the rest, what it was made from, content."""
    body = made_from.encode() + b"\n" + content
    return MAGIC + hashlib.sha256(body).digest() + body


def unpack(made_from: str, data: bytes) -> bytes | None:
    """Return the content, None if it is whole but made from something else.

    Raises:
        ValueError: when not every byte is as it was written.
    """
    head, body = data[: len(MAGIC) + HASH_BYTES], data[len(MAGIC) + HASH_BYTES :]
    if head != MAGIC + hashlib.sha256(body).digest():
        raise ValueError("damaged")
    name, _, content = body.partition(b"\n")
    return content if name == made_from.encode() else None


def read(path: Path, made_from: str) -> bytes | None:
    """Return the content of a kept file, None where it has to be made (again).

    A damaged one is thrown away, with one line.
    """
    try:
        return unpack(made_from, path.read_bytes())
    except (FileNotFoundError, NotADirectoryError):
        return None
    except (OSError, ValueError) as error:
        throw_away(path, getattr(error, "strerror", None) or str(error))
        return None


def throw_away(path: Path, why: str) -> None:
    """Remove a kept file that is of no use; of several processes the one that does it says so."""
    try:
        path.unlink()
    except FileNotFoundError:
        return
    except OSError as error:  # no file, or not ours: it is made again each time
        why = error.strerror or str(error)
    say_once(f"{path}: {why}: thrown away and made again")


def write(path: Path, made_from: str, content: bytes) -> None:
    """Keep content, whole or not at all; where that cannot be, one line names the folder."""
    name = ""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
        with os.fdopen(handle, "wb") as file:
            file.write(pack(made_from, content))
        os.replace(name, path)
    except OSError as error:
        if name:
            Path(name).unlink(missing_ok=True)
        why = error.strerror or str(error)
        say_once(f"{path.parent}: cannot be written: {why}: what is kept there is made again")

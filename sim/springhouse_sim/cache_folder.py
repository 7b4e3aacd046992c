"""Where what takes long to make is kept from one run of the program to the next.

Nothing that is kept is needed: whatever cannot be read back whole is made again, and a folder that
cannot be written is replaced by a private one in the place for temporary files. What happened is
said in one line, through `logging`.
"""

import logging
import os
import stat
import tempfile
from functools import cache
from pathlib import Path

import platformdirs

CACHE_VARIABLE = "SPRINGHOUSE_CACHE"
PROBE_BYTES = 4096  # a full disk may still make empty files
_LOG = logging.getLogger(__name__.partition(".")[0])


def cache_root() -> Path:
    """Return the folder of all of it: ``SPRINGHOUSE_CACHE``, else the user's cache.

    Where that cannot be written it is a private folder among the temporary files, the same one
    each time, so that nothing has to be compiled twice.
    """
    chosen = os.environ.get(CACHE_VARIABLE)
    return _usable(Path(chosen) if chosen else Path(platformdirs.user_cache_dir("springhouse")))


@cache
def say_once(line: str) -> None:
    """Tell a person, once a process, what became of a folder or file that was kept."""
    _LOG.warning("%s", line)


@cache
def _usable(chosen: Path) -> Path:
    why = why_not_writable(chosen)
    if not why:
        return chosen
    private = _private()
    if private is None:
        say_once(f"{chosen}: cannot be written: {why}: compiled code is not kept")
        return chosen
    say_once(f"{chosen}: cannot be written: {why}: compiled code is kept in {private} instead")
    return private


def why_not_writable(folder: Path) -> str:
    """Return why no file can be written in a folder, made if missing; empty if one can."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder) as file:
            file.write(bytes(PROBE_BYTES))
    except OSError as error:
        return error.strerror or str(error)
    return ""


def _private() -> Path | None:
    """Return a folder among the temporary files that nobody else can write, None without one."""
    folder = Path(tempfile.gettempdir()) / f"springhouse-{_user()}"
    try:
        folder.mkdir(mode=0o700, exist_ok=True)
        found = folder.lstat()  # not through a link that somebody else has put there
    except OSError:
        return None
    mine = stat.S_ISDIR(found.st_mode) and _owned(found) and not found.st_mode & 0o077
    return folder if mine and not why_not_writable(folder) else None


def _user() -> str:
    return str(os.getuid()) if hasattr(os, "getuid") else "user"


def _owned(found: os.stat_result) -> bool:
    return not hasattr(os, "getuid") or found.st_uid == os.getuid()

"""One process at a time makes a file that takes long; the others wait and find it made.

The turn is a lock of the operating system on a file beside it, so it ends with the process however
that ends. Nothing depends on it: where there are no such locks, or the wait grows too long, several
make the same file, as good as each other.
"""

import contextlib
import importlib
import os
import time
from pathlib import Path
from typing import Any

LONGEST_S = 600.0
LOOK_S = 0.2


def _locks() -> Any:
    """Return the module of such locks, None on a system that has none."""
    try:
        return importlib.import_module("fcntl")
    except ImportError:
        return None


class Turn:
    """Begins when no other process has its turn at ``path``, or after ``longest_s``.

    ``waited`` says whether somebody else had one meanwhile, and so may have made the file.
    """

    def __init__(self, path: Path, longest_s: float = LONGEST_S) -> None:
        self._path = path.with_name(f".{path.name}.turn")
        self._file = -1
        self.waited = False
        until = time.monotonic() + longest_s
        while not self._begin():
            self.waited = True
            if time.monotonic() >= until:
                return
            time.sleep(LOOK_S)

    def _begin(self) -> bool:
        """Whether there is nothing to wait for."""
        fcntl = _locks()
        if fcntl is None:
            return True
        try:
            self._path.parent.mkdir(parents=True, exist_ok=True)
            file = os.open(self._path, os.O_RDWR | os.O_CREAT, 0o600)
        except OSError:
            return True
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            os.close(file)
            return False
        except OSError:  # a file system without locks
            os.close(file)
            return True
        self._file = file
        return True

    def end(self) -> None:
        """Let the next one have its turn."""
        if self._file >= 0:
            with contextlib.suppress(OSError):
                self._path.unlink()
            os.close(self._file)
            self._file = -1

"""Records on their way to the base: whatever its disk does, watching goes on.

What cannot be written waits, newest first to stay, and is written when the disk is back.
"""

import contextlib
import os
import sqlite3
import time
from collections import deque
from collections.abc import Callable
from pathlib import Path
from types import TracebackType

from ..errors import KnownError
from .base import Base
from .board_record import BoardRecord

MOST_WAITING = 100_000  # a week and more of a board's beats, some 60 MB
FIRST_WAIT_S, LONGEST_WAIT_S = 1.0, 60.0
AT_ONCE = 5000


class OneWriter:
    """A lock beside a base, held until closed or until the process dies.

    Raises:
        KnownError: another watcher holds it.
    """

    def __init__(self, base: Path) -> None:
        self._path = Path(f"{base}.lock")
        self._held: int | None = None
        try:
            import fcntl
        except ImportError:  # no such lock on this system
            return
        while self._held is None:
            try:
                held = os.open(self._path, os.O_RDWR | os.O_CREAT, 0o644)
            except OSError:
                return  # nobody can write here
            try:
                fcntl.flock(held, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except OSError:
                by = os.read(held, 20).decode(errors="replace").strip() or "?"
                os.close(held)
                raise KnownError(
                    f"{base}: is being written by another springhouse watch (process {by}): "
                    "one base, one writer: name another by --base"
                ) from None
            with contextlib.suppress(OSError):
                if os.path.samestat(os.fstat(held), os.stat(self._path)):
                    os.ftruncate(held, 0)
                    os.write(held, f"{os.getpid()}\n".encode())
                    self._held = held
                    return
            os.close(held)  # the one before us has just removed it

    def close(self) -> None:
        """Let the next one in."""
        if self._held is not None:
            with contextlib.suppress(OSError):
                self._path.unlink()
            os.close(self._held)
            self._held = None


class Keeper:
    """Writes records to a base, now or when it can be written again.

    Args:
        path: the base.
        whose: the installation the records belong to.
        clock: seconds that never go back.
        most: records that may wait; the oldest give way.

    Raises:
        KnownError: the file is no base of ours, its folder is missing, or another watcher has it.
    """

    def __init__(
        self,
        path: Path,
        whose: str | None,
        clock: Callable[[], float] = time.monotonic,
        most: int = MOST_WAITING,
    ) -> None:
        self.path = path
        self.kept = 0
        self.lost = 0
        self.told: list[str] = []  # lines for the person, taken out when shown
        self._whose = whose
        self._clock = clock
        self._waiting: deque[tuple[BoardRecord, str]] = deque()
        self._most = most
        self._base: Base | None = None
        self._why = ""
        self._next_s = clock()
        self._wait_s = FIRST_WAIT_S
        if not path.parent.is_dir():
            raise KnownError(f"{path}: there is no such folder")
        self._one = OneWriter(path)
        try:
            self._open()
        except (sqlite3.Error, OSError) as error:
            self._failed(error)
        except KnownError:
            self._one.close()
            raise

    def __enter__(self) -> "Keeper":
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    @property
    def waiting(self) -> int:
        """Records not yet on the disk."""
        return len(self._waiting)

    @property
    def note(self) -> str:
        """What a person must know of it, "" while all is written."""
        if not self._waiting and not self.lost:
            return ""
        words = f"{self.waiting} wait to be kept in {self.path}"
        if self.lost:
            words += f", {self.lost} are lost"
        return f"{words}: {self._why}" if self._why else words

    def keep(self, record: BoardRecord, text: str) -> None:
        """Write a record, or let it wait."""
        if len(self._waiting) >= self._most:
            self._waiting.popleft()
            self.lost += 1
        self._waiting.append((record, text))
        self.flush()

    def flush(self, at_once: bool = False) -> None:
        """Write what waits, if it is time to try again or ``at_once``."""
        if not self._waiting or (self._clock() < self._next_s and not at_once):
            return
        try:
            if self._base is not None and not self._base.there:
                self._close_base()
            base = self._base or self._open()
            while self._waiting:
                some = [self._waiting[n] for n in range(min(AT_ONCE, len(self._waiting)))]
                base.add(some, self._whose)
                for _ in some:
                    self._waiting.popleft()
                self.kept += len(some)
        except (sqlite3.Error, OSError, KnownError) as error:
            self._failed(error)
            return
        if self._why:
            self.told.append(f"{self.path}: written again, nothing waits")
        self._why = ""
        self._wait_s = FIRST_WAIT_S

    def _open(self) -> Base:
        self._base = Base(self.path)
        if self._base.told:
            self.told.append(self._base.told)
        return self._base

    def _failed(self, error: Exception) -> None:
        why = " ".join(str(error).split())
        if not self._why:
            self.told.append(f"{self.path}: cannot be written: {why}; records wait, watching on")
        self._why = why
        self._close_base()
        self._next_s = self._clock() + self._wait_s
        self._wait_s = min(LONGEST_WAIT_S, 2.0 * self._wait_s)

    def _close_base(self) -> None:
        if self._base is not None:
            with contextlib.suppress(sqlite3.Error):
                self._base.close()
        self._base = None

    def close(self) -> None:
        """Try once more to write what waits, and let the next watcher in."""
        self.flush(at_once=True)
        self._close_base()
        self._one.close()

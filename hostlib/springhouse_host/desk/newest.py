"""Which request of each page is the newest, in memory that the workers share: stale work stops."""

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

PAGES_MOST = 8


class StaleError(Exception):
    """A newer request has come: nobody waits for this one."""


@lru_cache(maxsize=2)
def _numbers(path: str) -> NDArray[np.int64]:
    return np.memmap(path, np.int64, "r+", shape=(PAGES_MOST,))


def make(path: Path) -> None:
    """Make the shared memory, a file of zeros."""
    path.write_bytes(bytes(8 * PAGES_MOST))


@dataclass(frozen=True)
class Ticket:
    """One request of one page."""

    memory: str  # path
    page: int
    number: int

    def call(self) -> None:
        """Make this the newest request of its page."""
        _numbers(self.memory)[self.page] = self.number

    @property
    def stale(self) -> bool:
        """Whether a newer one has been called."""
        return bool(_numbers(self.memory)[self.page] > self.number)

    def check(self, _done: float = 0.0) -> None:
        """Stop work that nobody waits for.

        Raises:
            StaleError: when a newer request has been called.
        """
        if self.stale:
            raise StaleError

"""Errors a person can act on. The command line prints their lines and exits with code 2."""

from collections.abc import Sequence

EXIT_NOT_KEPT = 1
EXIT_BAD_INPUT = 2
EXIT_INTERNAL = 70  # EX_SOFTWARE of sysexits.h
EXIT_INTERRUPTED = 130
EXIT_SIGNAL = 128  # and the signal's number, as shells have it


class KnownError(Exception):
    """One or more lines, each complete in itself: where, what, and what is allowed."""

    def __init__(self, lines: str | Sequence[str]) -> None:
        self.lines: list[str] = [lines] if isinstance(lines, str) else list(lines)
        super().__init__("\n".join(self.lines))


class SiteError(KnownError):
    """A site file that cannot be used; every fault found in it, one line each."""

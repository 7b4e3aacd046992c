"""A new version on trial: only one that runs for its time becomes the current one.

The files are those of the loader, main.py. A cut between two steps of `keep` leaves either the
trial unfinished, which fails it, or the new version current.
"""

import os

LENGTH_S = 600
NONE, RUNNING, FAILED = 0, 1, -1


def _read(path: str) -> str:
    try:
        with open(path) as f:
            text: str = f.read(8)
            return text.strip()
    except (OSError, ValueError):
        return ""


class Trial:
    """`state`: RUNNING here, FAILED the one before this, or NONE."""

    def __init__(self, folder: str) -> None:
        self._folder = folder
        self.state = NONE
        if folder and _read("tried") == folder:
            self.state = RUNNING
        elif _read("failed"):
            self.state = FAILED

    def word(self, uptime_s: int) -> int:
        """For records: seconds left of a trial, -1 if the last one failed, 0 else."""
        if self.state == RUNNING:
            return max(1, LENGTH_S - uptime_s)
        return self.state

    def keep(self) -> bool:
        """Make this version the current one; False if that could not be written."""
        try:
            with open("current.new", "w") as f:
                f.write(self._folder)
                f.flush()
            if _read("current.new") != self._folder:
                return False
            os.rename("current.new", "current")
            os.remove("tried")
        except OSError:
            return False
        self.state = NONE
        return True

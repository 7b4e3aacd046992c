"""Rows of a sample that was stopped: kept while it runs, gone when it is done.

They are kept under the hashes of all that ran and was read. A row is kept only while no file of
that was touched since it was read, so that one which is found belongs to the text as it is now.
"""

import hashlib
import json
import time
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from springhouse_sim import compiled, kept_file
from springhouse_sim.cache_folder import cache_root

from .sources import Ran, untouched

if TYPE_CHECKING:
    from .scenarios import Scenario

FOLDER = "draws"  # in the folder of compiled code
SAVE_EVERY_S = 1.0
OLD_S = 30 * 86400.0  # what nobody came back for by then is thrown away


def name_of(scenario: "Scenario") -> str:
    """Return what tells a run of a draw from all others of the same installation."""
    run = (scenario.draw, scenario.start.isoformat(), scenario.days, scenario.seed)
    return hashlib.sha256(repr(run).encode()).hexdigest()


class KeptDraws:
    """The rows of one proof, as plain values by `name_of` their runs."""

    def __init__(self, ran: Ran) -> None:
        digest = hashlib.sha256()
        for text in (*compiled.tools(), *(f"{k} {v}" for k, v in sorted(ran.hashes().items()))):
            digest.update(text.encode() + b"\0")
        self._ran = ran
        self._made_from = digest.hexdigest()
        self._path = cache_root() / FOLDER / self._made_from
        self._rows: dict[str, Any] = {}
        content = kept_file.read(self._path, self._made_from)
        if content is not None:
            self._rows |= json.loads(content)
        self._saved_s = time.monotonic()

    def get(self, scenario: "Scenario") -> Any | None:
        """Return what was kept of a run, None if nothing was."""
        return self._rows.get(name_of(scenario))

    def keep(self, rows: "Mapping[Scenario, Any]") -> None:
        """Keep what came of some runs; on disk within a second, when more follow."""
        self._rows |= {name_of(scenario): row for scenario, row in rows.items()}
        if time.monotonic() - self._saved_s >= SAVE_EVERY_S and untouched(self._ran):
            content = json.dumps(self._rows).encode()
            kept_file.write(self._path, self._made_from, content)
            self._saved_s = time.monotonic()

    def done(self) -> None:
        """Throw away what is not needed any more, and what others left long ago."""
        before_s = time.time() - OLD_S
        for path in (self._path, *_old(self._path.parent, before_s)):
            path.unlink(missing_ok=True)


def _old(folder: Path, before_s: float) -> list[Path]:
    try:
        return [path for path in folder.iterdir() if path.stat().st_mtime < before_s]
    except OSError:
        return []

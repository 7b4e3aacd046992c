"""Ideal cycles solved before, kept on disk: any plant asks for the same five hundred.

CoolProp takes seconds to load. Kept by its version and by the text that asks it, as JSON, which
holds every bit of a float.
"""

import hashlib
import json
import os
from importlib.metadata import version
from pathlib import Path
from tempfile import mkstemp
from typing import TypeAlias

from ..cache_folder import cache_root

Row: TypeAlias = tuple[float, float, float, float, float, float]


class KeptCycles:
    """Rows by what was asked, read from the file when first asked for one."""

    def __init__(self, text_of: Path) -> None:
        """``text_of`` is the source whose text decides the rows.

        It is read now, when the code that solves is loaded: an edit later is another code's text.
        """
        self._text = hashlib.sha256(text_of.read_bytes()).hexdigest()[:16]
        self._rows: dict[str, Row] | None = None
        self._new = False

    def __call__(self, asked: str) -> Row | None:
        """Return a row that is kept, None without one."""
        if self._rows is None:
            self._rows = self._read()
        return self._rows.get(asked)

    def add(self, asked: str, row: Row) -> None:
        """Remember a row; `write` keeps it."""
        if self._rows is None:
            self._rows = self._read()
        self._rows[asked] = row
        self._new = True

    def write(self) -> None:
        """Keep what is new; where nothing can be written it is solved again next time."""
        if not self._new or self._rows is None:
            return
        self._new = False
        path = self._path()
        text = json.dumps(dict(self._rows))  # a copy: another thread may add meanwhile
        name = ""
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            handle, name = mkstemp(dir=path.parent, prefix=f".{path.name}.")
            with os.fdopen(handle, "w", encoding="utf-8") as file:
                file.write(text)
            os.replace(name, path)
        except OSError:
            if name:
                Path(name).unlink(missing_ok=True)

    def _path(self) -> Path:
        return cache_root() / f"cycles-{version('CoolProp')}-{self._text}.json"

    def _read(self) -> dict[str, Row]:
        try:
            told = json.loads(self._path().read_text("utf-8"))
            rows = {asked: tuple(map(float, row)) for asked, row in told.items()}
        except (OSError, ValueError, TypeError, AttributeError):
            return {}
        return {asked: row for asked, row in rows.items() if len(row) == 6}

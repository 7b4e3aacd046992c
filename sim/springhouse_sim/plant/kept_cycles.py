"""What CoolProp was asked before, kept on disk: any plant asks for the same five hundred cycles.

CoolProp takes seconds to load. Kept by its version and by the text that asks it, as JSON, which
holds every bit of a float.
"""

import hashlib
import json
from importlib.metadata import version
from pathlib import Path
from typing import TypeAlias

from .. import kept_file
from ..cache_folder import cache_root

Row: TypeAlias = tuple[float, ...]


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
        text = json.dumps(dict(self._rows))  # a copy: another thread may add meanwhile
        kept_file.write(self._path(), self._made_from(), text.encode())

    def _made_from(self) -> str:
        return f"CoolProp {version('CoolProp')} {self._text}"

    def _path(self) -> Path:
        return cache_root() / f"cycles-{version('CoolProp')}-{self._text}"

    def _read(self) -> dict[str, Row]:
        content = kept_file.read(self._path(), self._made_from())
        return {} if content is None else {k: tuple(row) for k, row in json.loads(content).items()}

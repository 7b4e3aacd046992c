"""Import of a package from the bytes of its files, which are hashed as they are compiled.

The interpreter's own import may take the ``.pyc`` of an older text (same length, same second).
"""

import hashlib
import sys
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from importlib.abc import MetaPathFinder
from importlib.machinery import ModuleSpec, SourceFileLoader
from importlib.util import spec_from_file_location
from pathlib import Path
from types import CodeType, ModuleType


@dataclass(frozen=True)
class Text:
    """The file of a module and the SHA-256 of the bytes that were run."""

    path: Path
    sha256: str

    def edited(self) -> bool:
        """Whether the file holds anything else by now."""
        try:
            return hashlib.sha256(self.path.read_bytes()).hexdigest() != self.sha256
        except OSError:
            return True


class _Loader(SourceFileLoader):
    def __init__(self, name: str, path: str, texts: dict[str, Text]) -> None:
        super().__init__(name, path)
        self._texts = texts

    def get_code(self, fullname: str) -> CodeType:
        path = self.get_filename(fullname)
        data = self.get_data(path)
        self._texts[fullname] = Text(Path(path), hashlib.sha256(data).hexdigest())
        code: CodeType = self.source_to_code(data, path)
        return code


class _Finder(MetaPathFinder):
    def __init__(self, folders: Mapping[str, Path], texts: dict[str, Text]) -> None:
        self._folders = folders
        self._texts = texts

    def find_spec(
        self, fullname: str, path: Sequence[str] | None, target: ModuleType | None = None
    ) -> ModuleSpec | None:
        package, _, rest = fullname.partition(".")
        if package not in self._folders:
            return None
        place = (
            self._folders[package].joinpath(*rest.split(".")) if rest else self._folders[package]
        )
        inside = place / "__init__.py"
        file = inside if inside.is_file() else place.with_suffix(".py")
        if not file.is_file():
            return None
        return spec_from_file_location(
            fullname,
            file,
            loader=_Loader(fullname, str(file), self._texts),
            submodule_search_locations=[str(place)] if file is inside else None,
        )


@contextmanager
def importing(folders: Mapping[str, Path]) -> Iterator[dict[str, Text]]:
    """Import these packages (name to folder) from their text meanwhile; yields what was loaded."""
    texts: dict[str, Text] = {}
    finder = _Finder(folders, texts)
    sys.meta_path.insert(0, finder)
    try:
        yield texts
    finally:
        sys.meta_path.remove(finder)

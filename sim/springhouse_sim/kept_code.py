"""Compiled code on disk, in a folder of our own choice and nowhere else.

numba's own disk cache is not used: where its folder cannot be written it takes ``__pycache__``
beside the source instead, which sees no edit of another module, and a damaged file of it ends the
program. Here every file carries the hash of all text that it was compiled from, and a checksum.

To compile takes a minute or two, so of several processes that miss the same file one compiles and
the others wait for it; see `turn`.
"""

import hashlib
import pickle
import shutil
import tempfile
from pathlib import Path
from typing import Any

from numba.core import compiler, serialize

from . import kept_file
from .cache_folder import say_once
from .turn import Turn

SUFFIX = ".code"
_rebuild: Any = compiler.CompileResult._rebuild  # numba has no types
_dumps: Any = serialize.dumps


class KeptCode:
    """The compiled code of one door; a numba dispatcher asks it before and tells it after."""

    def __init__(self, folder: Path, door: str, digest: str) -> None:
        """``digest`` is the hash of all that decides what the compiled code does."""
        self.cache_path = str(folder)
        self._folder = folder
        self._door = door
        self._digest = digest
        self._turns: dict[Path, Turn] = {}

    def load_overload(self, signature: Any, target: Any) -> Any:
        """Return the compiled code for these types, None where there is none to be trusted.

        Unlike numba's own cache it leaves the target's registries alone: they take half a second,
        and the compiler loads them where there is something to compile.
        """
        path, made_from = self._key(signature, target.codegen())
        found = self._read(target, path, made_from)
        if found is None and path not in self._turns:
            self._turns[path] = Turn(path)
            if self._turns[path].waited:
                found = self._read(target, path, made_from)
            if found is not None:
                self._turns.pop(path).end()
        return found

    def _read(self, target: Any, path: Path, made_from: str) -> Any:
        try:
            content = kept_file.unpack(made_from, path.read_bytes())
            if content is None:
                return None
            return _rebuild(target, *pickle.loads(content))
        except (FileNotFoundError, NotADirectoryError):
            return None
        except Exception as error:  # whatever a damaged file or another numba makes of it
            self._throw_away(" ".join(str(error).split()) or type(error).__name__)
            return None

    def save_overload(self, signature: Any, result: Any) -> None:
        """Keep what was compiled."""
        path, made_from = self._key(signature, result.codegen)
        if not result.library.has_dynamic_globals:  # addresses of this process
            kept_file.write(path, made_from, _dumps(result._reduce()))
        if path in self._turns:
            self._turns.pop(path).end()

    def flush(self) -> None:
        """Forget nothing: another text is another folder."""

    enable = disable = flush

    def _key(self, signature: Any, codegen: Any) -> tuple[Path, str]:
        """Return the file of these types and processor, and what it must say that it is made of."""
        types = repr((str(signature), codegen.magic_tuple()))
        name = f"{self._door}-{hashlib.sha256(types.encode()).hexdigest()[:16]}{SUFFIX}"
        return self._folder / name, f"{self._digest} {self._door} {types}"

    def _throw_away(self, why: str) -> None:
        """Throw away the whole folder, for its other files lay on the same disk."""
        try:
            away = Path(tempfile.mkdtemp(dir=self._folder.parent, prefix=".damaged-"))
        except OSError:  # it will be replaced in its place, or that will be told
            return
        try:
            self._folder.rename(away / "code")
        except OSError:
            pass  # by another process, which says so
        else:
            say_once(f"{self._folder}: compiled code is {why}: thrown away and made again")
        shutil.rmtree(away, ignore_errors=True)

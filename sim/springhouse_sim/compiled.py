"""The one place where the tick path is compiled.

``load(True)`` imports a private second copy of the control core, the plant and the tick loop and
replaces every module-level function in it by a numba dispatcher; ``load(False)`` hands out the
modules as everyone else sees them.  Neither the core nor the plant mentions numba.  Other loops
over the same text are compiled by naming other doors.

numba freezes module attributes when it compiles.  Compiled code is therefore kept (`kept_code`)
under the hash of all text it was compiled from, of the tools and of the processor: the folder is
named by it and every file in it carries it.  The hash is of the bytes that were imported
(`loaded_text`), not of what lies on disk later.  Of two processes that want the same code one
compiles and the other waits (`turn`); files are replaced whole, so that the worst that can happen
is that both compile.
"""

import hashlib
import importlib
import os
import sys
import threading
from array import array
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from types import FunctionType, ModuleType
from typing import Any, TypeAlias

import numpy as np

from .cache_folder import cache_root
from .loaded_text import Text, importing
from .records import FloatRecord, IntRecord

CORE = "springhouse"
SIM = "springhouse_sim"
# What decides beside them how their text is compiled.
HOW = tuple(Path(__file__).with_name(f"{name}.py") for name in ("compiled", "kept_code"))
# Functions called from outside, (module, name). Only these can be called from interpreted code and
# only these are kept on disk; everything they call is inside them.
Doors: TypeAlias = tuple[tuple[str, str], ...]
DOORS: Doors = (
    (f"{SIM}.ticks", "run"),
    (f"{SIM}.skip", "run"),
    (f"{CORE}.controller", "power_up"),
    (f"{CORE}.controller", "step"),
    (f"{CORE}.horizon", "horizon"),
)
_IMPORTING = threading.RLock()


@dataclass(frozen=True)
class Code:
    """The tick path in one of its two forms, and records of the kind it works on."""

    compiled: bool
    modules: Mapping[str, ModuleType]
    cache_dir: Path | None = None
    texts: Mapping[str, Text] = field(default_factory=dict)  # of what was compiled, by module

    def edited(self) -> list[Path]:
        """Return the files that hold another text by now than the one that was compiled."""
        return sorted(text.path for text in self.texts.values() if text.edited())

    def core(self, name: str) -> Any:
        """Return a module of the control core, e.g. ``core("controller")``."""
        return self.modules[f"{CORE}.{name}"]

    def sim(self, name: str) -> Any:
        """Return a module of the simulation, e.g. ``sim("ticks")`` or ``sim("plant.rates")``."""
        return self.modules[f"{SIM}.{name}"]

    def ints(self, size: int) -> IntRecord:
        """Return a zeroed record of 32-bit integers."""
        if self.compiled:
            return np.zeros(size, np.int32)  # type: ignore[return-value]
        return array("i", bytes(4 * size))

    def longs(self, size: int) -> IntRecord:
        """Return a zeroed record of 64-bit integers."""
        if self.compiled:
            return np.zeros(size, np.int64)  # type: ignore[return-value]
        return array("q", bytes(8 * size))

    def zeros(self, size: int) -> FloatRecord:
        """Return a zeroed record of floats."""
        if self.compiled:
            return np.zeros(size)
        return [0.0] * size  # type: ignore[return-value]

    def floats(self, values: Iterable[float]) -> FloatRecord:
        """Return a record of floats with these values."""
        if self.compiled:
            held = values if isinstance(values, np.ndarray) else list(values)
            return np.array(held, np.float64)
        return [float(v) for v in values]  # type: ignore[return-value]


def package_folders() -> dict[str, Path]:
    """Return the folder of each package as imported in this process."""
    return {name: _folder(importlib.import_module(name)) for name in (CORE, SIM)}


def _folder(package: ModuleType) -> Path:
    assert package.__file__ is not None
    return Path(package.__file__).parent


@cache
def load(compiled: bool = True, doors: Doors = DOORS) -> Code:
    """Return the tick path, compiled or plain. Compilation itself waits for the first call."""
    if compiled:
        return compile_from(package_folders(), doors)
    for name in _entries(doors):
        importlib.import_module(name)
    return Code(False, dict(_present((CORE, SIM))))


def compile_from(folders: Mapping[str, Path], doors: Doors = DOORS) -> Code:
    """Return the compiled code of the packages that lie in ``folders`` (name to folder).

    Each door must be called with one set of argument types only, see above.

    Raises:
        ImportError: when a package or a module of a door is missing there.
    """
    modules, texts = _private_copy(folders, _entries(doors))
    digest = _digest(texts)
    cache_dir = cache_root() / digest[:32]
    _replace_functions(modules, doors, cache_dir, digest)
    return Code(True, modules, cache_dir, texts)


def _entries(doors: Doors) -> tuple[str, ...]:
    return tuple(dict.fromkeys(module for module, _ in doors))


def _present(names: Iterable[str]) -> Iterator[tuple[str, ModuleType]]:
    wanted = set(names)
    for name, module in list(sys.modules.items()):
        if name.partition(".")[0] in wanted:
            yield name, module


def _private_copy(
    folders: Mapping[str, Path], entries: Iterable[str]
) -> tuple[dict[str, ModuleType], dict[str, Text]]:
    """Import the entry modules anew without touching the modules others hold.

    The copies keep their names, for kept code finds its module by name; they are in
    ``sys.modules`` only while they import one another. Returns the modules and their texts.
    """
    with _IMPORTING:
        others = dict(_present(folders))
        for name in others:
            del sys.modules[name]
        try:
            with importing(folders) as texts:
                for name in (*folders, *entries):
                    importlib.import_module(name)
            return dict(_present(folders)), texts
        finally:
            for name, _ in _present(folders):
                del sys.modules[name]
            sys.modules.update(others)


def _import(name: str) -> Any:
    """Import late, for it takes half a second, and untyped, for its stubs lack what is used."""
    return importlib.import_module(name)


def tools() -> tuple[str, ...]:
    """Return what else than sources decides what compiled code does: versions, the processor."""
    numba, llvmlite, llvm = _import("numba"), _import("llvmlite"), _import("llvmlite.binding")
    versions = (sys.version, numba.__version__, llvmlite.__version__, np.__version__)
    asked = [f"{k}={v}" for k, v in sorted(os.environ.items()) if k.startswith("NUMBA_")]
    return (*versions, llvm.get_host_cpu_name(), llvm.get_host_cpu_features().flatten(), *asked)


def _digest(texts: Mapping[str, Text]) -> str:
    """Return a name for all that decides what the compiled code does."""
    h = hashlib.sha256()
    for said in tools():
        h.update(said.encode() + b"\0")
    for name in sorted(texts):
        h.update(f"{name}\0{texts[name].sha256}\0".encode())
    for path in HOW:
        h.update(hashlib.sha256(path.read_bytes()).digest())
    return h.hexdigest()


def _replace_functions(
    modules: Mapping[str, ModuleType], doors: Doors, cache_dir: Path, digest: str
) -> None:
    """Put one shared dispatcher in the place of every plain function of these modules.

    A door gets our own keeper instead of numba's, which is never asked for (no ``cache=True``).
    """
    numba, kept = _import("numba"), _import(f"{SIM}.kept_code")
    # Nothing here allocates, so no array needs its references counted: that was half of all time.
    inner = numba.njit(
        error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True, _nrt=False
    )
    outer = numba.njit(error_model="numpy", _nrt=False)
    outside = {vars(modules[module])[name] for module, name in doors}
    shared: dict[FunctionType, Any] = {}
    for module in modules.values():
        for name, value in list(vars(module).items()):
            if isinstance(value, FunctionType) and value.__module__ in modules:
                if value not in shared:
                    shared[value] = (outer if value in outside else inner)(value)
                    if value in outside:
                        door = f"{value.__module__}.{value.__name__}"
                        shared[value]._cache = kept.KeptCode(cache_dir, door, digest)
                setattr(module, name, shared[value])

"""The one place where the tick path is compiled.

``load(True)`` imports a private second copy of the control core, the plant and the tick loop and
replaces every module-level function in it by a numba dispatcher; ``load(False)`` hands out the
modules as everyone else sees them.  Neither the core nor the plant mentions numba.  Other loops
over the same text are compiled by naming other doors.

numba freezes module attributes when it compiles and its disk cache does not notice an edit in
*another* module.  Compiled code is therefore kept in a folder named by the hash of all compiled
sources, of the tools and of the processor: any edit means another folder.  Two processes may race
for it: every cached function has one signature only and files are replaced whole, so the worst
that happens is that both compile.
"""

import hashlib
import importlib
import os
import sys
import threading
from array import array
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from importlib.util import module_from_spec, spec_from_file_location
from pathlib import Path
from types import FunctionType, ModuleType
from typing import Any, TypeAlias

import numpy as np

from .cache_folder import cache_root
from .records import FloatRecord, IntRecord

CORE = "springhouse"
SIM = "springhouse_sim"
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
    modules = _private_copy(folders, _entries(doors))
    cache_dir = cache_root() / _digest(modules)
    with _numba_cache_in(cache_dir):
        _replace_functions(modules, doors)
    return Code(True, modules, cache_dir)


def _entries(doors: Doors) -> tuple[str, ...]:
    return tuple(dict.fromkeys(module for module, _ in doors))


def _present(names: Iterable[str]) -> Iterator[tuple[str, ModuleType]]:
    wanted = set(names)
    for name, module in list(sys.modules.items()):
        if name.partition(".")[0] in wanted:
            yield name, module


def _private_copy(folders: Mapping[str, Path], entries: Iterable[str]) -> dict[str, ModuleType]:
    """Import the entry modules anew without touching the modules others hold.

    The copies keep their names, for numba finds a cached function's module by name; they are in
    ``sys.modules`` only while they import one another.
    """
    with _IMPORTING:
        others = dict(_present(folders))
        for name in others:
            del sys.modules[name]
        try:
            for name, folder in folders.items():
                _import_package(name, folder)
            for name in entries:
                importlib.import_module(name)
            return dict(_present(folders))
        finally:
            for name, _ in _present(folders):
                del sys.modules[name]
            sys.modules.update(others)


def _import_package(name: str, folder: Path) -> None:
    spec = spec_from_file_location(
        name, folder / "__init__.py", submodule_search_locations=[str(folder)]
    )
    if spec is None or spec.loader is None:
        raise ImportError(f"no package {name} in {folder}")
    module = module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)


def _import(name: str) -> Any:
    """Import late, for it takes half a second, and untyped, for its stubs lack what is used."""
    return importlib.import_module(name)


def tools() -> tuple[str, ...]:
    """Return what else than sources decides what compiled code does: versions, the processor."""
    numba, llvmlite, llvm = _import("numba"), _import("llvmlite"), _import("llvmlite.binding")
    versions = (sys.version, numba.__version__, llvmlite.__version__, np.__version__)
    asked = [f"{k}={v}" for k, v in sorted(os.environ.items()) if k.startswith("NUMBA_")]
    return (*versions, llvm.get_host_cpu_name(), llvm.get_host_cpu_features().flatten(), *asked)


def _digest(modules: Mapping[str, ModuleType]) -> str:
    """Return a name for all that decides what the compiled code does."""
    h = hashlib.sha256()
    for text in tools():
        h.update(text.encode() + b"\0")
    files = {name: Path(m.__file__) for name, m in modules.items() if m.__file__}
    files["compiled"] = Path(__file__)
    for name in sorted(files):
        source = files[name].read_bytes()
        h.update(f"{name}\0{len(source)}\0".encode() + source)
    return h.hexdigest()[:32]


@contextmanager
def _numba_cache_in(folder: Path) -> Iterator[None]:
    """Let functions decorated meanwhile keep their compiled code in ``folder``."""
    config = _import("numba.core.config")
    before = config.CACHE_DIR
    config.CACHE_DIR = str(folder)
    try:
        yield
    finally:
        config.CACHE_DIR = before


def _replace_functions(modules: Mapping[str, ModuleType], doors: Doors) -> None:
    """Put one shared dispatcher in the place of every plain function of these modules."""
    numba = _import("numba")
    # Nothing here allocates, so no array needs its references counted: that was half of all time.
    inner = numba.njit(
        error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True, _nrt=False
    )
    outer = numba.njit(error_model="numpy", cache=True, _nrt=False)
    outside = {vars(modules[module])[name] for module, name in doors}
    shared: dict[FunctionType, Any] = {}
    for module in modules.values():
        for name, value in list(vars(module).items()):
            if isinstance(value, FunctionType) and value.__module__ in modules:
                if value not in shared:
                    shared[value] = (outer if value in outside else inner)(value)
                setattr(module, name, shared[value])

"""Judge a mutant of the core: a fork of this process for each file of tests, until one fails.

What tests import besides the project is imported here once, and nothing of the project ever is: a
fork reads the core, mutated on disk, for itself.
"""

from __future__ import annotations

import collections
import importlib
import json
import os
import resource
import sys
from collections.abc import Callable, Iterable
from importlib.util import cache_from_source
from pathlib import Path
from types import FunctionType, SimpleNamespace
from typing import Any

import pytest

WARM = ("hypothesis", "hypothesis.stateful", "numba", "numpy", "transitions", "z3")
PATHS = ("firmware", "sim", "hostlib")
PRICES = "prices.json"  # in the folder: what each file of tests took without a mutant
STARTING_CPU_S = 3  # on top of four times what a file of tests takes: a mutant that never ends


class Judge:
    """Asks the files of tests in turn; those that kill most for their price come first."""

    def __init__(self, folder: Path, files: Iterable[str], longest_s: int | None) -> None:
        """Run every file once without a mutant, unless that was done before in this folder."""
        os.chdir(folder)
        sys.path[:0] = [str(folder / name) for name in PATHS]
        os.environ["PYTHONPATH"] = os.pathsep.join(sys.path[: len(PATHS)])
        os.environ["SPRINGHOUSE_CACHE"] = str(folder / "cache")
        os.environ["HYPOTHESIS_PROFILE"] = "first"
        os.environ["PYTEST_DISABLE_PLUGIN_AUTOLOAD"] = "1"
        for name in WARM:
            importlib.import_module(name)
        self.kills: collections.Counter[tuple[str, str]] = collections.Counter()
        kept = folder / PRICES
        if not kept.exists():
            sys.dont_write_bytecode = False  # of the tests, once
            kept.write_text(json.dumps(_prices(files, longest_s)), encoding="utf-8")
        sys.dont_write_bytecode = True
        self.price_s: dict[str, float] = json.loads(kept.read_text(encoding="utf-8"))

    def __call__(self, module: str) -> str:
        """The file of tests that kills the mutant of `module` on disk, "" if it survives."""

        def worth(name: str) -> float:
            return (self.kills[module, name] + 1) / self.price_s[name]

        for name in sorted(self.price_s, key=worth, reverse=True):
            code, _ = run_tests(name, int(STARTING_CPU_S + 4 * self.price_s[name]))
            if code:
                self.kills[module, name] += 1
                return name
        return ""


def _prices(files: Iterable[str], longest_s: int | None) -> dict[str, float]:
    """CPU seconds of each file of tests, without those that take longer; all must pass."""
    found = {}
    for name in files:
        code, cpu_s = run_tests(name, resource.RLIM_INFINITY if longest_s is None else longest_s)
        if code > 0:
            raise SystemExit(f"{name} fails without a mutant")
        if code == 0:
            found[name] = cpu_s
        print(f"{name}: {cpu_s:.1f} CPU s{', left out' if code else ''}")
    return found


def run_tests(name: str, limit_s: int) -> tuple[int, float]:
    """Run a file of tests in a fork: 0 all passed, below 0 stopped by the limit; CPU seconds."""

    def tests() -> int:
        resource.setrlimit(resource.RLIMIT_CPU, (limit_s, limit_s))
        return int(pytest.main(["-qx", "--tb=no", "-p", "no:cacheprovider", f"tests/{name}"]))

    return _in_fork(tests)


def same_program(module: str, original: str, mutated: str) -> bool:
    """Whether both texts make a module of the same values and the same functions.

    For the statechart: whether they lead from every state under every word to the same state.
    """
    of = _leads_to if module == "statechart" else _content_of

    def compare() -> int:
        same = of(_made_by(module, original)) == of(_made_by(module, mutated))
        return 0 if same else 1

    return _in_fork(compare)[0] == 0


def _made_by(module: str, text: str) -> dict[str, Any]:
    made: dict[str, Any] = {"__name__": f"springhouse.{module}"}
    exec(compile(text, module, "exec"), made)
    return made


def _content_of(made: dict[str, Any]) -> dict[str, object]:
    return {name: _content(value) for name, value in made.items() if name != "__builtins__"}


def _leads_to(made: dict[str, Any]) -> list[object]:
    table_check = importlib.import_module("springhouse_host.proof.table_check")
    np = importlib.import_module("numpy")
    chart = SimpleNamespace(**made)
    numbers = {name: n for name, n in made.items() if isinstance(n, int) and name[0] != "_"}
    found: list[object] = [numbers]
    for region in (table_check.store_side(chart), table_check.room_side(chart)):
        patterns = np.arange(1 << len(region.conditions), dtype=np.int64)
        found += [region.outputs, table_check.walk(region, patterns)[0].tolist()]
    return found


def _content(value: object) -> object:
    if isinstance(value, FunctionType):
        return value.__code__, value.__defaults__
    return value


def _in_fork(work: Callable[[], int]) -> tuple[int, float]:
    child = os.fork()
    if child == 0:
        code = 1
        try:
            silence = os.open(os.devnull, os.O_WRONLY)
            os.dup2(silence, 1)
            os.dup2(silence, 2)
            code = work()
        finally:
            os._exit(code)
    _, status, used = os.wait4(child, 0)
    return os.waitstatus_to_exitcode(status), used.ru_utime + used.ru_stime


def no_bytecode(sources: Iterable[Path]) -> None:
    """Remove kept bytecode: a mutant of the same size and second would be taken for it."""
    for source in sources:
        Path(cache_from_source(str(source))).unlink(missing_ok=True)

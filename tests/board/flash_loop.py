"""Flashes in a row onto one virtual board with busy loops beside them: by hand, not in the suite.

    python tests/board/flash_loop.py 200

Prints what failed and how many went well; leaves with 1 if any failed.
"""

import json
import multiprocessing
import os
import sys
import tempfile
import time
from pathlib import Path

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE), str(HERE.parent)]

from rig import WIRING, record  # noqa: E402
from springhouse_host.errors import KnownError  # noqa: E402
from springhouse_host.flashing import flash  # noqa: E402
from springhouse_sim.virtual_board.terminal import TerminalBoard  # noqa: E402
from test_flash import healthy  # noqa: E402


def busy() -> None:
    """Take a core until the parent is gone."""
    parent = os.getppid()
    while os.getppid() == parent:
        sum(range(100_000))


def main(count: int, loops: int = 2) -> int:
    """Flash so many times; returns the number that failed."""
    folder = Path(tempfile.mkdtemp(prefix="flashes-"))
    for name in ("boot.py", "main.py"):
        (folder / name).write_text("")
    wiring = Path(tempfile.mkdtemp()) / "wiring.json"
    wiring.write_text(json.dumps(WIRING))
    load = flash.make_load(record().settings, wiring, None)
    beside = [multiprocessing.Process(target=busy, daemon=True) for _ in range(loops)]
    for process in beside:
        process.start()
    board = TerminalBoard(folder, before=healthy)
    failed = 0
    try:
        for n in range(count):
            began = time.monotonic()
            try:
                flash.flash(board.port, load, flash.Steps())
                said = "well"
            except KnownError as error:
                failed += 1
                said = str(error)
            print(f"{n + 1}/{count} {time.monotonic() - began:.1f} s: {said}", flush=True)
    finally:
        board.close()
        for process in beside:
            process.kill()
    print(f"{count - failed} of {count} went well", flush=True)
    return failed


if __name__ == "__main__":
    sys.exit(1 if main(int(sys.argv[1])) else 0)

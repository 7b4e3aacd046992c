"""Heap of each board's image: the smallest it starts on, and what is left after an hour.

    python tests/board/heap_hour.py [--hour-only]

The board's image runs in MicroPython's Unix port on a heap scaled to its 64-bit words (see
`virtual_board/process.py`), with garbage between the objects as reading from flash leaves it. What
is printed is scaled back to a 32-bit board. By hand, not in the suite: minutes.
"""

import json
import re
import sys
import tempfile
from pathlib import Path

sys.path[:0] = [str(Path(__file__).parent), str(Path(__file__).parent.parent)]

from net_rig import GET, NetRig, status  # noqa: E402
from rig import Rig  # noqa: E402
from springhouse_host.flashing.build import BOARDS  # noqa: E402
from springhouse_sim.virtual_board.chip import BY_BOARD  # noqa: E402
from springhouse_sim.virtual_board.process import STAND_IN_BYTES, WIDER_PM  # noqa: E402

HOUR_S = 3600
STARTS_S, ONLINE_S = 15, 130
STEP_KIB = 2
BLOCK_BYTES = 32  # of the Unix port's heap
NOBODY = "127.0.0.1"  # a broker that does not listen: its code is loaded and tries


def make(board: str, online: bool, heap_kib: int) -> Rig:
    folder = Path(tempfile.mkdtemp(prefix="heap-"))
    if online:
        return NetRig(folder, heap_kib, board, broker=NOBODY)
    return Rig(folder, heap_kib=heap_kib, chip=BY_BOARD[board], board=board)


def starts(board: str, online: bool, heap_kib: int) -> bool:
    """Whether it reports, or its network is up, without a reset and with nothing given up."""
    rig = make(board, online, heap_kib).power()
    try:
        rig.run(ONLINE_S if online else STARTS_S)
        rig.board.send('{"cmd":"get-state"}\n')
        rig.run(3)
        states = [json.loads(line) for line in rig.board.lines if '"lost"' in line]
        if rig.resets or not states or states[-1]["lost"][5]:
            return False
        return not online or states[-1]["net"].startswith("127.")
    except RuntimeError:  # the interpreter itself had no room
        return False
    finally:
        rig.close()


def smallest(board: str, online: bool, below_kib: int) -> int:
    """Going down in steps from a heap it starts on."""
    heap_kib = below_kib
    while starts(board, online, heap_kib - STEP_KIB):
        heap_kib -= STEP_KIB
    return heap_kib


def after_an_hour(board: str, online: bool, heap_kib: int) -> str:
    """Live bytes and the largest free block behind a collection, a page asked for each minute."""
    pages: list[int] = []
    rig = make(board, online, heap_kib)
    place = "        board.link.limit.second()\n"
    told = f"        if self.uptime_s == {HOUR_S}:\n            gc.collect()\n"
    told += "            import micropython\n            micropython.mem_info()\n"
    rig.edit("loop.py", place, told + place)
    rig.power()
    try:
        for minute in range(HOUR_S // 60):
            rig.run(60)
            if online and minute >= ONLINE_S // 60:
                pages.append(status(rig.ask(GET)))
        rig.run(10)
        rig.board.send('{"cmd":"get-state"}\n')
        rig.run(3)
        text = "\n".join(rig.board.lines)
    finally:
        rig.close()
    used = re.search(r"used: (\d+)", text)
    free = re.search(r"max free sz: (\d+)", text)
    if used is None or free is None or rig.resets:
        return "no figures: " + text[-200:]
    live = (int(used[1]) - STAND_IN_BYTES) * 1000 // WIDER_PM
    block = int(free[1]) * BLOCK_BYTES * 1000 // WIDER_PM
    lost = re.findall(r'"lost": ?\[([^]]*)\]', text)[-1].split(",")[-1].strip()
    served = f", {pages.count(200)} of {len(pages)} pages served" if online else ""
    said = f"after an hour {live} bytes live, largest free block {block} bytes{served}"
    return f"{said}, {lost} given up for want of memory"


def main(hour_only: bool) -> None:
    for online, stated_kib in ((False, 112), (True, 140)):
        with_network = "page and broker" if online else "alone"
        for board in BOARDS:
            least = "" if hour_only else f"starts on {smallest(board, online, stated_kib)} kB; "
            said = after_an_hour(board, online, stated_kib)
            print(f"{board}, {with_network}: {least}on {stated_kib} kB {said}", flush=True)


if __name__ == "__main__":
    main("--hour-only" in sys.argv)

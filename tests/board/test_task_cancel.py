"""Timeouts of asyncio on the virtual board: its stand-in for tasks cancels as the real ones do."""

import subprocess
from pathlib import Path

from patience import HANG_S
from springhouse_sim.virtual_board.process import BoardProcess, interpreter

MAIN = """
import asyncio, time

begun = time.ticks_ms()

def say(*words):
    print(*words, "at", time.ticks_diff(time.ticks_ms(), begun))

async def wait(ms):
    try:
        await asyncio.sleep_ms(ms)
        return "slept"
    except asyncio.CancelledError:
        say("cancelled")
        raise

async def limited(coro, ms):
    try:
        say(await asyncio.wait_for_ms(coro, ms))
    except asyncio.TimeoutError:
        say("timeout")

async def main():
    await limited(wait(50), 200)
    await limited(wait(100000), 100)
    await limited(asyncio.Event().wait(), 80)
    inner = asyncio.create_task(wait(50000))
    outer = asyncio.create_task(limited(inner, 40000))
    await asyncio.sleep_ms(20)
    say(inner.cancel(), inner.done())
    await asyncio.sleep_ms(0)
    say(inner.cancel(), inner.done(), outer.done())
    try:
        asyncio.current_task().cancel()
    except RuntimeError as problem:
        say(problem)

asyncio.run(main())
"""
STAMPS = [50, 150, 150, 230, 250, 250, 250, 250]


def split(lines: list[str]) -> tuple[list[str], list[int]]:
    pairs = [line.rsplit(" at ", 1) for line in lines if " at " in line]
    return [words for words, _ in pairs], [int(stamp) for _, stamp in pairs]


def test_timeouts_and_cancelling_are_those_of_the_interpreter(tmp_path: Path) -> None:
    real = subprocess.run(
        [interpreter(), "-c", MAIN], capture_output=True, text=True, timeout=HANG_S, check=True
    )
    (tmp_path / "boot.py").write_text("")
    (tmp_path / "main.py").write_text(MAIN)
    board = BoardProcess(tmp_path)
    board.run_slice(1000)
    board.close()
    words, stamps = split(board.lines)
    wanted, _ = split(real.stdout.splitlines())
    assert words == wanted
    assert stamps == STAMPS

"""Why the board started, on each chip: what it can tell, where it says so, what is unknown."""

import json
from pathlib import Path

import pytest
from rig import Rig
from springhouse import blackbox, cause, words
from springhouse.boots import ABNORMAL, ASKED, FAULTED, SERVICE
from springhouse_host.watching import board_record
from springhouse_sim.virtual_board.chip import BY_BOARD, Because

# What each chip is to say, written from its documents and not from cause.py: see chip.py.
TOLD = {
    ("pico_w", Because.POWER): "power-on or brown-out",
    ("pico_w", Because.SAG): "power-on or brown-out",
    ("pico_w", Because.PIN): "reset pin",
    ("pico_w", Because.ASKED): "reset over the cable",
    ("pico_2w", Because.POWER): "power-on",
    ("pico_2w", Because.SAG): "brown-out",
    ("pico_2w", Because.PIN): "reset pin",
    ("pico_2w", Because.ASKED): "reset over the cable",
    ("esp32", Because.POWER): "power-on, brown-out or reset pin",
    ("esp32", Because.SAG): "power-on, brown-out or reset pin",
    ("esp32", Because.PIN): "power-on, brown-out or reset pin",
    ("esp32", Because.ASKED): "reset over the cable, or crash",
}


def said(rig: Rig) -> str:
    """What the latest record says, read as `watch` reads it."""
    rig.run(4)
    line = board_record.parse(next(t for t in reversed(rig.board.lines) if '"st"' in t), 0.0)
    assert line is not None
    return board_record.started(line).split(": ")[1]


def noted(rig: Rig) -> list[str]:
    """Causes in the black box's records of starts."""
    rig.run(600)
    rig.board.lines.clear()
    rig.board.send('{"cmd":"get-log"}\n')
    rig.run(20)
    texts = [json.loads(line)["log"] for line in rig.board.lines if '"log"' in line]
    found = [blackbox.fields(bytes.fromhex(text), 0) for text in texts if text]
    return [words.CAUSES[entry[2] >> 8] for entry in found if entry[0] == blackbox.BOOT]


@pytest.mark.parametrize("board", BY_BOARD)
def test_each_chip_says_what_it_can_tell(tmp_path: Path, board: str) -> None:
    rig = Rig(tmp_path, chip=BY_BOARD[board], board=board).power()
    try:
        for because in (Because.POWER, Because.SAG, Because.PIN):
            rig.board.power_cut(because)
            assert said(rig) == TOLD[board, because]
            rig.board.send('{"cmd":"reset"}\n')  # or three such starts end in safe mode
            rig.run(3)
            assert said(rig) == "request by link or button"
        rig.board.inputs.trouble("idle", "hang")
        rig.run(15)
        assert said(rig) == "watchdog"
        rig.board.inputs.trouble("pin", "RuntimeError")
        rig.run(5)
        assert said(rig) == "fault of the program"
        assert [r.watchdog for r in rig.resets] == [False] * 3 + [True, False]
        assert noted(rig)[-2:] == ["watchdog", "fault of the program"]
        alarms = dict(board_record.alarms(board_record.parse(rig.board.lines[-1], 0.0)))
        assert "the board restarted: fault of the program" in alarms
        rig.board.send('{"cmd":"get-state"}\n')
        rig.run(2)
        assert next(r for r in reversed(rig.records()) if "cause" in r)["cause"] == cause.FAULT
    finally:
        rig.close()


@pytest.mark.parametrize("board", BY_BOARD)
def test_a_reset_over_the_cable_is_no_watchdog(tmp_path: Path, board: str) -> None:
    rig = Rig(tmp_path, chip=BY_BOARD[board], board=board)
    rig.edit("scan.py", "        gap_ms = SCAN_MS if", RESETS + "        gap_ms = SCAN_MS if")
    rig.power()
    try:
        rig.run(8)
        assert len(rig.resets) == 1
        assert said(rig) == TOLD[board, Because.ASKED]
    finally:
        rig.close()


RESETS = """        import machine
        import os
        if now > 5000 and "done" not in os.listdir():
            open("done", "w").close()
            machine.reset()
"""


def test_every_cause_has_a_word_and_no_two_have_the_same() -> None:
    assert len(words.CAUSES) == cause.SIZE == len(set(words.CAUSES))
    assert set(board_record.RESTARTS) | {cause.UNKNOWN} == set(cause.UNEXPECTED)


@pytest.mark.parametrize("left", [ABNORMAL, ASKED, SERVICE, FAULTED])
def test_what_no_chip_of_ours_says_is_called_unknown(left: int) -> None:
    for chip in (0, 4, 6, -1, 1000):
        assert cause.tell(chip, -1, -1, 0, 0, left) == cause.UNKNOWN
    assert cause.tell(3, 0, 0, 1, 0, left) == cause.UNKNOWN, "the watchdog, but neither reason"
    assert cause.tell(5, -1, -1, 0, 0, left) == cause.SOFT
    # A person asked, but the supply was cut first.
    assert cause.tell(1, 0, 0x100, 0x10000, 0, left) == cause.POWER_OR_SAG

"""Of several processes that want a file made one makes it, and a dead one holds up nobody."""

import signal
import subprocess
import sys
import threading
from pathlib import Path

import pytest
from patience import HANG_S
from springhouse_sim import turn
from springhouse_sim.turn import Turn

HOLD = """
import sys, time
from pathlib import Path
from springhouse_sim.turn import Turn
held = Turn(Path(sys.argv[1]))
print("mine", flush=True)
time.sleep(float(sys.argv[2]))
held.end()
"""


def holder(path: Path, for_s: float) -> "subprocess.Popen[str]":
    """Another process that has its turn now."""
    made = subprocess.Popen(
        [sys.executable, "-c", HOLD, str(path), str(for_s)], stdout=subprocess.PIPE, text=True
    )
    assert made.stdout is not None
    assert made.stdout.readline() == "mine\n"
    return made


def test_the_first_does_not_wait_and_leaves_nothing(tmp_path: Path) -> None:
    mine = Turn(tmp_path / "folder" / "file")
    assert not mine.waited
    mine.end()
    assert list((tmp_path / "folder").iterdir()) == []
    again = Turn(tmp_path / "folder" / "file")
    assert not again.waited
    again.end()


def test_the_second_waits_for_the_first(tmp_path: Path) -> None:
    path = tmp_path / "file"
    first, ended = Turn(path), []
    thread = threading.Timer(0.5, lambda: (ended.append(True), first.end()))
    thread.start()
    second = Turn(path, HANG_S)
    assert ended == [True]
    assert second.waited
    second.end()
    thread.join()


def test_a_killed_process_gives_its_turn_up(tmp_path: Path) -> None:
    other = holder(tmp_path / "file", HANG_S)
    other.send_signal(signal.SIGKILL)
    other.communicate()
    mine = Turn(tmp_path / "file", HANG_S)
    assert not mine.waited
    mine.end()


def test_a_wait_that_grows_too_long_ends(tmp_path: Path) -> None:
    other = holder(tmp_path / "file", HANG_S)
    try:
        assert Turn(tmp_path / "file", 0.0).waited
    finally:
        other.kill()
        other.communicate()


def test_where_nothing_can_be_locked_nobody_waits(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "no folder").write_text("")
    assert not Turn(tmp_path / "no folder" / "file").waited
    first = Turn(tmp_path / "file")
    monkeypatch.setattr(turn, "_locks", lambda: None)
    assert not Turn(tmp_path / "file").waited
    first.end()

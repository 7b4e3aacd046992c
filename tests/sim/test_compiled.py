"""Compiled and interpreted ticks are the same ticks, and old compiled code is never used again."""

import os
import shutil
import subprocess
import sys
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest
from bench_rig import bench
from patience import HANG_S
from springhouse import memory as cell
from springhouse import reading, setting
from springhouse import week as weeks
from springhouse_sim import compiled
from springhouse_sim.cache_folder import CACHE_VARIABLE
from springhouse_sim.world.faults import Fault
from springhouse_sim.world.outage import Outage
from springhouse_sim.world.owner import Acknowledge, AskMode

PLAN_DOOR: compiled.Doors = (("springhouse.events", "plan"),)


def test_a_busy_hour_is_the_same_compiled_and_interpreted() -> None:
    """Controller bit for bit, plant within 1e-9, with faults, requests and an outage in it."""
    traces = []
    benches = []
    for compile_ticks in (True, False):
        b = bench(
            Fault("prime_lost", 900, duration_s=30),
            Fault("tray_float_open", 1500, duration_s=60),
            Fault("probe_shorted", 1700, duration_s=100, probe="room"),
            Outage(2300, 120),
            Acknowledge(1600),
            AskMode(2600, 4, 10),
            weather=True,
            start=datetime(2025, 7, 7, 14),
            compile_ticks=compile_ticks,
            seed=7,
        )
        traces.append(b.run(1 / 24))
        benches.append(b)
    one, two = traces
    assert len(one.events) > 15
    assert len(set(one.events[:, 2])) >= 5  # states of the room side
    np.testing.assert_array_equal(one.events, two.events)
    for record in (0, 1, 2):
        assert list(benches[0].board[record]) == list(benches[1].board[record])
    for record in (0, 1, 2):
        assert list(benches[0].observer[record]) == list(benches[1].observer[record])
    np.testing.assert_array_equal(one.counts, two.counts)
    np.testing.assert_allclose(one.ended[:40], two.ended[:40], rtol=0.0, atol=1e-9)
    np.testing.assert_allclose(one.ended, two.ended, rtol=1e-9, atol=1e-9)
    np.testing.assert_allclose(one.samples, two.samples, rtol=1e-9, atol=1e-9)


def tree_in(folder: Path) -> dict[str, Path]:
    copies = {}
    for name, source in compiled.package_folders().items():
        copies[name] = folder / name
        shutil.copytree(source, copies[name], ignore=shutil.ignore_patterns("__pycache__"))
    return copies


def plan_without_clock(code: compiled.Code) -> int:
    memory, settings, readings = (
        code.ints(cell.SIZE),
        code.ints(setting.SIZE),
        code.ints(reading.SIZE),
    )
    readings[reading.WEEK_MIN] = -1
    code.core("events").plan(memory, settings, readings)
    return int(memory[cell.PLAN])


def edit(folders: dict[str, Path]) -> None:
    """Change a constant of another module than the one that is compiled."""
    week = folders["springhouse"] / "week.py"
    text = week.read_text(encoding="utf-8")
    old = "PLAN_NO_CLOCK = PLAN_CHARGE | PLAN_WANTED | PLAN_LEAD"
    assert old in text
    week.write_text(text.replace(old, "PLAN_NO_CLOCK = PLAN_CHARGE"), encoding="utf-8")


def test_an_edit_in_another_module_is_seen(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(CACHE_VARIABLE, str(tmp_path / "cache"))
    folders = tree_in(tmp_path)
    before = compiled.compile_from(folders, PLAN_DOOR)
    assert plan_without_clock(before) == weeks.PLAN_CHARGE | weeks.PLAN_WANTED | weeks.PLAN_LEAD
    edit(folders)
    after = compiled.compile_from(folders, PLAN_DOOR)
    assert plan_without_clock(after) == weeks.PLAN_CHARGE
    assert before.cache_dir != after.cache_dir
    assert weeks.PLAN_NO_CLOCK != weeks.PLAN_CHARGE  # the copies everyone else holds are untouched


RACE = """
from springhouse_sim import compiled
code = compiled.compile_from(
    compiled.package_folders(), (("springhouse.timekeeping", "ticks_diff"),)
)
asked = code.core("timekeeping").ticks_diff
print(asked(5, 2**30 - 10), code.cache_dir, sum(asked.stats.cache_hits.values()))
"""


def test_of_two_processes_at_once_one_compiles(tmp_path: Path) -> None:
    """S16: ticks_diff(5, 2**30 - 10) is 15, from whichever process wrote the cache."""
    environment = dict(os.environ, SPRINGHOUSE_CACHE=str(tmp_path))
    environment["PYTHONPATH"] = os.pathsep.join(sys.path)
    command = [sys.executable, "-c", RACE]
    racers = [
        subprocess.Popen(command, env=environment, stdout=subprocess.PIPE, text=True)
        for _ in range(2)
    ]
    outcomes = [racer.communicate(timeout=HANG_S)[0] for racer in racers]
    assert [racer.returncode for racer in racers] == [0, 0]
    (folder,) = tmp_path.iterdir()
    assert sorted(outcomes) == [f"15 {folder} {hits}\n" for hits in (0, 1)]
    third = subprocess.run(command, env=environment, stdout=subprocess.PIPE, text=True, check=True)
    assert third.stdout == f"15 {folder} 1\n"


def test_plain_code_hands_out_the_modules_of_everyone() -> None:
    code = compiled.load(False)
    assert code.core("week") is weeks
    assert type(code.ints(2)).__name__ == "array"
    assert code.floats([1.0]) == [1.0]

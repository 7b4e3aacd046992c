"""Heartbeats: the watchdog is fed while all required tasks beat, and only then."""

from pathlib import Path

import pytest
from rig import Rig
from springhouse import beats as board_beats
from springhouse import timekeeping
from springhouse.boards import pico_w

TASKS = (board_beats.PROBES, board_beats.CONTACTS, board_beats.AIR, board_beats.RELAY)


@pytest.mark.parametrize("start", [0, timekeeping.LAST - 3000])
@pytest.mark.parametrize("silent", TASKS)
def test_each_required_task_is_missed_and_no_other(start: int, silent: int) -> None:
    beats = board_beats.Beats(start, [True] * 4)
    spared = board_beats.Beats(start, [task != silent for task in TASKS])
    missed_at = None
    for ms in range(0, 20_000, 200):
        now = timekeeping.ticks_add(start, ms)
        for task in TASKS:
            if task != silent:
                beats.beat(task, now)
                spared.beat(task, now)
        late = beats.late(now)
        assert late in (board_beats.NONE_LATE, silent)
        assert spared.late(now) == board_beats.NONE_LATE
        if late == silent and missed_at is None:
            missed_at = ms
    assert missed_at is not None
    assert missed_at <= 6200
    assert missed_at + 1000 < pico_w.WATCHDOG_MS, "missed before the watchdog would act"


@pytest.mark.parametrize(
    ("file", "before", "stuck"),
    [
        ("drivers/probe.py", "        if self.convert():\n", "ticks_ms() > 331000"),
        ("loop.py", "            board.sensors.sample_contacts()\n", "ticks() > 331000"),
    ],
)
def test_a_task_that_only_waits_ends_the_run(
    tmp_path: Path, file: str, before: str, stuck: str
) -> None:
    rig = Rig(tmp_path)
    indent = before[: len(before) - len(before.lstrip())]
    wait = f"{indent}if {stuck}:\n{indent}    await asyncio.sleep_ms(100000000)\n"
    rig.edit(file, before, wait + before)
    rig.power()
    try:
        rig.run(330)
        assert rig.out(pico_w.RELAY) == 1
        rig.run(9)
        assert rig.out(pico_w.RELAY) == 0
        assert rig.off_since(pico_w.RELAY) <= 331_000 + 8_000
        assert any("silent" in str(r.get("fault")) for r in rig.records())
        rig.run(40)  # the ticks go on over a reset here, so every boot gets stuck again
        assert len(rig.resets) == 2
        assert not any(reset.watchdog for reset in rig.resets)
        assert rig.records()[-1]["safe"].startswith("boots: ")
    finally:
        rig.close()

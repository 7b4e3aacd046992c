"""Heartbeats: the watchdog is fed while all required tasks beat, and only then."""

from pathlib import Path

import pytest
from rig import Rig
from springhouse import beats as H
from springhouse import timekeeping as T
from springhouse.boards import pico_w as B

TASKS = (H.PROBES, H.CONTACTS, H.AIR, H.RELAY)


@pytest.mark.parametrize("start", [0, T.LAST - 3000])
@pytest.mark.parametrize("silent", TASKS)
def test_each_required_task_is_missed_and_no_other(start: int, silent: int) -> None:
    beats = H.Beats(start, [True] * 4)
    spared = H.Beats(start, [task != silent for task in TASKS])
    missed_at = None
    for ms in range(0, 20_000, 200):
        now = T.ticks_add(start, ms)
        for task in TASKS:
            if task != silent:
                beats.beat(task, now)
                spared.beat(task, now)
        late = beats.late(now)
        assert late in (H.NONE_LATE, silent)
        assert spared.late(now) == H.NONE_LATE
        if late == silent and missed_at is None:
            missed_at = ms
    assert missed_at is not None
    assert missed_at <= 6200
    assert missed_at + 1000 < B.WATCHDOG_MS, "missed before the watchdog would act"


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
        assert rig.out(B.RELAY) == 1
        rig.run(9)
        assert rig.out(B.RELAY) == 0
        assert rig.off_since(B.RELAY) <= 331_000 + 8_000
        assert any("silent" in str(r.get("fault")) for r in rig.records())
        rig.run(40)  # the ticks go on over a reset here, so every boot gets stuck again
        assert len(rig.resets) == 2
        assert not any(reset.watchdog for reset in rig.resets)
        assert rig.records()[-1]["safe"].startswith("boots: ")
    finally:
        rig.close()

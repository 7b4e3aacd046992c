"""What the owner asks of the virtual board: time, settings, buttons, the black box."""

import pytest
from rig import Rig, record
from springhouse import blackbox, setting
from springhouse.boards import pico_w
from springhouse_host.watching.changes import changes as changes_in
from springhouse_host.watching.changes import words


@pytest.fixture
def rig(tmp_path):
    made = Rig(tmp_path).power()
    yield made
    made.close()


def test_the_time_that_the_owner_sets_outlives_the_clock_chip(tmp_path) -> None:
    """The chip is read each second here, so that the two meet in one scan."""
    set_min = 1783339200 // 60
    rig = Rig(tmp_path, rtc="ds3231")
    rig.edit("loop.py", "_RTC_S = 3600", "_RTC_S = 1")
    rig.power()
    chip = bytes.fromhex("00 00 12 01 06 07 26".replace(" ", "")) + bytes(12)  # 6 July 2026, 12:00
    rig.board.inputs.chip(0x68, chip)
    try:
        for replugged in (False, True):
            rig.run(3)
            if replugged:
                rig.board.inputs.chip(0x68, None)
            set_min += 1
            rig.board.send(f'{{"cmd":"set-time","utc_s":{set_min * 60},"sure":true}}\n')
            rig.run(2)
            if replugged:
                rig.board.inputs.chip(0x68, chip)
            rig.run(3)
            assert rig.last()["utc"] == set_min
    finally:
        rig.close()


def test_set_time_and_room_target_over_the_link(tmp_path) -> None:
    made = record()
    made.ranges = [(setting.ROOM_TARGET_MC, 22000, 26000)]
    rig = Rig(tmp_path, body=made.encode()).power()
    try:
        rig.run(5)
        rig.board.send('{"cmd":"set-time","utc_s":1783339200}\n')
        for value in (25000, 27000):
            rig.board.send(f'{{"cmd":"set","values":[{setting.ROOM_TARGET_MC},{value}]}}\n')
        rig.run(3)
        assert rig.last()["utc"] == 1783339200 // 60
        assert any("springhouse prove" in r.get("refused", "") for r in rig.records())
        rig.board.power_cut()
        rig.board.send('{"cmd":"get-settings"}\n')
        rig.run(6)
        parts = {r["from"]: r["settings"] for r in rig.records() if "settings" in r and "from" in r}
        flat = [value for first in sorted(parts) for value in parts[first]]
        assert len(flat) == setting.SIZE
        assert flat[setting.ROOM_TARGET_MC] == 25000
    finally:
        rig.close()


@pytest.mark.parametrize(("wired", "target_mc"), [(1, 25000), (0, 24000)])
def test_buttons_move_the_room_target_inside_the_range_if_wired(
    tmp_path, wired: int, target_mc: int
) -> None:
    made = record()
    made.ranges = [(setting.ROOM_TARGET_MC, 23800, 25000)]
    rig = Rig(tmp_path, body=made.encode(), target_buttons=wired).power()
    try:
        rig.run(5)
        for pin in (
            pico_w.BUTTON_DOWN,
            pico_w.BUTTON_UP,
            pico_w.BUTTON_UP,
            pico_w.BUTTON_UP,
        ):  # first and last: beyond
            rig.board.inputs.level(pin, 0)
            rig.run(1)
            rig.board.inputs.level(pin, 1)
            rig.run(1)
        rig.board.power_cut()
        rig.board.send('{"cmd":"get-settings"}\n')
        rig.run(6)
        first = next(
            r for r in rig.records() if r.get("from", -1) == setting.ROOM_TARGET_MC // 16 * 16
        )
        assert first["settings"][setting.ROOM_TARGET_MC % 16] == target_mc
    finally:
        rig.close()


def test_what_the_owner_changes_is_in_the_black_box(tmp_path) -> None:
    made = record()
    made.ranges = [(setting.ROOM_TARGET_MC, 22000, 26000), (setting.FAN_QUIET_PM, 300, 900)]
    old_pm = made.settings[setting.FAN_QUIET_PM]
    rig = Rig(tmp_path, body=made.encode(), target_buttons=1).power(tick=(1 << 30) - 20_000)
    values = [setting.ROOM_TARGET_MC, 25000, setting.FAN_QUIET_PM, old_pm + 10]
    try:
        rig.run(9)
        rig.board.send(f'{{"cmd":"set","values":{values}}}\n')
        rig.board.send(f'{{"cmd":"set","values":[{setting.ROOM_TARGET_MC},27000]}}\n')  # refused
        rig.run(21)
        rig.board.inputs.level(pico_w.BUTTON_DOWN, 0)
        rig.run(1)
        rig.board.inputs.level(pico_w.BUTTON_DOWN, 1)
        rig.run(1)
        rig.board.send('{"cmd":"reset"}\n')
        rig.run(5)
        rig.board.send('{"cmd":"get-log"}\n')
        rig.run(30)
        log = [blackbox.fields(bytes.fromhex(r["log"]), 0) for r in rig.records() if r.get("log")]
        changes = changes_in(log)
        assert [(c.slot, c.old, c.new) for c in changes] == [
            (setting.ROOM_TARGET_MC, 24000, 25000),
            (setting.FAN_QUIET_PM, old_pm, old_pm + 10),
            (setting.ROOM_TARGET_MC, 25000, 24500),
        ]
        assert [words(c).partition("power-up: ")[2] for c in changes] == [
            "room_target_c changed from 24 °C to 25 °C",
            f"fan_quiet_percent changed from {old_pm // 10} % to {old_pm // 10 + 1} %",
            "room_target_c changed from 25 °C to 24.5 °C",
        ]
        ticks = [c.tick for c in changes]
        assert (1 << 30) - 11_000 <= ticks[0] == ticks[1] < 1 << 30, "before the wrap"
        assert 10_000 <= ticks[2] <= 13_000, "behind it"
    finally:
        rig.close()


def test_black_box_over_the_link(rig: Rig) -> None:
    rig.run(1205)
    rig.board.send('{"cmd":"get-log"}\n')
    rig.run(30)
    log = [r["log"] for r in rig.records() if "log" in r]
    assert log[-1] == ""
    assert 20 <= len(log) <= 60
    assert len({len(entry) for entry in log[:-1]}) == 1

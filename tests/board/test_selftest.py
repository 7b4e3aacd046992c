"""The self-test: what it finds, what it calls not guarded or not known, and where it says so."""

import json
import struct
from datetime import date
from pathlib import Path

import pytest
from rig import FITTED, Rig, record
from springhouse import blackbox, fitted, selftest, setting, words
from springhouse.boards import pico_w
from springhouse.storage import pack
from springhouse_host.flashing.zone import with_ice_point
from springhouse_host.watching import board_record, happened
from springhouse_sim.virtual_board.inputs import serial

DONE_S = 180  # power-up, a window, a second a file
DAY_S = 400  # of a board whose day is short
UTC_S = 1_783_339_200  # 6 July 2026
SET_TIME = f'{{"cmd":"set-time","utc_s":{UTC_S}}}\n'
CODE = "springhouse/week.mpy"


def body(fits: int = FITTED) -> bytes:
    made = record()
    made.settings[setting.FITTED] = fits
    return made.encode()


def short_days(rig: Rig) -> Rig:
    rig.edit("selftest.py", "EVERY_S = 86_400", f"EVERY_S = {DAY_S}")
    return rig


def word(rig: Rig) -> int:
    return rig.last().get("test", 0)


def said(rig: Rig) -> dict[str, list[str]]:
    """Items by how they fared, as a person reads them."""
    found = word(rig)
    states = ("not known", "well", "failed", "not guarded")
    return {text: words.tested(found, n) for n, text in enumerate(states)}


@pytest.fixture
def rig(tmp_path: Path):
    made = Rig(tmp_path, ice_point_day=date(2026, 5, 30).toordinal() - date(1970, 1, 1).toordinal())
    yield made
    made.close()


def test_all_well_says_what_is_not_guarded(rig: Rig) -> None:
    rig.power().run(50)
    assert "test" not in rig.last(), "not yet"
    rig.board.send(SET_TIME)
    rig.run(DONE_S)
    assert said(rig) == {
        "not known": [],
        "well": [
            "store probe low",
            "store probe high",
            "room probe",
            "tray float",
            "level float",
            "floor sensor",
            "stored settings",
            "flash",
            "ice point check",
        ],
        "failed": [],
        "not guarded": ["coil inlet probe", "coil air probe", "relay contact"],
    }
    line = board_record.parse(json.dumps(rig.last()), 0.0)
    assert line is not None
    assert not any("self-test" in what for what, _ in board_record.alarms(line))
    text = words.test_text(line.line.test)
    assert text == "well; not guarded: coil inlet probe, coil air probe, relay contact"
    rig.run(600 - rig.last()["up"] + 5)
    rig.board.lines.clear()
    rig.board.send('{"cmd":"get-log"}\n')
    rig.run(20)
    texts = [json.loads(line)["log"] for line in rig.board.lines if '"log"' in line]
    box = [blackbox.fields(bytes.fromhex(t), 0) for t in texts if t]
    tests = [entry for entry in box if entry[0] == blackbox.TEST]
    assert len(tests) == 1
    assert tests[0][2] == 0, "nothing failed"
    days, kept, _tick = struct.unpack("<3i", struct.pack("<6H", *tests[0][10:16]))
    assert days == (date(2026, 7, 6) - date(2026, 5, 30)).days
    assert kept == line.line.test
    assert happened.happened(tests)[0].endswith("self-test: " + text)


def silent_probe(rig: Rig) -> None:
    rig.board.inputs.pad(serial(2), None)


def open_float(rig: Rig) -> None:
    rig.board.inputs.level(pico_w.LEVEL, 1)


def stuck_contact(rig: Rig) -> None:
    rig.board.inputs.level(pico_w.RELAY_CONTACT, 1)


def damaged_settings(rig: Rig) -> None:
    for path in rig.folder.glob("settings.*"):
        path.write_bytes(path.read_bytes()[:-1] + b"\0\0")


def other_settings(rig: Rig) -> None:
    for path in rig.folder.glob("settings.*"):
        made = record()
        made.settings[setting.FITTED] = FITTED | fitted.RELAY
        made.settings[setting.MIN_OFF_S] = 301
        path.write_bytes(pack(1, made.encode()))


def damaged_code(rig: Rig) -> None:
    path = rig.folder / CODE
    path.write_bytes(path.read_bytes()[:-1] + b"\0")


def missing_code(rig: Rig) -> None:
    (rig.folder / CODE).unlink()


def worn_flash(rig: Rig) -> None:
    for path in (rig.folder / "log").iterdir():
        path.unlink()
    (rig.folder / "log").rmdir()
    (rig.folder / "log").write_text("no folder")


TROUBLES = {
    silent_probe: "store probe high",
    open_float: "level float",
    stuck_contact: "relay contact",
    damaged_settings: "stored settings",
    other_settings: "stored settings",
    damaged_code: "flash",
    missing_code: "flash",
    worn_flash: "flash",
}


@pytest.mark.parametrize("trouble", TROUBLES, ids=lambda trouble: trouble.__name__)
def test_the_daily_test_finds_what_broke_since_power_up(tmp_path: Path, trouble) -> None:
    rig = short_days(Rig(tmp_path, body=body(FITTED | fitted.RELAY)))
    rig.power().run(5)
    rig.board.send('{"cmd":"mode","mode":1,"minutes":600}\n')  # or the contact had to follow
    rig.run(DONE_S)
    try:
        assert said(rig)["failed"] == []
        assert "relay contact" in said(rig)["well"]
        assert said(rig)["not known"] == ["ice point check"], "nobody said when"
        trouble(rig)
        assert said(rig)["failed"] == []
        # Three blocks of ten minutes: what the black box cannot append shows after the first.
        rig.run(2 * DAY_S)
        assert said(rig)["failed"] == [TROUBLES[trouble]]
        line = board_record.parse(json.dumps(rig.last()), 0.0)
        alarms = [what for what, _ in board_record.alarms(line)]
        name = TROUBLES[trouble]
        if trouble is silent_probe:
            assert f"{name}: bus open: all ones" in alarms
            assert f"self-test: {name}" not in alarms, "once is enough"
        else:
            assert f"self-test: {name}" in alarms
        assert not any("coil" in what for what in alarms), "what is not fitted is no trouble"
        assert rig.resets == []
    finally:
        rig.close()


def test_the_contact_is_held_against_a_running_compressor_too(tmp_path: Path) -> None:
    rig = short_days(Rig(tmp_path, body=body(FITTED | fitted.RELAY)))
    rig.power().run(DONE_S)
    try:
        rig.run(360 - rig.last()["up"])
        assert rig.out(pico_w.RELAY) == 1
        rig.board.inputs.level(pico_w.RELAY_CONTACT, 1)  # live, as it is to be
        rig.run(DAY_S)
        assert "relay contact" in said(rig)["well"]
    finally:
        rig.close()


@pytest.mark.parametrize(
    ("day", "state"), [("2025-07-05", "well"), ("2025-07-04", "failed"), ("2027-01-01", "well")]
)
def test_ice_points_are_due_after_a_year(tmp_path: Path, day: str, state: str) -> None:
    text = with_ice_point(b"{}", date.fromisoformat(day))
    rig = Rig(tmp_path, **json.loads(text)).power()
    rig.board.send(SET_TIME)
    rig.run(DONE_S)
    rig.close()
    assert "ice point check" in said(rig)[state]
    assert with_ice_point(text, date(2020, 1, 1)) == text, "what the file names stays"


def test_without_a_clock_the_age_is_not_known(rig: Rig) -> None:
    rig.power().run(DONE_S)
    assert said(rig)["not known"] == ["ice point check"]


def test_a_test_that_finds_no_memory_is_given_up_until_the_next(tmp_path: Path) -> None:
    rig = short_days(Rig(tmp_path))
    look = "        piece = bytearray(_CHUNK)\n"
    rig.edit(
        "selftest.py",
        "EVERY_S = 86_400",
        f"EVERY_S = {DAY_S}",
        look,
        "        if not self.word and not self._due_s > 900:\n            bytearray(1 << 30)\n"
        + look,
    )
    rig.power().run(DONE_S)
    try:
        assert word(rig) == 0
        rig.run(2 * DAY_S)
        assert said(rig)["failed"] == []
        assert said(rig)["well"] != []
        rig.board.send('{"cmd":"get-state"}\n')
        rig.run(2)
        assert next(r for r in reversed(rig.records()) if "lost" in r)["lost"][5] == 2
        assert rig.resets == []
    finally:
        rig.close()


def test_every_item_has_a_name_and_advice() -> None:
    assert len(words.TESTED) == selftest.ITEMS == len(set(words.TESTED))
    assert set(board_record.TEST_ADVICE) == set(words.TESTED)
    assert words.test_text(0) == "not yet"
    bad = selftest.FAILED << 2 * selftest.FLASH
    assert words.test_text(bad).startswith("failed: flash; not known: store probe low")
    assert selftest.failed(bad) == 1 << selftest.FLASH

"""The display: what it says, that the chip shows it, and that no scan notices it."""

import hashlib
import json
import subprocess
from array import array
from pathlib import Path
from types import SimpleNamespace

import built
import springhouse
from hypothesis import given
from hypothesis import strategies as st
from net_rig import RUN_S, lived, print_scans
from patience import HANG_S
from rig import WIRING, Rig, record
from springhouse import cause, mode, probes, reading, reason, selftest, statechart, why, words
from springhouse import memory as cell
from springhouse.boards import pico_w
from springhouse.display import rows
from springhouse_host.flashing import flash
from springhouse_sim.virtual_board.process import interpreter

ADDRESS = 0x3C


def test_the_kept_part_is_as_it_came() -> None:
    # micropython-ssd1306 0.3, ssd1306.py of its source archive
    driver = Path(springhouse.__file__).parent / "display/ssd1306/driver.py"
    digest = hashlib.sha256(driver.read_bytes()).hexdigest()
    assert digest == "fcdaff406b4c5cc56bc99a5cb1e85d58be2108b43d1bb50c432062323a48edb7"


def scanner(**memory: int) -> SimpleNamespace:
    """A scan with both store probes and the room's trusted."""
    made = SimpleNamespace(
        memory=array("i", bytes(4 * cell.SIZE)),
        readings=array("i", bytes(4 * reading.SIZE)),
        why=lambda: (-1, -1, -1, -1),
    )
    made.readings[reading.STORE_LOW_MC : reading.COIL_IN_MC] = array("i", [-400, -300, 24150])
    for i in (probes.LOW, probes.HIGH, probes.ROOM):
        made.memory[cell.STORE_LOW_GOOD + i] = probes.TRUST_FRAMES
        made.memory[cell.VALID] |= 1 << i
    for name, value in memory.items():
        made.memory[getattr(cell, name)] = value
    return made


def test_what_it_says() -> None:
    assert rows.running(scanner(), True, 0, cause.POWER, 0) == [
        "Store     -0.4 C",  # halves away from zero
        "Room      24.2 C",
        "keeping cold",
        "",
        "waiting",
        "",
        "",
        "",
    ]
    locked = scanner(
        STORE_STATE=statechart.CHARGE, ROOM_STATE=statechart.CONDENSATE_STOP, LATCH=0b101000
    )
    locked.memory[cell.VALID] = locked.memory[cell.STORE_LOW_GOOD] = 0
    for i in range(reading.PROBES):
        locked.memory[cell.STORE_LOW_GOOD + i] = 0
    said = rows.running(locked, False, 0, cause.POWER, 0)
    assert said[:2] == ["Store          ?", "Room           ?"]
    assert said[2:6] == ["chilling the", "store", "condensate-full", "stop"]
    assert said[6:] == ["! store probes", "disagree"]
    assert rows.running(locked, False, 4, cause.POWER, 0)[6:] == ["! condensate", "tray full"]
    assert (
        rows.running(scanner(MODE=mode.FIRST_PULL_DOWN), False, 0, cause.POWER, 0)[6]
        == "first pull-down"
    )
    assert rows.running(scanner(), False, 0, cause.POWER, 0)[6] == "unproven"
    said = rows.running(scanner(), True, 60, cause.FAULT, 0)
    assert said[6:] == ["started: fault", "of the program"]
    assert rows.running(scanner(), True, 86_400, cause.FAULT, 0)[6] == ""
    word = selftest.FAILED * (1 << 2 * selftest.SETTINGS | 1 << 2 * selftest.FLASH)
    said = [rows.running(scanner(), True, s, cause.FAULT, word)[6:] for s in (0, 4)]
    assert said == [["test: stored", "settings"], ["test: flash", ""]]
    assert rows.safe("boots: three short runs")[3:5] == ["boots: three", "short runs"]


def test_a_reason_takes_turns_with_the_state(monkeypatch) -> None:
    monkeypatch.setattr(rows, "text", why.text)
    made = scanner()
    made.why = lambda: (reason.OFF_TIME_BOOT, 431_001, reason.ROOM_COOL, -1)
    turns = [rows.running(made, True, 4 * n, cause.POWER, 0)[2:6] for n in range(4)]
    assert [turn[:2] for turn in turns] == [
        ["keeping cold", ""],
        ["waiting 7:12:", "compressor off"],
        ["time after", "power-up"],
        ["keeping cold", ""],
    ]
    assert [turn[2:] for turn in turns[:3]] == [
        ["waiting", ""],
        ["resting: room", "cool"],
        ["waiting", ""],
    ]
    for n in range(reason.SIZE):
        made.why = lambda n=n: (n, 359_999_000, -1, -1)
        turns = [rows.running(made, True, 4 * t, cause.POWER, 0)[2:4] for t in range(1, 6)]
        turns = turns[: turns.index(["keeping cold", ""])]
        said = "".join(row for turn in turns for row in turn).replace(" ", "")
        assert said == why.text(n, 359_999_000).replace("°", "").replace(" ", "")
        assert said.isascii()


def test_every_word_fits() -> None:
    for text in (*words.STORE_STATES, *words.ROOM_STATES, *words.MODES):
        assert "".join(rows.wrap(text, 2)).replace(" ", "") == text.replace(" ", "")
    for n in cause.UNEXPECTED:
        text = "started: " + words.CAUSES[n]
        assert "".join(rows.wrap(text, 2)).replace(" ", "") == text.replace(" ", "")
    for text in words.TESTED:
        assert " ".join(rows.wrap("test: " + text, 2)).rstrip() == "test: " + text
    for text in words.LATCHES:
        assert " ".join(rows.wrap("! " + text, 2)).rstrip() == "! " + text


@given(st.text(alphabet="ab -", max_size=150))
def test_any_text_is_cut_to_the_columns(text: str) -> None:
    made = rows.wrap(text.lstrip(), 8)
    assert len(made) == 8
    assert all(len(row) <= rows.COLUMNS for row in made)
    whole = text.replace(" ", "")
    assert whole.startswith("".join(made).replace(" ", ""))


# A chip after its datasheet (SSD1306, rev 1.1, from memory): control byte 0x80 a command follows,
# 0x40 data; 0x21 and 0x22 set first and last column and page; in horizontal mode data runs along
# the columns, then to the next page. MicroPython's own font tells what the picture should be.
SHOW = """
import framebuf
from springhouse.display import screen

class Chip:
    def __init__(self):
        self.ram = bytearray(1024)
        self.commands = []
        self.longest = 0
        self.there = True
    def writeto(self, address, data):
        if not self.there or address != 0x3C:
            raise OSError(5)
        assert len(data) == 2 and data[0] == 0x80
        self.commands.append(data[1])
    def writevto(self, address, pieces):
        assert address == 0x3C and pieces[0] == b"@"
        c = self.commands[-6:]
        assert c[0] == 0x21 and c[3] == 0x22
        column, page = c[1], c[4]
        for byte in pieces[1]:
            self.ram[128 * page + column] = byte
            column += 1
            if column > c[2]:
                column = c[1]
                page = c[4] if page == c[5] else page + 1
        self.longest = max(self.longest, len(pieces[1]))

def same(chip, wanted):
    picture = bytearray(1024)
    frame = framebuf.FrameBuffer(picture, 128, 64, framebuf.MONO_VLSB)
    for n, text in enumerate(wanted):
        frame.text(text, 0, 8 * n)
    ram = bytearray(chip.ram)
    for ram_or_picture in (ram, picture):  # the mark at the end turns over
        for n in range(1024 - 8, 1024):
            ram_or_picture[n] = 0
    return ram == picture

chip = Chip()
said = ["Store  4.3 C", "", "waiting", "eight"]
shown = screen.Screen(chip, lambda: list(said))
def steps(n):
    for _ in range(n):
        shown._step()
steps(9)
print(same(chip, said), chip.longest, 0xAF in chip.commands)
said[2] = "cooling the room"
steps(4)
print(same(chip, said), len(chip.commands))
chip.there = False
try:
    steps(4)
    print("not noticed")
except OSError:
    print("noticed")
"""


def test_the_chip_shows_the_rows_and_gets_a_row_at_a_time(tmp_path: Path) -> None:
    done = subprocess.run(
        [interpreter(), "-c", built.package().fold(SHOW, "show.py")],
        env={"MICROPYPATH": f"{built.folder()}:.frozen"},
        capture_output=True,
        text=True,
        timeout=HANG_S,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    first, second, third = done.stdout.split("\n")[:3]
    assert first == "True 128 True"
    assert second.startswith("True ")
    assert third == "noticed"


def test_a_display_that_works_is_absent_or_holds_its_bus_moves_no_scan(alone, tmp_path) -> None:
    scans, changes = alone
    for name, put in (
        ("works", lambda inputs: inputs.chip(ADDRESS, b"\0")),
        ("absent", lambda inputs: inputs.chip(ADDRESS, None)),
        ("holds", lambda inputs: inputs.hold_bus(ADDRESS)),
    ):
        folder = tmp_path / name
        folder.mkdir()
        rig = Rig(folder, display="ssd1306")
        print_scans(rig)
        rig.power()
        put(rig.board.inputs)
        try:
            rig.run(RUN_S)
            got, moved = lived(rig)
            assert len(got) == len(scans)
            assert max(abs(a - b) for a, b in zip(got, scans, strict=True)) <= 60, name
            motors = [
                [c[1:] for c in life if c[1] in (pico_w.RELAY, pico_w.PUMP, pico_w.FAN)]
                for life in (moved, changes)
            ]
            assert motors[0] == motors[1]
            rig.board.send('{"cmd":"get-state"}\n')
            rig.run(2)
            failures = next(r for r in reversed(rig.records()) if "lost" in r)["lost"][4]
            assert failures in ((0,) if name == "works" else (11, 12)), "once a minute"
        finally:
            rig.close()


def test_its_code_is_flashed_only_where_one_is_wired(tmp_path: Path) -> None:
    wiring = tmp_path / "wiring.json"
    for display, names in (("", set()), ("ssd1306", {"display", "words.mpy"})):
        wiring.write_text(json.dumps({**WIRING, "display": display}))
        code = flash.make_load(record().settings, wiring, None, built.image()).image.code
        parts = {name.split("/")[1] for name in code if name.startswith("springhouse/")}
        assert parts & {"display", "words.mpy", "net"} == names


def test_the_safe_mode_is_shown_and_a_broken_part_stops_nothing(tmp_path) -> None:
    rig = Rig(tmp_path, display="ssd1306", body=b"none")
    rig.edit(
        "display/rows.py", 'return ["Safe mode"', 'raise RuntimeError\n    return ["Safe mode"'
    )
    rig.power()
    try:
        rig.run(70)
        rig.board.send('{"cmd":"get-state"}\n')
        rig.run(2)
        assert any("record" in r.get("safe", "") for r in rig.records())
        state = next(r for r in reversed(rig.records()) if "lost" in r)
        assert state["lost"][4] == 2
        assert rig.resets == []
    finally:
        rig.close()

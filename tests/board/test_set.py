"""`springhouse set` against the built program on a virtual board behind a pseudo-terminal."""

import json
import os
import pty
import shutil
from collections.abc import Iterator
from pathlib import Path

import built
import made_verdict
import pytest
from rig import ROLES, WIRING
from springhouse import setting
from springhouse.boards import pico_w
from springhouse.link import LINE_MOST
from springhouse.record import Record
from springhouse.storage import Files, TwoSlots
from springhouse_host import cli
from springhouse_host.errors import KnownError
from springhouse_host.flashing import adjust, fetch, flash
from springhouse_host.flashing.line import Line
from springhouse_host.proof.sources import wanted
from springhouse_host.site import load_site, owner_change
from springhouse_sim.virtual_board.inputs import scratchpad, serial
from springhouse_sim.virtual_board.process import BoardProcess
from springhouse_sim.virtual_board.terminal import TerminalBoard
from test_flash import healthy as rig_healthy

DEMO = Path(__file__).parents[2] / "hostlib" / "springhouse_host" / "sites" / "demo.toml"
TABLE = """
[owner_range]
room_target_lowest_c = 25
room_target_highest_c = 26.5
fan_quiet_lowest_percent = 50
wanted_move_min = 30
charging_move_min = 30
"""
RATIO_PM = 5700
BATTERY_MV = 13000


def healthy(process: BoardProcess) -> None:
    """Let all that the demo has fitted and wired answer."""
    rig_healthy(process)
    for role, celsius in (("coil_in", 24.0), ("coil_air", 26.0)):
        process.inputs.pad(serial(ROLES.index(role) + 1), scratchpad(celsius))
    process.inputs.adc(pico_w.BATTERY, BATTERY_MV * 1000 // RATIO_PM * 65536 // pico_w.ADC_FULL_MV)


@pytest.fixture(scope="module")
def path(tmp_path_factory) -> str:
    path = tmp_path_factory.mktemp("site") / "ranged.toml"
    path.write_text(DEMO.read_text(encoding="utf-8") + TABLE, encoding="utf-8")
    return str(path)


@pytest.fixture(scope="module")
def flashed(path: str, tmp_path_factory) -> Path:
    """A flash folder as `flash` leaves it, with a proof record."""
    folder = tmp_path_factory.mktemp("flash")
    site = load_site(path)
    wiring = folder / "wiring.json"
    probes = {role: serial(n + 1).hex() for n, role in enumerate(ROLES)}
    wiring.write_text(json.dumps({**WIRING, "probes": probes, "battery_ratio_pm": RATIO_PM}))
    image = built.image()
    verdict = made_verdict.write(folder / "verdict.json", **wanted(site))
    proof = flash.ProofFile(verdict, wanted(site))
    load = flash.make_load(site.settings(), wiring, proof, image, ranges=site.ranges())
    load.image.write(folder / "tree")
    (folder / "tree" / "code").rename(folder / "tree" / "a")
    (folder / "tree" / "current").write_text("a")
    return folder / "tree"


@pytest.fixture
def board(flashed: Path, tmp_path: Path) -> Iterator[TerminalBoard]:
    folder = tmp_path / "flash"
    shutil.copytree(flashed, folder)
    made = TerminalBoard(folder, before=healthy)
    yield made
    made.close()


def stored(folder: Path) -> Record:
    """What a reader of the flash finds, as after a power cut."""
    record = Record()
    assert record.decode(TwoSlots(str(folder / "a" / "settings"), Files()).load() or b"") == ""
    return record


def test_changes_are_in_force_stored_in_one_write_and_proven(board, path, tmp_path, capsys) -> None:
    texts = ["room_target_c=77 °F", "wanted=mon-fri 14:00-17:15", "fan_quiet_percent=50"]
    assert cli.run(["set", path, *texts, "--port", board.port]) == 0
    said = capsys.readouterr().out
    assert "25 °C" in said
    assert "25 to 26.5 °C" in said
    assert "mon,tue,wed,thu,fri 14:00-17:15" in said
    assert "50 %" in said
    assert "23:00-07:00" in said, "what was not changed is shown too"
    assert ", proven." in said
    slots = TwoSlots(str(tmp_path / "flash" / "a" / "settings"), Files())
    slots.load()
    assert slots.seq == 2, "one write for four slots"
    record = stored(tmp_path / "flash")
    begin, end = owner_change.parse(load_site(path), [texts[1]])
    assert (begin[1], end[1]) == (14 * 60, 17 * 60 + 15)
    for slot, value in (begin, end, (setting.ROOM_TARGET_MC, 25000), (setting.FAN_QUIET_PM, 500)):
        assert record.settings[slot] == value
    assert record.proven(bytes.fromhex(built.image().firmware))
    wait_a_minute(board)
    assert cli.run(["set", path, "--port", board.port]) == 0
    assert "mon,tue,wed,thu,fri 14:00-17:15" in capsys.readouterr().out


REFUSED = [
    ("room_target_c=27", "25 to 26.5 °C is proven; beyond it change"),
    ("room_target_c=24.999", "25 to 26.5 °C is proven"),
    ("room_target_c=300 K", "25 to 26.5 °C is proven"),
    ("room_target_c=99", "from 15 to 35 °C"),
    ("room_target_c=warm", "a number, then a unit"),
    ("room_target=25", "nearest valid key is room_target_c"),
    ("band_k=1.5", "not in the owner's range"),
    ("fan_full_percent=90", "not in the owner's range"),
    ("no_start=13:00-17:00", "not in the owner's range"),
    ("wanted=mon-fri 12:59-17:30", "moved by up to 30 min"),
    ("wanted=13:30-17:30", "only their begin and end"),
    ('wanted=["mon-fri 13:30-15:00", "mon-fri 16:00-17:30"]', "only their begin and end"),
    ("wanted=[", "a list of hours"),
    ("charging=23:31-07:00", "moved by up to 30 min"),
    ("room_target_c", "KEY=VALUE"),
    ("=25", "no such key"),
]


@pytest.mark.parametrize(("text", "why"), REFUSED)
def test_host_refuses_in_one_line_that_names_what_to_do(path, text, why, capsys) -> None:
    assert cli.run(["set", path, text, "--port", "/dev/no-such-port"]) == 2
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert why in said
    if "proven" in why or "range" in why or "moved" in why or "only" in why:
        assert f"springhouse prove {path}" in said


def test_host_lists_every_fault_and_a_key_given_twice(path, capsys) -> None:
    texts = ["room_target_c=30", "band_k=2", "room_target_c=25", "room_target_c=26"]
    assert cli.run(["set", path, *texts]) == 2
    said = capsys.readouterr().err
    assert said.count("\n") == 3
    assert "given twice" in said


def test_several_windows_are_given_as_in_the_site_file(tmp_path: Path) -> None:
    text = DEMO.read_text(encoding="utf-8").replace(
        'wanted = ["mon-fri 13:30-17:30"]', 'wanted = ["mon-fri 13:30-17:30", "sat 10:00-12:00"]'
    )
    path = tmp_path / "two.toml"
    path.write_text(text + TABLE, encoding="utf-8")
    given = 'wanted=["mon-fri 13:10-17:30", "sat 10:00-12:20"]'
    values = [v for _, v in owner_change.parse(load_site(str(path)), [given])]
    assert values == [13 * 60 + 10, 17 * 60 + 30, 10 * 60, 12 * 60 + 20]


def test_board_refuses_by_itself_whatever_the_host_thinks(board, path, tmp_path) -> None:
    site = load_site(path)
    before = stored(tmp_path / "flash").settings
    for changes, why in (
        ([(setting.ROOM_TARGET_MC, 24500)], "outside the proven range 25000..26500"),
        ([(setting.ROOM_TARGET_MC, 25500), (setting.MIN_OFF_S, 300)], "not in the owner's range"),
    ):
        with pytest.raises(KnownError) as caught:
            adjust.adjust(board.port, site, changes)
        assert why in str(caught.value)
        assert flash.UNTOUCHED in str(caught.value)
        assert stored(tmp_path / "flash").settings == before
        if why.startswith("outside"):
            wait_a_minute(board)


def wait_a_minute(board: TerminalBoard) -> None:
    """Let the board's ration of commands fill up."""
    with flash.Line(board.port) as line:
        first = line.wait(lambda m: "up" in m, 10)
        assert line.wait(lambda m: m.get("up", 0) > first["up"] + 61, 60)


def test_another_site_on_the_board_is_not_touched(board, tmp_path, capsys) -> None:
    other = tmp_path / "other.toml"
    text = DEMO.read_text(encoding="utf-8").replace("band_k = 1.0", "band_k = 1.1")
    other.write_text(text + TABLE, encoding="utf-8")
    assert cli.run(["set", str(other), "room_target_c=25.5", "--port", board.port]) == 2
    said = capsys.readouterr().err
    assert "not those of" in said
    assert said.count("\n") == 1
    assert stored(tmp_path / "flash").settings[setting.ROOM_TARGET_MC] == 26000


def test_a_line_that_goes_dead_in_the_middle_says_so(path, flashed, tmp_path, monkeypatch) -> None:
    """The command passes and no answer comes back: exit code 3, nothing claimed."""
    monkeypatch.setattr(adjust, "ANSWER_S", 2.0)
    folder = tmp_path / "flash"
    shutil.copytree(flashed, folder)
    made = TerminalBoard(folder, before=healthy)
    real = flash.Line.wait

    def deaf(self, wanted, timeout_s):
        answer = real(self, wanted, timeout_s)
        return None if answer and answer.get("done") == "set" else answer

    monkeypatch.setattr(flash.Line, "wait", deaf)
    try:
        assert cli.run(["set", path, "room_target_c=25", "--port", made.port]) == 3
    finally:
        made.close()
    assert stored(folder).settings[setting.ROOM_TARGET_MC] == 25000


def test_the_longest_command_fits_a_line_or_is_refused() -> None:
    fits = [(60 + n, 1000) for n in range(24)]
    assert len(json.dumps(adjust.command(fits), separators=(",", ":"))) <= LINE_MOST
    with pytest.raises(KnownError) as caught:
        adjust.command([(61 + n, 1439) for n in range(32)])
    assert "one key at a time" in str(caught.value)


def test_the_log_is_fetched_with_what_was_changed_in_it(board, path, tmp_path, capsys) -> None:
    assert cli.run(["set", path, "room_target_c=25.5", "--port", board.port]) == 0
    wait_a_minute(board)
    with Line(board.port) as line:
        line.send({"cmd": "reset"})  # writes what the board has kept so far
        record = line.wait(lambda m: m.get("up") == 1, 8)
    base, log, seen = str(tmp_path / "base.sqlite"), tmp_path / "box.log", tmp_path / "seen"
    seen.write_text(json.dumps(record))
    assert cli.run(["watch", "--replay", str(seen), "--speed", "0", "--base", base]) == 0
    capsys.readouterr()
    assert cli.run(["history", base, "--log", board.port, "--save-log", str(log)]) == 0
    told = "room_target_c changed from 26 °C to 25.5 °C"
    assert told in " ".join(capsys.readouterr().out.split())
    assert log.read_text().endswith('{"log": ""}\n')
    assert cli.run(["history", base, "--log", str(log)]) == 0
    assert told in " ".join(capsys.readouterr().out.split())


def test_a_board_without_a_log_to_give_is_one_line(monkeypatch) -> None:
    monkeypatch.setattr(fetch, "ANSWER_S", 0.3)
    ours, theirs = pty.openpty()
    port = os.ttyname(theirs)
    try:
        with pytest.raises(KnownError) as caught:
            fetch.fetch_log(port)
        assert caught.value.lines[0].startswith(f"board: no log on {port} at all")
        monkeypatch.setattr(Line, "send", lambda *_: os.write(ours, b'{"log":"00"}\n'))
        with pytest.raises(KnownError, match="after 1 records"):
            fetch.fetch_log(port)
    finally:
        os.close(ours)
        os.close(theirs)

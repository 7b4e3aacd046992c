"""Watching: lines into records, kept through kills and unplugging, shown in words, read only."""

import json
import os
import pty
import signal
import sqlite3
import subprocess
import sys
import threading
import time
import urllib.error
import urllib.request
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from patience import HANG_S
from springhouse import output, setting, words
from springhouse.blackbox import RECORD_SIZE
from springhouse_host.cli import run
from springhouse_host.errors import KnownError
from springhouse_host.site import Site, load_site
from springhouse_host.watching import sources
from springhouse_host.watching.base import Base
from springhouse_host.watching.board_record import (
    RESTARTS,
    BoardRecord,
    alarms,
    parse,
    room_words,
    started,
    store_words,
)
from springhouse_host.watching.calibration import RAW
from springhouse_host.watching.keeping import Keeper
from springhouse_host.watching.outlook import Outlook, Trend
from springhouse_host.watching.page import Page
from springhouse_host.watching.view import Facts, facts
from springhouse_host.watching.watch import watch

KILLS = int(os.environ.get("WATCH_KILLS", "6"))
MAIN = "import sys; from springhouse_host.cli import main; main(sys.argv[1:])"


def line(**changed: Any) -> str:
    """A line as report.py writes it, with changes."""
    keys: dict[str, Any] = {
        "up": 100,
        "utc": 29000000,
        "st": [0, 0],
        "out": 0,
        "mc": [4000, 4500, 25000, 20000, 20000],
        "bad": [0, 0, 0, 0, 0],
        "ml": 0,
        "mv": 12800,
        "in": 31,
        "w": [0, 0, 0],
        "lat": 0,
        "md": [0, 0],
    }
    return json.dumps({**keys, **changed}, separators=(",", ":"))


def record(**changed: Any) -> BoardRecord:
    found = parse(line(**changed), 1000.0)
    assert found is not None
    return found


@given(st.text(max_size=300) | st.binary(max_size=300).map(lambda b: b.decode("latin-1")))
def test_noise_on_the_wire_is_no_record(text: str) -> None:
    found = parse(text, 0.0)
    assert found is None or '"st"' in text


@given(
    st.sampled_from(sorted(json.loads(line()))),
    st.none()
    | st.booleans()
    | st.text(max_size=5)
    | st.lists(st.integers(), max_size=7)
    | st.integers(-(2**40), -(2**34))
    | st.integers(2**34, 2**40)
    | st.floats(),
)
def test_a_wrong_value_is_refused(key: str, value: object) -> None:
    """No key takes a text, a fraction, or a number outside what the board can send."""
    short = isinstance(value, list) and len(value) in (2, 3, 5)
    if not short:
        assert parse(line(**{key: value}), 0.0) is None
    assert parse(line(), 0.0) is not None


def test_words_say_what_and_why() -> None:
    chilling = record(out=output.COMPRESSOR, st=[1, 0])
    assert store_words(chilling, "2.5 °C by 07:00") == (
        f"{words.STORE_STATES[1]}: 4.2 °C, aiming for 2.5 °C by 07:00"
    )
    assert room_words(chilling).endswith("(not wanted now)")
    barred = record(w=[4, 8, 1 | 1 << 6])
    assert "ice threatens" in store_words(barred, None)
    assert "no delivery: tray" in room_words(barred)


def test_every_latch_has_advice() -> None:
    found = alarms(record(lat=(1 << len(words.LATCHES)) - 1))
    assert [what for what, _ in found] == list(words.LATCHES)
    assert all(todo for _, todo in found)
    bad = alarms(record(bad=[1, 0, 0, 0, 0]))
    assert bad[0][0] == f"{words.SENSORS[0]}: {words.FAULTS[1]}"


def test_what_started_the_board_is_told_and_raises_an_alarm_for_a_day() -> None:
    for n, word in enumerate(words.CAUSES):
        new, old = record(up=7500, rst=n), record(up=86_400, rst=n)
        assert started(new) == f"2 h 5 min ago: {word}"
        told = any(word in what for what, _ in alarms(new))
        assert told == (n in RESTARTS)
        assert not any(word in what for what, _ in alarms(old))
        assert facts(new, Outlook(None, None), None, False, "").started == started(new)
    assert started(record()) == "", "a board that does not say"
    assert parse(line(rst=len(words.CAUSES)), 0.0) is None


def test_bad_probes_are_no_temperatures() -> None:
    assert record(bad=[1, 0, 0, 0, 0]).store_c() == 4.5
    assert record(bad=[1, 1, 0, 0, 0]).store_c() is None


def seen_by(site: Site | None, *texts: str) -> Facts:
    """What the screen shows after these lines."""
    shown: list[Facts] = []
    with TemporaryDirectory() as folder, Keeper(Path(folder) / "b.sqlite", None) as keeper:
        watch(iter([(1000.0, text) for text in texts]), keeper, site, shown.append)
    return shown[-1]


def test_the_screen_shows_what_the_controller_believes() -> None:
    """Readings 4.0, 4.5 and 25.0 °C; the controller adds the offsets, so does the screen."""
    site = load_site("demo", {"settings.store_low_offset_k": 0.3, "settings.room_offset_k": -0.5})
    raw, believed = seen_by(None, line()), seen_by(site, line())
    assert (raw.store_c, raw.room_c, raw.readings) == (4.25, 25.0, RAW)
    assert believed.store_c == pytest.approx(4.4)
    assert believed.room_c == pytest.approx(24.5)
    assert "24.5 °C" in believed.room
    assert believed.readings == "with the offsets of the site file"
    assert seen_by(load_site("demo"), line()).readings == ""
    own = seen_by(site, settings_told(setting.ROOM_OFFSET_MK, 700), line())
    assert own.room_c == pytest.approx(25.7)
    assert own.readings == "with the offsets of the board"


def settings_told(slot: int, value: int) -> str:
    """Part of the settings as a board tells them: nothing but one slot is not zero."""
    told = [0] * setting.SIZE
    told[slot] = value
    return json.dumps({"settings": told, "from": 0})


@pytest.mark.parametrize(
    "text",
    [
        '{"settings":[1,2],"from":"x"}',
        '{"settings":5,"from":0}',
        '{"settings":null}',
        '"settings"',
        settings_told(setting.ROOM_OFFSET_MK, 4000),  # outside what the board takes
    ],
)
def test_odd_settings_on_the_wire_change_nothing(text: str) -> None:
    assert seen_by(None, text, line()).readings == RAW


def test_time_left_of_cold_is_the_straight_line() -> None:
    """From 6 °C at 2 K an hour to where delivery ends: (limit - 6) / 2 hours."""
    site = load_site("demo")
    trend = Trend(site)
    for minute in range(21):
        mc = 6000 + 2000 * (minute - 20) // 60
        now = record(up=minute * 60, out=output.PUMP, mc=[mc, mc, 30000, 7000, 9000])
        trend.add(now)
    settings = site.settings()
    from springhouse import conditions, setting

    limit = (
        min(
            settings[setting.WARM_FILL_MC] - conditions.SPENT_MK,
            30000 - settings[setting.USEFUL_MK],
        )
        / 1000.0
    )
    assert trend.outlook(now).cold_h == pytest.approx((limit - 6.0) / 2.0, rel=0.03)
    trend.add(record(up=5, out=output.PUMP))  # the board has restarted: the trend begins anew
    assert trend.outlook(record(up=5, out=output.PUMP)).cold_h is None


def test_time_left_of_battery_is_energy_over_power() -> None:
    """240 Wh, 9 + 2 x 3 + 1 W, half an hour gone: 14.5 h."""
    trend = Trend(load_site("demo"))
    for up in (0, 1800):
        now = record(up=up, out=output.PUMP | output.FAN, **{"in": 30})
        trend.add(now)
    assert trend.outlook(now).battery_h == pytest.approx(240.0 / 16.0 - 0.5)
    assert Trend(None).outlook(now) == Outlook(None, None)


def test_records_are_kept_before_they_are_shown(tmp_path: Path) -> None:
    texts = [line(up=n) for n in range(5)] + ["noise", '{"done":"ack"}']
    path = tmp_path / "b.sqlite"
    with Keeper(path, None) as keeper, Base(path, read_only=True) as base:
        seen: list[int] = []
        kept = watch(
            iter([(float(n), t) for n, t in enumerate(texts)]),
            keeper,
            None,
            lambda _: seen.append(base.count()),
        )
        assert kept == 5
        assert seen == [1, 2, 3, 4, 5]
        assert [r.line.up for r in base.records()] == [0, 1, 2, 3, 4]
        assert [r.line.up for r in base.records(2.0, 4.0)] == [2, 3]


def test_other_files_are_refused_and_left_alone(tmp_path: Path) -> None:
    text = tmp_path / "text.sqlite"
    text.write_text("no database at all, only words " * 50, "utf-8")
    foreign = tmp_path / "foreign.sqlite"
    with sqlite3.connect(foreign) as data:
        data.execute("create table mine (x)")
    later = tmp_path / "later.sqlite"
    with sqlite3.connect(later) as data:
        data.execute("pragma user_version = 99")
    for path in (text, foreign, later):
        before = path.read_bytes()
        with pytest.raises(KnownError, match=path.name):
            Base(path)
        assert path.read_bytes() == before
    with sqlite3.connect(foreign) as data:
        assert data.execute("select name from sqlite_master").fetchall() == [("mine",)]
    with pytest.raises(KnownError, match="no such database"):
        Base(tmp_path / "none.sqlite", read_only=True)


def test_a_killed_watcher_loses_nothing_that_was_kept(tmp_path: Path) -> None:
    """Killed at any moment of a replay; the base opens every time and holds a run without holes."""
    lines = tmp_path / "lines.txt"
    lines.write_text("\n".join(line(up=n) for n in range(20000)), "utf-8")
    base = tmp_path / "b.sqlite"
    arguments = ("watch", "--replay", str(lines), "--speed", "0")
    before = 0
    for kill in range(KILLS):
        process = subprocess.Popen(
            [sys.executable, "-c", MAIN, *arguments, "--base", str(base)],
            stdout=subprocess.DEVNULL,
        )
        known = before
        until = time.monotonic() + HANG_S
        while time.monotonic() < until and known < before + 20 + 7 * kill:
            time.sleep(0.01)
            if base.exists():
                try:
                    with Base(base, read_only=True) as held:
                        known = held.count()
                except KnownError:
                    continue  # the very first moments: the tables are not there yet
        process.send_signal(signal.SIGKILL)
        process.wait()
        with Base(base, read_only=True) as held:
            ups = [r.line.up for r in held.records(whose="board:without a name")]
        assert len(ups) >= known > before
        assert ups[before:] == list(range(len(ups) - before))
        before = len(ups)


def test_an_unplugged_port_is_waited_for_and_nothing_is_sent(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sources, "RETRY_S", 0.05)
    link = tmp_path / "port"
    master, slave = pty.openpty()
    link.symlink_to(os.ttyname(slave))
    texts: list[str] = []
    stop = threading.Event()

    def collect() -> None:
        texts.extend(text for _, text in sources.from_port(str(link), stop.is_set))

    def has(text: str) -> bool:
        until = time.monotonic() + HANG_S
        while time.monotonic() < until and text not in texts:
            time.sleep(0.01)
        return text in texts

    watcher = threading.Thread(target=collect)
    watcher.start()
    time.sleep(0.3)
    os.write(master, (line(up=1) + "\n").encode())
    assert has(line(up=1))
    os.close(slave)
    os.close(master)  # unplugged
    assert has("")
    link.unlink()
    master, slave = pty.openpty()
    link.symlink_to(os.ttyname(slave))
    time.sleep(0.5)
    os.write(master, (line(up=2) + "\n").encode())
    assert has(line(up=2))
    stop.set()
    watcher.join()
    os.set_blocking(master, False)
    with pytest.raises(BlockingIOError):  # nothing came from the watcher
        os.read(master, 100)
    os.close(slave)
    os.close(master)


def get(page: Page, path: str, **headers: str) -> Any:
    request = urllib.request.Request(f"http://127.0.0.1:{page.port}{path}", headers=headers)
    return urllib.request.urlopen(request, timeout=5)


def test_mains_and_battery_are_told_only_where_they_are_sensed() -> None:
    def power(**changes: object) -> str:
        sensed = {f"sensors.{key}": word for key, word in changes.items()}
        site = load_site("demo", {"battery.kind": "none"} | sensed)
        return facts(record(mv=12600), Outlook(None, None), site, False, "").power

    seen = facts(record(mv=12600), Outlook(None, None), load_site("demo"), False, "").power
    assert seen == "mains, battery 12.6 V"
    assert power(mains="fitted", battery="absent") == "mains"
    assert power(mains="absent", battery="absent") == ""


def test_us_units_reach_what_is_watched() -> None:
    shown = facts(record(), Outlook(None, None), load_site("demo"), False, "", us=True)
    plain = facts(record(), Outlook(None, None), load_site("demo"), False, "")
    assert "°C" in plain.store + plain.room
    assert "°F" in shown.store
    assert "°C" not in shown.store + shown.room


def test_page_shows_and_only_shows() -> None:
    page = Page(0)
    try:
        shown = facts(record(lat=1), Outlook(None, None), None, False, "")
        page.show(shown)
        text = get(page, "/").read().decode()
        assert "http://" not in text
        assert "https://" not in text
        with get(page, "/events") as events:
            got = json.loads(events.readline().decode().removeprefix("data: "))
            assert got["alarms"][0][0] == words.LATCHES[0]
            assert set(got) == set(shown.as_json())
        for path, headers, code in (
            ("/other", {}, 404),
            ("/../etc/passwd", {}, 404),
            ("/", {"Host": "elsewhere.example"}, 403),
        ):
            with pytest.raises(urllib.error.HTTPError) as caught:
                get(page, path, **headers)
            assert caught.value.code == code
            caught.value.close()
        post = urllib.request.Request(f"http://127.0.0.1:{page.port}/", data=b"x", method="POST")
        with pytest.raises(urllib.error.HTTPError) as caught:
            urllib.request.urlopen(post, timeout=5)
        assert caught.value.code == 501
        caught.value.close()
    finally:
        page.close()


def test_a_taken_port_is_one_line() -> None:
    page = Page(0)
    try:
        with pytest.raises(KnownError, match="--web-port"):
            Page(page.port)
    finally:
        page.close()


def test_demo_then_history(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    base = str(tmp_path / "b.sqlite")
    assert run(["watch", "demo", "--demo", "--speed", "0", "--base", base]) == 0
    screen = capsys.readouterr().out
    assert words.ROOM_STATES[1] in screen
    assert "2880 records kept" in screen.replace("\n", " ")
    out = tmp_path / "all.parquet"
    log = tmp_path / "box.log"
    log.write_text(json.dumps({"log": "06" + "00" * (RECORD_SIZE - 1)}))
    given = ["--site", "demo", "--export", str(out), "--log", str(log)]
    assert run(["history", base, *given]) == 0
    screen = capsys.readouterr().out
    assert "slot 0 changed from 0 to 0" in screen.replace("\n", " ")
    assert "cost so far" in screen
    assert out.stat().st_size > 10000
    assert "by label EUR" in screen
    assert "room max °C" in screen
    assert run(["history", base, "--site", "demo", "--units", "us"]) == 0
    screen = capsys.readouterr().out
    assert "room max °F" in screen
    assert "°C" not in screen


@pytest.mark.parametrize(
    "arguments",
    [
        ["watch", "--demo", "--replay", "x"],
        ["watch", "--replay", "nowhere.txt", "--base", "b.sqlite"],
        ["watch", "--port", "/dev/nowhere"],
        ["history", "nowhere.sqlite"],
        ["history", "nowhere.sqlite", "--day", "yesterday"],
        ["history", "nowhere.sqlite", "--export", "x.xls"],
        ["history", "nowhere.sqlite", "--log", "nowhere.log"],
    ],
)
def test_bad_input_is_one_line(
    arguments: list[str],
    capsys: pytest.CaptureFixture[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.chdir(tmp_path)
    assert run(arguments) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert len(said.err.splitlines()) == 1

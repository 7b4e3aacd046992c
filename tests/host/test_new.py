"""`springhouse new`: asked on a terminal, silent elsewhere, every answer under the site's rules."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from springhouse_host import asking, cli
from springhouse_host.site import load_site
from springhouse_host.site.read import MODELS

PROGRAM = [sys.executable, "-c", "from springhouse_host.cli import main; main()"]
QUESTIONS = [q for section in asking.QUESTIONS.values() for q in section]

# An answer to each question but those that others settle, some of them refused at first.
TYPED = {
    "freezer.cabinet_litres": ["3", "much", "7 ft3"],
    "freezer.label_input_w": ["130"],
    "freezer.label_kwh_year": [""],
    "freezer.climate_class": ["X", "SN-ST"],
    "freezer.refrigerant": [""],
    "store.water_litres": ["400", "120"],
    "loop.tube_bore_mm": [""],
    "loop.tube_length_m": ["30 ft"],
    "loop.pump_head_m": ["4"],
    "loop.pump_free_l_min": [""],
    "coil.fans": ["1.5", "1"],
    "coil.fan_m3_h": ["200"],
    "room.length_m": ["5"],
    "room.width_m": [""],
    "room.height_m": [""],
    "room.outside_wall_m2": ["1"],
    "room.window_area_m2": ["2", "0"],
    "site.currency": ["USD"],
    "tariff.price_per_kwh": ["0.3"],
    "tariff.cheap_price_per_kwh": ["none"],
    "schedule.wanted": ["evenings", "18:00-22:00; sat,sun 10:00-12:00"],
    "settings.room_target_c": ["25"],
    "promises.room_below_c": [""],
    "promises.room_share_percent": ["95"],
    "schedule.no_start": [""],
    "weather.source": ["nowhere.epw", "miami-tmy2"],
}
REFUSED = {
    "freezer.cabinet_litres: 3: from 20 to 2000 L",
    "freezer.cabinet_litres: \"much\": a number, then a unit; from 20 to 2000 L",
    "freezer.climate_class: \"X\": one of ",
    "store.water_litres: 400: at most ",
    "coil.fans: 1.5: a whole number from 1 to 12",
    "schedule.wanted: [\"evenings\"]: a list of hours such as ",
    "weather.file: \"",
    "room.window_area_m2: 2: within outside_wall_m2, 1 m2",
}  # fmt: skip


def on_terminal(folder: Path, typed: str) -> tuple[int, str]:
    """Exit code and screen of `new mine` run on a pseudo-terminal with keys typed ahead."""
    ours, theirs = os.openpty()
    with subprocess.Popen(
        [*PROGRAM, "new", "mine"], cwd=folder, stdin=theirs, stdout=theirs, stderr=theirs
    ) as process:
        os.close(theirs)
        os.write(ours, typed.encode())
        screen = b""
        while True:
            try:
                seen = os.read(ours, 4096)
            except OSError:  # the other end is closed
                break
            if not seen:
                break
            screen += seen
        os.close(ours)
    return process.returncode, screen.decode().replace("\r\n", "\n")


def test_asks_on_a_terminal_until_each_answer_is_good(tmp_path) -> None:
    assert set(TYPED) == {q.key for q in QUESTIONS} - {"room.window_side", "tariff.cheap_hours"}
    answers = [text for texts in TYPED.values() for text in texts]
    code, screen = on_terminal(tmp_path, "".join(f"{text}\n" for text in answers))
    assert code == 0, screen
    for line in REFUSED:
        assert f"    {line}" in screen
    assert screen.count("    ") == len(REFUSED)
    site = load_site(tmp_path / "mine" / "site.toml").file
    assert site.freezer.cabinet_litres == pytest.approx(7 * 28.3168, rel=1e-4)  # L in a cubic foot
    assert site.loop.tube_length_m == pytest.approx(9.144)  # 30 international feet
    assert (site.store.water_litres, site.coil.fans, site.room.length_m) == (120, 1, 5)
    assert (site.room.window_area_m2, site.room.window_side) == (0, "none")
    assert (site.tariff.price_per_kwh, site.tariff.cheap_hours) == (0.3, ())
    assert [hours.start_min for hours in site.schedule.wanted] == [18 * 60, 10 * 60]
    assert site.room.people_hours == site.schedule.wanted
    assert site.schedule.no_start == ()
    assert (site.promises.room_below_c, site.promises.room_share_percent) == (27, 95)  # 25 + 2 K
    assert site.weather.source == "miami-tmy2"
    assert (site.freezer.label_kwh_year, site.site.name) == (230, "mine")  # the demo's, the folder


def test_broken_off_half_way_writes_nothing(tmp_path) -> None:
    code, screen = on_terminal(tmp_path, "150\n\x04")
    assert (code, list(tmp_path.iterdir())) == (cli.EXIT_INTERRUPTED, []), screen


def test_asks_nothing_when_piped(tmp_path) -> None:
    done = subprocess.run(
        [*PROGRAM, "new", "mine"], cwd=tmp_path, input="140\n", capture_output=True, text=True,
        check=False,
    )  # fmt: skip
    assert (done.returncode, done.stderr) == (0, "")
    assert "litres" not in done.stdout
    assert load_site(tmp_path / "mine" / "site.toml").file.freezer.cabinet_litres == 198


def test_every_question_is_about_a_key_of_the_file() -> None:
    for question in QUESTIONS:
        table, _, key = question.key.partition(".")
        assert key in MODELS[table].model_fields
        assert asking.value(question.key, {}) is not None  # what an empty answer takes


def test_bad_values_are_refused_together(capsys, tmp_path) -> None:
    arguments = ["new", str(tmp_path / "x"), "--with", "coil.fans=99", "--with", "loop.lift_m=low"]
    assert cli.run(arguments) == 2
    assert capsys.readouterr().err.splitlines() == [
        '--with loop.lift_m: "low": a number, then a unit; from 0 to 10 m',
        "--with coil.fans: 99: a whole number from 1 to 12",
    ]
    assert list(tmp_path.iterdir()) == []


def test_charging_follows_the_cheap_hours() -> None:
    hours = asking.read("tariff.cheap_hours", "01:00-06:30; sat,sun 12:00-14:00")
    found = asking.resolve({"tariff.cheap_hours": hours})
    assert found["schedule.charging"] == ["01:00-06:30", "sat,sun 12:00-14:00"]
    assert found["schedule.full_by"] == "06:30"
    assert asking.faults({"tariff.cheap_hours": hours}) == []


@settings(max_examples=25, deadline=None)
@given(st.integers(100, 700), st.floats(0.35, 0.95))
def test_any_usual_freezer_has_its_probes_and_pipes_in_place(cabinet: int, share: float) -> None:
    """Water to a third of a chest or more: nothing else needs an answer."""
    assert asking.faults({"freezer.cabinet_litres": cabinet}) == []
    water = round(share * cabinet, 1)
    assert asking.faults({"freezer.cabinet_litres": cabinet, "store.water_litres": water}) == []

"""Seasons: steps for what is fitted, a record that can be left and taken up, dates that are due."""

import json
from datetime import date
from pathlib import Path

import pytest
from springhouse_host import cli, load_site, seasons
from springhouse_host.commissioning import steps as commissioning
from springhouse_host.commissioning.kinds import add_months

SITE = load_site("demo")
REQUIRED = Path(__file__).parents[2] / "wiring" / "required_hardware.md"


def names(season: seasons.Season, changes: dict[str, object] | None = None) -> list[str]:
    return [step.name for step in seasons.steps(season, load_site("demo", changes))]


def test_only_what_is_fitted_is_asked() -> None:
    assert "alarm_level" in names("open")
    assert "battery" in names("close")
    changes = {"sensors.level": "absent", "battery.kind": "none", "sensors.battery": "absent"}
    fewer = names("open", changes)
    assert not {"alarm_level", "battery"} & set(fewer)
    assert "battery" not in names("close", changes)
    assert "ice_point_store_high" in fewer


def test_the_proof_tests_are_those_of_commissioning() -> None:
    """One list: each test that comes back, by the same name and as often."""
    wanted = {s.name: s.repeats_months for s in commissioning.steps(SITE) if s.repeats_months}
    opened = {step.name: step.repeats_months for step in seasons.steps("open", SITE)}
    assert len(wanted) > 10
    assert wanted.items() <= opened.items()
    assert set(opened) - set(wanted) == {
        "look", "fill", "relay_life", "clock_battery", "clock", "battery", "prove",
        "first_charge_h", "first_charge_k", "compared",
    }  # fmt: skip


def test_months_end_where_the_month_does() -> None:
    assert add_months(date(2026, 1, 31), 1) == date(2026, 2, 28)
    assert add_months(date(2027, 12, 15), 2) == date(2028, 2, 15)
    assert add_months(date(2028, 2, 29), 12) == date(2029, 2, 28)


def test_intervals_agree_with_the_wiring_folder() -> None:
    """What wiring/required_hardware.md says of the cut-out, the siphon and the device's button."""
    rows = {line.split("|")[2].strip(): line for line in REQUIRED.read_text("utf-8").splitlines()
            if line.startswith("| ROW")}  # fmt: skip
    months = {s.name: s.repeats_months for s in seasons.steps("open", SITE)}
    assert "yearly" in rows["relay contact welded"]
    assert months["cut_out"] == 12
    assert "yearly" in rows["siphon through a stopped pump"]
    assert months["siphon"] == 12
    assert "monthly" in rows["water meets mains"]
    assert months["residual_current"] == 1
    assert "monthly" in rows["float that sticks closed"]
    assert months["alarm_tray"] == 1


def test_a_record_is_taken_up_where_it_was_left(tmp_path: Path, capsys) -> None:
    record = tmp_path / "open.json"
    call = ["season", "open", "demo", "--record", str(record), "--on"]
    assert (
        cli.run(
            [*call, "2026-05-31", "--done", "residual_current", "--done", "ice_point_store_low=0.1"]
        )
        == 1
    )
    shown = capsys.readouterr().out
    assert "[x] button of the residual-current device" in shown
    assert "2026-06-30: button of the residual-current device" in shown  # May has 31 days
    assert "2027-05-31: store_low: in crushed ice" in shown
    assert cli.run([*call, "2026-06-02", "--done", "ice_point_store_high=0.5"]) == 1
    shown = capsys.readouterr().out
    assert "[!] store_high" in shown
    assert "recalibrate" in shown
    answers = json.loads(record.read_text())["answers"]
    assert set(answers) == {"residual_current", "ice_point_store_low", "ice_point_store_high"}
    assert answers["residual_current"]["on"] == "2026-05-31"
    assert json.loads(record.read_text())["done"] is False


def test_all_steps_done_leave_with_nought(tmp_path: Path, capsys) -> None:
    call = ["season", "close", "demo", "--record", str(tmp_path / "c.json"), "--on", "2026-10-01"]
    done = [f"{s.name}=1" if s.unit else s.name for s in seasons.steps("close", SITE)]
    flags = [part for name in done for part in ("--done", name)]
    sheet = tmp_path / "c.md"
    assert cli.run([*call, *flags[:-2]]) == 1
    assert cli.run([*call, *flags[-2:], "--sheet", str(sheet)]) == 0
    assert "open:" not in capsys.readouterr().out.splitlines()[-1]
    text = sheet.read_text("utf-8")
    assert "[ ]" not in text
    assert "wedged open" in text
    assert "slime" in text
    assert "plug" in text


def test_a_slower_first_charge_than_last_years_is_told(tmp_path: Path, capsys) -> None:
    old, new = tmp_path / "2025.json", tmp_path / "2026.json"
    charge = ["--done", "first_charge_h=6", "--done", "first_charge_k=12"]
    assert (
        cli.run(["season", "open", "demo", "--record", str(old), "--on", "2025-05-01", *charge])
        == 1
    )
    slow = ["--done", "first_charge_h=8", "--done", "first_charge_k=12", "--last", str(old)]
    capsys.readouterr()
    assert cli.run(["season", "open", "demo", "--record", str(new), *slow]) == 1
    assert "last year 0.50 h/K: dust on the condenser" in " ".join(capsys.readouterr().out.split())
    good = ["--done", "first_charge_h=7", "--last", str(old)]
    assert cli.run(["season", "open", "demo", "--record", str(new), *good]) == 1
    assert "dust on the condenser" not in capsys.readouterr().out


def test_only_a_proof_of_this_site_counts(tmp_path: Path, capsys) -> None:
    proof = tmp_path / "verdict.json"
    call = ["season", "open", "demo", "--record", str(tmp_path / "o.json"), "--proof", str(proof)]
    for verdict, says in (
        ({"site_sha256": "0" * 64, "kept": True}, "proof of another site file"),
        ({"site_sha256": SITE.site_sha256, "kept": False}, "NOT KEPT"),
        ({"kept": True}, "no record of springhouse prove"),
    ):
        proof.write_text(json.dumps(verdict))
        assert cli.run(call) == 2
        assert says in capsys.readouterr().err
    proof.write_text(json.dumps({"site_sha256": SITE.site_sha256, "kept": True}))
    assert cli.run(call) == 1
    assert "[x] proven again" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--done", "icepoint=1"], "no step 'icepoint'; steps: look, fill, residual_current"),
        (["--done", "look", "--done", "clock_battery"], "a reading in V is needed"),
        (["--done", "clock_battery=full"], "'full': a number from 0 to 4 V"),
        (["--done", "clock_battery=nan"], "'nan': a number from 0 to 4 V"),
        (["--done", "prove"], "given by --proof FILE"),
        (["--last", "none.json"], "none.json: cannot be read"),
    ],
)
def test_bad_input_is_one_line_and_nothing_is_saved(tmp_path: Path, capsys, monkeypatch, arguments: list[str], says: str) -> None:  # fmt: skip  # noqa: E501
    monkeypatch.chdir(tmp_path)
    assert cli.run(["season", "open", "demo", *arguments]) == 2
    told = capsys.readouterr().err
    assert told.count("\n") == 1
    assert says in told
    assert list(tmp_path.iterdir()) == []


def test_a_damaged_record_is_refused_and_kept(tmp_path: Path, capsys) -> None:
    path = tmp_path / "r.json"
    for text in ("{", '{"schema": 1, "answers": {"look": {"on": "May"}}}', "[]"):
        path.write_text(text)
        assert cli.run(["season", "open", "demo", "--record", str(path)]) == 2
        assert capsys.readouterr().err.startswith(f"{path}: ")
        assert path.read_text() == text

"""`springhouse run`: one simulation, its summary and its files."""

import csv
import json
import subprocess
import sys
from pathlib import Path

import pytest
from springhouse_host import cli

TWO_DAYS = ("run", "demo", "--start", "2001-07-09", "--days", "2")


def test_summary_and_files(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    table, picture, record = (tmp_path / name for name in ("r.csv", "r.png", "r.json"))
    code = cli.run([*TWO_DAYS, "--csv", str(table), "--plot", str(picture), "--json", str(record)])
    assert code == 0
    screen = capsys.readouterr().out
    assert "wanted hours over 28 °C" in screen
    assert picture.read_bytes().startswith(b"\x89PNG")
    rows = list(csv.DictReader(table.read_text("utf-8").splitlines()))
    assert len(rows) == 2 * 24 * 60
    assert rows[0]["local_time"] == "2001-07-09 01:00:00"  # an hour of summer time ahead
    figures = json.loads(record.read_text("utf-8"))
    by_consumer = figures["energy_by_consumer_kwh"]
    # the table's running meter and the totals are two ways to the same energy
    metered = (float(rows[-1]["mains_j"]) - float(rows[0]["mains_j"])) / 3.6e6
    assert figures["energy_kwh"] == pytest.approx(metered, abs=0.01)
    assert by_consumer["freezer"] < by_consumer["mains"]


def test_us_units_change_the_screen_only(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    record = tmp_path / "r.json"
    assert cli.run([*TWO_DAYS, "--units", "us", "--json", str(record)]) == 0
    screen = capsys.readouterr().out
    assert "wanted hours over 82.4 °F" in screen
    assert json.loads(record.read_text("utf-8"))["wanted_mean_c"] < 40.0


def test_a_run_without_wanted_hours_has_no_mean_of_them(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A Saturday: the demo is wanted on weekdays. NaN is no JSON (RFC 8259, section 6)."""
    record = tmp_path / "r.json"
    arguments = ("run", "demo", "--start", "2001-07-07", "--days", "1", "--json", str(record))
    assert cli.run(arguments) == 0
    assert "no wanted hours" in capsys.readouterr().out
    assert json.loads(record.read_text("utf-8"))["wanted_mean_c"] is None


@pytest.mark.parametrize(
    ("arguments", "line"),
    [
        (("run", "demo", "--days", "0"), "--days"),
        (("run", "demo", "--start", "09.07.2001"), "09.07.2001"),
        (("run", "nowhere.toml"), "nowhere.toml"),
        (("run", "demo", "--csv", "nowhere/r.csv"), "nowhere/r.csv: cannot be written"),
    ],
)
def test_bad_input_is_one_line(
    arguments: tuple[str, ...], line: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.run(arguments) == 2
    out = capsys.readouterr()
    assert out.out == ""
    assert line in out.err
    assert len(out.err.splitlines()) == 1


def test_a_wrong_fault_is_told_before_the_plant_is_imported() -> None:
    code = (
        "import sys\nfrom springhouse_host import cli\n"
        "code = cli.run(['run', 'demo', '--fault', 'flood@1:00'])\n"
        "print(code, *(m for m in sys.modules if m.startswith('springhouse_sim.')))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    status, *loaded = done.stdout.split()
    assert status == "2"
    assert done.stderr.startswith("--fault flood@1:00: no fault 'flood', did you mean 'floor_wet'")
    assert done.stderr.count("\n") == 1
    assert "springhouse_sim.world.faults" in loaded
    assert not {"springhouse_sim.bench", "springhouse_sim.plant.rates"} & {*loaded}

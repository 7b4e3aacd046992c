"""`springhouse prove` itself: verdict, record, exit codes."""

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from patience import HANG_S
from site_text import edited
from springhouse_host import cli
from springhouse_host.errors import KnownError
from springhouse_host.induction.whole import Induction
from springhouse_host.proof import abstract, firmware_alone, invariants, placing, scenarios
from springhouse_host.proof.checking import CHANGED, check
from springhouse_host.proof.complete import Complete
from springhouse_host.proof.firmware_alone import Alone
from springhouse_host.proof.random_inputs import drive
from springhouse_host.proof.scenarios import Scenario
from springhouse_host.proof.sources import wanted
from springhouse_host.site import load_site
from springhouse_host.site.site import Site

VERDICT_KEYS = {
    "schema",
    "site",
    "kept",
    "evidence",
    "unguarded",
    "assumes",
    "currency",
    "without_store",
    "settings_sha256",
    "firmware_sha256",
    "site_sha256",
    "promises",
    "invariants",
    "scenarios",
}
SCENARIO_KEYS = {
    "name",
    "days",
    "seed",
    "min_store_true_c",
    "max_ice_kg",
    "room_hours_over",
    "starts_per_hour_max",
    "off_gap_min_s",
    "dry_seconds_max",
    "spill_l",
    "energy_kwh",
    "cost",
}


PROVE = "import sys; from springhouse_host.cli import main; main(['prove', *sys.argv[1:]])"


def prove(*arguments: str, cwd: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-c", PROVE, *arguments],
        capture_output=True,
        text=True,
        cwd=cwd,
        timeout=HANG_S,
        check=False,
    )


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> tuple[int, str, dict[str, Any]]:
    """Exit code, screen and record of the demo's proof."""
    folder = tmp_path_factory.mktemp("demo")
    done = prove("demo", "--json", "v.json", cwd=folder)
    assert done.stderr == ""
    return done.returncode, done.stdout, json.loads((folder / "v.json").read_text("utf-8"))


def test_the_demo_is_kept(demo: tuple[int, str, dict[str, Any]]) -> None:
    code, screen, record = demo
    assert code == 0
    assert record["kept"] is True
    assert "KEPT - ESTIMATE" in screen
    assert "Kept in simulation, for the parts described, assuming:" in screen
    assert screen.index("assuming:") < screen.index("Not guarded:")


def test_record_obeys_the_schema(demo: tuple[int, str, dict[str, Any]]) -> None:
    record = demo[2]
    assert record.keys() >= VERDICT_KEYS
    assert record["schema"] == 2
    for name in CHANGED:
        assert len(bytes.fromhex(record[name])) == 32
    for promise in record["promises"]:
        assert promise.keys() == {
            "name",
            "safety",
            "unit",
            "limit",
            "at_least",
            "worst",
            "margin",
            "scenario",
            "kept",
        }
        assert promise["kept"] is (promise["margin"] >= 0.0)
    for scenario in record["scenarios"]:
        assert scenario.keys() >= SCENARIO_KEYS


def test_the_record_passes_for_its_site_and_for_no_other(
    demo: tuple[int, str, dict[str, Any]], tmp_path: Path
) -> None:
    path = tmp_path / "v.json"
    path.write_text(json.dumps(demo[2]), "utf-8")
    check(path, wanted(load_site("demo")))
    with pytest.raises(KnownError, match="stale: the weather has changed"):
        check(path, wanted(load_site("demo", {"weather.source": "miami-tmy2"})))
    fault = next(r for r in demo[2]["responses"] if r["met"])
    fault["value"] = 1e6
    path.write_text(json.dumps(demo[2]), "utf-8")
    with pytest.raises(KnownError, match="responses: was changed after the proof"):
        check(path, wanted(load_site("demo")))


def test_every_invariant_has_cases_and_no_violation(
    demo: tuple[int, str, dict[str, Any]],
) -> None:
    held = {i["id"]: i for i in demo[2]["invariants"]}
    assert max(invariants.TEXTS) == 31
    numbers = set(range(1, 32)) - set(invariants.BOARD_ONLY)
    assert held.keys() == {f"INV-{n:02d}" for n in numbers}
    assert all(i["cases"] > 0 and i["violations"] == 0 for i in held.values())


def test_scenarios_are_all_there(demo: tuple[int, str, dict[str, Any]]) -> None:
    names = " | ".join(s["name"] for s in demo[2]["scenarios"])
    for expected in (
        "3 typical days",
        "7 hottest days",
        "read 200 mK high",
        "read 200 mK low",
        "compressor 20 % weaker",
        "flow 30 % lower",
        "more where the freezer stands",
        "7 hottest days, 4 K warmer, low reading",
        "7 hottest days, shade forgotten",
        "store_low open",
        "shorted to zero frames",
        "stuck",
        "drifts by +1000 mK",
        "tray float opens",
        "loses its prime",
        "mains away 2 h in the charge",
        "without the store",
    ):
        assert expected in names
    assert {s["days"] for s in demo[2]["scenarios"] if "hottest" in s["name"]} == {7}


def test_what_lies_beyond_the_promise_is_told(demo: tuple[int, str, dict[str, Any]]) -> None:
    """The warmer, the fewer of the wanted hours; the verdict is kept all the same."""
    shares = {
        (row["name"], row["reading"]): row["share_percent"] for row in demo[2]["beyond_the_promise"]
    }
    for variant in ("low", "mid", "high"):
        plain, wave = (shares[name, variant] for name in ("as the weather has it", "4 K warmer"))
        assert wave < plain
    assert "beyond the promise, told and not counted" in " ".join(demo[1].split())


def test_the_store_helps(demo: tuple[int, str, dict[str, Any]]) -> None:
    hottest = {n: w for n, w in demo[2]["without_store"].items() if "hottest" in n}
    assert hottest
    assert all(w["cooler_with_store_k"] > 1.0 for w in hottest.values())


def few_checks() -> Alone:
    """What would be kept of the firmware after a few random lives."""
    machine, nothing = abstract.Checked((), ()), Induction(())
    return Alone(Complete(0, 0, 0, ()), drive(1, 1000), machine, nothing, "long ago")


UNBROKEN = scenarios.unbroken


def few_scenarios(site: Site, **asked: Any) -> list[Scenario]:
    """The nominal days without the whole summer, and a corner to be replayed."""
    everything = UNBROKEN(site, **asked)
    nominal = [s for s in everything if s.group == "nominal" and s.days <= 7]
    return [*nominal, next(s for s in everything if s.group == "corner")]


def no_faults(*_: Any) -> tuple[()]:
    """Nothing is looked for."""
    return ()


def test_the_hard_demo_is_not_kept_and_says_why(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The verdict on few scenarios; the rest of the proof, the same for every site, is left out."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(scenarios, "unbroken", few_scenarios)
    monkeypatch.setattr(placing, "places", no_faults)
    monkeypatch.setattr(firmware_alone, "kept", lambda sources: few_checks())
    assert cli.run(["prove", "demo-hard", "--draws", "16", "--json", "v.json"]) == 1
    screen = capsys.readouterr().out
    record = json.loads((tmp_path / "v.json").read_text("utf-8"))
    assert record["kept"] is False
    broken = [p for p in record["promises"] if not p["kept"]]
    assert [p["unit"] for p in broken] == ["%"]
    assert broken[0]["margin"] < 0.0
    assert "limited by: " in screen
    assert "found at long ago" in " ".join(screen.split())
    assert record["firmware_checks_from"] == "long ago"
    assert "Not kept in simulation" in screen
    assert all(i["violations"] == 0 for i in record["invariants"])


def test_bad_input_is_one_line_a_fault_and_leaves_nothing(tmp_path: Path) -> None:
    text = edited(("freezer.label_input_w", "-3"), ("store.draw_m", "nan"))
    (tmp_path / "site.toml").write_text(text, "utf-8")
    done = prove("site.toml", "--json", "v.json", cwd=tmp_path)
    assert done.returncode == 2
    assert done.stdout == ""
    assert len(done.stderr.splitlines()) == 2
    assert [p.name for p in tmp_path.iterdir()] == ["site.toml"]


def test_a_folder_that_is_not_there_is_refused_before_the_work(tmp_path: Path) -> None:
    done = prove("demo", "--json", "nowhere/v.json", cwd=tmp_path)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.startswith("nowhere/v.json: cannot be written")

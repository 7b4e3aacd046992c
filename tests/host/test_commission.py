"""Commissioning: steps for what is fitted, judged answers, a record, results in a new site file."""

import io
import json
import math
import shutil
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path

import pytest
from springhouse import mode, setting
from springhouse_host import cli, load_site
from springhouse_host.commissioning import (
    answer_book,
    judging,
    kinds,
    person,
    prediction,
    sheet,
    steps,
)
from springhouse_host.errors import KnownError
from springhouse_host.proof import placing, running, scenarios
from springhouse_sim.bench import Bench
from springhouse_sim.world.owner import AskMode

SITE = load_site("demo")
WIRING = Path(__file__).parents[2] / "wiring"
DAY = date(2026, 5, 31)
# Ten readings of a 12-bit probe 0.1 K too low; two beside its steps of 1/16 K.
ICE = "-0.125 -0.125 -0.0625 -0.125 -0.0625 -0.125 -0.125 -0.0625 -0.125 -0.0625"
FLOW_L_MIN = sum(prediction.flow_l_min(SITE)) / 2.0
# A good answer to every ask that is no plain yes or no.
GOOD = {
    "control": "knob",
    "delay_s": "20",
    "freezer_kg": "40",
    "length_m": "0.9",
    "width_m": "0.6",
    "height_mm": "500",
    "drop_mm": "0",
    "readings": ICE,
    "board_l_min": f"{FLOW_L_MIN:.4f}",
    "pulses_l": "450",
    "litres": f"{FLOW_L_MIN:.4f}",
    "seconds": "60",
    "from_c": "15",
    "to_c": "5",
    "place_c": "24",
    "waited_s": "700",
}


def reply(step: kinds.Step, ask: kinds.Ask) -> str:
    if ask.name == "moved":
        return step.probe
    if ask.name == "hours":
        return f"{prediction.charge_hours(SITE, 15.0, 5.0, 24.0)['mid']:.3f}"
    return GOOD.get(ask.name, ask.right or "yes")


def replies(*wanted: kinds.Step) -> str:
    return "".join(f"{reply(s, ask)}\n" for s in wanted or steps.steps(SITE) for ask in s.asks)


def values(name: str, **other: answer_book.Value) -> tuple[kinds.Step, answer_book.Values]:
    step = steps.step_named(SITE, name)
    made = {ask.name: person.read(ask, reply(step, ask)) for ask in step.asks} | other
    assert None not in made.values()
    return step, made


def wrong(name: str, **other: answer_book.Value) -> list[str]:
    return judging.judge(SITE, *values(name, **other)).wrong


@pytest.fixture
def call(tmp_path: Path, monkeypatch, capsys):
    """Run the command in a folder of its own; returns exit code, output, error lines."""
    monkeypatch.chdir(tmp_path)
    with_demo = Path(shutil.copy(Path(running.__file__).parents[1] / "sites/demo.toml", tmp_path))

    def run(*flags: str, typed: str = "") -> tuple[int, str, list[str]]:
        monkeypatch.setattr("sys.stdin", io.StringIO(typed))
        code = cli.run(["commission", with_demo.name, "--on", DAY.isoformat(), *flags])
        out, err = capsys.readouterr()
        return code, out, err.splitlines()

    return run


def test_the_hand_sheet_is_made_from_the_steps() -> None:
    assert (WIRING / "commissioning.md").read_text("utf-8") == sheet.hand_sheet()


def test_every_hardware_row_owed_at_commissioning_has_its_step() -> None:
    """Rows of required_hardware.md and, by hand, the step that does their proof test."""
    rows = {
        line.split("|")[1].strip(): line
        for line in (WIRING / "required_hardware.md").read_text("utf-8").splitlines()
        if line.startswith("| ROW")
    }
    shown_by = {
        "ROW-07": "probe",
        "ROW-13": "cut_out",
        "ROW-19": "alarm_mains",
        "ROW-25": "siphon",
        "ROW-29": "droplets",
        "ROW-31": "alarm_tray",
        "ROW-41": "board_off",
        "ROW-48": "drive",
        "ROW-50": "quiet_buses",
        "ROW-53": "power_up",
        "ROW-59": "residual_current",
    }
    owed = {row for row, line in rows.items() if "commissioning" in line.split("|")[-2]}
    assert owed <= set(shown_by)
    by_name = {step.name: step for step in steps.STEPS}
    for row, name in shown_by.items():
        months = by_name[name].repeats_months
        often = {"monthly": 1, "yearly": 12}
        for word, expected in often.items():
            if word in rows[row].split("|")[-2]:
                assert months == expected, row


def test_only_what_is_fitted_is_asked() -> None:
    names = {step.name for step in steps.steps(SITE)}
    assert {"alarm_floor", "ice_point_coil_in", "dry_run", "cut_out"} <= names
    fewer = load_site(
        "demo",
        {"sensors.floor": "absent", "sensors.flow": "absent", "sensors.coil_in": "absent",
         "protection.independent_freeze_cutout": False},
    )  # fmt: skip
    left = {step.name for step in steps.steps(fewer)}
    assert names - left >= {"alarm_floor", "ice_point_coil_in", "dry_run", "cut_out"}
    assert [ask.name for ask in steps.step_named(fewer, "flow").asks] == ["litres", "seconds"]
    with pytest.raises(KnownError, match="no step 'dry_run'"):
        steps.step_named(fewer, "dry_run")


def test_fill_line_and_floor() -> None:
    """By hand: 150 L on 0.72 × 0.42 m, ice 0.9167 and water 0.99984 kg/L (CRC Handbook)."""
    line = prediction.fill_line(SITE)
    area_m2 = 0.72 * 0.42
    assert line.water_mm == pytest.approx(150.0 / area_m2, abs=0.1)
    swell = 1.0 / 0.9167 - 1.0 / 0.99984
    assert line.ice_mm == pytest.approx(0.3 * swell / area_m2, rel=0.01)
    assert line.solid_mm == pytest.approx(0.09 * line.water_mm, rel=0.02)  # "9 %"
    assert line.highest_mm == pytest.approx(655 - 20 - line.ice_mm)
    assert prediction.floor_kg_m2(SITE, 40.0, 1.0, 0.5) == pytest.approx((40 + 150) / 0.5, rel=1e-3)


@pytest.mark.parametrize(
    ("name", "other", "says"),
    [
        ("type", {"variable": "yes"}, "a relay in its cord"),
        ("type", {"frost_free": "yes"}, "defrost heater"),
        ("restart", {"restarts": "no"}, "electronic standby"),
        ("restart", {"delay_s": 300.0}, "min_on_s"),
        ("skin", {"bare": "no"}, "clad"),
        ("floor", {"carries": "no"}, "kg/m²"),
        ("fill", {"height_mm": 640.0}, "635 mm at most"),
        ("fill", {"drop_mm": 3.0}, "it leaks"),
        ("probe_room", {"moved": "store_low"}, "store_low moved"),
        ("ice_point_room", {"readings": [0.0] * 9 + [0.1875]}, "spread"),
        ("ice_point_room", {"readings": [0.6] * 10}, "off"),
        ("ice_point_room", {"readings": [0.0] * 9}, "9 good readings"),
        ("flow", {"litres": FLOW_L_MIN * 2.0}, "L/min: expected"),
        ("flow", {"board_l_min": 0.0}, "reads nothing"),
        ("flow", {"board_l_min": 0.001}, "0 pulses a litre: the board takes 1 to"),
        ("flow", {"seconds": 10.0, "litres": FLOW_L_MIN / 6.0}, "stopwatch"),
        ("siphon", {"drop_mm": 2.0}, "vent hole"),
        ("first_charge", {"hours": 60.0}, "own thermostat"),
        ("first_charge", {"hours": 1.0}, "stirred"),
        ("first_charge", {"to_c": 14.5}, "at least 1 K"),
        ("outage", {"waited_s": 599.0}, "off-time"),
    ],
)
def test_what_is_wrong_is_said(name: str, other: answer_book.Values, says: str) -> None:
    assert wrong(name) == []
    found = wrong(name, **other)
    assert len(found) == 1
    assert says in found[0]


@pytest.mark.parametrize(
    ("step", "ask", "text"),
    [
        ("restart", "delay_s", "-1"),
        ("restart", "delay_s", "nan"),
        ("restart", "delay_s", "3601"),
        ("restart", "delay_s", "20 30"),
        ("restart", "coldest", "true"),
        ("type", "control", ""),
        ("ice_point_room", "readings", "0 " * 9),
        ("ice_point_room", "readings", "0 " * 9 + "inf"),
    ],
)
def test_a_bad_answer_is_none(step: str, ask: str, text: str) -> None:
    asked = {a.name: a for a in steps.step_named(SITE, step).asks}[ask]
    assert person.read(asked, text) is None


def test_the_freezer_is_refused_and_nothing_more_is_asked(call) -> None:
    code, out, err = call(typed="electronic\nyes\nno\n")
    assert (code, err) == (1, [])
    assert "NOT FIT" in out
    assert "== residual_current" not in out
    assert "== restart" not in out


def test_ice_point_and_flow_follow_the_arithmetic() -> None:
    """GUM, JCGM 100:2008, 5.1.2: root of the sum of squares, coverage 2."""
    found = judging.judge(SITE, *values("ice_point_room")).results
    readings = [float(word) for word in ICE.split()]
    assert found["offset_k"] == pytest.approx(0.1, abs=1e-9)
    scatter = math.sqrt(sum((r + 0.1) ** 2 for r in readings) / 9.0 / 10.0)
    by_hand = 2.0 * math.sqrt(0.05**2 + scatter**2 + 0.0625**2 / 12.0)
    assert found["left_k"] == pytest.approx(by_hand)
    # The board showed a tenth too much: a tenth more pulses a litre make it right.
    measured = values("flow", board_l_min=1.1 * FLOW_L_MIN)
    found = judging.judge(SITE, *measured).results
    assert found["pulses_l"] == pytest.approx(495, abs=1)
    assert any('"flow_pulses_l": 495 ± ' in text for text in judging.judge(SITE, *measured).notes)
    assert found["share"] == pytest.approx(2.0 * math.hypot(0.02, 0.5 / 60.0, 0.01))


def test_a_charge_that_no_reading_of_the_labels_reaches_is_said() -> None:
    leaky = load_site("demo", {"freezer.cabinet_ua_w_k": {"value": 15.0, "grade": "measured"}})
    step, made = values("first_charge", from_c=20.0, to_c=1.0, place_c=45.0)
    assert prediction.charge_hours(leaky, 20.0, 1.0, 45.0)["high"] == math.inf
    found = judging.judge(leaky, step, made)
    assert "no reading of the labels gets there" in found.wrong[0]
    answer_book.StepAnswer(on="2026-05-31", values=made, wrong=found.wrong, results=found.results)


def test_first_charge_by_the_hour() -> None:
    """Energy by hand: what the middle machine takes out between two hours is the water's loss."""
    table = prediction.hourly(SITE, 20.0, 24.0)
    assert table.run_min == 0  # 20 °C is no warm fill
    low, mid, high = (table.store_c[v] for v in ("low", "mid", "high"))
    assert low[5] > mid[5] > high[5]
    hours = next(n for n, c in enumerate(mid) if c <= table.to_c)
    whole = prediction.charge_hours(SITE, 20.0, table.to_c, 24.0)["mid"]
    assert hours - 1 < whole <= hours  # the pull-down of plant/, summed another way
    rested = prediction.hourly(SITE, 25.0, 24.0)
    run, rest = (
        SITE.settings()[setting.PULL_DOWN_RUN_MIN],
        SITE.settings()[setting.PULL_DOWN_REST_MIN],
    )
    assert (rested.run_min, rested.rest_min) == (run, rest)
    fall = [a - b for a, b in zip(rested.store_c["mid"], rested.store_c["mid"][1:], strict=False)]
    assert fall[3] == pytest.approx(fall[2] * (60 - rest) / 60.0, rel=0.1)  # run is 180 min


def test_first_charge_agrees_with_the_plant_under_its_controller() -> None:
    """Against the whole simulation: layers, start transients, the place as it warms, the rests."""
    asked = AskMode(60, mode.FIRST_PULL_DOWN, 1440)
    scenario = replace(
        scenarios.single(SITE, datetime(2001, 7, 9), 1), variant="mid", store_start_c=25.0
    )

    def kind(plant, record, world, **more):
        return Bench(plant, record, replace(world, actors=(*world.actors, asked)), **more)

    trace = running.bench(SITE, scenario, kind=kind).run(0.5).minutes()
    off_min = SITE.settings()[setting.MIN_OFF_S] // 60  # after power-up
    seen = trace["store_mean_c"].to_numpy()[off_min::60]
    table = prediction.hourly(SITE, 25.0, float(trace["place_c"].iloc[:660].mean()))
    expected = table.store_c["mid"][:12]
    assert expected[11] < 15.0
    assert list(seen[:12]) == pytest.approx(expected, abs=0.5)


def test_table_is_plain_text(call, tmp_path: Path) -> None:
    assert call("--table", "t.txt")[0] == 0
    lines = (tmp_path / "t.txt").read_text("utf-8").splitlines()
    assert max(map(len, lines)) <= 100
    rows = [line.split() for line in lines if line.endswith("________")]
    assert [row[0] for row in rows] == [str(n) for n in range(len(rows))]
    assert rows[0][1:4] == ["20.0"] * 3
    assert rows[-1][1] == "3.5"  # the demo's deep target
    assert not list(tmp_path.glob("*.json")), "nothing was answered"
    assert call("--table", "t.txt", "--fill", "60")[2] == ["--fill: 60: from 5 to 35 °C"]


def test_all_steps_by_hand_then_results_in_a_new_file(call, tmp_path: Path) -> None:
    before = (tmp_path / "demo.toml").read_bytes()
    code, out, err = call(typed=replies())
    assert (code, err) == (0, []), out
    assert "all steps good" in out
    assert "due 2026-06-30: button of the residual-current device" in out  # May has 31 days
    assert "due 2027-05-31: store_low: in crushed ice" in out
    assert (tmp_path / "demo.toml").read_bytes() == before
    site = load_site(tmp_path / "demo-2.toml")
    assert site.settings()[setting.ROOM_OFFSET_MK] == 100
    assert site.settings()[setting.COIL_IN_ERR_MK] == 200
    assert load_site(tmp_path / "demo.toml").settings()[setting.COIL_IN_ERR_MK] == 500
    assert any("every year (last on 2026-05-31)" in text for text in site.assumes())
    assert not any("last on" in text for text in SITE.assumes())
    path = tmp_path / "commissioning-recording-room.json"
    kept = json.loads(path.read_text("utf-8"))
    path.write_text(json.dumps({**kept, "written": ""}), "utf-8")
    (tmp_path / "demo-2.toml").unlink()
    out = call(typed="")[1]  # killed between the last answer and the file
    assert "wrote demo-2.toml" in out
    code, out, _ = call(typed="")  # nothing is open: nothing is asked, no third version
    assert code == 0
    assert not (tmp_path / "demo-3.toml").exists()
    colder = "0.0625 " * 10  # next year's ice point goes into the next version
    code, out, _ = call("--only", "ice_point_room", typed=colder + "\n")
    assert "wrote demo-3.toml" in out
    assert load_site(tmp_path / "demo-3.toml").settings()[setting.ROOM_OFFSET_MK] == -62
    code, out, _ = call("--show")
    assert "[ ]" not in out
    assert "Due again" in out
    assert max(map(len, out.splitlines())) <= 100


def test_the_proof_gives_a_calibrated_probe_the_error_that_its_offset_takes_back() -> None:
    site = load_site("demo", {"settings.store_low_offset_k": 0.3})
    scenario = next(iter(placing.standard(site, variants=scenarios.MIDDLE)))
    assert running.sensors(site, scenario).offset_mk == (-300, 0, 0, 0, 0)


def test_input_that_ends_loses_only_the_step_under_way(call, tmp_path: Path) -> None:
    known = steps.steps(SITE)
    code, _, err = call(typed=replies(*known[:4]) + "yes\n")
    assert code == 2
    assert len(err) == 1
    assert "same command goes on" in err[0]
    kept = json.loads((tmp_path / "commissioning-recording-room.json").read_text())["answers"]
    assert list(kept) == [step.name for step in known[:4]]
    code, out, _ = call(typed="perhaps\nyes\nlater\n" + replies(*known[5:]))
    assert code == 1
    assert f"== {known[4].name}:" in out, "it goes on where it was"
    assert f"== {known[3].name}:" not in out
    assert "'perhaps': a number from" in out
    assert f"open: {known[4].name}" in out


def test_a_bad_answer_stays_open_and_a_failed_probe_is_no_longer_counted(call) -> None:
    warm = " ".join(["0.75"] * 10)
    code, out, _ = call("--only", "ice_point_room", "--out", "wide.toml", typed=warm + "\n")
    assert code == 1
    assert "WRONG: mean 0.75" in out
    assert load_site("wide.toml").probe_errors_k["room"] == 0.5
    listing = call("--list")[1]
    assert "[!] ice_point_room" in listing
    assert "[ ] type" in listing
    assert call("--only", "teapot")[2][0].startswith("commission: no step 'teapot'")


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("[", "no record"),
        ("{}", "schema"),
        ('{"schema": 2, "site": "x", "site_sha256": "", "answers": {}}', "schema"),
        ('{"schema": 1, "site": "cellar", "site_sha256": "", "answers": {}}', "'cellar'"),
        (
            '{"schema": 1, "site": "recording room", "site_sha256": "", "answers":'
            ' {"type": {"on": "2026-02-30", "values": {}}}}',
            "day is out of range",
        ),
        ("\ud800", "UTF-8"),
    ],
)
def test_a_record_that_is_none_is_refused_in_one_line(call, tmp_path: Path, text, says) -> None:
    path = tmp_path / "r.json"
    path.write_bytes(text.encode("utf-8", "surrogatepass"))
    before = path.read_bytes()
    code, _, err = call("--record", "r.json", typed=replies())
    assert code == 2
    assert len(err) == 1
    assert err[0].startswith("r.json")
    assert says in err[0]
    assert path.read_bytes() == before

"""`springhouse wiring`: sums against outside values, rules that find planted faults, drawings."""

import math
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st
from springhouse_host.cli import run
from springhouse_host.commands.wiring import answer
from springhouse_host.site import Site, load_site
from springhouse_host.wiring import bus, drawing, parts, pins, rules, sums

WIRING = Path(__file__).parents[2] / "wiring"
COPPER_OHM_MM2_KM = 17.241  # annealed copper at 20 °C, IEC 60028 (from memory)
SVG_TEXT = "{http://www.w3.org/2000/svg}text"


@pytest.fixture(scope="module")
def demo() -> Site:
    return load_site("demo")


def wrong(site: Site, board: str, bought: rules.Bought | None = None, **changed: Any) -> list[str]:
    """Faults of a board whose profile was changed."""
    profile: Any = SimpleNamespace(**{**vars(pins.load_profile(board)), **changed})
    table = tuple(pins.signals_of(site, profile))
    return rules.check(site, board, profile, table, bought or rules.Bought())


@pytest.mark.parametrize("board", pins.BOARDS)
def test_each_board_keeps_every_rule(demo: Site, board: str) -> None:
    assert wrong(demo, board) == []


@pytest.mark.parametrize(
    ("board", "changed", "found"),
    [
        ("pico_w", {"FLOW": 23}, "GPIO 23 belongs to: the radio"),
        ("pico_w", {"PROBES": 0}, "GPIO 0 belongs to: console"),
        ("pico_2w", {"TRAY": 8}, "GPIO 8 is taken by: tray float"),
        ("pico_w", {"LEVEL": 40}, "GPIO 40 does not exist"),
        ("pico_w", {"BATTERY": 22}, "GPIO 22 has no converter"),
        ("pico_w", {"FAN": 1}, "GPIO 1 belongs to: console"),
        ("pico_w", {"PUMP": 18, "FAN": 19, "SOUNDER": 21}, "share one PWM frequency"),
        ("pico_w", {"PUMP": 2, "FAN": 18, "PROBES": 22}, "share one PWM frequency"),
        ("pico_w", {"I2C_SDA": 14, "I2C_SCL": 15}, "no pair of I2C 0"),
        ("pico_w", {"OUTPUTS": (16, 17, 18)}, "must list every output"),
        ("esp32", {"RELAY": 12}, "GPIO 12 belongs to: read at power-up"),
        ("esp32", {"RELAY": 35}, "GPIO 35 can only read"),
        ("esp32", {"PUMP": 14, "TACH": 19}, "GPIO 14 pulses while the chip starts"),
        ("esp32", {"PROBES": 34, "BATTERY": 32, "LIGHT": 4}, "GPIO 34 can only read"),
        ("esp32", {"BATTERY": 25, "RELAY": 19}, "GPIO 25 has no converter"),
        ("esp32", {"FLOW": 9}, "GPIO 9 belongs to: the flash chip"),
    ],
)
def test_a_wrong_pin_is_found(demo: Site, board: str, changed: dict[str, Any], found: str) -> None:
    assert any(found in fault for fault in wrong(demo, board, **changed))


def test_circuits_without_their_resistors_are_found(demo: Site) -> None:
    table = pins.signals(demo, "pico_w")
    bare = tuple(
        pins.Signal(s.name, s.gpio, s.way, s.word, "a wire", s.idle, s.fitted) for s in table
    )
    assert list(rules.circuit_faults(table)) == []
    found = list(rules.circuit_faults(bare))
    assert sum("pulls it to off" in fault for fault in found) == 4  # not the light
    assert sum("pulls it up" in fault for fault in found) == sum(s.way == "in" for s in table)


def test_parts_that_do_not_suit_are_found(demo: Site) -> None:
    five = rules.Bought(drives_v={"FLOW": 5.0})
    assert ["puts 5 V on a 3.3 V pin" in fault for fault in wrong(demo, "pico_w", five)] == [True]
    assert wrong(demo, "pico_w", rules.Bought(drives_v={"TACH": 5.0})) == []  # not fitted
    coarse = rules.Bought(least_flow_l_min=demo.weakest_l_min + 0.01)
    assert ["may read zero" in fault for fault in wrong(demo, "pico_w", coarse)] == [True]


def test_cords_obey_the_resistance_of_copper() -> None:
    """IEC 60228 allows a flexible cord more than solid copper of its area, up to a quarter."""
    for area_mm2, ohm_km, _ in sums.CORDS:
        assert 1.0 < ohm_km / (COPPER_OHM_MM2_KM / area_mm2) < 1.25


def test_cord_by_hand() -> None:
    """Two ways of 7 m at 1.5 A lose 0.41 V in 1 mm2 and 0.55 V in 0.75 mm2."""
    found = sums.cord(15.0, 10.0, 7.0, 3.0)
    assert found is not None
    assert found == (1.0, pytest.approx(0.4095))
    assert sums.cord(15.0, 10.0, 100.0, 3.0) is None


@given(st.floats(0.1, 200.0), st.floats(4.0, 60.0), st.floats(0.2, 50.0))
def test_fuse_and_cord_protect_each_other(load_w: float, volts: float, run_m: float) -> None:
    fuse_a = sums.fuse_a(load_w, volts)
    if fuse_a is None:
        assert load_w / volts * sums.FUSE_FACTOR > max(sums.FUSES_A)
        return
    assert fuse_a >= load_w / volts * sums.FUSE_FACTOR
    cord = sums.cord(load_w, volts, run_m, fuse_a)
    if cord is not None:
        carries = {area: amperes for area, _, amperes in sums.CORDS}[cord[0]]
        assert carries >= fuse_a
        assert cord[1] <= sums.DROP_V


def test_rise_of_the_probe_bus() -> None:
    """Two thirds of the supply are reached after R C ln 3, the charging of a capacitor."""
    farad = (10.0 * 56.0 + 2 * 25.0) * 1e-12
    assert sums.rise_us(4700, 10.0, 2) == pytest.approx(4700 * farad * math.log(3.0) * 1e6)
    assert sums.pull_up_ohm(3.0, 5) == 4700  # as the probes' data sheet draws it
    assert sums.pull_up_ohm(25.0, 5) in (3300, 2200)
    assert sums.pull_up_ohm(200.0, 5) is None


def test_the_smallest_pull_up_is_not_too_strong_for_a_probe() -> None:
    assert (sums.LOGIC_V - 0.4) / min(sums.PULL_UPS_OHM) * 1000.0 <= sums.PROBE_SINK_MA


@given(st.floats(4.0, 60.0))
def test_divider_keeps_the_pin_in_range(highest_v: float) -> None:
    bottom = sums.divider_ohm(highest_v, 3300)
    assert bottom is not None
    assert 1000.0 <= sums.ratio_pm(bottom) <= 25000.0  # what the wiring file takes
    pin_v = highest_v * bottom / (bottom + sums.DIVIDER_TOP_OHM)
    assert pin_v <= 0.901 * 3.3


def test_parts_list_is_for_this_site(demo: Site) -> None:
    found, unmet = parts.parts(demo, pins.load_profile("pico_w"), rules.Bought())
    assert unmet == ()
    names = [part.name for part in found]
    assert len(names) == len(set(names))
    assert sum(part.count for part in found if "probe, 1-wire" in part.name) == 5
    far, unmet = parts.parts(demo, pins.load_profile("pico_w"), rules.Bought(run_m=99.0))
    assert len(unmet) == 2  # cable and probe bus
    assert len(far) == len(found) - 2


@pytest.mark.parametrize("board", pins.BOARDS)
def test_schematic_names_every_fitted_pin_and_no_other(demo: Site, board: str) -> None:
    table = pins.signals(demo, board)
    devices = bus.on_bus(demo, None)
    svg = drawing.schematic(board, table, False, 12.8, 4700, 22000, devices)
    words = " ".join("".join(e.itertext()) for e in ElementTree.fromstring(svg).iter(SVG_TEXT))
    for signal in table:
        label = f"GPIO{signal.gpio} {signal.name.lower().replace('_', ' ')}"
        assert (label in words) is signal.fitted, label


def test_the_drawings_in_the_wiring_folder_are_of_today(tmp_path: Path) -> None:
    for board in pins.BOARDS:
        assert run(["wiring", "demo", "--board", board, "--draw", str(tmp_path)]) == 0
    for path in sorted(tmp_path.iterdir()):
        assert (WIRING / path.name).read_bytes() == path.read_bytes(), path.name


def test_command(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    assert run(["wiring", "demo", "--kit"]) == 0
    screen = capsys.readouterr().out
    assert "water on the floor is not detected" in screen
    assert "battery_ratio_pm" not in screen
    record = tmp_path / "w.json"
    assert run(["wiring", "demo", "--drives", "flow=5", "--json", str(record)]) == 1
    assert "WRONG: flow sensor" in capsys.readouterr().out
    assert "puts 5 V" in record.read_text("utf-8")


@pytest.mark.parametrize(
    ("option", "value"),
    [("--board", "abacus"), ("--drives", "flow"), ("--drives", "moon=5"), ("--drives", "flow=-1")],
)
def test_bad_input_is_one_line(capsys: pytest.CaptureFixture[str], option: str, value: str) -> None:
    assert run(["wiring", "demo", option, value]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert len(said.err.splitlines()) == 1
    assert option in said.err


def test_wiring_opens_with_an_answer() -> None:
    part = parts.Part("relay", 1, "must", "why", True)
    whole = answer("pico_w", (part, replace(part, least=False)), ())
    assert whole.startswith("Yes, pins and parts: every rule holds. It takes 2 kinds of parts")
    assert "1 of which must be there" in whole
    first = answer("pico_w", (part,), ("GPIO3 is taken twice.", "no fuse fits"))
    assert first.startswith("Not so: 2 things are wrong, first: GPIO3 is taken twice. It would")

"""`springhouse wiring` and the I2C bus: what shares it, by the wiring file or by the site."""

import json
import re
from pathlib import Path

import pytest
import springhouse
from springhouse.drivers import humidity, rtc
from springhouse.wiring import _CHOICES
from springhouse_host.cli import run
from springhouse_host.site import Site, load_site
from springhouse_host.wiring import bus, parts, pins, rules, sums

ALL = {"board": "pico_w", "air": "aht20", "rtc": "ds3231", "display": "ssd1306"}
KEYS = ("air", "rtc", "display")


@pytest.fixture(scope="module")
def demo() -> Site:
    return load_site("demo")


@pytest.fixture
def wired(tmp_path: Path):
    """Write a wiring file and call the command with it."""

    def call(*more: str, **keys: object) -> int:
        path = tmp_path / "wired.json"
        path.write_text(json.dumps(keys))
        return run(["wiring", "demo", "--wiring", str(path), *more])

    return call


def unmet(site: Site, *devices: bus.Device) -> str:
    """Return what the parts list says of a bus with these devices."""
    bought = rules.Bought(wired=bus.Wired(devices))
    return " ".join(parts.parts(site, pins.load_profile("pico_w"), bought)[1])


def test_addresses_are_those_of_the_data_sheets_and_of_the_drivers() -> None:
    """Data sheets of the four chips, from memory; the display's with its address pin at ground."""
    sheets = {"sht4x": 0x44, "aht20": 0x38, "ds3231": 0x68, "ssd1306": 0x3C}
    driver = Path(springhouse.__file__).parent / "display/ssd1306/driver.py"
    asked = re.search(r"addr=(0x\w+)", driver.read_text("utf-8"))
    assert asked is not None
    drivers = {
        "sht4x": humidity._SHT4X,
        "aht20": humidity._AHT20,
        "ds3231": rtc._ADDRESS,
        "ssd1306": int(asked[1], 16),
    }
    assert {word: device.address for word, device in bus.DEVICES.items()} == sheets == drivers
    assert {word for key in KEYS for word in _CHOICES[key] if word} == set(sheets)


def test_pull_ups_by_hand() -> None:
    """UM10204, from memory: at least (3.3 - 0.4) V / 3 mA = 967 ohm; t = 0.8473 R C.

    Four times 4.7 kohm side by side are 1175 ohm, five times 940. 0.5 m of pair are 28 pF.
    """
    assert 1000.0 * 2.9 / sums.i2c_sink_ma(3) == pytest.approx(1175.0)
    assert sums.i2c_sink_ma(3) < sums.I2C_SINK_MA < sums.i2c_sink_ma(4)
    assert sums.i2c_rise_us(3) == pytest.approx(0.8473 * 4700 * 68e-12 * 1e6, rel=1e-4)


def test_what_does_not_go_together_on_the_bus_is_found(demo: Site) -> None:
    display, air, clock = bus.DEVICES["ssd1306"], bus.DEVICES["aht20"], bus.DEVICES["ds3231"]
    assert list(rules.bus_faults(demo, bus.Wired((air, clock, display)))) == []
    assert unmet(demo, air, clock, display) == ""
    twin = bus.Device("second display", 0x3C, 1.0)
    found = list(rules.bus_faults(demo, bus.Wired((air, display, twin))))
    assert found == ["second display: I2C address 0x3C is taken by: display"]
    assert "never read" in next(rules.bus_faults(demo, bus.Wired((display,))))
    assert "I2C: pull-ups of so many modules want 3.1 mA" in unmet(demo, air, clock, air, clock)
    hungry = bus.Device(bus.DISPLAY, 0x3C, 300.0)
    assert "3.3 V: 308 mA, a board gives 300 mA" in unmet(demo, hungry)  # five probes at 1.5 mA


def test_the_display_is_in_pins_parts_sums_and_drawing(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, wired
) -> None:
    record = tmp_path / "w.json"
    more = ("--json", str(record), "--draw", str(tmp_path))
    assert wired(*more, **ALL, target_buttons=1) == 0
    told = json.loads(record.read_text("utf-8"))
    pin = {signal["name"]: signal for signal in told["pins"]}
    assert pin["I2C_SDA"]["word"] == "I2C data: air sensor, clock and display"
    assert pin["BUTTON_UP"]["fitted"]
    assert pin["BUTTON_DOWN"]["fitted"]
    row = {part["name"]: part for part in told["parts"]}["text display"]
    assert "address 0x3C" in row["must"]
    assert "40 mA at most, all on 3.3 V 49 of 300 mA" in row["why"]  # 40 + 1 + 0.7 + 5 x 1.5
    assert "0x3C" in (tmp_path / "schematic-pico_w.svg").read_text("utf-8")
    capsys.readouterr()
    assert run(["wiring", "demo", "--json", str(record)]) == 0
    assert "display" not in record.read_text("utf-8")


def test_the_wiring_file_names_the_board_and_what_is_absent(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, wired
) -> None:
    assert wired("--draw", str(tmp_path), board="esp32", display="ssd1306") == 1
    assert "WRONG: air sensor: fitted by the site file" in capsys.readouterr().out
    assert "0x68" not in (tmp_path / "schematic-esp32.svg").read_text("utf-8")
    assert wired("--drives", "i2c_sda=5", **ALL) == 1
    assert "supply it and its pull-ups from 3.3 V" in " ".join(capsys.readouterr().out.split())


@pytest.mark.parametrize(
    ("more", "keys", "says"),
    [
        (("--board", "esp32"), ALL, "board: 'pico_w', --board says 'esp32'"),
        ((), {"display": "ssd1306"}, "board: missing"),
        ((), {"board": "pico_w", "display": "paper"}, "display: one of"),
    ],
)
def test_a_bad_wiring_file_is_one_line(
    capsys: pytest.CaptureFixture[str],
    wired,
    more: tuple[str, ...],
    keys: dict[str, str],
    says: str,
) -> None:
    assert wired(*more, **keys) == 2
    said = capsys.readouterr()
    assert (said.out, said.err.count("\n")) == ("", 1)
    assert f"wired.json: {says}" in said.err

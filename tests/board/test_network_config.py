"""network.json: what is taken, what is refused, and what a board without one gets."""

import ipaddress
import json
from pathlib import Path

import built
import pytest
from hypothesis import given
from hypothesis import strategies as st
from rig import WIRING, record
from springhouse.net.config import Config, numeric
from springhouse_host.errors import KnownError
from springhouse_host.flashing import build, flash

SECRET = "correct horse"
GOOD = {"ssid": "attic", "password": SECRET}


def test_defaults_and_all_keys() -> None:
    plain = Config(json.dumps(GOOD))
    assert plain.fault == ""
    assert plain.number == {"page_port": 80, "broker_port": 1883, "every_s": 60}
    assert plain.text["broker"] == ""
    given = {**plain.number, **plain.text, "broker": "192.168.1.10", "country": "ES"}
    assert Config(json.dumps(given)).fault == ""


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"ssid": ""}, "ssid: missing"),
        ({"ssid": 7}, "ssid: text of at most 32"),
        ({"ssid": "a" * 33}, "ssid: text of at most 32"),  # IEEE 802.11: 32 octets
        ({"ssid": "Küche"}, "ssid: plain ASCII"),
        ({"ssid": "a\n"}, "ssid: plain ASCII"),
        ({"password": "seven77"}, "password: 8..63"),  # WPA: 8 to 63 printable characters
        ({"password": "a" * 64}, "password: text of at most 63"),
        ({"country": "es"}, "country: two capital letters"),
        ({"page_port": 65536}, "page_port: whole number 0..65535"),
        ({"page_port": True}, "page_port: whole number"),
        ({"broker_port": 0}, "broker_port: whole number 1..65535"),
        ({"every_s": 9}, "every_s: whole number 10..3600"),
        ({"broker": "broker.example"}, "broker: an address in numbers"),
        ({"broker": "localhost"}, "broker: an address in numbers"),
        ({"broker": "192.168.1.256"}, "broker: an address in numbers"),
        ({"broker_password": SECRET}, "broker_password: without broker_user"),
        # MQTT 3.1.1 section 4.7: + and # are wildcards, names with $ are the broker's own.
        ({"topic": "house/+"}, "topic: a name without"),
        ({"topic": "#"}, "topic: a name without"),
        ({"topic": "$SYS"}, "topic: a name without"),
        ({"topic": ""}, "topic: a name without"),
        ({"commands": 1}, "unknown key commands"),
    ],
)
def test_refusals_name_the_key_and_no_password(changes: dict, said: str) -> None:
    fault = Config(json.dumps({**GOOD, **changes})).fault
    assert fault.startswith(said)
    assert SECRET not in fault


@pytest.mark.parametrize("text", ["", "nonsense", "[]", "3", '{"ssid":'])
def test_no_table(text: str) -> None:
    assert Config(text).fault.startswith("network.json is no")


@given(
    st.one_of(
        st.ip_addresses(v=4).map(str),
        st.text("0123456789.", max_size=16),
        st.lists(st.integers(0, 300).map(str), min_size=3, max_size=5).map(".".join),
    )
)
def test_addresses_of_one_host_are_taken_and_no_others(text: str) -> None:
    try:
        address = ipaddress.IPv4Address(text)
    except ValueError:
        assert not numeric(text)
    else:
        assert numeric(text) == (0 < int(address) >> 24 < 224)


@given(st.dictionaries(st.sampled_from([*GOOD, "broker", "page_port", "x"]), st.from_type(object)))
def test_any_table_is_judged_without_an_exception(values: dict) -> None:
    try:
        text = json.dumps(values)
    except (TypeError, ValueError):
        return
    assert isinstance(Config(text).fault, str)


@pytest.fixture
def image() -> build.Image:
    return built.image()


def loaded(folder: Path, image: build.Image, network: str | None) -> flash.Load:
    wiring = folder / "wiring.json"
    wiring.write_text(json.dumps(WIRING))
    path = None
    if network is not None:
        path = folder / "my-network.json"
        path.write_text(network)
    return flash.make_load(record().settings, wiring, None, image, network=path)


def is_network(name: str) -> bool:
    return "/net/" in name or "words" in name or "network" in name


def test_without_the_file_no_network_code_is_flashed(tmp_path: Path, image: build.Image) -> None:
    code = loaded(tmp_path, image, None).image.code
    assert not [name for name in code if is_network(name)]
    assert not [n for n in json.loads(code[build.MANIFEST])["files"] if is_network(n)]


def test_with_the_file_all_of_it_is_flashed_and_hashed(tmp_path: Path, image: build.Image) -> None:
    code = loaded(tmp_path, image, json.dumps(GOOD)).image.code
    wanted = {name for name in image.code if not name.startswith(build.DISPLAY)}
    assert wanted | {"wiring.json", "network.json", "settings.0"} == set(code)
    assert json.loads(code["network.json"]) == GOOD
    assert "network.json" in json.loads(code[build.MANIFEST])["files"]


def test_flash_refuses_a_bad_file_in_one_line(tmp_path: Path, image: build.Image) -> None:
    with pytest.raises(KnownError) as caught:
        loaded(tmp_path, image, json.dumps({**GOOD, "broker": "broker.example"}))
    assert "my-network.json: broker: an address in numbers" in str(caught.value)
    assert len(caught.value.lines) == 1
    assert SECRET not in str(caught.value)

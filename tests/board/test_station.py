"""Joining the Wi-Fi, against a radio that a test switches."""

import importlib
import sys
from itertools import pairwise

import pytest
from springhouse import timekeeping
from springhouse.net.config import Config

STEP_MS = 500


class Radio:
    """A `network` module with one radio; `reach` says whether the access point answers."""

    STA_IF = 0

    def __init__(self) -> None:
        self.reach = True
        self.on = False
        self.joining = False
        self.address = "192.168.1.20"
        self.calls: list[str] = []

    def WLAN(self, _interface: int) -> "Radio":
        return self

    def country(self, code: str) -> None:
        self.calls.append(code)

    def active(self, on: bool) -> None:
        self.on = on

    def connect(self, name: str, password: str) -> None:
        assert not self.joining, "some drivers refuse that"
        self.joining = True
        self.calls.append(f"{name}/{password}")

    def disconnect(self) -> None:
        self.joining = False

    def isconnected(self) -> bool:
        return self.joining and self.reach

    def ifconfig(self) -> tuple[str, str, str, str]:
        return (self.address, "255.255.255.0", "192.168.1.1", "192.168.1.1")


@pytest.fixture
def radio(monkeypatch) -> Radio:
    made = Radio()
    monkeypatch.setitem(sys.modules, "network", made)
    monkeypatch.delitem(sys.modules, "springhouse.net.station", raising=False)
    return made


@pytest.fixture
def station(radio: Radio):
    from springhouse.net.station import Station

    return Station(Config('{"ssid":"attic","password":"not a secret","country":"ES"}').text)


@pytest.mark.parametrize("origin", [0, timekeeping.LAST - 3_000_000])
def test_tries_again_after_one_minute_doubling_to_thirty(station, radio: Radio, origin) -> None:
    radio.reach = False
    tries = []
    for ms in range(0, 8 * 3_600_000, STEP_MS):
        before = len(radio.calls)
        station.step(timekeeping.ticks_add(origin, ms))
        if len(radio.calls) > before:
            tries.append(ms)
    assert radio.calls[0] == "ES"
    assert radio.calls[1] == "attic/not a secret"
    pauses_min = [(b - a - 20_000) / 60_000 for a, b in pairwise(tries)]
    assert pauses_min[:6] == pytest.approx([1, 2, 4, 8, 16, 30], abs=0.02)
    assert set(pauses_min[5:]) == {30.0}
    assert station.address == ""


def test_joins_leaves_and_joins_again_at_once_after_days(station, radio: Radio) -> None:
    now = 0
    for _ in range(3):
        station.step(now)
    assert station.address == "192.168.1.20"
    for _ in range(9 * 24 * 60):  # longer than a tick difference can say
        now = timekeeping.ticks_add(now, 60_000)
        station.step(now)
    radio.address = "192.168.1.21"
    now = timekeeping.ticks_add(now, 60_000)
    station.step(now)
    assert station.address == "192.168.1.21"
    radio.joining = False
    station.step(now)
    assert station.address == ""
    station.step(timekeeping.ticks_add(now, 100))
    assert station.address == "192.168.1.21"
    station.off()
    assert station.address == ""
    assert not radio.on


def test_a_pause_of_the_publisher_ends_with_the_network(radio: Radio, monkeypatch) -> None:
    """A week without a network must not turn a pause of seconds into one of days."""
    for name in ("socket", "struct", "binascii"):
        monkeypatch.setitem(sys.modules, "u" + name, importlib.import_module(name))
    from springhouse.net.broker import Broker

    config = Config('{"ssid":"attic","password":"not a secret","broker":"192.168.1.10"}')
    broker = Broker(config.number, config.text, "springhouse", str)
    tries = []

    def refused(now: int) -> None:
        tries.append(now)
        raise OSError(111)

    monkeypatch.setattr(broker, "_open", refused)
    for ms in range(0, 4000, 100):
        broker.step(ms)
    assert tries == [0], "a pause is kept while there is a network"
    broker.close()
    week = 7 * 86_400_000 + 100
    assert timekeeping.ticks_diff(week, 0) < 0, "beyond what a difference of ticks can say"
    broker.step(week)
    assert tries == [0, week]

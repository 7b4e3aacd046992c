"""Mains voltage of a site: currents, relay and the device that protects people follow it."""

import html
import re

import pytest
from springhouse_host.site import load_site
from springhouse_host.site.words import protector
from springhouse_host.wiring import drawing, parts, pins, rules


def found(site):
    listed, unmet = parts.parts(site, pins.load_profile("pico_w"), rules.Bought())
    assert not unmet
    return {part.name: part for part in listed}


@pytest.mark.parametrize(("mains_v", "running"), [(230.0, "1.1 A"), (120.0, "2.1 A")])
def test_running_current_is_watts_over_volts_and_power_factor(mains_v: float, running: str) -> None:
    """I = P / (V cos phi): 150 W at 0.6 is 1.09 A at 230 V and 2.08 A at 120 V."""
    relay = found(load_site("demo", {"freezer.mains_v": mains_v}))["relay for the freezer"]
    assert running in relay.why
    assert f"{mains_v:g} V" in relay.must


def test_people_are_protected_as_the_mains_is() -> None:
    """UL 943 class A: 4 to 6 mA; IEC 61008 for people: 30 mA. Both from memory."""
    for mains_v, words in ((120.0, "4 to 6 mA"), (230.0, "30 mA or less"), (100.0, "4 to 6 mA")):
        site = load_site("demo", {"freezer.mains_v": mains_v})
        assert words in found(site)["residual-current device"].must
        assert any(words in line for line in site.assumes())


def drawn(site) -> str:
    """The words of the mains drawing."""
    svg = drawing.mains_blocks(site.file.freezer.mains_v, *protector(site.file)).decode()
    return " ".join(html.unescape(word) for word in re.findall(r">([^<>]+)<", svg))


def test_the_mains_drawing_follows_the_mains() -> None:
    den = drawn(load_site("den-120v"))
    assert "120 V" in den
    assert "ground-fault interrupter" in den
    assert "4 to 6 mA" in den
    demo = drawn(load_site("demo"))
    assert "230 V" in demo
    assert "residual-current device" in demo
    assert "30 mA or less" in demo


def test_money_says_nothing_about_mains() -> None:
    site = load_site("demo", {"site.currency": "USD"})
    assert site.file.freezer.mains_v == 230.0


def test_heights_by_the_surface_move_with_the_water() -> None:
    """Twice the water in the same box stands twice as high; what is low stays."""
    demo = load_site("demo")
    half = load_site("demo", {"store.water_litres": 75})
    assert half.file.store.return_m == pytest.approx(demo.file.store.return_m / 2.0)
    assert half.file.store.probe_high_m == pytest.approx(demo.file.store.probe_high_m / 2.0)
    assert half.file.store.draw_m == demo.file.store.draw_m
    said = load_site("demo", {"store.water_litres": "20 US gal", "store.return_m": 0.2})
    assert said.file.store.return_m == 0.2
    assert said.file.store.water_litres == pytest.approx(75.7, abs=0.1)

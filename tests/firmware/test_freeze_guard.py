"""Freeze guard, ice bank: how cold the store may become."""

from __future__ import annotations

import pytest
from condition_rig import rested
from drive import EVERY_SENSOR, Drive, fitted, setting, statechart
from springhouse import probes


def charging(fit: int = EVERY_SENSOR, mc: int = 6000, **settings: int) -> Drive:
    d = Drive(fit=fit, settings=settings, STORE_LOW_MC=mc, STORE_HIGH_MC=mc)
    d.minutes(11)
    assert d.compressor
    if mc > 5000:  # both probes agreed on the way down
        d.seconds(4, STORE_LOW_MC=4900, STORE_HIGH_MC=4900)
    return d


def show(d: Drive, **mc: int) -> Drive:
    d.seconds(4, **mc)
    return d


def test_the_coldest_of_two_probes_less_its_error_decides() -> None:
    d = show(charging(), STORE_HIGH_MC=1001)
    assert d.compressor  # 1.001 - 0.5 is above 0.5 °C
    show(d, STORE_HIGH_MC=1000)
    assert d.store_state == statechart.FREEZE_GUARD
    show(d, STORE_HIGH_MC=1700)
    assert d.store_state == statechart.FREEZE_GUARD
    show(d, STORE_HIGH_MC=2000)
    assert d.store_state == statechart.FREEZE_GUARD  # it came up: nothing vouches for it below 4 °C
    show(d, STORE_LOW_MC=5499, STORE_HIGH_MC=5499)
    assert d.store_state == statechart.FREEZE_GUARD
    show(d, STORE_LOW_MC=5500, STORE_HIGH_MC=5500)
    assert d.store_state == statechart.HOLD


@pytest.mark.parametrize(("low_mc", "high_mc"), [(3000, 5000), (5000, 3000)])
def test_the_coldest_of_two_probes_is_whichever_it_is(low_mc: int, high_mc: int) -> None:
    d = rested(STORE_LOW_ERR_MK=200, STORE_HIGH_ERR_MK=500)
    d.set(STORE_LOW_MC=low_mc, STORE_HIGH_MC=high_mc)
    coldest = min(low_mc - 200, high_mc - 500)
    assert probes.coldest_mc(d.memory, d.settings, d.readings) == coldest


def test_the_guard_at_the_wall_ends_a_kelvin_above() -> None:
    d = charging(EVERY_SENSOR & ~fitted.STORE_LOW)
    show(d, STORE_HIGH_MC=1000)
    show(d, STORE_HIGH_MC=1999)
    assert d.store_state == statechart.FREEZE_GUARD
    show(d, STORE_HIGH_MC=2000)
    assert d.store_state == statechart.HOLD


@pytest.mark.parametrize("error_mk", [200, 500, 1500])
def test_a_larger_error_budget_guards_earlier(error_mk: int) -> None:
    d = show(charging(STORE_HIGH_ERR_MK=error_mk), STORE_HIGH_MC=3500)
    assert show(d, STORE_HIGH_MC=501 + error_mk).compressor
    assert not show(d, STORE_HIGH_MC=500 + error_mk).compressor


def test_one_probe_high_at_the_wall_goes_down_to_the_normal_limit() -> None:
    d = charging(EVERY_SENSOR & ~fitted.STORE_LOW, DEEP_MC=0)
    assert show(d, STORE_HIGH_MC=1001).compressor
    assert not show(d, STORE_HIGH_MC=1000).compressor


def test_one_probe_at_the_bottom_stays_above_4_degrees_and_its_error() -> None:
    """Water is heaviest near 4 °C (Kell 1975: 3.98 °C): at the bottom no probe sees the ice."""
    d = charging(EVERY_SENSOR & ~fitted.STORE_HIGH, DEEP_MC=0)
    assert show(d, STORE_LOW_MC=4501).compressor
    assert not show(d, STORE_LOW_MC=4500).compressor


def test_losing_the_high_probe_raises_the_limit_to_the_floor() -> None:
    d = show(charging(DEEP_MC=0), STORE_LOW_MC=3000, STORE_HIGH_MC=3000)
    assert d.compressor
    d.set(STORE_HIGH_FAULT=1)
    assert d.until(lambda d: not d.compressor, 12) <= 10
    assert d.store_state == statechart.FREEZE_GUARD


ICE = {"ICE_BANK": 1, "ICE_RUN_MIN": 60, "FREEZE_MC": -1000, "DEEP_MC": 500, "SHALLOW_MC": 500}


def bank() -> Drive:
    """An ice bank in its ice zone, seen melted before."""
    d = charging(**ICE, STUCK_MIN=720)
    for mc in (3000, 1500, 900):
        show(d, STORE_LOW_MC=mc, STORE_HIGH_MC=mc)
    return d


def test_an_ice_bank_stops_when_its_ration_of_ice_is_made() -> None:
    d = bank()
    took_s = d.until(lambda d: not d.compressor, 3700)
    assert 3590 <= took_s <= 3610
    d.minutes(60)
    assert d.store_state == statechart.HOLD


def test_ice_counts_over_breaks_until_it_is_seen_melted() -> None:
    d = bank()
    d.minutes(40)
    show(d, STORE_LOW_MC=500, STORE_HIGH_MC=500)  # full
    assert not d.compressor
    d.minutes(15)
    show(d, STORE_LOW_MC=3500, STORE_HIGH_MC=900)  # warm again on average, ice still at the wall
    assert d.compressor
    took_s = d.until(lambda d: not d.compressor, 3600)
    assert 19 * 60 <= took_s <= 20 * 60
    show(d, STORE_LOW_MC=3900, STORE_HIGH_MC=3900)
    d.minutes(15)
    assert not d.compressor  # not melted for certain yet
    show(d, STORE_LOW_MC=4100, STORE_HIGH_MC=4100)
    assert d.compressor


def test_after_a_reset_ice_of_unknown_thickness_may_not_grow() -> None:
    d = bank()
    d.boot()
    d.set(STORE_LOW_MC=2000, STORE_HIGH_MC=950)
    d.minutes(11)
    on_s = 0
    for _ in range(3600):
        on_s += bool(d.tick() & 1)
    assert on_s <= d.settings[setting.MIN_ON_S] + 1  # one run, ended as soon as its minimum is over


def test_an_ice_bank_without_a_probe_at_the_wall_is_refused() -> None:
    with pytest.raises(AssertionError, match=str(setting.ICE_BANK)):
        Drive(fit=EVERY_SENSOR & ~fitted.STORE_HIGH, settings=ICE)


def test_below_zero_is_refused_for_a_liquid_store() -> None:
    with pytest.raises(AssertionError, match=str(setting.FREEZE_MC)):
        Drive(settings={"FREEZE_MC": -1})

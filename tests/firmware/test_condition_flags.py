"""Conditions with a hysteresis of their own, and the coil's, at their edges.

The edges are the defaults of tests/requirements.toml; error budgets are 0.5 K throughout.
"""

from __future__ import annotations

import pytest
from condition_rig import memory, rested, untrusted
from drive import Drive, cell, fitted, mode, output, reading, setting, week
from springhouse import conditions, vouching


def flagged(d: Drive, bit: int, **readings: int) -> bool:
    d.set(**readings)
    conditions.update_flags(d.memory, d.settings, d.readings)
    return bool(d.memory[cell.FLAGS] & bit)


@pytest.mark.parametrize(
    ("lost", "limit_mc"),
    [((), 500), (("STORE_LOW",), 4000), (("STORE_HIGH",), 4000)],
    ids=["both", "nothing vouches for the wall", "bottom alone"],
)
def test_the_freeze_guard_begins_and_ends(lost: tuple[str, ...], limit_mc: int) -> None:
    d = rested()
    untrusted(*lost)(d)
    seen = 9000  # of the other probe
    for name in sorted({"STORE_LOW", "STORE_HIGH"} - set(lost)):
        d.set(STORE_LOW_MC=seen, STORE_HIGH_MC=seen)
        for mc, on in (
            (limit_mc + 501, False),
            (limit_mc + 500, True),
            (limit_mc + 1499, True),
            (limit_mc + 1500, False),
        ):
            assert flagged(d, cell.FLAG_FREEZE, **{f"{name}_MC": mc}) == on, (name, mc)


def test_blind_the_freeze_guard_stays_as_it_is() -> None:
    d = rested()
    assert flagged(d, cell.FLAG_FREEZE, STORE_LOW_MC=900)
    untrusted("STORE_LOW", "STORE_HIGH")(d)
    assert flagged(d, cell.FLAG_FREEZE, STORE_LOW_MC=9000)


def test_a_freeze_limit_above_the_floor_is_kept() -> None:
    d = rested(FREEZE_MC=4000, FLOOR_MC=4000)
    untrusted("STORE_HIGH")(d)
    error = d.settings[setting.STORE_LOW_ERR_MK]
    for limit_mc in (4000, 4100):
        d.settings[setting.FREEZE_MC] = limit_mc
        for mc, freezes in ((limit_mc, True), (limit_mc + 1, False)):
            d.readings[reading.STORE_LOW_MC] = mc + error
            assert vouching.freezing(d.memory, d.settings, d.readings, 1) == freezes


def test_a_room_over_its_limit() -> None:
    d = rested()
    for mc, hot in ((26999, False), (27000, True), (26700, True), (26699, False)):
        assert flagged(d, cell.FLAG_HOT, ROOM_MC=mc) == hot, mc
    assert flagged(d, cell.FLAG_HOT, ROOM_MC=27000)
    d.memory[cell.PLAN] = week.PLAN_CHARGE
    assert not flagged(d, cell.FLAG_HOT), "nobody wants it cool"
    d.memory[cell.MODE] = mode.COOL_NOW
    assert flagged(d, cell.FLAG_HOT)
    untrusted("ROOM")(d)
    assert not flagged(d, cell.FLAG_HOT)


def test_a_battery_below_its_cut_off() -> None:
    d = rested()
    d.set(MAINS_OK=0)
    for mv, low in ((12000, False), (11999, True), (12600, True), (12601, False), (12000, False)):
        assert flagged(d, cell.FLAG_BATTERY_LOW, BATTERY_MV=mv) == low, mv
    assert flagged(d, cell.FLAG_BATTERY_LOW, BATTERY_MV=11999)
    assert not flagged(d, cell.FLAG_BATTERY_LOW, MAINS_OK=1)
    d.settings[setting.FITTED] &= ~fitted.MAINS
    assert flagged(d, cell.FLAG_BATTERY_LOW)
    d.settings[setting.FITTED] &= ~fitted.BATTERY
    assert not flagged(d, cell.FLAG_BATTERY_LOW)


def cold(d: Drive, **readings: int) -> bool:
    d.set(**readings)
    return conditions.coil_cold(d.memory, d.settings, d.readings)


WARM = {"STORE_LOW_MC": 9000, "STORE_HIGH_MC": 9000, "COIL_IN_MC": 9000, "COIL_AIR_MC": 20000}


@pytest.mark.parametrize(
    ("flag", "brine", "least_mc"),
    [(0, 0, -500), (cell.FLAG_COIL, 0, -200), (0, 1, 1000), (cell.FLAG_COIL, 1, 1300)],
)
def test_water_that_threatens_to_freeze_in_the_coil(flag: int, brine: int, least_mc: int) -> None:
    d = rested(BRINE=brine)
    for out, lost, name in (
        (output.PUMP, (), "COIL_IN"),
        (output.PUMP | output.FAN, ("STORE_LOW",), "COIL_IN"),
        (output.PUMP, ("COIL_IN",), "STORE_LOW"),
        (output.FAN, (), "STORE_LOW"),
        (0, ("COIL_IN", "STORE_LOW"), "STORE_HIGH"),
    ):
        memory(OUT=out, FLAGS=flag, STORE_LOW_GOOD=3, COIL_IN_GOOD=3)(d)
        untrusted(*lost)(d)
        assert not cold(d, **{**WARM, f"{name}_MC": least_mc}), name
        assert cold(d, **{**WARM, f"{name}_MC": least_mc - 1}), name
    untrusted("COIL_IN", "STORE_LOW", "STORE_HIGH")(d)
    assert not cold(d, **dict.fromkeys(("STORE_LOW_MC", "STORE_HIGH_MC", "COIL_IN_MC"), -4000))


@pytest.mark.parametrize(("flag", "least_mc"), [(0, 3500), (cell.FLAG_COIL, 3800)])
def test_air_that_threatens_to_freeze_the_coil(flag: int, least_mc: int) -> None:
    d = rested()
    d.memory[cell.FLAGS] = flag
    assert not cold(d, **{**WARM, "COIL_AIR_MC": least_mc, "ROOM_MC": 0})
    assert cold(d, COIL_AIR_MC=least_mc - 1, ROOM_MC=20000)
    untrusted("COIL_AIR")(d)
    assert not cold(d, ROOM_MC=least_mc)
    assert cold(d, ROOM_MC=least_mc - 1)
    d.settings[setting.BRINE] = 1
    assert not cold(d)
    d.settings[setting.BRINE] = 0
    untrusted("ROOM")(d)
    assert not cold(d)


def test_an_inlet_that_follows_the_store() -> None:
    d = rested()
    for mc, follows in ((4999, False), (5000, True), (11000, True), (11001, False)):
        d.set(COIL_IN_MC=mc)
        assert conditions.inlet_follows(d.memory, d.settings, d.readings) == follows, mc
    d.set(COIL_IN_MC=8000)
    untrusted("STORE_LOW")(d)
    assert conditions.inlet_follows(d.memory, d.settings, d.readings)
    untrusted("STORE_HIGH")(d)
    assert not conditions.inlet_follows(d.memory, d.settings, d.readings)
    memory(STORE_LOW_GOOD=3)(d)
    untrusted("COIL_IN")(d)
    assert not conditions.inlet_follows(d.memory, d.settings, d.readings)

"""When the room is cooled, and in which order fan and pump start."""

from __future__ import annotations

import pytest
from drive import EVERY_SENSOR, Drive, fitted, mode, statechart, week


def ready(room: int = 23000, store: int = 5000, **more: int) -> Drive:
    d = Drive(STORE_LOW_MC=store, STORE_HIGH_MC=store, COIL_IN_MC=store, ROOM_MC=room, **more)
    d.minutes(11)
    return d


def room(d: Drive, *steps: int) -> Drive:
    for mc in steps:
        d.seconds(12, ROOM_MC=mc)
    return d


def test_room_hysteresis() -> None:
    d = room(ready(), 24499)
    assert not d.pump
    assert room(d, 24500).pump
    d.minutes(2, ROOM_MC=24001)
    assert d.pump
    assert not room(d, 24000).pump
    assert not room(d, 24499).pump


def test_only_in_the_hours_when_it_is_wanted() -> None:
    d = ready(WEEK_MIN=599)
    d.window(0, week.WANTED, 127, 600, 720)
    d.boot()
    d.minutes(11)
    assert not room(d, 27000).pump
    d.seconds(12, WEEK_MIN=600)
    assert d.pump
    d.seconds(12, WEEK_MIN=720)
    assert not d.pump


def test_only_while_the_store_is_cold_enough_to_be_of_use() -> None:
    d = ready(room=25900, store=19901)  # not quite 6 K colder than the room
    assert not d.pump
    d.set(STORE_LOW_MC=19900, STORE_HIGH_MC=19900, COIL_IN_MC=19900)
    d.seconds(12)
    assert d.pump  # 6 K; it goes on down to 4 K
    d.minutes(2, ROOM_MC=24100)
    assert d.pump
    d.set(STORE_LOW_MC=20100, STORE_HIGH_MC=20100)
    d.seconds(4)
    assert d.pump
    d.set(STORE_LOW_MC=20101, STORE_HIGH_MC=20101)
    d.seconds(4)
    assert not d.pump


def test_delivery_leaves_a_store_that_can_be_charged_without_a_first_pull_down() -> None:
    d = ready(room=32000, store=18000)
    assert d.pump
    d.minutes(2)
    d.set(STORE_LOW_MC=21000, STORE_HIGH_MC=21000)
    d.seconds(4)
    assert not d.pump
    d.minutes(11)
    assert d.compressor


def test_fan_then_pump_then_compressor_five_seconds_apart() -> None:
    d = ready(store=3500)
    d.set(STORE_LOW_MC=8000, STORE_HIGH_MC=8000, COIL_IN_MC=8000, ROOM_MC=27000)
    d.tick()
    assert d.fan
    assert not d.pump
    assert not d.compressor
    assert d.until(lambda d: d.pump, 10) == 5
    assert not d.compressor
    assert d.until(lambda d: d.compressor, 10) == 5


def test_fan_speed_follows_how_warm_the_room_is() -> None:
    d = room(ready(), 24800)
    assert d.fan
    assert not d.full_fan
    assert room(d, 25500).full_fan
    assert room(d, 24750).full_fan
    assert not room(d, 24749).full_fan


@pytest.mark.parametrize(("store_mc", "starts"), [(0, True), (-500, True), (-501, False)])
def test_ice_in_the_store_is_melted_by_delivering_to_a_warm_room(
    store_mc: int, starts: bool
) -> None:
    """5 kg of ice, room 24.5 °C: the water is at 0 °C and delivery begins.

    Water at 0 °C cannot freeze a coil in a room at 24 °C; only a reading below 0 °C by more than
    the probe's error says that the water is not water.
    """
    d = ready(room=24500, store=store_mc)
    assert d.pump == starts
    assert not d.compressor


def test_cold_air_at_the_coil_bars_the_pump() -> None:
    d = room(ready(), 26000)
    d.seconds(3, COIL_AIR_MC=3500)
    assert d.pump
    d.tick(COIL_AIR_MC=3499)
    assert d.room_state == statechart.COIL_STOP
    assert not d.out & 2
    d.seconds(10, COIL_AIR_MC=3799)
    assert d.room_state == statechart.COIL_STOP
    d.tick(COIL_AIR_MC=3800)
    assert d.until(lambda d: d.pump, 330) >= 300


def test_without_an_air_probe_the_room_probe_stands_in() -> None:
    d = Drive(fit=EVERY_SENSOR & ~fitted.COIL_AIR, ROOM_MC=3400, settings={"ROOM_TARGET_MC": 15000})
    d.minutes(11)
    assert d.room_state == statechart.WAITING
    d.ask(mode.PURGE, 10)
    d.seconds(12)
    assert not d.pump


@pytest.mark.parametrize(("inlet_mc", "runs"), [(-2500, True), (-2501, False)])
def test_a_brine_has_a_limit_of_its_own_and_its_error_counts_against(
    inlet_mc: int, runs: bool
) -> None:
    d = ready(settings={"BRINE": 1, "BRINE_LIMIT_MC": -3000})
    room(d, 26000)
    assert d.pump
    d.seconds(3, COIL_IN_MC=inlet_mc, COIL_AIR_MC=1000)
    assert d.pump == runs


def test_no_room_probe_no_delivery() -> None:
    d = room(ready(), 26000)
    d.set(ROOM_FAULT=1)
    assert d.until(lambda d: not d.pump, 12) <= 10
    assert d.room_state == statechart.ROOM_BLIND

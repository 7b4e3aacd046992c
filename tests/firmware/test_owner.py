"""The owner's modes, their time limits and countdowns, and the acknowledge button."""

from __future__ import annotations

import pytest
from drive import Drive, cell, latch, mode, output, statechart, week

MOTORS = output.COMPRESSOR | output.PUMP | output.FAN
# Longest request of each mode in minutes, from the requirements of each.
LIMITS = {
    mode.OFF: 4320,
    mode.CHARGE_NOW: 1440,
    mode.COOL_NOW: 720,
    mode.QUIET: 720,
    mode.SERVICE: 120,
    mode.PURGE: 30,
    mode.FIRST_PULL_DOWN: 4320,
}


def running(**more: int) -> Drive:
    d = Drive(ROOM_MC=27000, **more)
    d.minutes(11)
    d.seconds(12)
    assert d.out & MOTORS == MOTORS
    return d


def asked(d: Drive, wanted: int, minutes: int = 30) -> Drive:
    d.ask(wanted, minutes)
    d.seconds(12)
    return d


@pytest.mark.parametrize("wanted", sorted(LIMITS))
def test_each_mode_ends_by_itself(wanted: int) -> None:
    d = Drive()
    d.tick()
    d.ask(wanted, LIMITS[wanted])
    d.tick()
    assert d.memory[cell.MODE] == wanted
    d.minutes(LIMITS[wanted] - 1, 60000)
    assert d.memory[cell.MODE] == wanted
    d.seconds(60)
    assert d.memory[cell.MODE] == mode.AUTOMATIC


@pytest.mark.parametrize("wanted", sorted(LIMITS))
@pytest.mark.parametrize("excess", [1, -100000])
def test_a_request_beyond_its_limit_or_without_a_time_is_ignored(wanted: int, excess: int) -> None:
    d = Drive()
    d.tick()
    d.ask(wanted, max(0, LIMITS[wanted] + excess))
    d.tick()
    assert d.memory[cell.MODE] == mode.AUTOMATIC


@pytest.mark.parametrize("wanted", [-1, mode.SIZE, 1000])
def test_an_unknown_mode_is_ignored(wanted: int) -> None:
    d = asked(running(), wanted, 10)
    assert d.memory[cell.MODE] == mode.AUTOMATIC
    assert d.out & MOTORS == MOTORS


def test_automatic_ends_any_mode_at_once() -> None:
    d = asked(running(), mode.OFF, 600)
    assert not d.out & MOTORS
    d.ask(mode.AUTOMATIC, 0)
    d.seconds(2)
    assert d.memory[cell.MODE] == mode.AUTOMATIC
    d.seconds(65)
    assert d.pump


def test_a_request_from_before_power_up_does_not_count() -> None:
    d = running()
    d.ask(mode.OFF, 60)
    d.boot()
    d.minutes(11)
    d.seconds(12)
    assert d.out & MOTORS == MOTORS


def test_off_is_all_off_within_one_scan_even_in_the_minimum_on_time() -> None:
    d = running()
    d.ask(mode.OFF, 10)
    assert not d.tick() & MOTORS
    assert d.until(lambda d: d.compressor, 700) >= 599


def test_charge_now_charges_deep_at_any_price_and_keeps_charging() -> None:
    d = Drive(STORE_LOW_MC=3300, STORE_HIGH_MC=3300)
    d.window(0, week.CHARGE, 127, 60, 120)
    d.window(1, week.NO_START, 127, 600, 900)
    d.minutes(11)
    assert not d.compressor
    d.vouch()
    assert asked(d, mode.CHARGE_NOW).compressor
    d.seconds(4, STORE_LOW_MC=450, STORE_HIGH_MC=450)
    assert not d.compressor  # the freeze guard stays above it


def test_cool_now_cools_outside_the_wanted_hours_with_full_fans() -> None:
    d = Drive(ROOM_MC=24300, STORE_LOW_MC=5000, STORE_HIGH_MC=5000)
    d.window(0, week.WANTED, 127, 60, 120)
    d.minutes(11)
    assert not d.pump
    asked(d, mode.COOL_NOW)
    assert d.pump
    assert d.full_fan
    d.tick(TRAY_OK=0)
    assert not d.pump  # under the interlock as ever


def test_quiet_caps_the_fans_and_starts_no_compressor_but_lets_a_run_go_on() -> None:
    d = running()
    assert d.full_fan
    asked(d, mode.QUIET, 60)
    assert d.compressor
    assert d.fan
    assert not d.full_fan
    d.seconds(5, MAINS_OK=0)
    d.minutes(20, MAINS_OK=1)
    assert not d.compressor
    d.minutes(40)
    assert d.compressor


def test_service_lets_tray_and_level_floats_be_lifted_without_latching() -> None:
    d = asked(running(), mode.SERVICE, 60)
    assert not d.out & MOTORS
    for _ in range(5):
        d.seconds(3, TRAY_OK=0, LEVEL_OK=0)
        d.seconds(3, TRAY_OK=1, LEVEL_OK=1)
    assert d.memory[cell.LATCH] == 0
    d.tick(FLOOR_DRY=0)
    assert d.latched(latch.FLOOR)  # a wet floor is no part of a service


def test_a_level_float_still_lifted_when_service_ends_latches() -> None:
    d = asked(running(), mode.SERVICE, 10)
    d.set(LEVEL_OK=0)
    d.minutes(9)
    assert not d.latched(latch.LEVEL)
    d.minutes(1)
    assert d.latched(latch.LEVEL)


def test_after_a_service_delivery_goes_on_within_a_minute() -> None:
    d = asked(running(), mode.SERVICE, 60)
    d.seconds(5, TRAY_OK=0)
    d.tick(TRAY_OK=1)
    d.ask(mode.AUTOMATIC, 0)
    assert d.until(lambda d: d.fan, 100) <= 62


def test_purge_runs_the_pump_alone_and_starts_no_compressor() -> None:
    d = asked(running(), mode.PURGE, 20)
    assert not d.out & MOTORS & ~output.COMPRESSOR
    d.seconds(65)
    assert d.pump
    assert not d.fan
    assert d.room_state == statechart.PURGE
    d.set(ROOM_FAULT=1)
    d.minutes(1)
    assert d.room_state == statechart.PURGE  # needs no room probe
    d.minutes(20)
    assert not d.pump


def test_one_press_clears_what_is_over_and_keeps_what_is_not() -> None:
    d = running()
    d.seconds(3, FLOOR_DRY=0, LEVEL_OK=0)
    d.seconds(3, FLOOR_DRY=1)
    d.press()
    d.tick()
    assert d.memory[cell.LATCH] == latch.LEVEL
    d.tick(LEVEL_OK=1)
    d.press()
    d.tick()
    assert d.memory[cell.LATCH] == 0


def test_a_held_button_is_one_press() -> None:
    d = running()
    d.press()
    d.seconds(5)
    d.tick(LEVEL_OK=0)
    d.seconds(30, LEVEL_OK=1)
    assert d.latched(latch.LEVEL)

"""What stands in for a sensor the installation does not have, and settings that are refused."""

from __future__ import annotations

import pytest
from drive import EVERY_SENSOR, Drive, cell, fitted, latch, output, setting, statechart

MOTORS = output.COMPRESSOR | output.PUMP | output.FAN
MINIMUM = fitted.STORE_LOW | fitted.ROOM | fitted.TRAY


def pumping(fit: int, **more: int) -> Drive:
    d = Drive(fit=fit, ROOM_MC=27000, **more)
    d.minutes(11)
    d.seconds(12)
    return d


def test_without_flow_sensor_the_inlet_must_follow_the_store_in_three_minutes() -> None:
    d = Drive(fit=EVERY_SENSOR & ~fitted.FLOW, ROOM_MC=27000, COIL_IN_MC=22000)
    d.until(lambda d: d.pump, 700)
    assert d.until(lambda d: not d.pump, 300) == pytest.approx(180, abs=2)
    assert d.room_state == statechart.DRY_RUN_STOP
    assert d.until(lambda d: d.fan, 100) == pytest.approx(60, abs=2)
    d.until(lambda d: d.pump, 12)
    d.set(COIL_IN_MC=11000)  # 3 K from the store: water has come
    d.minutes(30)
    assert d.pump


def test_an_inlet_probe_that_fails_is_no_evidence() -> None:
    d = pumping(EVERY_SENSOR & ~fitted.FLOW)
    d.minutes(10)
    assert d.pump
    d.set(COIL_IN_FAULT=1)
    assert d.until(lambda d: not d.pump, 300) <= 192


def test_with_neither_the_pump_runs_in_bounded_spells() -> None:
    d = pumping(MINIMUM, settings={"SPELL_ON_S": 120, "SPELL_OFF_S": 300})
    spells: list[int] = []
    since, was = d.clock_ms, d.pump
    for _ in range(3600):
        d.tick()
        if d.pump != was:
            spells.append((d.clock_ms - since) // 1000 * (1 if was else -1))
            since, was = d.clock_ms, d.pump
    on = [s for s in spells[1:] if s > 0]
    off = [-s for s in spells[1:] if s < 0]
    assert set(on) == {120}
    assert all(305 <= s <= 307 for s in off)  # the pause, then the fan 5 s ahead


def test_without_a_level_or_floor_sensor_nothing_latches() -> None:
    d = pumping(MINIMUM, LEVEL_OK=0, FLOOR_DRY=0)
    assert d.memory[cell.LATCH] == 0
    assert d.compressor


def test_an_open_drain_needs_no_tray_float_and_no_wait_but_the_pump_s_own() -> None:
    d = Drive(fit=MINIMUM & ~fitted.TRAY, ROOM_MC=27000, TRAY_OK=0)
    assert d.until(lambda d: d.pump, 90) <= 60 + 12


def test_without_mains_sense_every_boot_waits_the_whole_off_time() -> None:
    d = pumping(MINIMUM, MAINS_OK=0)
    assert d.compressor
    d.boot()
    d.tick()
    assert d.until(lambda d: d.compressor, 700) == 600


def test_without_a_tach_a_still_fan_is_not_seen() -> None:
    d = pumping(EVERY_SENSOR & ~fitted.FAN_TACH)
    d.honest = False
    d.minutes(10, FAN_RPM=0, FLOW_ML_MIN=1000)
    assert d.pump
    assert not d.latched(latch.STILL)


def test_no_store_probe_at_all_means_no_compressor_and_no_delivery() -> None:
    d = Drive(fit=fitted.ROOM | fitted.TRAY, ROOM_MC=27000)
    d.minutes(30)
    assert not d.out & MOTORS
    assert d.store_state == statechart.STORE_BLIND


@pytest.mark.parametrize(
    ("changes", "slot"),
    [
        ({"MIN_OFF_S": 299}, "MIN_OFF_S"),
        ({"SCHEMA": 1}, "SCHEMA"),
        ({"DEEP_MC": 7000}, "SHALLOW_MC"),
        ({"ROOM_LIMIT_MC": 24000}, "ROOM_LIMIT_MC"),
        ({"USEFUL_BAND_MK": 6000}, "USEFUL_BAND_MK"),
        ({"FAN_FULL_PM": 500}, "FAN_QUIET_PM"),
        ({"SHALLOW_MC": 20000, "BAND_MK": 2000}, "WARM_FILL_MC"),
        ({"WINDOW_1_KIND": 4}, "WINDOW_1_KIND"),
    ],
)
def test_settings_that_cannot_be_meant_are_refused_by_name_and_keep_all_off(
    changes: dict[str, int], slot: str
) -> None:
    d = Drive(ROOM_MC=27000)
    for name, value in changes.items():
        d.settings[getattr(setting, name)] = value
    assert setting.first_fault(d.settings) == getattr(setting, slot)
    d.minutes(30)
    assert d.out == 0


def test_a_record_that_fails_later_stops_the_motors_at_once() -> None:
    d = pumping(EVERY_SENSOR)
    assert d.out & MOTORS == MOTORS
    assert not d.tick(SETTINGS_OK=0) & MOTORS
    d.tick(SETTINGS_OK=1)
    assert d.until(lambda d: d.compressor, 700) >= 599

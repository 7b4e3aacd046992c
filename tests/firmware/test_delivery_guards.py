"""Dry run, tray, leaks, fans, outage: what stops delivery, how fast, and what brings it back."""

from __future__ import annotations

import pytest
from drive import EVERY_SENSOR, Drive, fitted, latch, mode, output, statechart

MOTORS = output.COMPRESSOR | output.PUMP | output.FAN


def delivering(fit: int = EVERY_SENSOR, **settings: int) -> Drive:
    d = Drive(fit=fit, settings=settings, ROOM_MC=27000)
    d.minutes(11)
    d.seconds(12)
    assert d.pump
    assert d.fan
    return d


def dry(d: Drive) -> int:
    """Flow stops; the seconds until the pump does."""
    d.honest = False
    d.set(FLOW_ML_MIN=0, FAN_RPM=900)
    took = d.until(lambda d: not d.pump, 30)
    d.honest = True
    return took


def test_a_pump_that_brings_no_water_stops_after_ten_seconds() -> None:
    d = Drive(ROOM_MC=27000)
    d.honest = False
    d.minutes(11)
    d.set(FAN_RPM=900)
    d.until(lambda d: d.pump, 12 + 60)
    assert d.until(lambda d: not d.pump, 30) == 10
    assert d.room_state == statechart.DRY_RUN_STOP


def test_flow_lost_on_the_way_stops_it_after_five() -> None:
    d = delivering()
    assert dry(d) == 1 + 5  # the scan that misses it first, then 5 s


def test_flow_just_under_the_least_is_none_and_a_blip_is_enough() -> None:
    d = delivering()
    d.honest = False
    d.set(FAN_RPM=900)
    for _ in range(5):
        d.seconds(5, FLOW_ML_MIN=299)
        d.tick(FLOW_ML_MIN=300)
    assert d.pump
    d.seconds(6, FLOW_ML_MIN=299)
    assert not d.pump


@pytest.mark.requirement("ROW-68")
def test_more_flow_than_the_pump_can_deliver_is_none() -> None:
    """1 kHz on the wire of a sensor of 450 pulses a litre reads 133 L/min."""
    d = delivering()
    d.honest = False
    d.set(FAN_RPM=900)
    d.seconds(20, FLOW_ML_MIN=20000)  # the default of FLOW_MOST_ML_MIN
    assert d.pump
    for flow_ml_min in (20001, 133000):
        d = delivering()
        d.honest = False
        d.set(FLOW_ML_MIN=flow_ml_min, FAN_RPM=900)
        assert d.until(lambda d: not d.pump, 30) == 1 + 5
        assert d.room_state == statechart.DRY_RUN_STOP
        d.seconds(58)
        assert d.room_state == statechart.DRY_RUN_STOP
        d.minutes(10)  # with the pump off it is flow that should not be
        assert not d.pump


def test_retries_after_1_5_and_30_minutes_then_a_person() -> None:
    d = delivering(DEEP_MC=9000, SHALLOW_MC=10000)  # no charging: its probes stand still for a day
    for minutes in (1, 5, 30):
        dry(d)
        waited_s = d.until(lambda d: d.fan, 2000)
        assert waited_s == pytest.approx(minutes * 60, abs=2)
        d.until(lambda d: d.pump, 12)
    dry(d)
    assert d.latched(latch.DRY)
    d.minutes(10 * 60, 60000)
    assert not d.pump
    assert d.out & output.ALARM
    d.press()
    d.seconds(12)
    assert d.pump


def test_dry_runs_are_forgotten_a_day_after_the_last() -> None:
    d = delivering()
    dry(d)
    d.minutes(23 * 60, 60000)
    dry(d)
    assert d.until(lambda d: d.fan, 2000) == pytest.approx(300, abs=2)
    d.minutes(24 * 60 + 1, 60000)
    dry(d)
    assert d.until(lambda d: d.fan, 2000) == pytest.approx(60, abs=2)


def test_flow_with_the_pump_off_makes_the_sensor_a_liar() -> None:
    d = Drive(ROOM_MC=23000)
    d.minutes(11)
    d.honest = False
    d.seconds(59, FLOW_ML_MIN=900)
    assert d.room_state == statechart.WAITING
    d.seconds(3)
    assert d.room_state == statechart.DRY_RUN_STOP
    d.seconds(3, FLOW_ML_MIN=0)
    assert d.room_state == statechart.WAITING


def test_a_full_tray_stops_delivery_at_once_and_holds_it_ten_minutes() -> None:
    d = delivering()
    d.tick(TRAY_OK=0)
    assert not d.out & (output.PUMP | output.FAN)
    d.minutes(20)
    assert d.room_state == statechart.CONDENSATE_STOP
    d.tick(TRAY_OK=1)
    assert d.until(lambda d: d.fan, 700) == pytest.approx(600, abs=2)


def test_the_third_full_tray_of_a_day_waits_for_a_person() -> None:
    d = delivering()
    for _ in range(3):
        d.seconds(5, TRAY_OK=0)
        d.tick(TRAY_OK=1)
        d.minutes(11)
    assert d.latched(latch.TRAY)
    assert d.room_state == statechart.ROOM_LOCKED


def test_emptied_and_acknowledged_it_goes_on_in_sixty_seconds_and_is_not_counted() -> None:
    d = delivering()
    for _ in range(6):
        d.seconds(5, TRAY_OK=0)
        d.seconds(3, TRAY_OK=1)
        d.press()
        assert d.until(lambda d: d.fan, 100) <= 60 + 3
        d.minutes(11)
    assert not d.latched(latch.TRAY)


def test_acknowledging_a_tray_that_is_still_full_changes_nothing() -> None:
    d = delivering()
    d.seconds(5, TRAY_OK=0)
    d.press()
    d.seconds(5)
    d.tick(TRAY_OK=1)
    assert d.until(lambda d: d.fan, 700) >= 599


def test_acknowledging_a_latched_tray_that_is_still_full_changes_nothing() -> None:
    d = delivering()
    for _ in range(3):
        d.tick(TRAY_OK=1)
        d.seconds(5, TRAY_OK=0)
    assert d.latched(latch.TRAY)
    d.press()
    d.seconds(5)
    assert d.latched(latch.TRAY)
    d.tick(TRAY_OK=1)
    d.press()
    d.tick()
    assert not d.latched(latch.TRAY)


@pytest.mark.parametrize(("name", "bit"), [("LEVEL_OK", latch.LEVEL), ("FLOOR_DRY", latch.FLOOR)])
def test_water_where_it_should_not_be_stops_everything_until_acknowledged(
    name: str, bit: int
) -> None:
    d = delivering()
    assert d.compressor
    d.tick(**{name: 0})
    assert not d.out & MOTORS
    d.minutes(30, **{name: 1})
    assert not d.out & MOTORS
    assert d.latched(bit)
    assert d.out & output.ALARM
    d.press()
    d.minutes(11)
    assert d.out & MOTORS == MOTORS


def test_a_fan_that_moves_no_air_stops_the_pump_in_three_minutes_thrice_then_latches() -> None:
    d = delivering()
    d.honest = False
    d.set(FLOW_ML_MIN=1000)
    for n in range(3):
        d.set(FAN_RPM=199)
        took = d.until(lambda d: not d.pump, 300)
        assert took == pytest.approx(180, abs=2)
        assert d.room_state == (statechart.COIL_STOP if n < 2 else statechart.ROOM_LOCKED)
        d.set(FLOW_ML_MIN=0)
        if n < 2:
            assert d.until(lambda d: d.fan, 400) == pytest.approx(300, abs=2)
            d.set(FLOW_ML_MIN=1000)
            d.until(lambda d: d.pump, 12)
    assert d.latched(latch.STILL)


def test_an_outage_stops_the_compressor_and_the_battery_carries_delivery_to_its_cut_off() -> None:
    d = delivering(BATTERY_CUT_MV=12000, BATTERY_REARM_MV=600)
    d.tick(MAINS_OK=0)
    assert not d.compressor
    assert d.pump
    d.minutes(60, BATTERY_MV=12000)
    assert d.pump
    d.tick(BATTERY_MV=11999)
    assert not d.out & (output.PUMP | output.FAN)
    d.seconds(30, BATTERY_MV=12600)  # it recovers without its load: not enough
    assert not d.pump
    d.seconds(42, BATTERY_MV=12601)
    assert d.pump


def test_mains_alone_rearms_a_flat_battery() -> None:
    d = delivering()
    d.seconds(5, MAINS_OK=0, BATTERY_MV=11000)
    assert not d.pump
    d.seconds(65, MAINS_OK=1)
    assert d.pump
    assert not d.compressor


def test_without_a_battery_an_outage_stops_delivery_too() -> None:
    d = delivering(EVERY_SENSOR & ~fitted.BATTERY)
    d.tick(MAINS_OK=0)
    assert not d.out & MOTORS


def test_a_purge_is_cut_short_by_the_same_dry_run_stop() -> None:
    d = Drive(ROOM_MC=22000)
    d.minutes(11)
    d.ask(mode.PURGE, 30)
    d.honest = False
    d.until(lambda d: d.pump, 12)
    assert not d.fan
    assert d.until(lambda d: not d.pump, 30) == 10

"""A compressor that runs although switched off: seen by a contact, or by the store alone."""

from __future__ import annotations

import pytest
from drive import EVERY_SENSOR, Drive, cell, fitted, latch, mode, output, setting, statechart
from springhouse import events

NO_CONTACT = EVERY_SENSOR & ~fitted.RELAY
FALL_MK = 200  # default of CHILLS_MK
COLD = {"DEEP_MC": 9000, "SHALLOW_MC": 10000}  # targets above the store: nothing is charged


def idle(fit: int = NO_CONTACT) -> Drive:
    """Nothing wanted, nothing running, settled."""
    d = Drive(fit=fit, settings=COLD, STORE_LOW_MC=6000, STORE_HIGH_MC=6000)
    d.seconds(310)
    assert d.memory[cell.REST_BY] != 0
    return d


@pytest.mark.requirement("ROW-67")
def test_the_contact_shows_it_within_5_s_with_its_debouncing() -> None:
    d = Drive()
    d.minutes(2)
    d.set(RELAY_OPEN=0)
    took_s = d.until(lambda d: d.latched(latch.WELDED), 10)
    assert took_s + 1.4 <= 5
    d.seconds(2)
    assert d.store_state == statechart.STORE_LOCKED
    assert d.out & output.ALARM
    assert not d.compressor


def test_a_live_freezer_is_right_while_it_is_switched_on_and_for_a_moment_after() -> None:
    d = Drive(STORE_LOW_MC=8000, STORE_HIGH_MC=8000)
    d.minutes(11)
    assert d.compressor
    d.set(RELAY_OPEN=0)
    d.minutes(10)
    assert not d.latched(latch.WELDED)
    d.ask(mode.OFF)
    d.seconds(2)
    d.tick(RELAY_OPEN=1)
    assert not d.latched(latch.WELDED)
    d.seconds(10)
    assert not d.latched(latch.WELDED)


def test_without_the_contact_its_input_is_not_looked_at() -> None:
    d = Drive(fit=NO_CONTACT)
    d.minutes(2)
    d.set(RELAY_OPEN=0)
    d.minutes(2)
    assert not d.latched(latch.WELDED)


@pytest.mark.requirement("ROW-67")
def test_a_store_that_gets_colder_switched_off_is_noticed_within_35_min() -> None:
    d = Drive(fit=NO_CONTACT, settings=COLD, STORE_LOW_MC=6000, STORE_HIGH_MC=6000)
    d.seconds(2)
    for minute in range(36):  # 0.5 K an hour
        if d.latched(latch.WELDED):
            break
        d.minutes(1, STORE_LOW_MC=6000 - 8 * minute, STORE_HIGH_MC=6000 - 8 * minute)
    assert d.latched(latch.WELDED)
    assert d.clock_ms <= 35 * 60000
    d.seconds(2)
    assert d.out & output.ALARM


@pytest.mark.parametrize(("fallen_mk", "seen"), [(FALL_MK, True), (FALL_MK - 1, False)])
def test_the_fall_that_only_a_compressor_makes(fallen_mk: int, seen: bool) -> None:
    d = idle()
    d.tick(STORE_LOW_MC=6000 - fallen_mk, STORE_HIGH_MC=6000 - fallen_mk)
    assert d.latched(latch.WELDED) == seen


def test_a_fall_is_measured_in_half_hours_so_that_a_cold_place_is_none() -> None:
    """A place colder than the store takes 0.1 K an hour from it."""
    d = idle()
    for hour in range(8):
        d.minutes(60, 10000)
        d.set(STORE_LOW_MC=6000 - 100 * hour, STORE_HIGH_MC=6000 - 100 * hour)
    assert not d.latched(latch.WELDED)


def test_what_was_stirred_has_a_quarter_of_an_hour_to_settle() -> None:
    d = idle()
    d.minutes(6)  # the tray's wait after power-up
    d.ask(mode.PURGE, 20)
    d.seconds(20)
    assert d.memory[cell.REST_BY] == 0
    d.ask(mode.AUTOMATIC)
    d.seconds(3)
    d.minutes(14)
    d.seconds(30, STORE_LOW_MC=5000, STORE_HIGH_MC=5000)
    d.minutes(10)
    assert not d.latched(latch.WELDED)
    d.tick(STORE_LOW_MC=4799, STORE_HIGH_MC=4799)
    assert d.latched(latch.WELDED)


def test_a_welded_relay_is_noticed_as_soon_after_the_pump() -> None:
    """With 0.6 K an hour, and no later than after the compressor."""
    d = idle()
    d.minutes(6)
    d.ask(mode.PURGE, 20)
    d.seconds(20)
    d.ask(mode.AUTOMATIC)
    d.seconds(3)
    assert not d.pump
    begun_ms = d.clock_ms
    for minute in range(36):
        if d.latched(latch.WELDED):
            break
        d.minutes(1, STORE_LOW_MC=6000 - 11 * minute, STORE_HIGH_MC=6000 - 11 * minute)
    assert d.latched(latch.WELDED)
    assert d.clock_ms - begun_ms <= events.NOTICED_MS


def test_water_stirred_near_four_degrees_is_no_chilling() -> None:
    """As the simulated store shows it after a short delivery: the top mixes, nothing is taken out.

    190 L between 2.9 and 3.5 °C: minute after the pump, reading of the upper probe; both probes 2 K
    higher here, where no guard stops the pump.
    """
    d = Drive(fit=NO_CONTACT, settings=COLD, STORE_LOW_MC=5437, STORE_HIGH_MC=6062)
    d.minutes(12)
    d.ask(mode.PURGE, 20)
    d.seconds(20)
    assert d.pump
    d.ask(mode.AUTOMATIC)
    d.seconds(3)
    at = 0
    for minute, high_mc in (
        (2, 6000), (4, 5937), (6, 5875), (7, 5812), (9, 5750), (11, 5687), (15, 5625), (25, 5562),
        (35, 5500),
    ):  # fmt: skip
        d.minutes(minute - at, STORE_HIGH_MC=high_mc)
        at = minute
        assert not d.latched(latch.WELDED)


@pytest.mark.parametrize(
    ("low_mc", "high_mc", "latched_at_mc"),
    [
        (3300, 4300, 3300 - FALL_MK),  # warm water on top of colder, both under 4 °C, mixes down
        (5300, 6300, 5800 - FALL_MK),  # above 4 °C it stays on top: from the mean
        (4200, 3000, 3000 - FALL_MK),  # colder on top is the lighter: from the top
        (6300, 5300, 5800 - FALL_MK),  # but not above 4 °C: a probe that errs, so from the mean
    ],
)
def test_under_four_degrees_the_fall_is_measured_from_the_colder_probe(
    low_mc: int, high_mc: int, latched_at_mc: int
) -> None:
    for short_mk, seen in ((1, False), (0, True)):
        d = Drive(fit=NO_CONTACT, settings=COLD, STORE_LOW_MC=low_mc, STORE_HIGH_MC=high_mc)
        d.seconds(310)
        assert d.memory[cell.REST_BY] == (fitted.STORE_HIGH if high_mc < min(low_mc, 3980) else 3)
        mean = latched_at_mc + short_mk
        d.tick(STORE_LOW_MC=mean, STORE_HIGH_MC=mean)
        assert d.latched(latch.WELDED) == seen


def overturning() -> Drive:
    """At rest near 4 °C: the bottom above, the top below the greatest density (3.98 °C)."""
    d = Drive(fit=NO_CONTACT, settings=COLD, STORE_LOW_MC=4187, STORE_HIGH_MC=3770)
    d.seconds(310)
    return d


def test_a_bottom_that_turns_over_is_no_chilling() -> None:
    """As the simulated store of 430 L shows it: the bottom mixes with what lies on it."""
    d = overturning()
    for low_mc in (4125, 4062, 4000, 3875, 3770):
        d.minutes(3, STORE_LOW_MC=low_mc)
        assert not d.latched(latch.WELDED)


@pytest.mark.requirement("ROW-67")
def test_over_a_bottom_that_stays_a_welded_relay_shows_at_the_top() -> None:
    """With 0.5 K an hour at the top alone, which is half of that of the mean."""
    d = overturning()
    for minute in range(30):
        if d.latched(latch.WELDED):
            break
        d.minutes(1, STORE_HIGH_MC=3770 - 8 * minute)
    assert d.latched(latch.WELDED)
    assert d.clock_ms <= events.NOTICED_MS


def test_the_top_is_followed_on_when_the_bottom_is_lost_and_not_the_other_way() -> None:
    for lost, goes_on in (("STORE_LOW", True), ("STORE_HIGH", False)):
        d = overturning()
        d.set(**{f"{lost}_FAULT": 1})
        d.seconds(12)
        assert (d.memory[cell.REST_BY] == fitted.STORE_HIGH) == goes_on
        d.tick(STORE_HIGH_MC=3770 - FALL_MK)
        assert d.latched(latch.WELDED) == goes_on


def test_in_service_the_store_proves_nothing_and_the_contact_does() -> None:
    d = idle(EVERY_SENSOR)
    d.ask(mode.SERVICE)
    d.seconds(2)
    assert d.memory[cell.REST_BY] == 0
    d.set(STORE_LOW_MC=3000, STORE_HIGH_MC=3000)
    d.minutes(60, 10000)
    assert not d.latched(latch.WELDED)
    d.set(RELAY_OPEN=0)
    d.seconds(5)
    assert d.latched(latch.WELDED)


def test_a_mean_that_fell_because_a_probe_was_lost_is_no_chilling() -> None:
    d = Drive(fit=NO_CONTACT, settings=COLD, STORE_LOW_MC=5000, STORE_HIGH_MC=7000)
    d.minutes(6)
    d.set(STORE_HIGH_FAULT=1)
    d.minutes(2)
    assert not d.latched(latch.WELDED)
    d.minutes(4)
    d.tick(STORE_LOW_MC=4799)
    assert d.latched(latch.WELDED)


def test_acknowledged_it_comes_again_while_it_lasts() -> None:
    d = Drive()
    d.minutes(2)
    d.set(RELAY_OPEN=0)
    d.seconds(4)
    d.press()
    d.tick()
    assert d.latched(latch.WELDED)
    d.set(RELAY_OPEN=1)
    d.tick()
    d.press()
    d.tick()
    assert not d.latched(latch.WELDED)
    d = idle()
    d.tick(STORE_LOW_MC=5700, STORE_HIGH_MC=5700)
    d.press()
    d.tick()
    assert not d.latched(latch.WELDED)
    d.minutes(6)
    d.tick(STORE_LOW_MC=5400, STORE_HIGH_MC=5400)
    assert d.latched(latch.WELDED)


def test_a_press_begins_the_watch_anew_from_what_the_store_is_then() -> None:
    """A store that had warmed since is not measured against its colder beginning."""
    d = idle()
    for minute in range(1, 11):
        d.minutes(1, STORE_LOW_MC=6000 + 100 * minute, STORE_HIGH_MC=6000 + 100 * minute)
    d.press()
    d.seconds(310)
    d.tick(STORE_LOW_MC=7000 - FALL_MK, STORE_HIGH_MC=7000 - FALL_MK)
    assert d.latched(latch.WELDED)


def test_delivery_goes_on_so_that_the_store_warms() -> None:
    d = Drive(ROOM_MC=26000, RELAY_OPEN=0)
    d.minutes(12)
    assert d.latched(latch.WELDED)
    assert d.pump


def test_noticed_in_time() -> None:
    assert events.NOTICED_MS == 35 * 60000
    assert setting.row(setting.CHILLS_MK)[1] > 125  # two steps of a 12-bit probe are noise

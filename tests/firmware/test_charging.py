"""When the store is charged, and how far down."""

from __future__ import annotations

import pytest
from drive import Drive, mode, statechart, week

NIGHT = (week.CHARGE, 127, 1380, 420)  # 23:00 to 07:00


def ready(week_min: int = 720, store_mc: int = 8000, **more: int) -> Drive:
    """Off-time over, store cold, so that nothing but the test's own cause decides."""
    d = Drive(WEEK_MIN=week_min, STORE_LOW_MC=2900, STORE_HIGH_MC=2900, **more)
    d.minutes(11)
    return d


def warmed(d: Drive, *steps: int) -> Drive:
    """A store warmed in steps that a probe is believed."""
    for mc in steps:
        d.store(mc)
        d.seconds(4)
    return d


def test_no_window_means_charge_at_any_time_to_the_deep_target() -> None:
    d = warmed(ready(), 3700)
    d.vouch()
    d.tick()
    assert not d.compressor
    warmed(d, 3800)  # deep target 3.0 °C and its band of 0.8 K
    assert d.compressor
    d.minutes(10)
    warmed(d, 3100)
    assert d.compressor
    warmed(d, 3000)
    assert not d.compressor


def test_outside_its_windows_the_store_is_kept_at_the_shallower_target() -> None:
    d = ready(week_min=720)
    d.window(0, *NIGHT)
    d.boot()
    d.minutes(11)
    warmed(d, 5000, 6700)
    assert not d.compressor
    warmed(d, 6800)  # shallow target 6.0 °C and its band
    assert d.compressor
    d.minutes(6)
    warmed(d, 6000)
    assert not d.compressor


def test_a_charging_window_deepens_the_target_when_it_begins() -> None:
    d = Drive(WEEK_MIN=1379, STORE_LOW_MC=5000, STORE_HIGH_MC=5000)
    d.window(0, *NIGHT)
    d.minutes(11)
    assert d.store_state == statechart.HOLD
    d.tick(WEEK_MIN=1380)
    assert d.store_state == statechart.CHARGE
    d.minutes(6)
    d.tick(WEEK_MIN=1440 + 420)  # 07:00: full enough for the day
    assert d.store_state == statechart.HOLD


def test_full_by_delays_the_deep_charge_to_its_lead() -> None:
    d = Drive(
        WEEK_MIN=1385,
        STORE_LOW_MC=5000,
        STORE_HIGH_MC=5000,
        settings={"FULL_BY_MIN": 420, "FULL_LEAD_MIN": 180},
    )
    d.window(0, *NIGHT)
    d.minutes(11)
    assert not d.compressor
    d.tick(WEEK_MIN=1440 + 239)
    assert not d.compressor
    d.tick(WEEK_MIN=1440 + 240)
    assert d.compressor


def test_clock_unknown_leaves_the_decision_to_the_temperature() -> None:
    d = Drive(WEEK_MIN=-1, STORE_LOW_MC=5000, STORE_HIGH_MC=5000)
    d.window(0, *NIGHT)
    d.window(1, week.NO_START, 127, 0, 0)
    d.minutes(11)
    assert d.compressor
    d.minutes(6)
    d.tick(WEEK_MIN=720)  # the clock is back: outside the window, and cold enough for that
    assert not d.compressor


@pytest.mark.parametrize(("override", "starts"), [(1, True), (0, False)])
def test_a_room_over_its_limit_may_override_the_tariff(override: int, starts: bool) -> None:
    d = Drive(settings={"TARIFF_OVERRIDE": override}, ROOM_MC=26500)
    d.window(0, week.NO_START, 127, 700, 800)
    d.minutes(11)
    assert not d.compressor
    d.seconds(12, ROOM_MC=27000)
    assert d.compressor == starts


def test_an_override_needs_a_room_that_is_wanted_cool() -> None:
    d = Drive(ROOM_MC=28000)
    d.window(0, week.NO_START, 127, 700, 800)
    d.window(1, week.WANTED, 127, 900, 1000)
    d.minutes(11)
    assert not d.compressor


def test_a_no_start_window_lets_a_run_go_on() -> None:
    d = Drive(WEEK_MIN=699)
    d.window(0, week.NO_START, 127, 700, 800)
    d.minutes(11)
    assert d.compressor
    d.seconds(60, WEEK_MIN=705)
    assert d.compressor


def test_a_start_delayed_into_a_no_start_window_is_called_off() -> None:
    """Fan and pump start first; before the compressor's turn comes the window has begun."""
    deep = {"DEEP_MC": 5000, "SHALLOW_MC": 6000}
    d = Drive(settings=deep, WEEK_MIN=699, ROOM_MC=26000, STORE_LOW_MC=5500, STORE_HIGH_MC=5500)
    d.window(0, week.NO_START, 127, 700, 800)
    d.minutes(11)
    d.settle()
    d.tick(ROOM_MC=23000)
    d.minutes(3, 20000)
    d.tick(ROOM_MC=26000, STORE_LOW_MC=6000, STORE_HIGH_MC=6000, COIL_IN_MC=6000)
    assert d.fan
    assert d.store_state == statechart.CHARGE
    d.tick(WEEK_MIN=700)
    assert d.store_state == statechart.HOLD
    d.seconds(20)
    assert not d.compressor


def test_warm_fill_is_barred_until_the_owner_asks_for_the_first_pull_down() -> None:
    d = Drive(STORE_LOW_MC=24000, STORE_HIGH_MC=24000)
    d.minutes(30)
    assert not d.compressor
    d.ask(mode.FIRST_PULL_DOWN, 4320)
    d.seconds(3)
    assert d.compressor


def test_the_first_pull_down_rests_the_motor_and_ends_by_itself() -> None:
    d = Drive(STORE_LOW_MC=30000, STORE_HIGH_MC=30000)
    d.tick()
    d.ask(mode.FIRST_PULL_DOWN, 600)
    runs, offs = [], []
    since, was = 0, False
    for n in range(11 * 60):
        d.store(30000 - n * 10)  # slow, but it makes progress
        d.minutes(1, 60000)
        if d.compressor != was:
            (runs if was else offs).append(n - since)
            since, was = n, d.compressor
    assert runs[:2] == [181, 181]  # 3 h and the scan that begins the count
    assert offs[1:3] == [20, 20]
    assert sum(runs) <= 600
    assert not d.compressor  # the mode is over and the store still warmer than warm fill


@pytest.mark.parametrize("kit_low_only", [False, True])
def test_the_mean_of_the_trusted_probes_decides(kit_low_only: bool) -> None:
    d = ready()
    d.set(STORE_HIGH_FAULT=1 if kit_low_only else 0)
    d.minutes(1)
    d.vouch()
    d.seconds(4, STORE_LOW_MC=4800)  # mean with the high one at 2.9 °C: 3.85 °C
    if kit_low_only:  # alone the low probe has the 4 °C floor to keep as well
        d.seconds(4, STORE_LOW_MC=5600)
    assert d.compressor

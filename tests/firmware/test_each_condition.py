"""Conditions that no story needs, each shown to decide on its own."""

from __future__ import annotations

import pytest
from condition_rig import rested, untrusted
from drive import (
    EVERY_SENSOR,
    MINUTE_MS,
    Drive,
    cell,
    fitted,
    latch,
    output,
    reading,
    setting,
    timekeeping,
    week,
)
from springhouse import events, mode, probes, reason, restart


def test_a_clock_that_is_lost_ends_the_plan_at_once() -> None:
    d = Drive()
    d.window(0, week.CHARGE, 127, 0, 300)
    d.tick()
    assert d.memory[cell.PLAN] != week.PLAN_NO_CLOCK
    assert d.memory[cell.PLAN_SINCE_MIN] >= 0
    for _ in range(2):
        d.tick(WEEK_MIN=-1)
        assert d.memory[cell.PLAN] == week.PLAN_NO_CLOCK
        assert d.memory[cell.PLAN_SINCE_MIN] == -1


@pytest.mark.parametrize("fit", [EVERY_SENSOR, EVERY_SENSOR & ~fitted.TRAY])
@pytest.mark.parametrize("closed", [0, 1])
def test_a_press_clears_the_tray_latch_unless_the_float_opens_in_that_scan(
    fit: int, closed: int
) -> None:
    d = rested(fit)
    d.memory[cell.LATCH] = latch.TRAY
    d.press()
    d.tick(TRAY_OK=closed)
    assert d.latched(latch.TRAY) == (fit == EVERY_SENSOR and not closed)


@pytest.mark.parametrize(("left_ms", "then_ms"), [(300_000, events.ACK_WAIT_MS), (9_000, 8_000)])
def test_a_press_shortens_the_wait_after_the_tray_and_never_lengthens_it(
    left_ms: int, then_ms: int
) -> None:
    d = rested()
    timekeeping.arm(d.memory, cell.TRAY_T, d.readings[reading.NOW_MS], left_ms)
    d.press()
    d.tick()
    assert timekeeping.ticks_diff(d.memory[cell.TRAY_T], d.readings[reading.NOW_MS]) == then_ms


def test_openings_of_the_tray_are_counted_as_far_as_they_mean_something() -> None:
    d = rested()
    for n in range(1, 7):
        d.tick(TRAY_OK=0)
        assert d.memory[cell.TRAY_COUNT] == min(n, events.COUNT_MOST)
        d.tick(TRAY_OK=1)


@pytest.mark.parametrize(
    ("begun_mc", "made_mk"),
    [
        (-90_000, -events.MADE_MOST_MK),
        (-70_000, -90_000),
        (80_000, 60_000),
        (130_000, events.MADE_MOST_MK),
    ],
)
def test_progress_that_lying_probes_add_up_to_is_bounded(begun_mc: int, made_mk: int) -> None:
    d = rested()
    d.store(20_000)
    d.memory[cell.PROGRESS_BY] = probes.store_trust(d.memory)
    d.memory[cell.PROGRESS_MC] = begun_mc
    timekeeping.arm(d.memory, cell.PROGRESS_T, d.readings[reading.NOW_MS], MINUTE_MS)
    events.progress(d.memory, d.settings, d.readings)  # the compressor is off: the spell has ended
    assert d.memory[cell.PROGRESS_MADE_MK] == made_mk
    assert d.memory[cell.PROGRESS_T] == timekeeping.IDLE


@pytest.mark.parametrize(
    ("lost", "in_zone"),
    [((), True), (("STORE_HIGH",), False), (("STORE_LOW",), True)],
)
def test_the_ice_zone_is_where_the_coldest_believed_probe_is(
    lost: tuple[str, ...], in_zone: bool
) -> None:
    d = rested(ICE_BANK=1)
    d.set(STORE_LOW_MC=4_000, STORE_HIGH_MC=200)
    untrusted(*lost)(d)
    assert events.in_ice_zone(d.memory, d.settings, d.readings) == in_zone


def test_the_ice_ration_is_not_used_up_while_no_probe_is_believed() -> None:
    d = rested(ICE_BANK=1)
    d.set(STORE_LOW_MC=4_000, STORE_HIGH_MC=200)
    d.memory[cell.OUT] = output.COMPRESSOR
    d.memory[cell.ICE_LEFT_MS] = MINUTE_MS
    events.ice(d.memory, d.settings, d.readings)
    assert timekeeping.waiting(d.memory, cell.ICE_T)
    untrusted("STORE_LOW", "STORE_HIGH")(d)
    events.ice(d.memory, d.settings, d.readings)
    assert d.memory[cell.ICE_T] == timekeeping.IDLE


@pytest.mark.parametrize(("frames", "good"), [(1, 1), (2, 1), (3, 3)])
def test_a_jump_begins_the_count_of_good_frames_anew_until_a_probe_is_believed(
    frames: int, good: int
) -> None:
    d = Drive()
    for _ in range(frames):
        d.tick(2000)
    assert d.memory[cell.STORE_LOW_GOOD] == frames
    d.tick(2000, STORE_LOW_MC=30_000)
    assert d.memory[cell.STORE_LOW_GOOD] == good
    assert d.memory[cell.VALID] & 1 == (frames < probes.TRUST_FRAMES)


@pytest.mark.parametrize("fit", [EVERY_SENSOR, EVERY_SENSOR & ~fitted.FLOW])
@pytest.mark.parametrize("more_ml_min", [0, 1])
def test_a_flow_sensor_that_is_not_fitted_has_no_fault(fit: int, more_ml_min: int) -> None:
    d = rested(fit)
    d.readings[reading.FLOW_ML_MIN] = d.settings[setting.FLOW_MOST_ML_MIN] + more_ml_min
    assert reason.flow_too_high(d.settings, d.readings) == (fit == EVERY_SENSOR and more_ml_min > 0)


@pytest.mark.parametrize("believed", [True, False])
def test_only_a_believed_probe_must_move_while_the_store_is_chilled(believed: bool) -> None:
    d = rested()
    d.memory[cell.OUT] = output.COMPRESSOR
    if not believed:
        d.memory[cell.STORE_LOW_GOOD] = probes.TRUST_FRAMES - 1
    assert probes.must_move(d.memory, d.settings, probes.LOW, 9000) == believed


@pytest.mark.parametrize(("off_ms", "left_ms"), [(59_999, 1), (60_000, 0), (70_000, 0)])
def test_a_stop_that_ran_out_while_no_step_was_made_is_over(off_ms: int, left_ms: int) -> None:
    d = rested()
    now = d.readings[reading.NOW_MS]
    d.memory[cell.MODE] = mode.SERVICE
    timekeeping.arm(d.memory, cell.MODE_T, now, 60_000)
    assert restart.mode_left_ms(d.memory, timekeeping.ticks_add(now, off_ms)) == left_ms

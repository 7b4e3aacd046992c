"""Resets, interrupted drives and dither: what stays in force, and how often a motor may start."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from drive import (
    EVERY_SENSOR,
    Drive,
    cell,
    fitted,
    latch,
    mode,
    output,
    reading,
    setting,
    timekeeping,
)

MOTORS = output.COMPRESSOR | output.PUMP | output.FAN
ORIGINS = (0, timekeeping.LAST - 1_000_000)


def running(origin: int = 0, **settings: int) -> Drive:
    d = Drive(origin, settings=settings, ROOM_MC=27000)
    d.seconds(720)
    assert d.out & MOTORS == MOTORS
    return d


def starts(d: Drive, seconds: int, each: Callable[[Drive, int], None]) -> tuple[int, int, int]:
    """Starts of compressor, pump and fan; `each(d, second)` comes before every scan."""
    found = [0, 0, 0]
    for n in range(seconds):
        each(d, n)
        before = d.out
        rising = d.tick() & ~before
        for k in range(3):
            found[k] += rising >> k & 1
    return found[0], found[1], found[2]


@pytest.mark.parametrize("origin", ORIGINS)
def test_inv_07_starts_are_rationed_over_resets_too(origin: int) -> None:
    d = Drive(origin, settings={"MIN_OFF_S": 300, "STARTS_PER_HOUR": 2})
    at = []
    while d.clock_ms < 3 * 3600_000:
        d.tick()
        if d.compressor:
            at.append(d.clock_ms)
            d.reset()
    assert len(at) >= 3
    assert all(third - first >= 3600_000 for first, third in zip(at, at[2:], strict=False))


@pytest.mark.parametrize("wanted", [mode.OFF, mode.SERVICE])
@pytest.mark.parametrize("origin", ORIGINS)
def test_inv_28_off_and_service_outlive_any_number_of_resets(wanted: int, origin: int) -> None:
    d = running(origin)
    d.ask(wanted, 60)
    d.seconds(2)
    for _ in range(58):
        d.reset()
        d.reset()  # before the first step
        d.seconds(60)
        assert d.memory[cell.MODE] == wanted
        assert not d.out & MOTORS
    d.until(lambda d: d.memory[cell.MODE] == mode.AUTOMATIC, 240)


def test_a_stop_is_ended_by_the_owner_after_a_reset() -> None:
    d = running()
    d.ask(mode.OFF, 600)
    d.seconds(2)
    d.reset()
    d.seconds(3)
    d.ask(mode.AUTOMATIC, 0)
    d.seconds(2)
    assert d.memory[cell.MODE] == mode.AUTOMATIC
    assert d.memory[cell.MODE_T] == timekeeping.IDLE


@pytest.mark.parametrize(
    "wanted", [mode.CHARGE_NOW, mode.COOL_NOW, mode.QUIET, mode.PURGE, mode.FIRST_PULL_DOWN]
)
def test_other_modes_do_not(wanted: int) -> None:
    d = running()
    d.ask(wanted, 20)
    d.seconds(2)
    assert d.memory[cell.MODE] == wanted
    d.reset()
    assert d.memory[cell.MODE] == mode.AUTOMATIC
    assert d.memory[cell.MODE_LEFT_MS] == 0


@pytest.mark.parametrize("bit", [1 << n for n in range(latch.STILL.bit_length())])
def test_inv_18_every_latch_outlives_a_reset_until_it_is_acknowledged(bit: int) -> None:
    d = running()
    d.memory[cell.LATCH] = bit
    d.tick()
    for _ in range(2):
        d.reset()
        d.seconds(900)
        assert d.memory[cell.LATCH] == bit
        if bit & latch.STORE:
            assert not d.compressor
        if bit & latch.ROOM:
            assert not d.out & (output.PUMP | output.FAN)
    d.press()
    d.seconds(2)
    assert d.memory[cell.LATCH] == 0


def test_inv_10_dry_runs_are_counted_over_resets() -> None:
    d = running()
    d.honest = False
    d.set(FLOW_ML_MIN=0)
    dry = 0
    while not d.latched(latch.DRY):
        d.until(lambda d: d.pump or d.latched(latch.DRY), 3 * 3600)
        if d.pump:
            d.until(lambda d: not d.pump, 60)
            dry += 1
            d.reset()
            d.tick()
            assert d.memory[cell.DRY_COUNT] == dry
            assert timekeeping.waiting(d.memory, cell.DRY_WAIT_T)
            assert timekeeping.waiting(d.memory, cell.DRY_DAY_T)
    assert dry == 4


@pytest.mark.parametrize("count", [1, 2, 3, 4])
def test_a_wait_of_unknown_age_begins_anew(count: int) -> None:
    d = Drive(settings={"REST_MIN": 40, "COIL_WAIT_S": 700})
    for slot in (cell.DRY_COUNT, cell.TRAY_COUNT, cell.REST_COUNT, cell.STILL_COUNT):
        d.memory[slot] = count
    d.tick(0)
    now = d.readings[reading.NOW_MS]

    def left(slot: int) -> int:
        return timekeeping.ticks_diff(d.memory[slot], now)

    assert left(cell.DRY_WAIT_T) == (60_000, 300_000, 1_800_000, 1_800_000)[count - 1]
    assert left(cell.REST_T) == 40 * 60_000
    assert left(cell.COIL_T) == 700_000
    for slot in (cell.DRY_DAY_T, cell.TRAY_DAY_T, cell.REST_DAY_T, cell.STILL_DAY_T):
        assert left(slot) == 86_400_000


def test_inv_12_a_tray_that_was_full_is_counted_once_and_waited_for_after_a_reset() -> None:
    d = running()
    d.seconds(3, TRAY_OK=0)
    for _ in range(4):
        d.reset()
        d.seconds(5)
    assert d.memory[cell.TRAY_COUNT] == 1
    d.seconds(700)
    assert d.until(lambda d: d.pump, 0) if d.pump else True
    d.set(TRAY_OK=1)
    d.reset()
    assert d.until(lambda d: d.pump, 700) >= 600


@pytest.mark.parametrize("origin", ORIGINS)
def test_an_interrupted_drive_counts_as_a_stop(origin: int) -> None:
    d = running(origin, RESTART_STAGGER_S=30)
    ring = [d.memory[cell.START_1_T + n] for n in range(4)]
    d.tick(DROP_SEQ=1)
    assert not d.out & MOTORS
    assert d.memory[cell.ON_T] == d.memory[cell.DELIVERY_ON_T] == timekeeping.IDLE
    assert [d.memory[cell.START_1_T + n] for n in range(4)] == ring
    assert d.until(lambda d: d.pump, 100) == 60 + 5
    assert d.until(lambda d: d.compressor, 700) == 630 - 65
    d.tick(DROP_SEQ=2)
    d.seconds(300)
    d.tick(DROP_SEQ=3)  # again while it waits: the whole time once more
    assert d.until(lambda d: d.compressor, 700) == 630


def test_an_interruption_changes_nothing_else_and_is_taken_once() -> None:
    d = running()
    d.memory[cell.DRY_COUNT] = 2
    d.ask(mode.CHARGE_NOW, 60)
    d.seconds(2)
    d.tick(DROP_SEQ=1)
    before = d.memory.tobytes()
    d.scan()
    assert d.memory.tobytes() == before
    assert (d.memory[cell.MODE], d.memory[cell.DRY_COUNT]) == (mode.CHARGE_NOW, 2)


def test_an_interruption_from_before_power_up_does_not_count() -> None:
    d = Drive(DROP_SEQ=7)
    d.tick()
    assert d.memory[cell.DROP_SEEN] == 7


# Dither of one probe step (62.5 mK) or of a switch at each threshold that starts or stops delivery.


def _room(mc: int) -> Callable[[Drive, int], None]:
    return lambda d, n: d.set(ROOM_MC=mc + (63 if n // 8 % 2 else 0))


def _useful(d: Drive, n: int) -> None:
    d.set(ROOM_MC=26000 + (63 if n // 8 % 2 else 0))
    d.store(19990)


def _wide_room(d: Drive, n: int) -> None:
    d.set(ROOM_MC=24600 if n // 8 % 2 else 23990)  # across the whole band


def _wide_store(d: Drive, n: int) -> None:
    d.set(ROOM_MC=26000)
    d.store(22100 if n // 8 % 2 else 19900)


def _plan(d: Drive, n: int) -> None:
    d.set(ROOM_MC=27000, WEEK_MIN=720 if n // 8 % 2 else 780)


def _owner(d: Drive, n: int) -> None:
    d.set(ROOM_MC=27000)
    if n % 8 == 0:
        d.ask(mode.OFF if n // 8 % 2 else mode.AUTOMATIC)


def _mains(d: Drive, n: int) -> None:
    d.set(ROOM_MC=27000, MAINS_OK=n // 8 % 2, BATTERY_MV=11000)


@pytest.mark.parametrize("asked", [mode.AUTOMATIC, mode.COOL_NOW, mode.CHARGE_NOW, mode.QUIET])
@pytest.mark.parametrize(
    "each",
    [
        *(_room(mc) for mc in (24000, 23970, 24180, 24480)),
        *(_wide_room, _wide_store, _useful, _plan, _owner, _mains),
    ],
)
def test_inv_27_dither_starts_pump_and_fan_a_bounded_number_of_times_an_hour(
    asked: int, each: Callable[[Drive, int], None]
) -> None:
    d = Drive(ROOM_MC=23000)
    d.store(5000)
    d.window(0, 3, 127, 720, 780)
    d.seconds(5)
    if asked:
        d.ask(asked, 700)
    d.seconds(3)
    _, pump, fan = starts(d, 3600, each)
    assert max(pump, fan) <= 3600 // 60 + 1  # whatever ends a run, a minute off
    if each not in (_plan, _owner, _mains):
        assert max(pump, fan) <= 3600 // (60 + 120) + 1  # no guard, no owner: two minutes on


def test_cool_now_alone_is_not_started_by_dither_at_its_target() -> None:
    d = Drive(ROOM_MC=23000)
    d.store(5000)
    d.seconds(5)
    d.ask(mode.COOL_NOW, 700)
    assert starts(d, 3600, _room(24000))[1:] == (0, 0)


@pytest.mark.parametrize(("band_mk", "start_mc"), [(100, 24100), (200, 24200), (500, 24200)])
def test_cool_now_never_starts_later_than_automatic(band_mk: int, start_mc: int) -> None:
    d = Drive(settings={"ROOM_BAND_MK": band_mk}, ROOM_MC=start_mc - 1)
    d.store(5000)
    d.seconds(5)
    d.ask(mode.COOL_NOW, 700)
    d.seconds(700)
    assert not d.pump
    d.seconds(12, ROOM_MC=start_mc)
    assert d.pump


def test_the_least_run_of_delivery_yields_to_blindness_and_guards_at_once() -> None:
    for change in ({"TRAY_OK": 0}, {"FLOOR_DRY": 0}, {"COIL_AIR_MC": 1000}, {"ROOM_FAULT": 1}):
        d = Drive(ROOM_MC=23000)
        d.store(5000)
        d.seconds(660)
        d.seconds(12, ROOM_MC=26000)
        assert d.pump
        d.seconds(11 if "ROOM_FAULT" in change else 1, **change)
        assert not d.pump
    d = Drive(ROOM_MC=23000)
    d.store(5000)
    d.seconds(660)
    d.seconds(12, ROOM_MC=26000)
    d.silent |= {"STORE_LOW", "STORE_HIGH"}
    d.seconds(12)
    assert not d.pump


ICE = {
    "ICE_BANK": 1,
    "FREEZE_MC": -3000,
    "DEEP_MC": -500,
    "SHALLOW_MC": 0,
    "BAND_MK": 200,
    "MIN_ON_S": 1800,
}


@pytest.mark.parametrize("ration_min", [0, 600])
def test_an_ice_bank_makes_no_ice_after_power_up_before_it_was_seen_melted(ration_min: int) -> None:
    d = Drive(settings={**ICE, "ICE_RUN_MIN": ration_min}, ROOM_MC=20000)
    d.store(900)
    for _ in range(3):
        assert starts(d, 3600, lambda d, n: None)[0] == 0
        d.reset()
    d.store(4000)
    d.seconds(3700)
    assert d.compressor
    d.store(900)
    d.seconds(30)
    assert d.compressor is (ration_min > 0)


def test_a_ration_that_runs_out_ends_the_run_whatever_its_least_time() -> None:
    d = Drive(settings={**ICE, "ICE_RUN_MIN": 10}, ROOM_MC=20000)
    d.store(4000)
    d.seconds(610)
    assert d.compressor
    d.store(900)
    assert 595 <= d.until(lambda d: not d.compressor, 700) <= 602


@pytest.mark.parametrize("lost", [{"STORE_LOW", "STORE_HIGH", "COIL_IN"}, set()])
def test_a_brine_is_not_pumped_into_a_coil_that_nothing_watches(lost: set[str]) -> None:
    d = Drive(settings={"BRINE": 1}, ROOM_MC=20000)
    d.store(500)
    d.seconds(20)
    d.silent |= lost
    d.seconds(1000)
    d.ask(mode.PURGE, 30)
    assert starts(d, 1700, lambda d, n: None)[1] == 0


def test_water_may_be_purged_while_either_end_of_the_coil_is_seen() -> None:
    water, air = {"STORE_LOW", "STORE_HIGH", "COIL_IN"}, {"ROOM", "COIL_AIR"}
    for lost, may in ((set(), True), (water, True), (air, True), (water | air, False)):
        d = Drive(ROOM_MC=20000)
        d.silent |= lost
        d.seconds(1000)
        d.ask(mode.PURGE, 30)
        d.seconds(20)
        assert d.pump is may, lost


def test_fan_and_pump_still_start_five_seconds_apart_after_the_pause() -> None:
    d = Drive(fit=EVERY_SENSOR & ~fitted.TRAY, ROOM_MC=26000)
    d.store(5000)
    assert d.until(lambda d: d.fan, 100) == 61
    assert d.until(lambda d: d.pump, 100) == 5
    assert setting.DELIVERY_OFF_S < setting.WINDOW_1_KIND

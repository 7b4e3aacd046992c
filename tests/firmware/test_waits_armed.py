"""Each wait is armed with its whole length, to the millisecond, at the scan it belongs to."""

from __future__ import annotations

import pytest
from drive import (
    EVERY_SENSOR,
    Drive,
    cell,
    condition,
    fitted,
    latch,
    mode,
    output,
    reading,
    setting,
    statechart,
    timekeeping,
)
from springhouse import controller

WAITS = {"MIN_OFF_S": 431, "MIN_ON_S": 67, "RESTART_STAGGER_S": 41, "TRAY_RETURN_S": 701}
SPELLS = {"SPELL_ON_S": 73, "SPELL_OFF_S": 83}
HOUR_MS = 3_600_000
COMPRESSOR, PUMP, FAN = output.COMPRESSOR, output.PUMP, output.FAN


def running(d: Drive) -> dict[int, int]:
    """Timer slot -> ms left, of those that run."""
    now = d.readings[reading.NOW_MS]
    return {
        slot: timekeeping.ticks_diff(d.memory[slot], now)
        for slot in range(cell.TIMERS, cell.SIZE)
        if d.memory[slot] >= 0
    }


def booted(fit: int = EVERY_SENSOR, **readings: int) -> Drive:
    return Drive(fit=fit, settings=WAITS | SPELLS, **readings)


def about_to(out: int, fit: int = EVERY_SENSOR, **wished: int) -> Drive:
    """A cold store, no timer running, these outputs on, and readings that ask for others."""
    d = booted(fit, **{"STORE_LOW_MC": 3500, "STORE_HIGH_MC": 3500, **wished})
    d.seconds(4)
    for slot in range(cell.TIMERS, cell.SIZE):
        d.memory[slot] = timekeeping.IDLE
    d.memory[cell.STORE_STATE], d.memory[cell.ROOM_STATE] = statechart.HOLD, statechart.WAITING
    d.out = d.memory[cell.OUT] = out
    return d


def test_a_fresh_record() -> None:
    memory = Drive().memory
    for slot in range(cell.SIZE):
        memory[slot] = 77
    controller.power_up(memory)
    idle = {cell.PLAN_SINCE_MIN, *range(cell.TIMERS, cell.SIZE)}
    assert list(memory) == [-1 if slot in idle else 0 for slot in range(cell.SIZE)]


def test_at_power_up() -> None:
    d = booted()
    d.set(ACK_SEQ=5, MODE_SEQ=6, MODE=mode.COOL_NOW, MODE_MIN=10)
    d.tick()
    assert running(d) == {
        cell.OFF_T: (431 + 41) * 1000,
        cell.TRAY_T: 701_000,
        cell.DELIVERY_OFF_T: d.settings[setting.DELIVERY_OFF_S] * 1000,
    }
    assert d.memory[cell.BOOTED] == 1
    assert (d.memory[cell.ACK_SEEN], d.memory[cell.MODE_SEEN]) == (5, 6)
    assert d.memory[cell.MODE] == mode.AUTOMATIC
    assert d.memory[cell.FLAGS] == cell.FLAG_BOOT_WAIT | cell.FLAG_MAINS
    assert d.memory[cell.PROGRESS_LEFT_MS] == d.settings[setting.PROGRESS_MIN] * 60_000
    assert d.memory[cell.ICE_LEFT_MS] == 0


@pytest.mark.parametrize(
    ("slot", "wrong"),
    [(setting.MIN_OFF_S, 299), (setting.MIN_OFF_S, 3601), (setting.SCHEMA, 2), (setting.SCHEMA, 4)],
)
def test_a_record_out_of_bounds_moves_nothing(slot: int, wrong: int) -> None:
    d = booted()
    d.settings[slot] = wrong
    for _ in range(2):
        assert d.tick(STORE_LOW_MC=20000, ROOM_MC=30000) == 0
        assert d.memory[cell.FLAGS] == cell.FLAG_INVALID
        assert d.memory[cell.LOCK_WORD] == condition.LOCK_ALL
        assert not running(d)


@pytest.mark.parametrize("taken", range(5))
def test_a_start_of_the_compressor(taken: int) -> None:
    d = about_to(0, STORE_LOW_MC=9000, STORE_HIGH_MC=9000)
    for n in range(taken):
        d.memory[cell.START_1_T + n] = timekeeping.ticks_add(
            d.readings[reading.NOW_MS], 1000 * n + 2000
        )
    d.tick()
    if taken == 4:
        assert not d.compressor
        return
    assert d.compressor
    found = running(d)
    assert found[cell.SPACING_T] == 5000
    assert found[cell.ON_T] == 67_000
    stamps = [found.get(cell.START_1_T + n) for n in range(4)]
    earlier = [1000 * n + 1000 for n in range(taken)]
    assert stamps == [*earlier, HOUR_MS, *[None] * (3 - taken)]
    assert cell.OFF_T not in found


def test_a_stop_of_the_compressor() -> None:
    d = about_to(COMPRESSOR, STORE_LOW_MC=2900, STORE_HIGH_MC=2900)
    d.memory[cell.FLAGS] |= cell.FLAG_BOOT_WAIT | cell.FLAG_MAINS_WAIT
    d.memory[cell.PROGRESS_LEFT_MS] = 1
    d.tick()
    assert not d.compressor
    found = running(d)
    assert found[cell.OFF_T] == 431_000
    assert not found.keys() & {cell.SPACING_T, cell.START_1_T, cell.SPELL_T}
    assert d.memory[cell.ON_T] == timekeeping.IDLE
    assert not d.memory[cell.FLAGS] & (cell.FLAG_BOOT_WAIT | cell.FLAG_MAINS_WAIT)
    assert d.memory[cell.FLAGS] & cell.FLAG_MAINS
    assert d.memory[cell.PROGRESS_LEFT_MS] == d.settings[setting.PROGRESS_MIN] * 60_000


def test_a_stop_of_a_store_that_is_not_full_gives_no_progress_back() -> None:
    d = about_to(COMPRESSOR, MAINS_OK=0)
    d.memory[cell.PROGRESS_LEFT_MS] = 5
    d.tick()
    assert not d.compressor
    assert d.memory[cell.PROGRESS_LEFT_MS] == 5


def test_a_stop_leaves_a_longer_wait_as_it_is() -> None:
    d = about_to(COMPRESSOR, STORE_LOW_MC=2900, STORE_HIGH_MC=2900)
    d.memory[cell.OFF_T] = timekeeping.ticks_add(d.readings[reading.NOW_MS], 500_000)
    d.tick()
    assert running(d)[cell.OFF_T] == 499_000


NO_FLOW = EVERY_SENSOR & ~fitted.FLOW
SPELL_FIT = NO_FLOW & ~fitted.COIL_IN


@pytest.mark.parametrize(
    ("fit", "clock"),
    [
        (EVERY_SENSOR, {cell.FLOW_T: 10_000}),
        (EVERY_SENSOR & ~fitted.COIL_IN, {cell.FLOW_T: 10_000}),
        (SPELL_FIT, {cell.SPELL_T: 73_000}),
    ],
)
def test_a_start_of_the_pump(fit: int, clock: dict[int, int]) -> None:
    d = about_to(FAN, fit, ROOM_MC=28000)
    d.tick()
    assert d.pump
    found = running(d)
    assert found.pop(cell.SPACING_T) == 5000
    found.pop(cell.OFF_T, None)
    assert {slot: found.get(slot) for slot in clock} == clock
    assert cell.SPELL_T not in found or cell.SPELL_T in clock
    assert cell.ON_T not in found
    assert cell.START_1_T not in found


@pytest.mark.parametrize(("fit", "pause_ms"), [(SPELL_FIT, 83_000), (NO_FLOW, None)])
def test_a_stop_of_the_pump(fit: int, pause_ms: int | None) -> None:
    d = about_to(PUMP | FAN, fit, ROOM_MC=20000)
    d.tick()
    assert not d.pump
    assert running(d).get(cell.SPELL_T) == pause_ms
    assert cell.SPACING_T not in running(d)
    assert cell.OFF_T not in running(d)


def test_fans_alone_are_a_motor_too() -> None:
    d = about_to(PUMP, ROOM_MC=28000)
    d.tick()
    assert d.fan
    assert running(d)[cell.SPACING_T] == 5000
    assert running(d).get(cell.FLOW_T) != 10_000


@pytest.mark.parametrize(
    ("out", "room_mc"), [(PUMP, 28000), (PUMP | FAN | output.FAN_FULL, 24600)], ids=["on", "slower"]
)
def test_what_the_fans_do_leaves_the_clock_of_the_pump_alone(out: int, room_mc: int) -> None:
    d = about_to(out, SPELL_FIT, ROOM_MC=room_mc)
    d.memory[cell.ROOM_STATE] = statechart.DISCHARGE
    d.memory[cell.SPELL_T] = timekeeping.ticks_add(d.readings[reading.NOW_MS], 40_000)
    d.tick()
    assert d.out != out
    assert d.pump
    assert running(d)[cell.SPELL_T] == 39_000


def test_more_air_or_an_alarm_is_no_start_of_a_motor() -> None:
    d = about_to(PUMP | FAN, ROOM_MC=28000)
    d.memory[cell.ROOM_STATE] = statechart.DISCHARGE
    d.tick()
    assert d.full_fan
    assert cell.SPACING_T not in running(d)
    d = about_to(0)
    d.memory[cell.LATCH] = latch.STILL
    d.tick()
    assert d.out == output.ALARM
    assert cell.SPACING_T not in running(d)

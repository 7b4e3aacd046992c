"""Wrapped ticks against plain modular arithmetic, and each kind of timer at its edges.

Source: MicroPython's documentation of `time.ticks_add` and `time.ticks_diff`, from memory: sums are
taken modulo the period, differences are signed and lie in [-period/2, period/2 - 1].
"""

from __future__ import annotations

from array import array

import pytest
from springhouse import memory as cell
from springhouse import timekeeping

PERIOD = 1 << 30
HALF = PERIOD // 2
EDGES = [0, 1, 2, 3, HALF - 1, HALF, HALF + 1, PERIOD - 2, PERIOD - 1]
TICKS = sorted({*EDGES, *(n * 119_304_647 % PERIOD for n in range(12))})
WAITS = [0, 1, 2, 5000, 3_600_000, (1 << 28) - 1, 1 << 28]
SLOT, LEFT = cell.OFF_T, cell.PROGRESS_LEFT_MS


def record() -> array[int]:
    memory = array("i", bytes(4 * cell.SIZE))
    for slot in range(cell.TIMERS, cell.SIZE):
        memory[slot] = timekeeping.IDLE
    return memory


def test_a_difference_is_that_of_the_ring() -> None:
    for late in TICKS:
        for early in TICKS:
            assert timekeeping.ticks_diff(late, early) == (late - early + HALF) % PERIOD - HALF


def test_a_sum_is_that_of_the_ring() -> None:
    for tick in TICKS:
        for ms in WAITS:
            assert timekeeping.ticks_add(tick, ms) == (tick + ms) % PERIOD


def test_nothing_is_armed_for_longer_than_can_be_told() -> None:
    memory = record()
    for ms in ((1 << 28) - 1, 1 << 28, (1 << 28) + 1, PERIOD - 1):
        timekeeping.arm(memory, SLOT, 7, ms)
        assert memory[SLOT] == 7 + min(ms, 1 << 28)


def test_a_running_timer_is_pushed_back_and_never_brought_forward() -> None:
    for now in TICKS:
        memory = record()
        timekeeping.arm_longer(memory, SLOT, now, 500)
        assert memory[SLOT] == (now + 500) % PERIOD
        timekeeping.arm_longer(memory, SLOT, now, 499)
        assert memory[SLOT] == (now + 500) % PERIOD
        timekeeping.arm_longer(memory, SLOT, now, 501)
        assert memory[SLOT] == (now + 501) % PERIOD
        memory[SLOT] = timekeeping.DUE
        timekeeping.arm_longer(memory, SLOT, now, 1)
        assert memory[SLOT] == (now + 1) % PERIOD


def test_a_timer_is_idle_waiting_or_due() -> None:
    memory = record()
    for at, waiting, due in (
        (timekeeping.IDLE, False, False),
        (timekeeping.DUE, False, True),
        (0, True, False),
    ):
        memory[SLOT] = at
        assert (timekeeping.waiting(memory, SLOT), timekeeping.due(memory, SLOT)) == (waiting, due)


@pytest.mark.parametrize("now", TICKS)
def test_timers_fall_due_at_their_tick_and_not_before(now: int) -> None:
    memory = record()
    for slot in (cell.TIMERS, cell.SIZE - 1):
        memory[slot] = (now + 1) % PERIOD
    timekeeping.expire(memory, now)
    assert timekeeping.waiting(memory, cell.TIMERS)
    assert timekeeping.waiting(memory, cell.SIZE - 1)
    timekeeping.expire(memory, (now + 1) % PERIOD)
    assert list(memory[cell.TIMERS :]) == [
        timekeeping.DUE,
        *[timekeeping.IDLE] * (cell.SIZE - cell.TIMERS - 2),
        timekeeping.DUE,
    ]
    assert not any(memory[: cell.TIMERS])


def test_held_without_a_break() -> None:
    memory = record()
    assert not timekeeping.hold(memory, SLOT, 10, True, 100)
    assert not timekeeping.hold(memory, SLOT, 60, True, 100)
    assert memory[SLOT] == 110
    timekeeping.expire(memory, 110)
    assert timekeeping.hold(memory, SLOT, 110, True, 100)
    assert not timekeeping.hold(memory, SLOT, 120, False, 100)
    assert memory[SLOT] == timekeeping.IDLE


def test_a_break_keeps_what_is_left_in_the_bank() -> None:
    memory = record()
    timekeeping.refill(memory, SLOT, LEFT, 100)
    assert (memory[SLOT], memory[LEFT]) == (timekeeping.IDLE, 100)
    assert not timekeeping.bank(memory, SLOT, LEFT, PERIOD - 30, True)
    assert not timekeeping.bank(memory, SLOT, LEFT, PERIOD - 20, True)
    assert memory[SLOT] == 70
    assert not timekeeping.bank(memory, SLOT, LEFT, 10, False)
    assert (memory[SLOT], memory[LEFT]) == (timekeeping.IDLE, 60)
    assert not timekeeping.bank(memory, SLOT, LEFT, 500, False)
    assert memory[LEFT] == 60
    assert not timekeeping.bank(memory, SLOT, LEFT, 500, True)
    timekeeping.expire(memory, 560)
    assert timekeeping.bank(memory, SLOT, LEFT, 560, True)
    assert timekeeping.bank(memory, SLOT, LEFT, 570, False)  # used up stays used up
    timekeeping.refill(memory, SLOT, LEFT, 100)
    assert not timekeeping.bank(memory, SLOT, LEFT, 580, False)


def test_a_timer_at_tick_0_can_be_banked() -> None:
    memory = record()
    memory[SLOT] = 0
    timekeeping.bank(memory, SLOT, LEFT, PERIOD - 5, False)
    assert (memory[SLOT], memory[LEFT]) == (timekeeping.IDLE, 5)

"""Wrapped ticks against plain modular arithmetic, and each kind of timer at its edges.

Source: MicroPython's documentation of `time.ticks_add` and `time.ticks_diff`, from memory: sums are
taken modulo the period, differences are signed and lie in [-period/2, period/2 - 1].
"""

from __future__ import annotations

from array import array

import pytest
from springhouse import memory as M
from springhouse import timekeeping as T

PERIOD = 1 << 30
HALF = PERIOD // 2
EDGES = [0, 1, 2, 3, HALF - 1, HALF, HALF + 1, PERIOD - 2, PERIOD - 1]
TICKS = sorted({*EDGES, *(n * 119_304_647 % PERIOD for n in range(12))})
WAITS = [0, 1, 2, 5000, 3_600_000, (1 << 28) - 1, 1 << 28]
SLOT, LEFT = M.OFF_T, M.PROGRESS_LEFT_MS


def record() -> array[int]:
    memory = array("i", bytes(4 * M.SIZE))
    for slot in range(M.TIMERS, M.SIZE):
        memory[slot] = T.IDLE
    return memory


def test_a_difference_is_that_of_the_ring() -> None:
    for late in TICKS:
        for early in TICKS:
            assert T.ticks_diff(late, early) == (late - early + HALF) % PERIOD - HALF


def test_a_sum_is_that_of_the_ring() -> None:
    for tick in TICKS:
        for ms in WAITS:
            assert T.ticks_add(tick, ms) == (tick + ms) % PERIOD


def test_nothing_is_armed_for_longer_than_can_be_told() -> None:
    memory = record()
    for ms in ((1 << 28) - 1, 1 << 28, (1 << 28) + 1, PERIOD - 1):
        T.arm(memory, SLOT, 7, ms)
        assert memory[SLOT] == 7 + min(ms, 1 << 28)


def test_a_running_timer_is_pushed_back_and_never_brought_forward() -> None:
    for now in TICKS:
        memory = record()
        T.arm_longer(memory, SLOT, now, 500)
        assert memory[SLOT] == (now + 500) % PERIOD
        T.arm_longer(memory, SLOT, now, 499)
        assert memory[SLOT] == (now + 500) % PERIOD
        T.arm_longer(memory, SLOT, now, 501)
        assert memory[SLOT] == (now + 501) % PERIOD
        memory[SLOT] = T.DUE
        T.arm_longer(memory, SLOT, now, 1)
        assert memory[SLOT] == (now + 1) % PERIOD


def test_a_timer_is_idle_waiting_or_due() -> None:
    memory = record()
    for at, waiting, due in ((T.IDLE, False, False), (T.DUE, False, True), (0, True, False)):
        memory[SLOT] = at
        assert (T.waiting(memory, SLOT), T.due(memory, SLOT)) == (waiting, due)


@pytest.mark.parametrize("now", TICKS)
def test_timers_fall_due_at_their_tick_and_not_before(now: int) -> None:
    memory = record()
    for slot in (M.TIMERS, M.SIZE - 1):
        memory[slot] = (now + 1) % PERIOD
    T.expire(memory, now)
    assert T.waiting(memory, M.TIMERS)
    assert T.waiting(memory, M.SIZE - 1)
    T.expire(memory, (now + 1) % PERIOD)
    assert list(memory[M.TIMERS :]) == [T.DUE, *[T.IDLE] * (M.SIZE - M.TIMERS - 2), T.DUE]
    assert not any(memory[: M.TIMERS])


def test_held_without_a_break() -> None:
    memory = record()
    assert not T.hold(memory, SLOT, 10, True, 100)
    assert not T.hold(memory, SLOT, 60, True, 100)
    assert memory[SLOT] == 110
    T.expire(memory, 110)
    assert T.hold(memory, SLOT, 110, True, 100)
    assert not T.hold(memory, SLOT, 120, False, 100)
    assert memory[SLOT] == T.IDLE


def test_a_break_keeps_what_is_left_in_the_bank() -> None:
    memory = record()
    T.refill(memory, SLOT, LEFT, 100)
    assert (memory[SLOT], memory[LEFT]) == (T.IDLE, 100)
    assert not T.bank(memory, SLOT, LEFT, PERIOD - 30, True)
    assert not T.bank(memory, SLOT, LEFT, PERIOD - 20, True)
    assert memory[SLOT] == 70
    assert not T.bank(memory, SLOT, LEFT, 10, False)
    assert (memory[SLOT], memory[LEFT]) == (T.IDLE, 60)
    assert not T.bank(memory, SLOT, LEFT, 500, False)
    assert memory[LEFT] == 60
    assert not T.bank(memory, SLOT, LEFT, 500, True)
    T.expire(memory, 560)
    assert T.bank(memory, SLOT, LEFT, 560, True)
    assert T.bank(memory, SLOT, LEFT, 570, False)  # used up stays used up
    T.refill(memory, SLOT, LEFT, 100)
    assert not T.bank(memory, SLOT, LEFT, 580, False)


def test_a_timer_at_tick_0_can_be_banked() -> None:
    memory = record()
    memory[SLOT] = 0
    T.bank(memory, SLOT, LEFT, PERIOD - 5, False)
    assert (memory[SLOT], memory[LEFT]) == (T.IDLE, 5)

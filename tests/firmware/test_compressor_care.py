"""Waits, starts an hour, mains, and whether the compressor really cools."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from drive import Drive, cell, latch, statechart

LIMIT_S = 3600


def on_after(d: Drive) -> int:
    return d.until(lambda d: d.compressor, LIMIT_S)


def off_after(d: Drive) -> int:
    return d.until(lambda d: not d.compressor, 6 * LIMIT_S)


def full(d: Drive) -> Drive:
    for mc in (5500, 2900):
        d.store(mc)
        d.seconds(2)
    return d


def warm(d: Drive) -> Drive:
    for mc in (5500, 8000):
        d.store(mc)
        d.seconds(2)
    return d


@pytest.mark.parametrize("stagger_s", [0, 120])
def test_the_whole_wait_after_power_up_with_its_stagger(stagger_s: int) -> None:
    d = Drive(settings={"RESTART_STAGGER_S": stagger_s})
    d.tick()
    assert on_after(d) == 600 + stagger_s


def test_a_run_lasts_its_minimum_even_with_the_store_full() -> None:
    d = Drive()
    on_after(d)
    full(d)
    assert 4 + off_after(d) == 300


def test_off_for_its_minimum_after_a_run() -> None:
    d = Drive(settings={"MIN_OFF_S": 480})
    on_after(d)
    d.minutes(6)
    full(d)
    assert not d.compressor
    warm(d)
    assert 1 + 4 + on_after(d) == 480


@pytest.mark.parametrize("limit", [1, 2, 4])
def test_starts_in_an_hour(limit: int) -> None:
    d = Drive(settings={"STARTS_PER_HOUR": limit, "MIN_OFF_S": 300, "MIN_ON_S": 60})
    starts: list[int] = []
    was = False
    for _ in range(2 * LIMIT_S):
        d.tick()
        if d.compressor and not was:
            starts.append(d.clock_ms // 1000)
        if d.compressor != was:
            (full if d.compressor else warm)(d)
        was = d.compressor
    assert len(starts) >= 2 * limit
    for n in range(limit, len(starts)):
        assert starts[n] - starts[n - limit] >= LIMIT_S


@pytest.mark.parametrize("outage_s", [1, 40, 900])
def test_after_mains_returns_the_whole_wait_again(outage_s: int) -> None:
    d = Drive(settings={"RESTART_STAGGER_S": 60})
    on_after(d)
    d.minutes(10)
    d.tick(MAINS_OK=0)
    assert not d.compressor
    d.seconds(outage_s - 1)
    d.tick(MAINS_OK=1)
    assert on_after(d) == 660


def _spells(d: Drive, minutes: int, mc: Callable[[int], int], room: Callable[[int], int]) -> None:
    for n in range(minutes):
        d.store(mc(n))
        d.set(ROOM_MC=room(n))
        d.minutes(1, 30000)


def test_no_cooling_rests_the_compressor_then_latches_at_the_third_rest() -> None:
    """The store keeps its temperature (but the probes are alive) for 6 h of running: no cooling."""
    d = Drive(settings={"STUCK_MIN": 720})
    on_after(d)
    rests = 0
    for hour in range(22):
        _spells(d, 60, lambda n: 8000 + n % 2 * 100, lambda n: 20000)
        if d.memory[cell.REST_COUNT] > rests:
            rests += 1
            # 6 h of running, then half an hour of rest, from the 11th minute on
            assert hour == (6, 12, 19)[rests - 1]
            assert (
                d.store_state == (statechart.STORE_LOCKED if rests == 3 else statechart.HOLD)
                or d.compressor
            )
    assert rests == 3
    assert d.latched(latch.NO_COOLING)
    assert not d.compressor


def test_half_a_kelvin_in_six_hours_is_progress() -> None:
    d = Drive()
    on_after(d)
    _spells(d, 20 * 60, lambda n: 8000 - n * 500 // 350, lambda n: 20000)
    assert d.memory[cell.REST_COUNT] == 0
    assert d.compressor


def test_keeping_up_with_delivery_is_never_latched() -> None:
    """Two days at one temperature, the pump always on: what is chilled is carried away."""
    d = Drive(settings={"STUCK_MIN": 720})
    on_after(d)
    _spells(d, 2 * 1440, lambda n: 8000 + n % 2 * 70, lambda n: 27000)
    assert d.compressor
    assert d.pump
    assert d.memory[cell.LATCH] == 0
    assert d.memory[cell.REST_COUNT] == 0


def test_keeping_up_in_spells_is_never_latched_either() -> None:
    """Delivery 20 min, chilling alone 20 min: 0.4 K down and up again, flat over the day."""
    d = Drive()
    on_after(d)
    _spells(
        d,
        2 * 1440,
        lambda n: 8000 - 20 * min(n % 40, 40 - n % 40),
        lambda n: 22000 if n % 40 < 20 else 27000,
    )
    assert d.compressor
    assert d.memory[cell.LATCH] == 0
    assert d.memory[cell.REST_COUNT] == 0


def test_a_flat_store_in_spells_without_cooling_is_found() -> None:
    """As above, but what delivery warms nobody cools: the time of the spells adds up."""
    d = Drive(settings={"STUCK_MIN": 720, "WARM_FILL_MC": 35000})
    on_after(d)
    _spells(
        d,
        13 * 60,
        lambda n: 8000 + n * 2 + n % 2 * 70,
        lambda n: 22000 if n % 40 < 20 else 27000,
    )
    assert d.memory[cell.REST_COUNT] >= 1


def test_a_probe_that_is_believed_no_longer_is_no_progress() -> None:
    """The warmer probe stands still and is lost: the mean falls, the store does not get colder."""
    d = Drive(settings={"STUCK_MIN": 30}, STORE_LOW_MC=9000, STORE_HIGH_MC=11000)
    on_after(d)
    minutes = 0
    while d.compressor:
        d.set(STORE_LOW_MC=9000 + minutes % 2 * 100)
        d.minutes(1, 60000)
        minutes += 1
    assert minutes == 361  # 6 h and a scan
    assert d.memory[cell.REST_COUNT] == 1


def test_a_probe_that_is_believed_again_takes_no_progress_away() -> None:
    """The warmer probe comes back: the mean rises, and yet the store gets colder all the time."""
    d = Drive(STORE_LOW_MC=9000, STORE_HIGH_MC=11000, STORE_HIGH_FAULT=1)
    on_after(d)
    for n in range(20 * 60):
        d.set(STORE_LOW_MC=9000 - n * 2, STORE_HIGH_MC=11000 - n * 2)
        d.set(STORE_HIGH_FAULT=int(n < 100))
        d.minutes(1, 60000)
    assert d.compressor
    assert d.memory[cell.REST_COUNT] == 0


def test_a_full_store_begins_the_judgement_anew() -> None:
    d = Drive(settings={"STUCK_MIN": 720, "DEEP_MC": 9000, "SHALLOW_MC": 9000}, STORE_LOW_MC=10000)
    d.store(10000)
    for _ in range(4):  # 5 h a time without half a kelvin, but full at the end of each
        on_after(d)
        d.store(9100)
        d.minutes(5 * 60, 60000)
        assert d.compressor
        d.store(8900)
        d.seconds(2)
        assert not d.compressor
        d.store(10000)
    assert d.memory[cell.REST_COUNT] == 0


def test_probes_far_apart_while_chilling_rest_then_latch() -> None:
    d = Drive(settings={"DISAGREE_MIN": 30}, STORE_LOW_MC=7000, STORE_HIGH_MC=10500)
    on_after(d)
    assert 29 * 60 <= off_after(d) <= 31 * 60
    d.minutes(31)
    off_after(d)
    d.minutes(31)
    off_after(d)
    assert d.latched(latch.PROBES)


def test_close_to_freezing_probes_may_differ() -> None:
    """Below 5 °C layers of different temperature are the rule, so no disagreement is judged."""
    d = Drive(settings={"DISAGREE_MIN": 30}, STORE_LOW_MC=4500, STORE_HIGH_MC=8500)
    on_after(d)
    d.minutes(90)
    assert d.compressor

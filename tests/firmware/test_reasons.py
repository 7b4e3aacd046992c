"""Every state and cause has a reason with words, and the words fit what the outputs do."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from drive import Drive, cell, condition, fitted, latch, mode, output, setting, statechart
from hypothesis import given
from reason_cases import ROOM_CASES, STORE_CASES
from springhouse import fault, reason, why, words
from story import Player, Story, story
from test_inv_whole import LATCHES


def store(d: Drive) -> tuple[int, int]:
    return reason.store_reason(d.memory, d.settings, d.readings)


def room(d: Drive) -> tuple[int, int]:
    return reason.room_reason(d.memory, d.settings, d.readings)


def said(d: Drive) -> tuple[str, str]:
    return why.text(*store(d)), why.text(*room(d))


def test_the_example_of_a_countdown() -> None:
    d = Drive()
    d.seconds(1 + 600 - 432)
    assert said(d)[0] == "waiting 7:12: compressor off time after power-up"


def test_every_table_of_words_has_a_name_for_each_number() -> None:
    assert len(words.STORE_STATES) == statechart.STORE_STATES
    assert len(words.ROOM_STATES) == statechart.ROOM_STATES
    assert len(words.MODES) == mode.SIZE
    assert len(words.OUTPUTS) == output.ALARM.bit_length()
    assert len(words.LATCHES) == latch.WELDED.bit_length()
    assert len(words.SENSORS) == fitted.RELAY.bit_length()
    assert len(words.FAULTS) == fault.CONFIG + 1
    assert len(why.STORE_CONDITIONS) == condition.STORE_BITS
    assert len(why.ROOM_CONDITIONS) == condition.ROOM_BITS
    assert len(why.LOCKS) == condition.LOCK_BITS
    assert len(why.REASONS) == reason.SIZE
    for table in (words.STORE_STATES, words.ROOM_STATES, words.MODES, words.LATCHES, why.REASONS):
        assert len(set(table)) == len(table)


def test_clock_and_mode_words() -> None:
    assert [words.clock(ms) for ms in (0, 1, 59999, 60000, 3599001, 4032000)] == [
        *("0:00", "0:01", "1:00", "1:00"),
        *("1:00:00", "1:07:12"),
    ]
    assert words.mode_text(mode.AUTOMATIC, -1) == "automatic"
    d = Drive()
    d.tick()
    d.ask(mode.QUIET, 60)
    d.tick()
    d.seconds(30)
    left = reason.mode_left_ms(d.memory, d.readings)
    assert words.mode_text(d.memory[cell.MODE], left) == "quiet, 59:30 left"


@pytest.mark.parametrize(("number", "counts", "make"), STORE_CASES)
def test_a_reason_of_the_store_side(number: int, counts: bool, make: Callable[[], Drive]) -> None:
    found, ms = store(make())
    assert why.REASONS[found] == why.REASONS[number]
    assert (ms >= 0) == counts


@pytest.mark.parametrize(("number", "counts", "make"), ROOM_CASES)
def test_a_reason_of_the_room_side(number: int, counts: bool, make: Callable[[], Drive]) -> None:
    found, ms = room(make())
    assert why.REASONS[found] == why.REASONS[number]
    assert (ms >= 0) == counts


@pytest.mark.parametrize("bit", sorted(LATCHES))
def test_each_latch_is_named(bit: int) -> None:
    d = Drive()
    d.tick()
    LATCHES[bit][0](d)
    name = words.LATCHES[bit.bit_length() - 1].split()[0]
    assert any(text.startswith("locked: ") and name in text for text in said(d)), said(d)


def test_the_first_pull_down_shows_how_long_until_the_motor_rests() -> None:
    d = Drive(STORE_LOW_MC=25000, STORE_HIGH_MC=25000)
    d.tick()
    d.ask(mode.FIRST_PULL_DOWN, 4320)
    d.minutes(12)
    assert store(d)[0] == reason.PULLING_DOWN
    assert 0 < store(d)[1] <= d.settings[setting.PULL_DOWN_RUN_MIN] * 60000


def test_every_reason_is_reached_by_a_case_above() -> None:
    latched = {
        *(reason.LEVEL_LATCHED, reason.FLOOR_LATCHED, reason.NO_COOLING_LATCHED),
        *(reason.PROBES_LATCHED, reason.DRY_LATCHED, reason.TRAY_LATCHED, reason.STILL_LATCHED),
        reason.WELDED_LATCHED,
    }
    cases = {case[0] for case in (*STORE_CASES, *ROOM_CASES)}
    assert cases | latched | {reason.PULLING_DOWN} == set(range(reason.SIZE))


RUNS = {"chilling the store"}
DELIVERS = {"cooling the room", "purging"}


@given(story())
def test_at_any_time_the_words_fit_the_outputs(told: Story) -> None:
    player = Player(told)
    d = player.drive
    for act, scans in told.acts:
        player.act(*act)
        player.run(*scans)
        if not player.record.scans or player.booted:
            continue
        numbers = (store(d), room(d))
        assert (why.REASONS[numbers[0][0]][0] in RUNS) == d.compressor, said(d)
        assert (why.REASONS[numbers[1][0]][0] in DELIVERS) == d.pump, said(d)
        assert all(-1 <= ms < 2**30 for _, ms in numbers)

"""Comparisons of readings: what each notes holds, and the core makes no others."""

from __future__ import annotations

from array import array
from collections.abc import Callable

import pytest
from drive import reading
from hypothesis import given
from hypothesis import strategies as st
from readings_compared import Core
from springhouse import fitted, near

LOW, HIGH, ROOM = reading.STORE_LOW_MC, reading.STORE_HIGH_MC, reading.ROOM_MC
BOTH = fitted.STORE_LOW | fitted.STORE_HIGH
SMALL = st.integers(-60, 60)
Compared = Callable[["array[int]", int], bool]

# Each function on readings, with a threshold; the values are made of the readings as in the core.
FORMS: dict[str, Compared] = {
    "at_least": lambda r, x: near.at_least(r, 0, LOW, r[LOW] + 7, x),
    "inside": lambda r, x: near.inside(r, 0, LOW, r[LOW] + 7, x, x + 20),
    "mean": lambda r, x: near.store_at_least(r, 0, BOTH, (r[LOW] + r[HIGH]) >> 1, x),
    "coldest": lambda r, x: near.store_at_least(r, 0, BOTH, min(r[LOW] - 3, r[HIGH] - 9), x),
    "low alone": lambda r, x: near.store_at_least(r, 0, fitted.STORE_LOW, r[LOW], x),
    "high alone": lambda r, x: near.store_at_least(r, 0, fitted.STORE_HIGH, r[HIGH], x),
    "apart": lambda r, x: near.apart_at_least(r, 0, ROOM, LOW, r[ROOM] - r[LOW] + 5, x),
    "within": lambda r, x: near.apart_within(r, 0, ROOM, LOW, r[ROOM] - r[LOW] + 5, abs(x)),
}


def shown(low: int, high: int, room: int) -> array[int]:
    readings = array("i", [0] * near.SIZE)
    readings[LOW], readings[HIGH], readings[ROOM] = low, high, room
    return readings


def bands(readings: array[int]) -> dict[int, tuple[int, int]]:
    found = dict.fromkeys((LOW, HIGH, ROOM), (-near.FAR, near.FAR))
    for n in range(readings[near.COUNT]):
        at = near.COUNT + 1 + 4 * n
        slot, (low, high) = readings[at + 1], readings[at + 2 : at + 4]
        found[slot] = (max(found[slot][0], low), min(found[slot][1], high))
    return found


@pytest.mark.parametrize("form", FORMS)
@given(data=st.data())
def test_inside_what_was_noted_the_answer_stays(form: str, data: st.DataObject) -> None:
    compared = FORMS[form]
    x = data.draw(SMALL)
    readings = shown(*(data.draw(SMALL) for _ in range(3)))
    answer = compared(readings, x)
    held = bands(readings)
    for slot in (LOW, HIGH, ROOM):
        assert held[slot][0] <= readings[slot] <= held[slot][1]
    for _ in range(6):
        moved = [
            data.draw(st.integers(max(held[slot][0], -300), min(held[slot][1], 300)))
            for slot in (LOW, HIGH, ROOM)
        ]
        assert compared(shown(*moved), x) == answer


@pytest.mark.parametrize("form", ["at_least", "inside", "low alone", "high alone"])
@given(x=SMALL, low=SMALL, high=SMALL)
def test_a_step_outside_it_changes(form: str, x: int, low: int, high: int) -> None:
    """For one reading nothing is given away."""
    compared = FORMS[form]
    readings = shown(low, high, 0)
    answer = compared(readings, x)
    slot = HIGH if form == "high alone" else LOW
    for end, step in zip(bands(readings)[slot], (-1, 1), strict=True):
        if abs(end) < near.FAR:
            moved = shown(low, high, 0)
            moved[slot] = end + step
            assert compared(moved, x) != answer


def test_notes_that_find_no_place_are_counted() -> None:
    readings = shown(0, 0, 0)
    for _ in range(near.NOTES + 3):
        near.at_least(readings, 0, LOW, 0, 0)
    assert readings[near.COUNT] == near.NOTES + 3
    near.begin(readings)
    assert readings[near.COUNT] == 0


def test_a_note_that_settles_nothing_is_taken_back() -> None:
    readings = shown(1, 2, 3)
    near.at_least(readings, 0, ROOM, 3, 0)
    near.at_least(readings, 0, LOW, 1, 0)
    assert not near.apart_at_least(readings, 0, LOW, HIGH, -1, 5)
    near.moot(readings, 2)
    room = (5 - 1 + 1) // 2
    assert bands(readings) == {
        LOW: (-near.FAR, 1 + room),
        HIGH: (2 - room, near.FAR),
        ROOM: (0, near.FAR),
    }


def test_nothing_is_taken_back_once_notes_were_lost() -> None:
    readings = shown(0, 0, 0)
    for _ in range(near.NOTES + 1):
        near.at_least(readings, 0, LOW, 0, 0)
    near.moot(readings, 1)
    assert readings[near.COUNT] == near.NOTES + 1


def test_a_record_without_room_is_left_alone() -> None:
    readings = array("i", [0] * reading.SIZE)
    near.begin(readings)
    for compared in FORMS.values():
        compared(readings, 3)
    assert readings == array("i", [0] * reading.SIZE)


def test_the_core_compares_readings_nowhere_else() -> None:
    core = Core.of_the_package()
    assert core.stray() == []
    assert core.calls() > 25


STRAY = (
    "def f(readings):\n    return readings[reading.ROOM_MC] > 3",
    "def f(readings):\n    a = readings[reading.STORE_LOW_MC + 1]\n"
    "    b = a - 1\n    return 3 <= b",
    "def f(memory, settings, readings):\n"
    "    return probes.mean_of(memory, settings, readings, 3) > 3",
    "def f(readings):\n    return g(readings[reading.FLOW_ML_MIN])\ndef g(a):\n    return a == 3",
    "def f(readings):\n    q = abs(readings[reading.ROOM_MC])\n"
    "    q += 1\n    return q if q < 2 else 0",
    "def f(readings):\n    return readings[reading.ROOM_MC] - 20000 and 1",
)


@pytest.mark.parametrize("text", STRAY)
def test_a_stray_comparison_is_noticed(text: str) -> None:
    core = Core.of_the_package()
    head = "from springhouse import probes, reading\n"
    core.add("stray", head + text)
    assert len(core.stray()) == 1


@pytest.mark.parametrize(
    "text",
    [
        "def f(readings):\n    return near.at_least(readings, 0, 2, readings[reading.ROOM_MC], 3)",
        "def f(readings):\n    return readings[reading.ACK_SEQ] != 3",
        "def f(readings):\n    return readings[reading.STORE_LOW_FAULT + 2] != 0",
        "def f(memory):\n    return memory[3] > 4",
    ],
)
def test_other_comparisons_are_none_of_its_business(text: str) -> None:
    core = Core.of_the_package()
    head = "from springhouse import near, reading\n"
    core.add("plain", head + text)
    assert core.stray() == []

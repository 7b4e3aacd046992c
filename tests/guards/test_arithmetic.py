"""No number of the core leaves ±(2**30 − 1): proven on its own text, for all it may be given."""

from __future__ import annotations

import ast
import inspect
from array import array
from types import FunctionType

import pytest
import wrap_lemmas
from hypothesis import given
from hypothesis import strategies as st
from springhouse import conditions, controller, events, probes, reading, setting, timekeeping, week
from springhouse import memory as cell
from springhouse import setting as setting_slot
from springhouse_host.proof import ranges, ranges_text
from springhouse_host.proof.intervals import RangeError


@pytest.mark.requirement("ROW-36")
def test_no_value_leaves_its_range() -> None:
    proven = ranges.prove()
    print(f"{proven.operations} results, widest {proven.widest}")
    assert proven.widest <= (1 << 30) - 1
    assert proven.operations > 3000


def test_every_function_of_the_step_path_is_executed(monkeypatch: pytest.MonkeyPatch) -> None:
    called = set()
    run = ranges_text.Prover.run

    def noting(self, function, arguments, state):  # type: ignore[no-untyped-def]
        called.add(function)
        return run(self, function, arguments, state)

    monkeypatch.setattr(ranges_text.Prover, "run", noting)
    ranges.prove()
    # looked into as a condition, by lemma, or not in the step path
    other = {"words_of", "fill_defaults", "ticks_add"}
    for module in (conditions, events, probes, week, controller, timekeeping):
        for name, value in vars(module).items():
            if not isinstance(value, FunctionType) or value.__module__ != module.__name__:
                continue
            is_condition = len(ast.parse(inspect.getsource(value)).body[0].body) <= 2
            assert value in called or is_condition or name in other, f"{module.__name__}.{name}"


def test_wrapped_ticks_for_all_numbers() -> None:
    assert len(wrap_lemmas.wrap_lemmas()) == 3


LAST = timekeeping.LAST


def sloppy_add(tick: int, ms: int) -> int:
    """Forms 2**30 at the wrap."""
    if tick + ms > LAST:
        return tick + ms - LAST - 1
    return tick + ms


def test_the_solver_finds_a_sloppy_addition() -> None:
    with pytest.raises(wrap_lemmas.NotProven, match="every intermediate is small"):
        wrap_lemmas.wrap_lemmas(sloppy_add)


MISTAKES = (
    (events.progress, "max(made, -MADE_MOST_MK)", "max(made, -2 * MADE_MOST_MK)"),
    (events.count, "if memory[count_slot] < COUNT_MOST:", "if True:"),
    (events.mode, "0 < minutes <= modes.LIMIT_MIN[asked]", "0 < minutes"),
    (timekeeping.arm, "if ms > LONGEST_MS:", "if ms > 4 * LONGEST_MS:"),
    (events.rest, "settings[setting.REST_MIN] * 60000", "settings[setting.REST_MIN] * 60000000"),
    (
        events.plan,
        "= week.minutes_to_edge(settings, week_min)",
        "= 60 * week.minutes_to_edge(settings, week_min)",
    ),
    (
        probes._accept,
        "memory[cell.STORE_LOW_GOOD + i] = good + 1",
        "memory[cell.DRY_COUNT] = good + 3",
    ),
)


@pytest.mark.parametrize("mistake", MISTAKES, ids=lambda m: f"{m[0].__name__}: {m[2]}")
def test_a_mistake_is_found(
    mistake: tuple[FunctionType, str, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    function, old, new = mistake
    text = inspect.getsource(function)
    assert text.count(old) == 1
    tree = ast.parse(text.replace(old, new)).body[0]
    plain = ranges_text._tree
    monkeypatch.setattr(ranges_text, "_tree", lambda f: tree if f is function else plain(f))
    with pytest.raises(RangeError, match=function.__name__):
        ranges.prove()


@given(st.data())
def test_ranges_hold_on_concrete_steps(data: st.DataObject) -> None:
    """The declared ranges are those of real memories too: any settings, readings and memory."""
    settings, readings, memory = (
        array("i", [data.draw(st.integers(r.low, r.high)) for r in table.values()])
        for table in (
            dict(sorted(ranges.SETTINGS.items())),
            dict(sorted(ranges.READINGS.items())),
            dict(sorted(ranges.MEMORY.items())),
        )
    )
    now = readings[reading.NOW_MS]
    for slot in range(cell.TIMERS, cell.SIZE):
        if memory[slot] >= 0:  # as armed: no longer than the longest wait
            memory[slot] = timekeeping.ticks_add(now, memory[slot] & (timekeeping.LONGEST_MS - 1))
    controller.step(memory, settings, readings)
    for slot, allowed in ranges.MEMORY.items():
        assert allowed.low <= memory[slot] <= allowed.high, slot


def test_ranges_of_settings_are_the_bounds() -> None:
    for slot in range(setting_slot.SIZE):
        _, low, high, _ = setting.row(slot)
        assert (ranges.SETTINGS[slot].low, ranges.SETTINGS[slot].high) == (low, high)

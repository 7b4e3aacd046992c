"""The statechart walked by another interpreter: the library `transitions`, fed the same rows."""

from __future__ import annotations

from typing import Any

import pytest
from drive import statechart
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule
from springhouse import condition, controller
from transitions import Machine


def _bits(names: str) -> dict[int, str]:
    """Bit value -> its name in condition.py, of one region."""
    low, high = {"store": ("STORE_SEEN", "RUNNING"), "room": ("ROOM_SEEN", "MUST_DELIVER")}[names]
    all_names = [n for n in vars(condition) if n.isupper() and not n.endswith("_BITS")]
    chosen = all_names[all_names.index(low) : all_names.index(high) + 1]
    return {getattr(condition, name): name for name in chosen}


STORE_BITS, ROOM_BITS = _bits("store"), _bits("room")


class Model:
    """Two machines on one model; each condition bit is a method that looks into its word."""

    store_side: str
    room_side: str

    def __init__(self) -> None:
        self.store_word = 0
        self.room_word = 0

    def __getattr__(self, name: str) -> Any:
        for word, bits in (("store_word", STORE_BITS), ("room_word", ROOM_BITS)):
            for bit, bit_name in bits.items():
                if name == f"sees_{bit_name}":
                    return lambda word=word, bit=bit: bool(getattr(self, word) & bit)
        raise AttributeError(name)


def _machine(
    model: Model, side: str, rows: tuple[Any, ...], states: int, bits: dict[int, str]
) -> Machine:
    def names(word: int) -> list[str]:
        return [f"sees_{name}" for bit, name in bits.items() if word & bit]

    return Machine(
        model,
        states=[str(n) for n in range(states)],
        initial="0",
        transitions=[
            {
                "trigger": f"step_{side}",
                "source": [str(n) for n in range(states) if start >> n & 1],
                "dest": str(end),
                "conditions": names(must),
                "unless": names(must_not),
            }
            for start, must, must_not, end in rows
        ],
        model_attribute=side,
        auto_transitions=False,
        ignore_invalid_triggers=True,
    )


def load() -> tuple[Model, Machine, Machine]:
    model = Model()
    store = _machine(
        model, "store_side", statechart.STORE_ROWS, statechart.STORE_STATES, STORE_BITS
    )
    room = _machine(model, "room_side", statechart.ROOM_ROWS, statechart.ROOM_STATES, ROOM_BITS)
    return model, store, room


class Walk(RuleBasedStateMachine):
    """Both interpreters take the same words, one step each time."""

    @initialize()
    def begin(self) -> None:
        self.model, _, _ = load()
        self.store = self.room = 0

    @rule(word=st.integers(0, 2**condition.STORE_BITS - 1))
    def store_step(self, word: int) -> None:
        self.model.store_word = word
        self.model.step_store_side()
        self.store = controller.next_store_state(self.store, word)

    @rule(word=st.integers(0, 2**condition.ROOM_BITS - 1))
    def room_step(self, word: int) -> None:
        self.model.room_word = word
        self.model.step_room_side()
        self.room = controller.next_room_state(self.room, word)

    @invariant()
    def they_agree(self) -> None:
        if hasattr(self, "store"):
            assert (self.model.store_side, self.model.room_side) == (
                str(self.store),
                str(self.room),
            )


Walk.TestCase.settings = settings(max_examples=60, stateful_step_count=60)
TestWalk = Walk.TestCase


def test_the_names_cover_every_bit_of_each_region() -> None:
    assert list(STORE_BITS) == [1 << n for n in range(condition.STORE_BITS)]
    assert list(ROOM_BITS) == [1 << n for n in range(condition.ROOM_BITS)]


@pytest.mark.parametrize("side", ["store", "room"])
def test_every_state_and_every_pattern_lead_both_to_the_same_state(side: str) -> None:
    model, store, room = load()
    machine = store if side == "store" else room
    states = statechart.STORE_STATES if side == "store" else statechart.ROOM_STATES
    bits = condition.STORE_BITS if side == "store" else condition.ROOM_BITS
    ours = controller.next_store_state if side == "store" else controller.next_room_state
    trigger = getattr(model, f"step_{side}_side")
    # `transitions` needs 30 us a step: all patterns of the store side, every 19th of the room's.
    for state in range(states):
        for word in range(0, 1 << bits, 1 if side == "store" else 19):
            machine.set_state(str(state))
            setattr(model, f"{side}_word", word)
            trigger()
            assert getattr(model, f"{side}_side") == str(ours(state, word)), (state, word)

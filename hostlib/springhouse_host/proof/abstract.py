"""The complete check of the abstract machine: the real controller, every input, from power-up.

The controller's memory is too large to be explored whole (75 slots). It is cut into *slices*. A
slice keeps a few slots from step to step, as small numbers: a running timer is only "running". All
else is *free*: before each step an adversary sets it anew, by dials of a few options each, together
with the readings. Each step is one call of the real `controller.step` on a real memory record.
Time is the adversary's too: any running timer may fall due before any step.

What this over-approximates. Timers fall due in any order and at once; probes, latches, the other
region and whatever a slice does not keep may change from step to step as no plant could. So what
holds here holds in every run; what breaks here need not be possible. Durations are not lost: each
step is judged on the real time left, a wait must be armed with its whole length and never brought
forward, a clock that limits must never be pushed back, which by induction is the bound in ms.

What stands outside. Temperatures come as one value a condition class, settings as the defaults and
those that change the structure (which sensors, brine, ice bank, starts an hour); the words for any
value are the business of the table check and the random adversary.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import chain
from typing import Any

import numpy as np
from springhouse import memory as cell
from springhouse import reading, words
from springhouse_sim import compiled
from springhouse_sim.abstract import env, search

from .doors import DOORS
from .slice_parts import NOW_MS, Slice, Write
from .slices_room import air_slices, delivery_slices, dry_slices, fault_slices
from .slices_store import care_slices, compressor_slices, probe_slices

MOST_STATES = 1 << 18
MOST_FAIR_STEPS = 200


@dataclass(frozen=True)
class AbstractStep:
    """One step of a counterexample: the input, or the timer that fell due before it."""

    state: int  # key
    number: int  # of the input; search.BOOT at power-up without one; below: a timer


@dataclass(frozen=True)
class Explored:
    """What the exploration of one slice found."""

    name: str
    states: int
    steps: int
    transitions: int
    store_states: int  # bits
    room_states: int
    dead_end: int | None  # key of a state that nothing leads out of
    broken: int  # number of the invariant, 0 = none
    path: tuple[AbstractStep, ...]  # from power-up to what broke
    story: tuple[str, ...] = ()  # the path in words, see `abstract_story`


class Machine:
    """A slice as the flat tables of the search, and the records it works on."""

    def __init__(self, part: Slice, code: Any = None) -> None:
        """`code` is `search` or its like, by default the compiled one."""
        self.part = part
        self._given_code = code
        memory, readings = part.base()
        dials: list[tuple[int, int]] = []
        options: list[tuple[int, int]] = []
        writes: list[Write] = []
        for dial in part.dials:
            dials.append((len(options), len(dial.options)))
            for option in dial.options:
                options.append((len(writes), len(option.writes)))
                writes += option.writes
        self.tables: search.Tables = (
            np.array([kept.row() for kept in part.kept], np.int64),
            np.array(dials, np.int64),
            np.array(options, np.int64),
            np.array(writes, np.int64),
            _ints(part.settings),
            _ints(memory),
            _ints(readings),
        )
        self.work: search.Work = (
            _ints([0] * cell.SIZE),
            _ints([0] * cell.SIZE),
            _ints([0] * reading.SIZE),
            _longs(env.SIZE),
        )

    def inputs(self) -> int:
        """Return how many inputs there are."""
        n = 1
        for dial in self.part.dials:
            n *= len(dial.options)
        return n

    def number(self, choice: Sequence[int]) -> int:
        """Return the number of the input that takes these options, one a dial."""
        found, weight = 0, 1
        for dial, option in zip(self.part.dials, choice, strict=True):
            found += option * weight
            weight *= len(dial.options)
        return found

    def explore(self) -> "tuple[Explored, Any]":
        """Explore every reachable state; return what was found and the keys of the states.

        Raises:
            RuntimeError: when there are more states than the check allows for.
        """
        found: search.Found = (
            _longs(MOST_STATES),
            _longs(MOST_STATES),
            _longs(MOST_STATES),
            _longs(2 * MOST_STATES + 1, -1),
            _longs(search.OWN_SIZE),
        )
        self._code().explore(self.part.number, self.tables, self.work, found)
        keys, _, _, _, own = found
        if own[search.FULL]:
            raise RuntimeError(f"{self.part.name}: more than {MOST_STATES} states")
        rows = int(own[search.ROWS])
        explored = Explored(
            self.part.name,
            int(own[search.STATES]),
            int(own[search.STEPS]),
            int(own[search.TRANSITIONS]),
            rows & 0xFF,
            rows >> 8,
            int(keys[own[search.DEAD_END] - 1]) if own[search.DEAD_END] else None,
            int(own[search.BROKEN]),
            tuple(_path(found)) if own[search.BROKEN] else (),
        )
        return explored, keys[: explored.states]

    def stuck(self, keys: Any) -> int | None:
        """Return a state from which the fair input never leads to service, None if there is none.

        Raises:
            ValueError: when the slice has no fair input.
        """
        if not self.part.served:
            raise ValueError(f"{self.part.name}: no fair input")
        fair = self.number(self.part.fair)
        at = self._code().stuck(
            fair, self.part.served, self.tables, self.work, keys, len(keys), MOST_FAIR_STEPS
        )
        return None if at < 0 else int(keys[at])

    def missed(self, explored: Explored, keys: Any) -> Iterator[str]:
        """Yield what liveness asks and the explored states do not have, one line each."""
        name = self.part.name
        if explored.dead_end is not None:
            yield f"{name}: nothing leads out of state {explored.dead_end}"
        for reached, wanted, known in (
            (explored.store_states, self.part.reaches_store, words.STORE_STATES),
            (explored.room_states, self.part.reaches_room, words.ROOM_STATES),
        ):
            for n, state in enumerate(known):
                if (wanted & ~reached) >> n & 1:
                    yield f"{name}: '{state}' is never reached"
        key = self.stuck(keys) if self.part.served else None
        if key is not None:
            yield f"{name}: state {key} is never served"

    def leads_to(self, key: int, to: int) -> bool:
        """Return whether some input leads from one state to another in one step."""
        return bool(self._code().leads_to(key, to, self.tables, self.work))

    def _code(self) -> Any:
        if self._given_code is not None:
            return self._given_code
        return compiled.load(True, doors=DOORS).sim("abstract.search")


def _ints(values: Any) -> Any:
    return np.array(values, np.int32)


def _longs(size: int, value: int = 0) -> Any:
    return np.full(size, value, np.int64)


def _path(found: search.Found) -> Iterator[AbstractStep]:
    """How the broken step came about, from power-up on."""
    keys, parents, numbers, _, own = found
    last = AbstractStep(
        int(keys[own[search.BROKEN_FROM]]) if own[search.BROKEN_FROM] >= 0 else search.BOOT,
        int(own[search.BROKEN_INPUT]),
    )
    steps = [last]
    at = int(own[search.BROKEN_FROM])
    while at >= 0:
        parent = int(parents[at])
        steps.append(
            AbstractStep(int(keys[parent]) if parent >= 0 else search.BOOT, int(numbers[at]))
        )
        at = parent
    yield from reversed(steps)


def slices(now_ms: int = NOW_MS) -> list[Slice]:
    """Return every slice under every fitting that matters to it."""
    return list(
        chain(
            compressor_slices(now_ms),
            care_slices(now_ms),
            probe_slices(now_ms),
            delivery_slices(now_ms),
            dry_slices(now_ms),
            air_slices(now_ms),
            fault_slices(now_ms),
        )
    )


@dataclass(frozen=True)
class Checked:
    """What the exploration of all slices found."""

    explored: tuple[Explored, ...]
    missed: tuple[str, ...]  # states never served, never reached, or without a way out

    @property
    def states(self) -> int:
        """Abstract states in all slices."""
        return sum(e.states for e in self.explored)

    @property
    def steps(self) -> int:
        """Steps of the controller."""
        return sum(e.steps for e in self.explored)

    @property
    def transitions(self) -> int:
        """Steps that led to another state."""
        return sum(e.transitions for e in self.explored)

    @property
    def violations(self) -> tuple[str, ...]:
        """A story of several lines for each broken invariant, a line for what is missed."""
        return (*chain.from_iterable(e.story for e in self.explored), *self.missed)

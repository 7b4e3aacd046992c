"""Timers as the time they have left, instead of the tick at which they fall due.

A timer slot holds IDLE, DUE or the ms left since the last scan. `expire` takes the time gone since
then off every running timer; everything else in `timekeeping.py` is then free of the clock. That
the board's wrapped ticks amount to the same is shown for each function on its own by `lemmas`: a
tick is where `left` ms after the last scan lie, for every last scan, every time left of at most
LONGEST_MS and every time gone of at most LONGEST_MS.
"""

from collections.abc import Callable
from typing import Any

from springhouse import memory as cell
from springhouse import timekeeping

from springhouse_host.induction.program import SlotRecord, StandIn, State
from springhouse_host.induction.term import Number, Truth, Value
from springhouse_host.induction.terms import Terms
from springhouse_host.induction.translate import Run

MEMORY = "memory"


def _slot(run: Run, state: State, slot: Number) -> tuple[list[Value], int]:
    cases = run.terms.cases(slot)
    if len(cases) != 1:
        raise ValueError("a timer that may be one of several")
    return state.slots[MEMORY], cases[0][1]


def _length(t: Terms, ms: Number) -> Any:
    return t.choose(t.less(timekeeping.LONGEST_MS, ms), timekeeping.LONGEST_MS, ms)


def _arm(run: Run, state: State, a: list[Any]) -> Value:
    timers = state.slots[MEMORY]
    for when, n in run.terms.cases(a[1]):
        timers[n] = run.terms.choose(when, _length(run.terms, a[3]), timers[n])
    return None


def _arm_longer(run: Run, state: State, a: list[Any]) -> Value:
    t = run.terms
    timers, n = _slot(run, state, a[1])
    old: Any = timers[n]
    sooner = t.either(t.less(old, 0), t.less(old, a[3]))
    timers[n] = t.choose(sooner, _length(t, a[3]), old)
    return None


def _hold(run: Run, state: State, a: list[Any]) -> Value:
    t = run.terms
    timers, n = _slot(run, state, a[1])
    wanted: Truth = t.true(a[3])
    old: Any = timers[n]
    going = t.choose(t.equal(old, timekeeping.IDLE), _length(t, a[4]), old)
    timers[n] = t.choose(wanted, going, timekeeping.IDLE)
    return t.both(wanted, t.equal(going, timekeeping.DUE))


def _bank(run: Run, state: State, a: list[Any]) -> Value:
    t = run.terms
    timers, n = _slot(run, state, a[1])
    _, left_slot = _slot(run, state, a[2])
    running = t.true(a[4])
    old: Any = timers[n]
    kept: Any = timers[left_slot]
    stops = t.both(t.no(running), t.at_most(0, old))
    timers[left_slot] = t.choose(stops, old, kept)
    begun = t.choose(t.equal(old, timekeeping.IDLE), _length(t, kept), old)
    now_is: Any = t.choose(running, begun, t.choose(stops, timekeeping.IDLE, old))
    timers[n] = now_is
    return t.equal(now_is, timekeeping.DUE)


class Clock:
    """What stands in for `timekeeping.py` in one translation.

    `gone_ms` is the time since the last scan, `ages` the age of a frame by its stamp's slot.
    """

    def __init__(self, gone_ms: Number, now: Number) -> None:
        self.gone_ms = gone_ms
        self.now = now
        self.ages: dict[int, Number] = {}

    def stand_ins(self) -> dict[Callable[..., Any], StandIn]:
        """By function of `timekeeping.py`."""
        return {
            timekeeping.arm: _arm,
            timekeeping.arm_longer: _arm_longer,
            timekeeping.hold: _hold,
            timekeeping.bank: _bank,
            timekeeping.expire: self._expire,
            timekeeping.ticks_diff: self._difference,
        }

    def _expire(self, run: Run, state: State, a: list[Any]) -> Value:
        t = run.terms
        timers = state.slots[MEMORY]
        for n in range(cell.TIMERS, cell.SIZE):
            old: Any = timers[n]
            left = t.subtract(old, self.gone_ms)
            still = t.choose(t.at_most(left, 0), timekeeping.DUE, left)
            timers[n] = t.choose(t.at_most(0, old), still, old)
        return None

    def _difference(self, run: Run, state: State, a: list[Any]) -> Any:
        """From or to now: a timer has so much left, a frame has such an age."""
        late, early = a
        if early is self.now and late is not self.now:
            return late  # a timer's slot: the time it has left
        if late is self.now:
            return self.ages[id(early)]
        raise ValueError("a difference of two ticks neither of which is now")


def lemmas(terms: Terms) -> dict[str, Truth]:
    """What must hold for the stand-ins to be the functions of `timekeeping.py`, by name.

    Each function runs from its own text on one timer slot that holds a tick, and in its stand-in
    on the time left; afterwards the tick must be where the time left says, seen from now.
    """
    t = terms
    slot, left_slot, size = cell.TIMERS, cell.TIMERS - 1, cell.SIZE
    last = t.integer("last_scan", 0, timekeeping.LAST)
    gone = t.integer("gone_ms", 0, timekeeping.LONGEST_MS)
    left = t.integer("left_ms", timekeeping.DUE, timekeeping.LONGEST_MS)
    bank = t.integer("banked_ms", 0, timekeeping.LONGEST_MS)
    length = t.integer("length_ms", 0, timekeeping.LONGEST_MS + 1000)
    going = t.truth("going")
    premises: list[Truth] = []
    plain = Run(t, {})

    def tick_after(name: str, tick: Number, ms: Value) -> Number:
        """The tick so many ms later, as `ticks_add` makes it."""
        found = t.integer(name, 0, timekeeping.LAST)
        slots: dict[str, Any] = {}
        premises.append(t.equal(found, plain.call(timekeeping.ticks_add, [tick, ms], slots)))
        return found

    now = tick_after("now", last, gone)
    running = t.choose(t.less(left, 0), 0, left)
    then_at = t.choose(t.less(left, 0), left, tick_after("then_at", last, running))
    now_at = t.choose(t.less(left, 0), left, tick_after("now_at", now, running))
    found: dict[str, Truth] = {}
    for name, function, rest in (
        ("expire", timekeeping.expire, [now]),
        ("arm", timekeeping.arm, [slot, now, length]),
        ("arm_longer", timekeeping.arm_longer, [slot, now, length]),
        ("hold", timekeeping.hold, [slot, now, going, length]),
        ("bank", timekeeping.bank, [slot, left_slot, now, going]),
    ):
        real: dict[str, Any] = {MEMORY: [timekeeping.IDLE] * size}
        model: dict[str, Any] = {MEMORY: [timekeeping.IDLE] * size}
        real[MEMORY][slot], model[MEMORY][slot] = then_at if name == "expire" else now_at, left
        real[MEMORY][left_slot] = model[MEMORY][left_slot] = bank
        arguments: list[Any] = [SlotRecord(MEMORY), *rest]
        given = plain.call(function, list(arguments), real)
        said = Run(t, Clock(gone, now).stand_ins()).call(function, list(arguments), model)
        after = model[MEMORY][slot]
        later = t.choose(t.less(after, 0), 0, after)
        there = t.choose(t.less(after, 0), after, tick_after(f"{name}_at", now, later))
        found[name] = t.both(
            t.equal(real[MEMORY][slot], there),
            t.equal(real[MEMORY][left_slot], model[MEMORY][left_slot]),
            True if given is None else t.same(t.true(given), t.true(said)),
        )
    stamp = t.integer("stamp", 0, timekeeping.LAST)
    aged = t.equal(tick_after("stamp_and_age", stamp, gone), now)
    of_stamp = plain.call(timekeeping.ticks_diff, [now, stamp], {})
    found["ticks_diff from a stamp"] = t.implies(aged, t.equal(of_stamp, gone))
    of_timer = plain.call(timekeeping.ticks_diff, [now_at, now], {})
    found["ticks_diff to a timer"] = t.implies(t.at_most(0, left), t.equal(of_timer, left))
    return {name: t.implies(t.both(*premises), claim) for name, claim in found.items()}

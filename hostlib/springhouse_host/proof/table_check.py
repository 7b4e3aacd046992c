"""The complete check of the statechart's rows and output tables.

Per region, every state with every pattern of its condition word goes through the rows once; what
the state arrived at asks for is judged by rules that were written from the requirements and not
from the rows.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol, TypeAlias

import numpy as np
import numpy.typing as npt
from springhouse import condition, output, statechart, why, words

Bits: TypeAlias = npt.NDArray[np.int64]
Flags: TypeAlias = npt.NDArray[np.bool_]
Row: TypeAlias = tuple[int, int, int, int]


class Chart(Protocol):
    """What is checked: the statechart module, or anything with the same names."""

    STORE_STATES: int
    ROOM_STATES: int
    STORE_ROWS: tuple[Row, ...]
    ROOM_ROWS: tuple[Row, ...]
    STORE_OUTPUTS: tuple[int, ...]
    ROOM_OUTPUTS: tuple[int, ...]


@dataclass(frozen=True)
class Rule:
    """Where `asked` is asked for, all of `must` hold and none of `must_not`."""

    asked: int
    must: int
    must_not: int
    text: str
    starts_only: bool = False  # judged only where the state before did not ask for it
    unless: int = 0  # not judged where one of these bits is set


@dataclass(frozen=True)
class OutputDuty:
    """With all of `must` and none of `must_not`, `asked` has to be asked for."""

    asked: int
    must: int
    must_not: int
    text: str
    from_asking: bool  # True: while already asked for; False: from any state, in a few steps


@dataclass(frozen=True)
class Shows:
    """With all of `must` and none of `must_not`, the region comes to rest in one of `states`."""

    states: tuple[int, ...]
    must: int
    must_not: int


@dataclass(frozen=True)
class Region:
    """One side of the statechart with its rows, names and rules."""

    name: str
    states: Sequence[str]
    conditions: Sequence[str]
    rows: tuple[Row, ...]
    outputs: tuple[int, ...]
    own: int  # the outputs this side may ask for
    locked: int  # the condition that must lead to, and hold in, the alarm
    rules: tuple[Rule, ...]
    duties: tuple[OutputDuty, ...]
    shows: tuple[Shows, ...]

    def state(self, number: int) -> str:
        """Return the name of a state, its number if it has none."""
        return self.states[number] if 0 <= number < len(self.states) else f"state {number}"

    def word(self, word: int) -> str:
        """Return the names of the bits set in a condition word."""
        return bit_names(word, self.conditions)


STORE_RULES = (
    Rule(
        output.COMPRESSOR,
        condition.STORE_SEEN | condition.MAINS,
        condition.FREEZE | condition.STORE_LOCK | condition.BAR_RUN,
        "compressor asked for",
    ),
    Rule(
        output.COMPRESSOR,
        condition.MAY_START | condition.STORE_WARM,
        condition.BAR_START | condition.STORE_FULL,
        "compressor started",
        starts_only=True,
    ),
    Rule(
        output.COMPRESSOR,
        0,
        condition.BAR_START,
        "compressor not running yet, and asked for",
        unless=condition.RUNNING,
    ),
    Rule(
        output.COMPRESSOR,
        0,
        condition.STORE_FULL,
        "compressor past its minimum on-time asked for",
        unless=condition.MUST_RUN,
    ),
)
STORE_SHOWS = (
    Shows((statechart.STORE_LOCKED,), condition.STORE_LOCK, 0),
    Shows((statechart.STORE_BLIND,), 0, condition.STORE_LOCK | condition.STORE_SEEN),
    Shows(
        (statechart.FREEZE_GUARD,), condition.STORE_SEEN | condition.FREEZE, condition.STORE_LOCK
    ),
    Shows(
        (statechart.HOLD, statechart.CHARGE),
        condition.STORE_SEEN,
        condition.STORE_LOCK | condition.FREEZE,
    ),
)
_NO_CHARGING = condition.FREEZE | condition.STORE_LOCK | condition.BAR_RUN
STORE_DUTIES = (
    OutputDuty(
        output.COMPRESSOR,
        condition.STORE_SEEN | condition.MAINS | condition.MUST_RUN | condition.RUNNING,
        _NO_CHARGING,
        "compressor kept for its minimum on-time",
        from_asking=True,
    ),
    OutputDuty(
        output.COMPRESSOR,
        condition.STORE_SEEN | condition.MAINS | condition.STORE_WARM | condition.MAY_START,
        _NO_CHARGING | condition.BAR_START | condition.STORE_FULL,
        "a warm store, healthy and free to start, is charged",
        from_asking=False,
    ),
)

_FAULTS = condition.ROOM_LOCK | condition.TRAY | condition.DRY | condition.COIL
_NO_DELIVERY = _FAULTS | condition.BAR_ROOM | condition.SPELL
ROOM_RULES = (
    Rule(output.PUMP | output.FAN, condition.POWER, _NO_DELIVERY, "delivery asked for"),
    Rule(
        output.FAN | output.FAN_FULL,
        condition.ROOM_SEEN | condition.WANTED,
        condition.PURGE_ASKED,
        "fan asked for",
    ),
    Rule(
        output.FAN | output.FAN_FULL,
        condition.USEFUL,
        condition.ROOM_COOL,
        "fan past its least on-time asked for",
        unless=condition.MUST_DELIVER,
    ),
    Rule(
        output.FAN,
        condition.ROOM_WARM | condition.USEFUL,
        condition.ROOM_COOL,
        "fan started",
        starts_only=True,
    ),
    Rule(output.PUMP | output.FAN, 0, condition.PAUSE, "pump or fan started", starts_only=True),
)
_WARM_AND_SEEN = condition.ROOM_SEEN | condition.ROOM_WARM
_WARM_ROOM = _WARM_AND_SEEN | condition.WANTED | condition.USEFUL | condition.POWER
ROOM_SHOWS = (
    Shows((statechart.ROOM_LOCKED,), condition.ROOM_LOCK, 0),
    Shows((statechart.CONDENSATE_STOP,), condition.TRAY, condition.ROOM_LOCK),
    Shows(
        (statechart.DRY_RUN_STOP,), condition.DRY | condition.ROOM_SEEN, _FAULTS & ~condition.DRY
    ),
    Shows((statechart.ROOM_BLIND,), 0, _FAULTS | condition.ROOM_SEEN | condition.PURGE_ASKED),
    Shows(
        (statechart.WAITING, statechart.DISCHARGE, statechart.PURGE), condition.ROOM_SEEN, _FAULTS
    ),
)
ROOM_DUTIES = (
    OutputDuty(
        output.PUMP | output.FAN,
        _WARM_ROOM,
        _NO_DELIVERY | condition.ROOM_COOL | condition.PURGE_ASKED | condition.PAUSE,
        "a warm room, healthy and wanted cool, is delivered to",
        from_asking=False,
    ),
    OutputDuty(
        output.PUMP,
        condition.PURGE_ASKED | condition.POWER,
        _NO_DELIVERY | condition.PAUSE,
        "a purge is run",
        from_asking=False,
    ),
    OutputDuty(
        output.FAN,
        condition.ROOM_SEEN | condition.WANTED | condition.POWER | condition.MUST_DELIVER,
        _NO_DELIVERY | condition.PURGE_ASKED,
        "fans kept for their least on-time",
        from_asking=True,
    ),
)


def store_side(chart: Chart) -> Region:
    """Return the store side of a statechart."""
    return Region(
        "store side",
        words.STORE_STATES,
        why.STORE_CONDITIONS,
        chart.STORE_ROWS,
        chart.STORE_OUTPUTS[: chart.STORE_STATES],
        output.COMPRESSOR | output.ALARM,
        condition.STORE_LOCK,
        STORE_RULES,
        STORE_DUTIES,
        STORE_SHOWS,
    )


def room_side(chart: Chart) -> Region:
    """Return the room side of a statechart."""
    return Region(
        "room side",
        words.ROOM_STATES,
        why.ROOM_CONDITIONS,
        chart.ROOM_ROWS,
        chart.ROOM_OUTPUTS[: chart.ROOM_STATES],
        output.PUMP | output.FAN | output.FAN_FULL | output.ALARM,
        condition.ROOM_LOCK,
        ROOM_RULES,
        ROOM_DUTIES,
        ROOM_SHOWS,
    )


def check_region(region: Region) -> tuple[list[str], int]:
    """Return the mistakes of one region and the number of (state, pattern) pairs looked at."""
    found = list(_malformed(region))
    if found:
        return found, 0
    patterns: Bits = np.arange(1 << len(region.conditions), dtype=np.int64)
    after, taken = walk(region, patterns)
    asked = np.array(region.outputs, dtype=np.int64)[after]
    found += _unused_rows(region, taken)
    found += _graph(region, after)
    found += _unsettled(region, after)
    found += _locks(region, patterns, after, taken, asked)
    for rule in region.rules:
        found += _judge_rule(region, rule, patterns, after, taken, asked)
    for duty in region.duties:
        found += _judge_duty(region, duty, patterns, after, taken, asked)
    for shows in region.shows:
        found += _judge_shows(region, shows, patterns, after)
    return found, after.size


def _malformed(region: Region) -> Sequence[str]:
    """What cannot be meant: the other side's outputs, unknown states or bits, bits that clash."""
    states, bits = len(region.outputs), 1 << len(region.conditions)
    found = [
        f"{region.name}: {region.state(n)} asks for what is not its own"
        for n, asked in enumerate(region.outputs)
        if asked & ~region.own
    ]
    for n, (start, must, must_not, end) in enumerate(region.rows):
        if not 0 < start < 1 << states or not 0 <= end < states:
            found.append(f"{region.name}: row {n} names an unknown state: {start:b} -> {end}")
        if not 0 <= must < bits or not 0 <= must_not < bits:
            found.append(f"{region.name}: row {n} asks for bits the region does not have")
        if must & must_not:
            both = region.word(must & must_not)
            found.append(f"{region.name}: row {n} both requires and forbids {both}")
    return found


def walk(region: Region, patterns: Bits) -> tuple[Bits, Bits]:
    """Return, per [state, pattern], the next state and the row taken (-1: none, it stays)."""
    shape = (len(region.outputs), patterns.size)
    after: Bits = np.repeat(np.arange(shape[0]), shape[1]).reshape(shape)
    taken: Bits = np.full(shape, -1, dtype=np.int64)
    for n, (start, must, must_not, end) in enumerate(region.rows):
        fits = (patterns & must == must) & (patterns & must_not == 0)
        for state in bits_of(start):
            free = fits & (taken[state] < 0)
            after[state, free] = end
            taken[state, free] = n
    return after, taken


def _unused_rows(region: Region, taken: Bits) -> list[str]:
    used = [set(np.unique(rows).tolist()) for rows in taken]
    return [
        f"{region.name}: row {n} ({_row(region, n, state)}) is never taken"
        for n, row in enumerate(region.rows)
        for state in bits_of(row[0])
        if n not in used[state]
    ]


def _graph(region: Region, after: Bits) -> list[str]:
    """States that are never reached from the first, or from which the first is never reached."""
    steps = {s: set(np.unique(after[s]).tolist()) for s in range(len(region.outputs))}
    found = []
    for state in steps:
        if state not in _reach(steps, 0):
            found.append(f"{region.name}: {region.state(state)} is never reached")
        elif 0 not in _reach(steps, state):
            found.append(f"{region.name}: {region.state(state)} is a dead end")
    return found


def _reach(steps: dict[int, set[int]], start: int) -> set[int]:
    seen, fresh = {start}, {start}
    while fresh:
        fresh = set().union(*(steps[s] for s in fresh)) - seen
        seen |= fresh
    return seen


def _repeat(after: Bits, times: int) -> Bits:
    """Return the state per [state, pattern] after some steps more with the word unchanged."""
    columns = np.arange(after.shape[1])
    now = after
    for _ in range(times):
        now = after[now, columns]
    return now


def _unsettled(region: Region, after: Bits) -> list[str]:
    """Patterns under which the region would go round for ever."""
    late = _repeat(after, len(region.outputs))
    turning = late != after[late, np.arange(after.shape[1])]
    return _report(region, turning, after, None, "never comes to rest")


def _locks(region: Region, patterns: Bits, after: Bits, taken: Bits, asked: Bits) -> list[str]:
    """A latched fault must sound the alarm at once; without one there is no alarm."""
    locked = np.broadcast_to((patterns & region.locked) != 0, after.shape)
    alarm = (asked & output.ALARM) != 0
    return [
        *_report(region, locked & ~alarm, after, taken, "a latched fault without alarm"),
        *_report(region, alarm & ~locked, after, taken, "an alarm without latched fault"),
    ]


def _judge_rule(
    region: Region, rule: Rule, patterns: Bits, after: Bits, taken: Bits, asked: Bits
) -> list[str]:
    before = np.array(region.outputs, dtype=np.int64)[:, None]
    judged = (asked & rule.asked) != 0
    judged = judged & ((patterns & rule.unless) == 0)
    if rule.starts_only:
        judged &= (before & rule.asked) == 0
    found = []
    for n, name in enumerate(region.conditions):
        bit = 1 << n
        if rule.must & bit:
            wrong = judged & ((patterns & bit) == 0)
            found += _report(region, wrong, after, taken, f"{rule.text} without '{name}'")
        if rule.must_not & bit:
            wrong = judged & ((patterns & bit) != 0)
            found += _report(region, wrong, after, taken, f"{rule.text} despite '{name}'")
    return found


def _judge_duty(
    region: Region, duty: OutputDuty, patterns: Bits, after: Bits, taken: Bits, asked: Bits
) -> list[str]:
    outputs = np.array(region.outputs, dtype=np.int64)
    due = np.broadcast_to(
        (patterns & duty.must == duty.must) & (patterns & duty.must_not == 0), after.shape
    )
    if duty.from_asking:
        due = due & ((outputs[:, None] & duty.asked) == duty.asked)
        given = asked
    else:
        given = outputs[_repeat(after, len(outputs))]
    return _report(
        region, due & ((given & duty.asked) != duty.asked), after, taken, f"not so: {duty.text}"
    )


def _judge_shows(region: Region, shows: Shows, patterns: Bits, after: Bits) -> list[str]:
    given = (patterns & shows.must == shows.must) & (patterns & shows.must_not == 0)
    wrong = given & ~np.isin(_repeat(after, len(region.outputs)), shows.states)
    names = " or ".join(region.state(s) for s in shows.states)
    return _report(region, wrong, after, None, f"does not come to rest in {names}")


def _report(region: Region, wrong: Flags, after: Bits, taken: Bits | None, text: str) -> list[str]:
    """One line a (state, row): the simplest pattern that shows it, and how many do."""
    found = []
    for state in range(wrong.shape[0]):
        rows = np.zeros(wrong.shape[1], dtype=np.int64) - 1 if taken is None else taken[state]
        for n in np.unique(rows[wrong[state]]).tolist():
            words_found = np.flatnonzero(wrong[state] & (rows == n))
            simplest = min(words_found.tolist(), key=lambda w: (w.bit_count(), w))
            how = f"row {n} ({_row(region, n, state)})" if n >= 0 else "stays"
            found.append(
                f"{region.name}: {text}: {region.state(state)} -> "
                f"{region.state(int(after[state, simplest]))} with {region.word(simplest)}, "
                f"{how}; {len(words_found)} patterns"
            )
    return found


def _row(region: Region, n: int, state: int) -> str:
    """Return a row in short: what it asks for, or forbids if it asks for nothing."""
    _, must, must_not, end = region.rows[n]
    why = region.word(must) if must or not must_not else f"not {region.word(must_not)}"
    return f"{region.state(state)}, {why} -> {region.state(end)}"


def bits_of(word: int) -> list[int]:
    """Return the numbers of the bits set."""
    return [n for n in range(word.bit_length()) if word >> n & 1]


def bit_names(word: int, names: Sequence[str]) -> str:
    """Return the names of the bits set, each quoted."""
    found = [f"'{name}'" for n, name in enumerate(names) if word >> n & 1]
    return " ".join(found) if found else "nothing"

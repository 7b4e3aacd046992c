"""A counterexample as a story to read, and as a regression test to keep.

The solver's numbers become records again: time left becomes the tick at which a timer falls due,
the age of a frame its stamp, any plan the plan in force. Then the real `step` runs on them, so that
what is told has happened.
"""

import re
from array import array
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from springhouse import controller, reading, setting, timekeeping, words
from springhouse import memory as cell

from springhouse_host.induction import step_test
from springhouse_host.induction.prove import ClaimResult
from springhouse_host.induction.scene import (
    FITTED_BITS,
    NAMES,
    READING_NAMES,
    SETTING_NAMES,
    WORDS,
)

NOW_MS = 1_000_000_000  # any: nothing depends on where ticks start


@dataclass(frozen=True)
class Told:
    """One scan of the real controller: records before, outputs and memory after."""

    memory: "array[int]"
    settings: "array[int]"
    readings: "array[int]"
    gone_ms: int
    out: int
    after: "array[int]"


def _word(example: Mapping[str, int], name: str, bits: int) -> int:
    return sum(1 << n for n in range(bits) if example.get(f"{name}.{n}", 0))


def replay(result: ClaimResult) -> Told:
    """Run the scan of a counterexample; symbols that it leaves open get a likely value."""
    example = result.example or {}
    settings = array("i", (setting.row(slot)[3] for slot in range(setting.SIZE)))
    for slot in range(setting.SIZE):
        name = f"settings.{SETTING_NAMES.get(slot, slot)}"
        settings[slot] = example.get(name, settings[slot])
    settings[setting.FITTED] = _word(example, "settings.FITTED", FITTED_BITS)
    readings = array(
        "i", (example.get(f"readings.{READING_NAMES[n]}", 0) for n in range(reading.SIZE))
    )
    gone = example.get("gone_ms", 1000)
    readings[reading.NOW_MS] = NOW_MS
    memory = _fresh(example) if result.part == "power-up" else _at_work(example, gone)
    for i in range(reading.PROBES):
        same = readings[reading.STORE_LOW_AT_MS + i] == memory[cell.STORE_LOW_SEEN_MS + i]
        stamp = timekeeping.ticks_add(NOW_MS, -example.get(f"age_ms.{i}", 0))
        readings[reading.STORE_LOW_AT_MS + i] = stamp
        memory[cell.STORE_LOW_SEEN_MS + i] = stamp if same else timekeeping.ticks_add(stamp, 1)
    readings[reading.WEEK_MIN] = memory[cell.PLAN_SINCE_MIN] = 0
    memory[cell.PLAN_LENGTH_MIN] = 1
    memory[cell.PLAN] = _word(example, "any.plan", WORDS[cell.PLAN])
    after = array("i", memory)
    out = controller.step(after, settings, readings)
    return Told(memory, settings, readings, gone, out, after)


def _at_work(example: Mapping[str, int], gone_ms: int) -> "array[int]":
    memory = array("i", [0] * cell.SIZE)
    last = timekeeping.ticks_add(NOW_MS, -gone_ms)
    for slot in range(cell.SIZE):
        name = f"memory.{NAMES[slot]}"
        if slot in WORDS:
            memory[slot] = _word(example, name, WORDS[slot])
            continue
        value = example.get(name, timekeeping.IDLE if slot >= cell.TIMERS else 0)
        memory[slot] = (
            timekeeping.ticks_add(last, value) if slot >= cell.TIMERS and value >= 0 else value
        )
    memory[cell.BOOTED] = 1
    return memory


def _fresh(example: Mapping[str, int]) -> "array[int]":
    memory = array("i", [0] * cell.SIZE)
    controller.power_up(memory)
    memory[cell.LATCH] = _word(example, "kept.latch", WORDS[cell.LATCH])
    for slot, name in NAMES.items():
        kept = example.get(f"kept.{name}", 0)
        if name.endswith("_COUNT"):
            memory[slot] = kept
        elif kept:
            memory[slot] = timekeeping.DUE
    return memory


def _changes(told: Told) -> Iterator[str]:
    for slot, (old, new) in enumerate(zip(told.memory, told.after, strict=True)):
        if slot >= cell.TIMERS:
            last = timekeeping.ticks_add(NOW_MS, -told.gone_ms)
            before, after = _timer(old, last), _timer(new, NOW_MS)
        else:
            before, after = str(old), str(new)
        if before != after:
            yield f"  {NAMES[slot]}: {before} -> {after}"


def _timer(value: int, now: int) -> str:
    if value == timekeeping.IDLE:
        return "idle"
    if value == timekeeping.DUE:
        return "due"
    return f"{timekeeping.ticks_diff(value, now) / 1000:.1f} s left"


def _bits(word: int, names: "tuple[str, ...]") -> str:
    return ", ".join(n for k, n in enumerate(names) if word >> k & 1) or "none"


def tell(result: ClaimResult) -> list[str]:
    """Return what happened in the scan that a query found, line by line."""
    told = replay(result)
    states = (words.STORE_STATES, words.ROOM_STATES)
    lines = [f"{result.part}: {result.name} [{result.ended}]"]
    for when, memory, out in (
        ("before", told.memory, told.memory[cell.OUT]),
        (f"{told.gone_ms} ms later", told.after, told.out),
    ):
        at = (memory[cell.STORE_STATE], memory[cell.ROOM_STATE])
        where = " / ".join(names[n] for names, n in zip(states, at, strict=True))
        lines.append(f"{when}: {where}, on: {_bits(out, tuple(words.OUTPUTS))}")
    lines.append("memory that changed:")
    lines += _changes(told)
    asked = sorted((result.example or {}).items())
    kinds = (("settings", "settings."), ("readings", "readings."), ("true times", "ghost."))
    for title, start in kinds:
        told_ones = [
            f"{n.removeprefix(start)} = {v}" for n, v in asked if n.startswith(start) and v
        ]
        if told_ones:
            lines.append(f"{title} that matter, if not 0: {', '.join(told_ones)}")
    return lines


def write_test(result: ClaimResult, folder: Path) -> Path:
    """Write the scan of a counterexample as a test file of its own, to fail until it is mended."""
    told, story = replay(result), tell(result)
    name = re.sub(r"\W+", "_", f"inv_{result.invariant:02d}_{result.part}_{result.name}").lower()[
        :80
    ]
    return step_test.write(
        folder,
        name,
        "the proof by induction: a step from a memory that its hypothesis allows",
        story,
        settings=list(told.settings),
        readings=list(told.readings),
        before=list(told.memory),
        out=told.out,
        after=list(told.after),
    )

"""A counterexample of the abstract check as a story to read, and as a regression test to keep."""

import re
from array import array
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from springhouse import controller, output, words
from springhouse import memory as cell
from springhouse_sim.abstract import fields, search

from ..induction import step_test
from . import invariants
from .abstract import AbstractStep, Checked, Explored, Machine, slices
from .table_check import bit_names

POWER_UP = "power-up"


def choices(machine: Machine, number: int) -> Iterator[str]:
    """Yield what an input says, dial by dial, leaving out what each dial says by default."""
    for dial in machine.part.dials:
        option = dial.options[number % len(dial.options)]
        number //= len(dial.options)
        if option is not dial.options[0]:
            yield f"{dial.name}: {option.name}"


def kept_words(machine: Machine, memory: Any) -> Iterator[str]:
    """Yield what the slice remembers, leaving out what is at rest."""
    for kept, row in zip(machine.part.kept, machine.tables[0], strict=True):
        digit = fields.digit(memory, row, machine.part.now_ms)
        if kept.slot in (cell.STORE_STATE, cell.ROOM_STATE, cell.OUT):
            continue
        if kept.kind in (fields.WAIT, fields.TRIP):
            text = {0: "", 1: "due", 2: "running"}[digit if kept.kind == fields.TRIP else 2 * digit]
            if text:
                yield f"{kept.name} {text}"
        elif digit:
            yield kept.name if kept.size == 2 else f"{kept.name} {digit}"


def take(machine: Machine, step: AbstractStep) -> int:
    """Do one step, interpreted, and return the outputs."""
    return search.step(step.state, step.number, machine.tables, machine.work)


def tell(machine: Machine, explored: Explored) -> list[str]:
    """Return the way to a broken invariant, one line a step."""
    broken = explored.broken
    what = invariants.TEXTS.get(broken, "a kept number left its size")
    lines = [f"{explored.name}: {invariants.identity(broken)} is broken: {what}"]
    for tick, step in enumerate(explored.path):
        if step.number <= search.TIME:
            lines.append(f"{tick:3}  {machine.part.kept[search.TIME - step.number].name} falls due")
            continue
        out = take(machine, step)
        memory = machine.work[0]
        said = "; ".join(choices(machine, step.number)) or "all by default"
        begun = f"{POWER_UP}; " if step.state == search.BOOT else ""
        states = f"{words.STORE_STATES[memory[cell.STORE_STATE]]} / "
        states += words.ROOM_STATES[memory[cell.ROOM_STATE]]
        kept = ", ".join(kept_words(machine, memory))
        lines.append(
            f"{tick:3}  {begun}{said} -> {states}, on: {bit_names(out, words.OUTPUTS)}"
            + (f"  [{kept}]" if kept else "")
        )
    return lines


def write_tests(checked: Checked, folder: Path) -> list[Path]:
    """Write a regression test for everything that a check found broken; returns the files."""
    by_name = {part.name: part for part in slices()}
    broken = [explored for explored in checked.explored if explored.broken]
    return [regression_test(Machine(by_name[e.name]), e, folder) for e in broken]


def regression_test(machine: Machine, explored: Explored, folder: Path) -> Path:
    """Write the broken step as a test file of its own, to fail until it is mended; returns it."""
    story = tell(machine, explored)
    step = explored.path[-1]
    search.step(step.state, step.number, machine.tables, machine.work)
    memory, before, readings, _ = machine.work
    held = array("i", [int(v) for v in before])
    if step.state == search.BOOT:
        controller.power_up(held)
    where = re.sub(r"\W+", "_", explored.name)
    name = f"inv_{explored.broken:02d}_{where}"
    return step_test.write(
        folder,
        name,
        "the complete check of the abstract machine: a step from a reachable memory",
        story,
        settings=[int(v) for v in machine.part.settings],
        readings=[int(v) for v in readings],
        before=list(held),
        out=int(memory[cell.OUT]) & ((output.ALARM << 1) - 1),
        after=[int(v) for v in memory],
    )

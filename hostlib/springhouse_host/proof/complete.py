"""The complete check of the statechart and its interlock: every case, none sampled.

First the table, before the interlock: it finds wrong rows. Then the interlock, after any table: it
finds a guard that lets a wrong row by.
"""

import ast
import inspect
from dataclasses import dataclass
from types import ModuleType
from typing import Any

from springhouse import (
    condition,
    conditions,
    controller,
    events,
    fault,
    fitted,
    interlock,
    latch,
    memory,
    mode,
    near,
    output,
    probes,
    reading,
    setting,
    statechart,
    timekeeping,
    week,
)

from .interlock_check import Grant, check_interlock
from .table_check import check_region, room_side, store_side

CORE = (
    *(condition, conditions, controller, events, fault, fitted, interlock, latch),
    *(memory, mode, near, output, probes, reading, setting, statechart, timekeeping, week),
)


@dataclass(frozen=True)
class Complete:
    """How much was checked, and each mistake found, one readable line each."""

    states: int
    table_cases: int
    interlock_cases: int
    violations: tuple[str, ...]
    lines: int = 0  # of code that is checked whole ...
    core_lines: int = 0  # ... and of all the control core


def code_lines(module: ModuleType) -> int:
    """Return how many lines of a module hold code: no comment, no docstring, not blank."""
    nodes = list(ast.walk(ast.parse(inspect.getsource(module))))
    texts = {
        node.value.lineno
        for node in nodes
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
    }
    return len({n.lineno for n in nodes if isinstance(n, ast.stmt | ast.expr)} - texts)


def check(chart: Any = statechart, grant: Grant = interlock.grant) -> Complete:
    """Check a statechart and an interlock, by default those of the control core.

    `chart` has the names of `Chart`; `grant` must be plain enough for numba.
    """
    regions = (store_side(chart), room_side(chart))
    violations: list[str] = []
    table_cases = 0
    for region in regions:
        found, cases = check_region(region)
        violations += found
        table_cases += cases
    found, interlock_cases = check_interlock(grant)
    states = sum(len(region.outputs) for region in regions)
    return Complete(
        states,
        table_cases,
        interlock_cases,
        (*violations, *found),
        sum(map(code_lines, (statechart, interlock))),
        sum(map(code_lines, CORE)),
    )

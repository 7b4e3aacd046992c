"""Two facts about wrapped ticks, for all numbers at once, by the SMT solver.

The functions are translated from their own text, so that a change of the text is a change here.
"""

from __future__ import annotations

import ast
import inspect
from collections.abc import Callable
from typing import Any

import z3
from springhouse import timekeeping

MOST = (1 << 30) - 1


class NotProven(Exception):
    """The solver found a counterexample, or gave up."""


def wrap_lemmas(ticks_add: Callable[..., int] = timekeeping.ticks_add) -> list[str]:
    """Return the facts, each proven.

    Raises:
        NotProven: when the solver finds a counterexample or gives up.
    """
    tick, ms, gone = z3.Ints("tick ms gone")
    legal = [
        tick >= 0,
        tick <= MOST,
        ms >= 0,
        ms <= timekeeping.LONGEST_MS,
        gone >= 0,
        gone <= timekeeping.LONGEST_MS,
    ]

    def prove(name: str, claim: Any) -> str:
        solver = z3.Solver()
        solver.add(*legal, z3.Not(claim))
        if solver.check() != z3.unsat:
            raise NotProven(f"{name}: {solver.check()}")
        return name

    proven = []
    inner: list[Any] = []
    later = _in_solver(ticks_add, [tick, ms], inner)
    small = z3.And(*(z3.Implies(way, z3.And(e >= -MOST, e <= MOST)) for way, e in inner))
    proven.append(prove("ticks_add: every intermediate is small", small))
    proven.append(prove("ticks_add: 0 .. 2**30 - 1", z3.And(later >= 0, later <= MOST)))
    now = _in_solver(ticks_add, [tick, gone], [])
    left = _in_solver(timekeeping.ticks_diff, [later, now], [])
    proven.append(
        prove("time left = time armed - time gone, whatever the origin", left == ms - gone)
    )
    return proven


def _in_solver(function: Callable[..., int], arguments: list[Any], inner: list[Any]) -> Any:
    """Translate a function of `if`, `return`, `+` and `-`; notes (condition, value) inside."""
    tree = ast.parse(inspect.getsource(function)).body[0]
    assert isinstance(tree, ast.FunctionDef)
    space = vars(timekeeping)
    compare: dict[type, Callable[[Any, Any], Any]] = {
        ast.Gt: lambda a, b: a > b,
        ast.GtE: lambda a, b: a >= b,
        ast.Lt: lambda a, b: a < b,
    }

    def value(node: ast.expr, names: dict[str, Any], way: Any) -> Any:
        if isinstance(node, ast.Constant):
            return z3.IntVal(node.value)
        if isinstance(node, ast.Name):
            return names.get(node.id, space.get(node.id))
        if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub):
            return -value(node.operand, names, way)
        if isinstance(node, ast.Compare):
            left, right = (value(n, names, way) for n in (node.left, node.comparators[0]))
            return compare[type(node.ops[0])](left, right)
        assert isinstance(node, ast.BinOp)
        left, right = value(node.left, names, way), value(node.right, names, way)
        found = left + right if isinstance(node.op, ast.Add) else left - right
        inner.append((way, found))
        return found

    def block(body: list[ast.stmt], names: dict[str, Any], way: Any) -> Any:
        head = body[0]
        if isinstance(head, ast.Return):
            assert head.value is not None
            return value(head.value, names, way)
        if isinstance(head, ast.Assign):
            assert isinstance(head.targets[0], ast.Name)
            found = value(head.value, names, way)
            return block(body[1:], {**names, head.targets[0].id: found}, way)
        if isinstance(head, ast.If):
            test = value(head.test, names, way)
            yes = block(head.body, names, z3.And(way, test))
            return z3.If(test, yes, block(body[1:], names, z3.And(way, z3.Not(test))))
        return block(body[1:], names, way)  # the docstring

    names = dict(zip((a.arg for a in tree.args.args), arguments, strict=True))
    return block(tree.body, names, z3.BoolVal(True))

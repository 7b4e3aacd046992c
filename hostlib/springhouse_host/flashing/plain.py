"""Noting comparisons become plain ones: what `near` writes down is for simulations alone."""

import ast
import copy
from collections import Counter
from collections.abc import Mapping
from typing import Any

from .walking import parts

_ATOMS = (ast.Name, ast.Constant, ast.Attribute)


def answer(function: ast.FunctionDef, call: ast.Call) -> ast.expr:
    """Return what a call of a noting function answers, in terms of its arguments.

    That is the expression it returns at its end; a constant if it returns nothing.

    Raises:
        ValueError: naming an argument that would be worked out twice, or a name of the function's.
    """
    last = function.body[-1]
    if not isinstance(last, ast.Return) or last.value is None:
        return ast.Constant(None)
    given = dict(zip([a.arg for a in function.args.args], call.args, strict=True))
    asked = Counter(n.id for n in parts(last.value) if isinstance(n, ast.Name))
    for name, times in asked.items():
        if name not in given or (times > 1 and not isinstance(given[name], _ATOMS)):
            raise ValueError(f"{function.name}: {name}")
    return _filled(last.value, given)


def _filled(expression: ast.expr, given: Mapping[str, ast.expr]) -> ast.expr:
    class Filled(ast.NodeTransformer):
        def visit_Name(self, node: ast.Name) -> Any:
            return copy.deepcopy(given[node.id])  # one tree may not hang in two places

    filled: ast.expr = Filled().visit(copy.deepcopy(expression))
    return filled


def read_names(tree: ast.AST) -> set[str]:
    """Return the names that a tree reads."""
    return {n.id for n in parts(tree) if isinstance(n, ast.Name) and isinstance(n.ctx, ast.Load)}


def without_bindings(function: ast.FunctionDef, names: set[str]) -> ast.FunctionDef:
    """Take out what binds these names and nothing else; a call is kept for what it may do."""

    class Bindings(ast.NodeTransformer):
        def visit_Assign(self, node: ast.Assign) -> ast.AST | None:
            (target, *others) = node.targets
            unread = isinstance(target, ast.Name) and target.id in names and not others
            calls = any(isinstance(part, ast.Call) for part in parts(node.value))
            return None if unread and not calls else node

    lean: ast.FunctionDef = Bindings().visit(function)
    return lean

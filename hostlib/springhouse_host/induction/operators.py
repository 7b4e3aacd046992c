"""Python's operators on formulas."""

import ast
from collections.abc import Callable
from typing import Any

from springhouse_host.induction.program import NotInSubset
from springhouse_host.induction.term import Truth
from springhouse_host.induction.terms import Terms

_KNOWN: dict[type[ast.operator], Callable[[int, int], int]] = {
    ast.Add: lambda a, b: a + b,
    ast.Sub: lambda a, b: a - b,
    ast.Mult: lambda a, b: a * b,
    ast.FloorDiv: lambda a, b: a // b,
    ast.Mod: lambda a, b: a % b,
    ast.BitAnd: lambda a, b: a & b,
    ast.BitOr: lambda a, b: a | b,
    ast.BitXor: lambda a, b: a ^ b,
    ast.LShift: lambda a, b: a << b,
    ast.RShift: lambda a, b: a >> b,
}


def _shift_right(t: Terms, a: Any, b: Any) -> Any:
    if not isinstance(b, int):
        raise NotInSubset("a right shift by an unknown")
    return t.shift_right(a, b)


def _shift_left(t: Terms, a: Any, b: Any) -> Any:
    """Only by what is possible; that nothing else arises is a duty of its own."""
    return t.from_leaves([(when, a << k) for when, k in t.cases(b) if k >= 0])


_BINARY: dict[type[ast.operator], Callable[[Terms, Any, Any], Any]] = {
    ast.Add: Terms.add,
    ast.Sub: Terms.subtract,
    ast.Mult: Terms.times,
    ast.BitAnd: Terms.bit_and,
    ast.BitOr: Terms.bit_or,
    ast.RShift: _shift_right,
    ast.LShift: _shift_left,
}

_UNARY: dict[type[ast.unaryop], Callable[[Terms, Any], Any]] = {
    ast.Not: lambda t, a: t.no(t.true(a)),
    ast.Invert: Terms.bit_not,
    ast.USub: lambda t, a: t.subtract(0, a),
}

_COMPARISONS: dict[type[ast.cmpop], Callable[[Terms, Any, Any], Truth]] = {
    ast.Lt: Terms.less,
    ast.LtE: Terms.at_most,
    ast.Gt: lambda t, a, b: t.less(b, a),
    ast.GtE: lambda t, a, b: t.at_most(b, a),
    ast.Eq: Terms.equal,
    ast.NotEq: lambda t, a, b: t.no(t.equal(a, b)),
}


def binary(terms: Terms, op: ast.operator, a: Any, b: Any) -> Any:
    """`a op b`."""
    if isinstance(a, int) and isinstance(b, int):
        return _KNOWN[type(op)](a, b)
    if type(op) not in _BINARY:
        raise NotInSubset(f"{type(op).__name__} of unknowns")
    return _BINARY[type(op)](terms, a, b)


def unary(terms: Terms, op: ast.unaryop, a: Any) -> Any:
    """`op a`."""
    if type(op) not in _UNARY:
        raise NotInSubset(type(op).__name__)
    return _UNARY[type(op)](terms, a)


def comparison(terms: Terms, op: ast.cmpop, a: Any, b: Any) -> Truth:
    """`a op b`."""
    if type(op) not in _COMPARISONS:
        raise NotInSubset(type(op).__name__)
    return _COMPARISONS[type(op)](terms, a, b)

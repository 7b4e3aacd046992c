"""Expressions that make constants: integers, ranges, lists over a range, other constants."""

import ast
from collections.abc import Callable, Mapping

_LONGEST_RANGE = 1024
_UNARY: dict[type[ast.unaryop], Callable[[int], int]] = {
    ast.USub: lambda a: -a,
    ast.UAdd: lambda a: a,
    ast.Invert: lambda a: ~a,
}
_BINARY: dict[type[ast.operator], Callable[[int, int], int]] = {
    ast.Add: lambda a, b: a + b,
    ast.Sub: lambda a, b: a - b,
    ast.Mult: lambda a, b: a * b,
    ast.FloorDiv: lambda a, b: a // b,
    ast.Mod: lambda a, b: a % b,
    ast.LShift: lambda a, b: a << b,
    ast.RShift: lambda a, b: a >> b,
    ast.BitOr: lambda a, b: a | b,
    ast.BitAnd: lambda a, b: a & b,
    ast.BitXor: lambda a, b: a ^ b,
}

Value = int | list[int]


class NotConstantError(Exception):
    """An expression of another kind."""


class Evaluator:
    """Evaluates the few kinds of expression that make constants."""

    def __init__(
        self,
        lookup: Callable[[ast.expr], int | None],
        bound: Mapping[str, int],
        known: Mapping[str, int],
    ) -> None:
        """`lookup` knows constants of other modules; `bound` tells which names the file binds."""
        self._lookup = lookup
        self._bound = bound
        self._known = dict(known)

    def value(self, node: ast.expr) -> Value:
        """Return an integer or a list of them.

        Raises:
            NotConstantError: it is neither.
        """
        if isinstance(node, ast.Call):
            return self._range(node)
        if isinstance(node, ast.ListComp):
            return self._comprehension(node)
        return self.number(node)

    def number(self, node: ast.expr) -> int:
        """Return an integer, as `value`."""
        if isinstance(node, ast.Constant) and type(node.value) is int:
            return node.value
        if isinstance(node, ast.UnaryOp) and type(node.op) in _UNARY:
            return _UNARY[type(node.op)](self.number(node.operand))
        if isinstance(node, ast.BinOp) and type(node.op) in _BINARY:
            try:
                return _BINARY[type(node.op)](self.number(node.left), self.number(node.right))
            except (ArithmeticError, ValueError):
                raise NotConstantError from None
        if isinstance(node, ast.Name) and node.id in self._known:
            return self._known[node.id]
        found = self._lookup(node)
        if found is None:
            raise NotConstantError
        return found

    def _range(self, node: ast.Call) -> list[int]:
        plain = isinstance(node.func, ast.Name) and node.func.id == "range" and not node.keywords
        if not plain or self._bound.get("range") or not 1 <= len(node.args) <= 3:
            raise NotConstantError
        numbers = range(*[self.number(argument) for argument in node.args])
        if len(numbers) > _LONGEST_RANGE:
            raise NotConstantError
        return list(numbers)

    def _comprehension(self, node: ast.ListComp) -> list[int]:
        loop = node.generators[0]
        if len(node.generators) != 1 or loop.ifs or not isinstance(loop.target, ast.Name):
            raise NotConstantError
        over = self.value(loop.iter)
        if not isinstance(over, list):
            raise NotConstantError
        found = []
        for number in over:
            self._known[loop.target.id] = number
            found.append(self.number(node.elt))
        del self._known[loop.target.id]
        return found

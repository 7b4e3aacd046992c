"""A formula: whole numbers and truth values, and what they amount to for given symbols.

A value is a Python `int` or `bool` as long as it is known, else a `Term`, or `Bits`: an integer
whose every bit is a truth value of its own, for flag words. Each integer term carries the interval
it lies in.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, TypeAlias


class Term:
    """A node of the graph: operation, arguments, and for integers the interval of its value."""

    __slots__ = ("args", "high", "low", "number", "op", "truth")

    def __init__(
        self, op: str, args: tuple[Any, ...], number: int, truth: bool, low: int, high: int
    ) -> None:
        self.op = op
        self.args: tuple[Any, ...] = args
        self.number = number
        self.truth = truth
        self.low = low
        self.high = high

    def __repr__(self) -> str:
        return f"<{self.op} {self.number}>"

    def __bool__(self) -> bool:
        raise TypeError("a formula has no truth value of its own")


Truth: TypeAlias = bool | Term
Leaf: TypeAlias = tuple["bool | Term", int]


@dataclass(frozen=True)
class Bits:
    """An integer by its bits, lowest first; `sign` stands for all above them."""

    bits: tuple[Truth, ...]
    sign: bool = False

    def at(self, n: int) -> Truth:
        """Bit `n`."""
        return self.bits[n] if n < len(self.bits) else self.sign


Number: TypeAlias = int | Term | Bits
Value: TypeAlias = Number | Truth | None


class Undefined(Exception):
    """An operation that Python would refuse, e.g. an index outside a tuple."""


def value_of(a: Value, symbols: Mapping[str, int]) -> int | bool | None:
    """The value of a formula where each symbol has the value that `symbols` names.

    Raises:
        KeyError: for a symbol without a value.
    """
    known: dict[int, int | bool] = {}

    def of(x: Any) -> Any:
        if not isinstance(x, Term):
            return x
        waiting = [x]
        while waiting:
            node = waiting[-1]
            missing = [y for y in node.args if isinstance(y, Term) and y.number not in known]
            if missing:
                waiting.extend(missing)
                continue
            waiting.pop()
            known[node.number] = _apply(
                node, [known[y.number] if isinstance(y, Term) else y for y in node.args], symbols
            )
        return known[x.number]

    if isinstance(a, Bits):
        word = sum(1 << n for n, b in enumerate(a.bits) if of(b))
        return word - (1 << len(a.bits)) if of(a.sign) else word
    found: int | bool | None = None if a is None else of(a)
    return found


def _joined(a: list[Any]) -> int:
    word = sum(1 << n for n, b in enumerate(a[:-1]) if b)
    return word - (1 << len(a) - 1) if a[-1] else word


_OPERATIONS: dict[str, Callable[[list[Any]], Any]] = {
    "add": lambda a: a[0] + a[1],
    "sub": lambda a: a[0] - a[1],
    "mul": lambda a: a[0] * a[1],
    "less": lambda a: a[0] < a[1],
    "equal": lambda a: a[0] == a[1],
    "and": all,
    "not": lambda a: not a[0],
    "choose": lambda a: a[1] if a[0] else a[2],
    "shr": lambda a: a[0] >> a[1],
    "bits": _joined,
}


def _apply(node: Term, a: list[Any], symbols: Mapping[str, int]) -> int | bool:
    if node.op in ("integer", "truth"):
        value = symbols[a[0]]
    else:
        value = _OPERATIONS[node.op](a)
    return bool(value) if node.truth else int(value)

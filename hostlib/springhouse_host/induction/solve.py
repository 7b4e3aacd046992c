"""Asks a solver whether formulas can hold together, over whole numbers.

The numbers are Python's own: what does not fit a board's small integer is shown never to arise
(`prove.duties`), so nothing depends on a width.
"""

import operator
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

import z3

from springhouse_host.induction.term import Term, Truth


@dataclass(frozen=True)
class Answer:
    """`example` holds a value for each symbol if the formulas can hold together, else None."""

    decided: bool
    example: dict[str, int] | None = None

    @property
    def impossible(self) -> bool:
        """Whether the formulas surely cannot hold together."""
        return self.decided and self.example is None


class Encoder:
    """Terms in the solver's form, each made once; nodes in `cuts` are symbols of their own."""

    def __init__(self, cuts: frozenset[int] = frozenset()) -> None:
        self.cuts = cuts
        self.context = z3.Context()
        self._made: dict[int, Any] = {}
        self._bounds: dict[int, list[Any]] = {}

    def of(self, root: Truth) -> Any:
        """The solver's form of a formula."""
        if isinstance(root, bool):
            return z3.BoolVal(root, self.context)
        waiting = [root]
        while waiting:
            node = waiting[-1]
            if node.number in self._made:
                waiting.pop()
                continue
            missing = [] if node.number in self.cuts else self._missing(node)
            if missing:
                waiting.extend(missing)
                continue
            self._made[node.number] = self._make(node)
            waiting.pop()
        return self._made[root.number]

    def bounds(self, numbers: Iterable[int]) -> list[Any]:
        """Intervals of these symbols."""
        return [b for n in numbers for b in self._bounds.get(n, ())]

    def symbol(self, number: int) -> Any:
        """The solver's form of a node met before."""
        return self._made[number]

    def _missing(self, node: Term) -> list[Term]:
        return [a for a in node.args if isinstance(a, Term) and a.number not in self._made]

    def _argument(self, a: object) -> Any:
        if isinstance(a, Term):
            return self._made[a.number]
        if isinstance(a, bool):
            return z3.BoolVal(a, self.context)
        return z3.IntVal(a, self.context)

    def _free(self, name: str, node: Term) -> Any:
        if node.truth:
            return z3.Bool(name, self.context)
        symbol = z3.Int(name, self.context)
        self._bounds[node.number] = [symbol >= node.low, symbol <= node.high]
        return symbol

    def _make(self, node: Term) -> Any:
        if node.number in self.cuts:
            return self._free(f"cut {node.number}", node)
        if node.op in ("integer", "truth"):
            return self._free(str(node.args[0]), node)
        if node.op == "shr":  # whole numbers are divided rounding down, for a divisor above 0
            return self._argument(node.args[0]) / self._argument(1 << int(str(node.args[1])))
        return _FORMS[node.op](*(self._argument(x) for x in node.args))


def _word(*bits: Any) -> Any:
    *rest, sign = bits
    return z3.Sum([z3.If(b, 1 << n, 0) for n, b in enumerate(rest)]) - z3.If(
        sign, 1 << len(rest), 0
    )


_FORMS: dict[str, Callable[..., Any]] = {
    "add": operator.add,
    "sub": operator.sub,
    "mul": operator.mul,
    "less": operator.lt,
    "equal": operator.eq,
    "and": z3.And,
    "not": z3.Not,
    "choose": z3.If,
    "bits": _word,
}


def symbols(root: Truth, cuts: frozenset[int] = frozenset()) -> frozenset[int]:
    """Numbers of the free symbols of a formula, nodes in `cuts` taken as symbols."""
    found: set[int] = set()
    seen: set[int] = set()
    waiting = [root] if isinstance(root, Term) else []
    while waiting:
        node = waiting.pop()
        if node.number in seen:
            continue
        seen.add(node.number)
        if node.number in cuts or node.op in ("integer", "truth"):
            found.add(node.number)
            continue
        waiting.extend(a for a in node.args if isinstance(a, Term))
    return frozenset(found)


class Solver:
    """Asks about formulas of one set of terms."""

    def __init__(self) -> None:
        self._encoders: dict[frozenset[int], Encoder] = {}
        self._about: dict[tuple[int, frozenset[int]], frozenset[int]] = {}

    def about(self, formula: Truth, cuts: frozenset[int]) -> frozenset[int]:
        """Numbers of the symbols of a formula."""
        if isinstance(formula, bool):
            return frozenset()
        key = formula.number, cuts
        if key not in self._about:
            self._about[key] = symbols(formula, cuts)
        return self._about[key]

    def near(
        self, goal: Truth, premises: Iterable[Truth], cuts: frozenset[int] = frozenset()
    ) -> list[Truth]:
        """The premises that speak of nothing but what the goal speaks of."""
        known = self.about(goal, cuts)
        return [p for p in premises if self.about(p, cuts) <= known]

    def ask(
        self,
        goal: Truth,
        premises: Iterable[Truth] = (),
        cuts: frozenset[int] = frozenset(),
        effort: int = 0,
    ) -> Answer:
        """Whether the goal can hold together with the premises.

        `effort` bounds the solver's steps, not its time, so that no answer depends on how busy
        the machine is; 0 = without bound.
        """
        encoder = self._encoders.setdefault(cuts, Encoder(cuts))
        formulas = [encoder.of(f) for f in (goal, *premises)]
        about = frozenset().union(*(self.about(f, cuts) for f in (goal, *premises)))
        solver = z3.SolverFor("QF_LIA", ctx=encoder.context)
        if effort:
            solver.set("rlimit", effort)
        solver.add(*encoder.bounds(about), *formulas)
        result = solver.check()
        if result == z3.unsat:
            return Answer(True)
        if result != z3.sat:
            return Answer(False)
        return Answer(True, self._example(solver.model(), encoder, about))

    def _example(self, model: Any, encoder: Encoder, about: frozenset[int]) -> dict[str, int]:
        found: dict[str, int] = {}
        for number in about:
            symbol = encoder.symbol(number)
            value = model.eval(symbol, model_completion=True)
            truth = z3.is_bool(value)
            found[str(symbol)] = int(z3.is_true(value)) if truth else value.as_long()
        return found

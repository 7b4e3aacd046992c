"""Asks a solver whether formulas can hold together, over whole numbers.

The numbers are Python's own: what does not fit a board's small integer is shown never to arise
(`prove.duties`), so nothing depends on a width.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import z3

from springhouse_host.induction.terms import Term, Terms, Truth


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

    def bounds(self, symbols: Iterable[int]) -> list[Any]:
        """Intervals of these symbols."""
        return [b for n in symbols for b in self._bounds.get(n, ())]

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
        a = [self._argument(x) for x in node.args]
        match node.op:
            case "add":
                return a[0] + a[1]
            case "sub":
                return a[0] - a[1]
            case "mul":
                return a[0] * a[1]
            case "less":
                return a[0] < a[1]
            case "equal":
                return a[0] == a[1]
            case "and":
                return z3.And(*a)
            case "not":
                return z3.Not(a[0])
            case "choose":
                return z3.If(a[0], a[1], a[2])
            case "shr":
                return a[0] / z3.IntVal(1 << int(str(node.args[1])), self.context)
            case "bits":
                *bits, sign = a
                word = z3.Sum([z3.If(b, 1 << n, 0) for n, b in enumerate(bits)])
                return word - z3.If(sign, 1 << len(bits), 0)
        raise ValueError(node.op)


class Solver:
    """Asks about formulas of one set of terms."""

    def __init__(self, terms: Terms) -> None:
        self._terms = terms
        self._encoders: dict[frozenset[int], Encoder] = {}
        self._about: dict[tuple[int, frozenset[int]], frozenset[int]] = {}

    def about(self, formula: Truth, cuts: frozenset[int]) -> frozenset[int]:
        """Numbers of the symbols of a formula."""
        if isinstance(formula, bool):
            return frozenset()
        key = formula.number, cuts
        if key not in self._about:
            self._about[key] = self._terms.symbols(formula, cuts)
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
        symbols = frozenset().union(*(self.about(f, cuts) for f in (goal, *premises)))
        solver = z3.SolverFor("QF_LIA", ctx=encoder.context)
        if effort:
            solver.set("rlimit", effort)
        solver.add(*encoder.bounds(symbols), *formulas)
        result = solver.check()
        if result == z3.unsat:
            return Answer(True)
        if result != z3.sat:
            return Answer(False)
        return Answer(True, self._example(solver.model(), encoder, symbols))

    def _example(self, model: Any, encoder: Encoder, symbols: frozenset[int]) -> dict[str, int]:
        found: dict[str, int] = {}
        for number in symbols:
            symbol = encoder.symbol(number)
            value = model.eval(symbol, model_completion=True)
            truth = z3.is_bool(value)
            found[str(symbol)] = int(z3.is_true(value)) if truth else value.as_long()
        return found

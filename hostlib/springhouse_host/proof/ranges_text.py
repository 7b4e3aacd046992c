"""The text of the core, executed on intervals: every way is taken, every call followed."""

import ast
import inspect
from collections.abc import Callable, Iterable, Mapping
from functools import cache
from types import FunctionType
from typing import Any

from springhouse import timekeeping

from .intervals import MOST, Interval, IntervalRecord, RangeError, State, join, join_values
from .ranges_numbers import Span, exact, number, operate, running, without, wrapped

LOOPS = 64
LEFT = Interval(0, timekeeping.LONGEST_MS)  # of a running timer, by the lemma on wrapped ticks

Ways = tuple["State | None", "State | None"]


@cache
def _tree(function: Callable[..., Any]) -> ast.FunctionDef:
    node = ast.parse(inspect.getsource(function)).body[0]
    assert isinstance(node, ast.FunctionDef)
    return node


class Prover:
    """Executes functions; ``widest`` is the largest magnitude met, ``operations`` how many results.

    ``allowed`` holds the range of each slot of each record that may be written.
    """

    def __init__(self, allowed: Mapping[str, Mapping[int, Interval]]) -> None:
        self.widest = 0
        self.operations = 0
        self._allowed = allowed
        self._where: list[str] = []

    def run(self, function: Callable[..., Any], arguments: Iterable[Any], state: State) -> Any:
        """Execute a call; ``state`` becomes what is known after it. Returns the result.

        Raises:
            RangeError: when a number or a slot may leave its range.
        """
        tree = _tree(function)
        self._where.append(function.__name__)
        names = dict(zip((a.arg for a in tree.args.args), arguments, strict=True))
        body = _Body(self, vars(inspect.getmodule(function)))
        rest = body.block(tree.body, State(state.records, names))
        if rest is not None:
            body.returns.append((None, rest))
        self._where.pop()
        value, after = body.returns[0][0], State(body.returns[0][1].records)
        for other, ended in body.returns[1:]:
            value = join_values(value, other)
            merged = join(after, State(ended.records))
            assert merged is not None
            after = merged
        state.records = after.records
        return value

    def checked(self, low: int, high: int, node: ast.AST) -> Interval:
        """Return the interval of an arithmetic result.

        Raises:
            RangeError: when it leaves the small integers.
        """
        self.operations += 1
        self.widest = max(self.widest, -low, high)
        if low < -MOST or high > MOST:
            raise RangeError(f"{self._place(node)} is {low} .. {high}")
        return Interval(low, high)

    def store(
        self, state: State, record: str, slots: Interval, value: Interval, at: ast.AST
    ) -> None:
        """Write into one slot, or into one of several.

        Raises:
            RangeError: when the slot's range does not hold the value.
        """
        for slot in range(slots.low, slots.high + 1):
            allowed = self._allowed[record][slot]
            if not value.inside(allowed):
                raise RangeError(
                    f"{self._place(at)} puts {value.low} .. {value.high} into {record}[{slot}], "
                    f"allowed {allowed.low} .. {allowed.high}"
                )
            held = state.records[record]
            held[slot] = value if slots.low == slots.high else held[slot].join(value)

    def _place(self, node: ast.AST) -> str:
        return f"{' > '.join(self._where)}: {ast.unparse(node)}"


class _Body:
    """One function body on its way."""

    def __init__(self, prover: Prover, space: Mapping[str, Any]) -> None:
        self.prover = prover
        self.space = space
        self.returns: list[tuple[Any, State]] = []
        self._continued: list[State] = []

    # Statements.

    def block(self, body: list[ast.stmt], state: State) -> State | None:
        """Execute statements; None when every way has returned."""
        now: State | None = state
        for statement in body:
            if now is None:
                return None
            now = self._statement(statement, now)
        return now

    def _statement(self, node: ast.stmt, state: State) -> State | None:
        match node:
            case ast.Expr(value=value):
                self.value(value, state)
                return state
            case ast.Assign(targets=[target], value=value):
                self._assign(target, self.value(value, state), state, node)
                return state
            case ast.AugAssign(target=target, op=op, value=value):
                old = self.value(target, state)
                new = operate(op, old, self.value(value, state), node, self.prover.checked)
                self._assign(target, new, state, node)
                return state
            case ast.Return(value=value):
                self.returns.append((None if value is None else self.value(value, state), state))
                return None
            case ast.If(test=test, body=body, orelse=orelse):
                yes, no = self.branch(test, state)
                return join(
                    None if yes is None else self.block(body, yes),
                    None if no is None else self.block(orelse, no),
                )
            case ast.For():
                return self._for(node, state)
            case ast.While():
                return self._while(node, state)
            case ast.Continue():
                self._continued.append(state)
                return None
        raise RangeError(f"not understood: {ast.unparse(node)}")

    def _assign(self, target: ast.expr, value: Any, state: State, node: ast.stmt) -> None:
        if isinstance(target, ast.Name):
            state.names[target.id] = value
            return
        assert isinstance(target, ast.Subscript)
        record = self.value(target.value, state)
        slots = self.value(target.slice, state)
        self.prover.store(state, record.name, slots, number(value), node)

    def _for(self, node: ast.For, state: State) -> State | None:
        items = self.value(node.iter, state)
        least = items.least if isinstance(items, Span) else len(items)
        now: State | None = state
        early: State | None = None  # a loop of no fixed length may end before each later item
        outer, self._continued = self._continued, []
        for done, item in enumerate(items):
            if now is None:
                break
            if done >= least:
                early = join(early, now.copy())
            self._bind(node.target, item, now)
            now = self.block(node.body, now)
            for continued in self._continued:
                now = join(now, continued)
            self._continued = []
        self._continued = outer
        return join(now, early)

    @staticmethod
    def _bind(target: ast.expr, item: Any, state: State) -> None:
        if isinstance(target, ast.Name):
            state.names[target.id] = wrapped(item)
            return
        assert isinstance(target, ast.Tuple)
        for name, part in zip(target.elts, item, strict=True):
            assert isinstance(name, ast.Name)
            state.names[name.id] = wrapped(part)

    def _while(self, node: ast.While, state: State) -> State | None:
        left: State | None = None
        now: State | None = state
        for _ in range(LOOPS):
            if now is None:
                return left
            yes, no = self.branch(node.test, now)
            left = join(left, no)
            now = None if yes is None else self.block(node.body, yes)
        raise RangeError(f"does not end: {ast.unparse(node.test)}")

    # Conditions.

    def branch(self, test: ast.expr, state: State) -> Ways:
        """Return what is known if a condition holds, and if not; None where it cannot."""
        match test:
            case ast.BoolOp(op=op, values=values):
                return self._chain(isinstance(op, ast.And), values, state)
            case ast.UnaryOp(op=ast.Not(), operand=operand):
                yes, no = self.branch(operand, state)
                return no, yes
            case ast.Compare(left=left, ops=ops, comparators=comparators):
                pairs = zip((left, *comparators), ops, comparators, strict=False)
                parts = [ast.Compare(a, [op], [b]) for a, op, b in pairs]
                if len(parts) > 1:
                    return self._chain(True, parts, state)
                return self._compare(left, ops[0], comparators[0], state)
        if isinstance(test, ast.Call):
            inside = self._predicate(test, state)
            if inside is not None:
                return inside
        value = self.value(test, state)
        if not isinstance(value, Interval):
            return (state, None) if value else (None, state)
        yes = None if value == (0, 0, value.mark) else state.copy()
        return yes, state.copy() if value.low <= 0 <= value.high else None

    def _predicate(self, node: ast.Call, state: State) -> Ways | None:
        """Look into a function that is one `return`: what its condition says holds here too."""
        function = self.value(node.func, state)
        if not isinstance(function, FunctionType):
            return None
        *_, last = body = _tree(function).body
        if len(body) > 2 or not isinstance(last, ast.Return) or last.value is None:
            return None
        values = [self.value(a, state) for a in node.args]
        names = dict(zip((a.arg for a in _tree(function).args.args), values, strict=True))
        inner = _Body(self.prover, function.__globals__)
        yes, no = inner.branch(last.value, State(state.records, names))
        outer = dict(state.names)
        return (
            None if yes is None else State(yes.records, dict(outer)),
            None if no is None else State(no.records, dict(outer)),
        )

    def _chain(self, both: bool, values: Iterable[ast.expr], state: State) -> Ways:
        """`and` of conditions, or `or`: the first that decides ends it."""
        ended: State | None = None
        now: State | None = state.copy()
        for value in values:
            if now is None:
                break
            yes, no = self.branch(value, now)
            now, out = (yes, no) if both else (no, yes)
            ended = join(ended, out)
        return (now, ended) if both else (ended, now)

    def _compare(self, left: ast.expr, op: ast.cmpop, right: ast.expr, state: State) -> Ways:
        a, b = number(self.value(left, state)), number(self.value(right, state))
        match op:
            case ast.Lt():
                return self._less(left, a, right, b, 1, state)
            case ast.LtE():
                return self._less(left, a, right, b, 0, state)
            case ast.Gt():
                return self._less(right, b, left, a, 1, state)
            case ast.GtE():
                return self._less(right, b, left, a, 0, state)
            case ast.Eq():
                return self._equal(left, a, right, b, state)
            case ast.NotEq():
                yes, no = self._equal(left, a, right, b, state)
                return no, yes
        raise RangeError(f"not understood: {ast.unparse(left)} {op}")

    def _less(
        self, x: ast.expr, a: Interval, y: ast.expr, b: Interval, gap: int, state: State
    ) -> Ways:
        """`x + gap <= y`, and its contrary `x >= y + 1 - gap`."""
        yes = no = None
        if a.low + gap <= b.high:
            yes = state.copy()
            self._narrow(x, a._replace(high=min(a.high, b.high - gap)), yes)
            self._narrow(y, b._replace(low=max(b.low, a.low + gap)), yes)
        if a.high >= b.low + 1 - gap:
            no = state.copy()
            self._narrow(x, a._replace(low=max(a.low, b.low + 1 - gap)), no)
            self._narrow(y, b._replace(high=min(b.high, a.high - 1 + gap)), no)
        return yes, no

    def _equal(self, x: ast.expr, a: Interval, y: ast.expr, b: Interval, state: State) -> Ways:
        yes = no = None
        low, high = max(a.low, b.low), min(a.high, b.high)
        if low <= high:
            yes = state.copy()
            self._narrow(x, a._replace(low=low, high=high), yes)
            self._narrow(y, b._replace(low=low, high=high), yes)
        if not a.low == a.high == b.low == b.high:
            no = state.copy()
            if b.low == b.high:
                self._narrow(x, without(a, b.low), no)
        return yes, no

    def _narrow(self, node: ast.expr, value: Interval, state: State) -> None:
        """Remember what a comparison says about a local name or one slot of a record."""
        if isinstance(node, ast.Name) and isinstance(state.names.get(node.id), Interval):
            state.names[node.id] = value
        elif isinstance(node, ast.Subscript):
            record = self.value(node.value, state)
            slots = self.value(node.slice, state)
            if isinstance(record, IntervalRecord) and slots.low == slots.high:
                state.records[record.name][slots.low] = value

    # Expressions.

    def value(self, node: ast.expr, state: State) -> Any:
        """Return an interval, or a constant of the text that is no number."""
        match node:
            case ast.Constant(value=value):
                return wrapped(value)
            case ast.Name(id=name):
                if name in state.names:
                    return state.names[name]
                return wrapped(self.space.get(name, name))
            case ast.Attribute(value=base, attr=attr):
                return wrapped(getattr(self.value(base, state), attr))
            case ast.Subscript(value=base, slice=index):
                return self._element(self.value(base, state), self.value(index, state), state)
            case ast.BinOp(left=left, op=op, right=right):
                a, b = self.value(left, state), self.value(right, state)
                return operate(op, a, b, node, self.prover.checked)
            case ast.UnaryOp(op=ast.USub() | ast.Invert() as op, operand=operand):
                a = number(self.value(operand, state))
                shift = 0 if isinstance(op, ast.USub) else 1
                return self.prover.checked(-a.high - shift, -a.low - shift, node)
            case ast.IfExp(test=test, body=body, orelse=orelse):
                return self._choose(test, body, orelse, state)
            case ast.Compare() | ast.BoolOp() | ast.UnaryOp(op=ast.Not()):
                yes, no = self.branch(node, state)
                merged = join(yes, no)
                assert merged is not None
                state.records, state.names = merged.records, merged.names
                return Interval(int(no is None), int(yes is not None))
            case ast.Call(func=func, args=args):
                arguments = [self.value(a, state) for a in args]
                return self._call(func, arguments, node, state)
        raise RangeError(f"not understood: {ast.unparse(node)}")

    def _choose(self, test: ast.expr, body: ast.expr, orelse: ast.expr, state: State) -> Any:
        found: list[Any] = []
        ends: list[State | None] = []
        for way, part in zip(self.branch(test, state), (body, orelse), strict=True):
            if way is not None:
                found.append(self.value(part, way))
            ends.append(way)
        merged = join(*ends)
        assert merged is not None
        state.records, state.names = merged.records, merged.names
        return found[0] if len(found) == 1 else join_values(*found)

    @staticmethod
    def _element(base: Any, index: Any, state: State) -> Any:
        places = range(index.low, index.high + 1)
        if isinstance(base, IntervalRecord):
            slots = state.records[base.name]
            parts = [running(base, place, slots[place]) for place in places]
        else:
            parts = [wrapped(base[place]) for place in places]
        value = parts[0]
        for part in parts[1:]:
            value = join_values(value, part)
        return value

    def _call(self, func: ast.expr, arguments: list[Any], node: ast.Call, state: State) -> Any:
        name = func.id if isinstance(func, ast.Name) else ""
        if name == "range":
            *begin, stop = arguments
            return Span([exact(a) for a in begin], stop)
        if name == "len":
            (a,) = arguments
            return wrapped(len(state.records[a.name] if isinstance(a, IntervalRecord) else a))
        if name == "abs":
            a = number(arguments[0])
            least = 0 if a.low <= 0 <= a.high else min(abs(a.low), abs(a.high))
            return Interval(least, max(abs(a.low), abs(a.high)))
        if name in ("min", "max"):
            a, b = map(number, arguments)
            pick = min if name == "min" else max
            return Interval(pick(a.low, b.low), pick(a.high, b.high))
        function = self.value(func, state)
        if function is timekeeping.ticks_diff and [a.mark for a in arguments] == ["timer", "now"]:
            return LEFT
        if function is timekeeping.ticks_add:
            tick, ms = arguments
            if not (tick.inside(Interval(0, MOST)) and ms.inside(LEFT)):
                raise RangeError(f"{ast.unparse(node)}: {tick} {ms} outside the lemma")
            return Interval(0, MOST)
        assert isinstance(function, FunctionType), ast.unparse(node)
        return self.prover.run(function, arguments, state)

"""The core's Python subset, run on formulas.

A record is a list of values by slot. `if` runs both branches on copies and joins them; after a
`return` in one branch the rest of the block runs for the other only; loops are unrolled; calls go
into the source of the called function, or to its stand-in. What Python would refuse (an index
outside a tuple, a negative shift) is noted as a duty: its condition must be shown impossible.
"""

import ast
import builtins
from collections.abc import Callable
from types import FunctionType, ModuleType
from typing import Any

from springhouse_host.induction import operators
from springhouse_host.induction.program import (
    Duty,
    Ends,
    NotInSubset,
    SlotRecord,
    StandIn,
    State,
    source_of,
)
from springhouse_host.induction.term import Leaf, Truth, Undefined, Value
from springhouse_host.induction.terms import Terms

MOST_ROUNDS = 12  # of a loop whose end is not known

_UNSET: Any = object()


class Run:
    """One translation: its terms, stand-ins and duties."""

    def __init__(
        self,
        terms: Terms,
        stand_ins: dict[Callable[..., Any], StandIn],
    ) -> None:
        self.terms = terms
        self.stand_ins = stand_ins
        self.duties: list[Duty] = []
        self.calls = 0
        self._path: list[Truth] = []
        self._where = ""

    # Functions and blocks.

    def call(
        self, function: Callable[..., Any], arguments: list[Any], slots: dict[str, Any]
    ) -> Any:
        """Run a function; `slots` (name -> slots of a record) is changed in place."""
        if not isinstance(function, FunctionType):
            raise NotInSubset(f"{self._where}: {function!r}")
        stand_in = self.stand_ins.get(function)
        state = State({}, slots)
        if stand_in is not None:
            return stand_in(self, state, arguments)
        self.calls += 1
        tree = source_of(function)
        names = [a.arg for a in tree.args.args]
        if len(names) != len(arguments):
            raise NotInSubset(f"{function.__qualname__}: {len(arguments)} arguments")
        state.names = dict(zip(names, arguments, strict=True))
        before = self._where
        self._where = f"{function.__module__}.{function.__qualname__}"
        ends = self._block(tree.body, state.copy(), function.__globals__)
        results = list(ends.returned)
        if ends.on is not None:
            results.append((ends.on_when, None, ends.on))
        value, last = self._join_results(results)
        for name in slots:
            slots[name][:] = last.slots[name]
        self._where = before
        return value

    def _join_results(self, results: list[tuple[Truth, Value, State]]) -> tuple[Value, State]:
        when, value, state = results[-1]
        for when, v, s in reversed(results[:-1]):
            value = self.terms.choose(when, v, value)
            state = self._join(when, s, state)
        return value, state

    def _join(self, when: Truth, a: State, b: State) -> State:
        if isinstance(when, bool):
            return a if when else b
        choose = self.terms.choose
        names = {}
        for name, x in a.names.items():
            y = b.names.get(name, _UNSET)
            if x is y or (type(x) is type(y) and x == y):
                names[name] = x
            elif y is not _UNSET and not isinstance(x, SlotRecord | tuple):
                names[name] = choose(when, x, y)
        slots = {}
        for record, x_slots in a.slots.items():
            y_slots = b.slots[record]
            slots[record] = [
                x if x is y else choose(when, x, y) for x, y in zip(x_slots, y_slots, strict=True)
            ]
        return State(names, slots)

    def _block(self, body: list[ast.stmt], state: State, world: dict[str, Any]) -> Ends:
        ends = Ends(state, True)
        for line in body:
            if ends.on is None:
                break
            self._path.append(ends.on_when)
            step = self._line(line, ends.on, world)
            self._path.pop()
            for when, value, where in step.returned:
                ends.returned.append((self.terms.both(ends.on_when, when), value, where))
            ends.on = step.on
            ends.on_when = self.terms.both(ends.on_when, step.on_when)
            if ends.on_when is False:
                ends.on = None
        return ends

    def _line(self, line: ast.stmt, state: State, world: dict[str, Any]) -> Ends:
        if isinstance(line, ast.Return):
            value = None if line.value is None else self._value(line.value, state, world)
            return Ends(None, False, [(True, value, state)])
        if isinstance(line, ast.Assign) and len(line.targets) == 1:
            self._store(line.targets[0], self._value(line.value, state, world), state, world)
            return Ends(state, True)
        if isinstance(line, ast.AugAssign):
            old = self._value(_loaded(line.target), state, world)
            new = self._binary(line.op, old, self._value(line.value, state, world))
            self._store(line.target, new, state, world)
            return Ends(state, True)
        if isinstance(line, ast.Expr):
            if not isinstance(line.value, ast.Constant):
                self._value(line.value, state, world)
            return Ends(state, True)
        if isinstance(line, ast.Pass):
            return Ends(state, True)
        if isinstance(line, ast.If):
            return self._if(line, state, world)
        if isinstance(line, ast.While):
            return self._while(line, state, world, MOST_ROUNDS)
        if isinstance(line, ast.For):
            return self._for(line, state, world)
        raise NotInSubset(f"{self._where}: {ast.unparse(line)}")

    def _if(self, line: ast.If, state: State, world: dict[str, Any]) -> Ends:
        test = self.terms.true(self._value(line.test, state, world))
        if isinstance(test, bool):
            return self._block(line.body if test else line.orelse, state, world)
        other = state.copy()
        yes = self._under(test, line.body, state, world)
        no = self._under(self.terms.no(test), line.orelse, other, world)
        return self._both_ways(test, yes, no)

    def _under(
        self, test: Truth, body: list[ast.stmt], state: State, world: dict[str, Any]
    ) -> Ends:
        self._path.append(test)
        ends = self._block(body, state, world)
        self._path.pop()
        return ends

    def _both_ways(self, test: Truth, yes: Ends, no: Ends) -> Ends:
        both, other = self.terms.both, self.terms.no(test)
        returned = [(both(test, w), v, s) for w, v, s in yes.returned]
        returned += [(both(other, w), v, s) for w, v, s in no.returned]
        if yes.on is None or no.on is None:
            on = no.on if yes.on is None else yes.on
        else:
            on = self._join(test, yes.on, no.on)
        when = self.terms.either(both(test, yes.on_when), both(other, no.on_when))
        return Ends(on, when, returned)

    def _while(self, line: ast.While, state: State, world: dict[str, Any], rounds: int) -> Ends:
        test = self.terms.true(self._value(line.test, state, world))
        if test is False:
            return Ends(state, True)
        if rounds == 0:
            self._duty("a loop goes on", test)
            return Ends(state, True)
        again = ast.While(line.test, line.body, line.orelse)
        if test is True:
            ends = self._block(line.body, state, world)
            return self._then(ends, lambda s: self._while(again, s, world, rounds - 1))
        other = state.copy()
        self._path.append(test)
        ends = self._block(line.body, state, world)
        ends = self._then(ends, lambda s: self._while(again, s, world, rounds - 1))
        self._path.pop()
        return self._both_ways(test, ends, Ends(other, True))

    def _then(self, ends: Ends, go_on: Callable[[State], Ends]) -> Ends:
        if ends.on is None:
            return ends
        self._path.append(ends.on_when)
        step = go_on(ends.on)
        self._path.pop()
        both = self.terms.both
        returned = ends.returned + [(both(ends.on_when, w), v, s) for w, v, s in step.returned]
        return Ends(step.on, both(ends.on_when, step.on_when), returned)

    def _for(self, line: ast.For, state: State, world: dict[str, Any]) -> Ends:
        if isinstance(line.iter, ast.Call) and getattr(line.iter.func, "id", "") == "range":
            ends = [self._value(a, state, world) for a in line.iter.args]
            first, last = (0, ends[0]) if len(ends) == 1 else (ends[0], ends[1])
            items = list(range(first, self.terms.high(last)))
        else:
            items, last = list(self._value(line.iter, state, world)), None
        whole, body = Ends(state, True), _without_continue(line.body)
        for item in items:

            def once(s: State, item: Any = item) -> Ends:
                self._store(line.target, item, s, world)
                going = True if last is None else self.terms.less(item, last)
                if going is True:
                    return self._block(body, s, world)
                other = s.copy()
                return self._both_ways(going, self._under(going, body, s, world), Ends(other, True))

            whole = self._then(whole, once)
        return whole

    def _duty(self, where: str, impossible: Truth) -> None:
        found = self.terms.both(*self._path, impossible)
        if found is not False:
            self.duties.append(Duty(f"{self._where}: {where}", found))

    # Places.

    def _store(self, place: ast.expr, value: Any, state: State, world: dict[str, Any]) -> None:
        if isinstance(place, ast.Name):
            state.names[place.id] = value
        elif isinstance(place, ast.Tuple):
            for part, v in zip(place.elts, value, strict=True):
                self._store(part, v, state, world)
        elif isinstance(place, ast.Subscript):
            record = self._value(place.value, state, world)
            slots = state.slots[record.name]
            for when, slot in self._places(place.slice, state, world, len(slots)):
                slots[slot] = self.terms.choose(when, value, slots[slot])
        else:
            raise NotInSubset(f"{self._where}: {ast.unparse(place)}")

    def _places(
        self, index: ast.expr, state: State, world: dict[str, Any], size: int
    ) -> list[tuple[Truth, int]]:
        cases = self._possible(self.terms.cases(self._value(index, state, world)))
        inside = [(when, k) for when, k in cases if 0 <= k < size]
        for when, k in cases:
            if not 0 <= k < size:
                self._duty(f"index {k} of {size}", when)
        if len(inside) == 1:
            return [(True, inside[0][1])]
        return inside

    def _possible(self, cases: list[Leaf]) -> list[Leaf]:
        """Those that the path taken does not rule out at sight; any, on a path never taken."""
        path = self.terms.parts(*self._path)
        found = [(when, k) for when, k in cases if self.terms.both(*path, when) is not False]
        return found or cases[:1]

    # Values.

    def _value(self, e: ast.expr, state: State, world: dict[str, Any]) -> Any:
        kind = _KINDS.get(type(e))
        if kind is None:
            raise NotInSubset(f"{self._where}: {ast.unparse(e)}")
        return kind(self, e, state, world)

    def _name(self, e: ast.Name, state: State, world: dict[str, Any]) -> Any:
        for names in (state.names, world, vars(builtins)):
            if e.id in names:
                return names[e.id]
        raise NotInSubset(f"{self._where}: {e.id}")

    def _attribute(self, e: ast.Attribute, state: State, world: dict[str, Any]) -> Any:
        module = self._value(e.value, state, world)
        if not isinstance(module, ModuleType):
            raise NotInSubset(f"{self._where}: {ast.unparse(e)}")
        return getattr(module, e.attr)

    def _two(self, e: ast.BinOp, state: State, world: dict[str, Any]) -> Any:
        left = self._value(e.left, state, world)
        return self._binary(e.op, left, self._value(e.right, state, world))

    def _one(self, e: ast.UnaryOp, state: State, world: dict[str, Any]) -> Any:
        return operators.unary(self.terms, e.op, self._value(e.operand, state, world))

    def _tuple(self, e: ast.Tuple, state: State, world: dict[str, Any]) -> Any:
        return tuple(self._value(x, state, world) for x in e.elts)

    def _read(self, e: ast.Subscript, state: State, world: dict[str, Any]) -> Any:
        table = self._value(e.value, state, world)
        slots = state.slots[table.name] if isinstance(table, SlotRecord) else table
        places = self._places(e.slice, state, world, len(slots))
        if not places:
            raise Undefined(f"{self._where}: {ast.unparse(e)} is nowhere inside")
        return self.terms.from_leaves([(when, slots[k]) for when, k in places])

    def _binary(self, op: ast.operator, a: Any, b: Any) -> Any:
        if isinstance(op, ast.LShift) and not isinstance(b, int):
            for when, k in self.terms.cases(b):
                if k < 0:
                    self._duty("negative shift", when)
        found = operators.binary(self.terms, op, a, b)
        while self.terms.overflows:
            self._duty("a sum leaves 32 bits", self.terms.overflows.pop())
        return found

    def _in_turn(self, e: ast.BoolOp, state: State, world: dict[str, Any]) -> Truth:
        """`and`, `or` of truth values; what stands later runs only where the earlier let it."""
        t = self.terms
        is_and = isinstance(e.op, ast.And)
        found: Truth = is_and
        for part in e.values:
            if found is (not is_and):
                return found
            so_far = found if is_and else t.no(found)
            self._path.append(so_far)
            value = t.true(self._aside(part, state, world, so_far))
            self._path.pop()
            found = t.both(found, value) if is_and else t.either(found, value)
        return found

    def _aside(self, e: ast.expr, state: State, world: dict[str, Any], when: Truth) -> Any:
        """A value that is asked for only `when`; what it changes changes only then."""
        if isinstance(when, bool) or not any(isinstance(n, ast.Call) for n in ast.walk(e)):
            return self._value(e, state, world)
        other = state.copy()
        value = self._value(e, state, world)
        joined = self._join(when, state, other)
        state.names, state.slots = joined.names, joined.slots
        return value

    def _choice(self, e: ast.IfExp, state: State, world: dict[str, Any]) -> Any:
        test = self.terms.true(self._value(e.test, state, world))
        if isinstance(test, bool):
            return self._value(e.body if test else e.orelse, state, world)
        self._path.append(test)
        yes = self._aside(e.body, state, world, test)
        self._path[-1] = self.terms.no(test)
        no = self._aside(e.orelse, state, world, self.terms.no(test))
        self._path.pop()
        return self.terms.choose(test, yes, no)

    def _compare(self, e: ast.Compare, state: State, world: dict[str, Any]) -> Truth:
        t = self.terms
        left = self._value(e.left, state, world)
        found: Truth = True
        for op, right_side in zip(e.ops, e.comparators, strict=True):
            right = self._value(right_side, state, world)
            found = t.both(found, operators.comparison(t, op, left, right))
            left = right
        return found

    def _call(self, e: ast.Call, state: State, world: dict[str, Any]) -> Any:
        t = self.terms
        function = self._value(e.func, state, world)
        arguments = [self._value(a, state, world) for a in e.args]
        if function is abs:
            (a,) = arguments
            if isinstance(a, int):
                return abs(a)
            return t.choose(t.less(a, 0), t.subtract(0, a), a)
        if function is min or function is max:
            a, b = arguments
            first = t.less(a, b) if function is min else t.less(b, a)
            return t.choose(first, a, b)
        if function is len:
            (a,) = arguments
            return len(state.slots[a.name] if isinstance(a, SlotRecord) else a)
        if not isinstance(function, FunctionType):
            raise NotInSubset(f"{self._where}: {ast.unparse(e)}")
        return self.call(function, arguments, state.slots)


_KINDS: dict[type[ast.expr], Callable[..., Any]] = {
    ast.Constant: lambda run, e, state, world: e.value,
    ast.Name: Run._name,
    ast.Attribute: Run._attribute,
    ast.Subscript: Run._read,
    ast.BinOp: Run._two,
    ast.UnaryOp: Run._one,
    ast.BoolOp: Run._in_turn,
    ast.Compare: Run._compare,
    ast.IfExp: Run._choice,
    ast.Call: Run._call,
    ast.Tuple: Run._tuple,
}


def _without_continue(body: list[ast.stmt]) -> list[ast.stmt]:
    """A loop's body in which what comes after `if ...: continue` is that condition's else."""
    for n, line in enumerate(body):
        if isinstance(line, ast.If) and not line.orelse and isinstance(line.body[0], ast.Continue):
            rest = _without_continue(body[n + 1 :])
            return [*body[:n], ast.If(line.test, [ast.Pass()], rest)]
    return body


def _loaded(place: ast.expr) -> ast.expr:
    """The same place, read."""
    if isinstance(place, ast.Name):
        return ast.Name(place.id, ast.Load())
    if isinstance(place, ast.Subscript):
        return ast.Subscript(place.value, place.slice, ast.Load())
    raise NotInSubset(ast.unparse(place))

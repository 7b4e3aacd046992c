"""Builds formulas over 32-bit integers and truth values, shared and folded while they are built.

Comparisons that cannot go the other way, by the intervals of their sides, fold to `True` or
`False`.
"""

from collections.abc import Callable, Iterable
from typing import Any

from springhouse_host.induction.term import Bits, Leaf, Number, Term, Truth, Undefined, Value

LOWEST, HIGHEST = -(1 << 31), (1 << 31) - 1
MOST_LEAVES = 24  # an integer that is one of so few constants is handled case by case
WORD_BITS = 18  # flag words are no wider; above that a word repeats its sign


class Terms:
    """Builds terms, each only once."""

    def __init__(self) -> None:
        self._known: dict[tuple[object, ...], Term] = {}
        self._leaves: dict[int, list[Leaf] | None] = {}
        self.overflows: list[Truth] = []  # of sums built since they were last taken from here

    def _make(self, op: str, args: tuple[Any, ...], truth: bool, low: int, high: int) -> Term:
        key = (op, truth, *(a.number if isinstance(a, Term) else ("c", a) for a in args))
        term = self._known.get(key)
        if term is None:
            term = Term(op, args, len(self._known), truth, low, high)
            self._known[key] = term
        return term

    # Symbols.

    def integer(self, name: str, low: int, high: int) -> Number:
        """A free integer between `low` and `high`."""
        return low if low == high else self._make("integer", (name, low, high), False, low, high)

    def truth(self, name: str) -> Term:
        """A free truth value."""
        return self._make("truth", (name,), True, 0, 1)

    def word(self, name: str, bits: int) -> Bits:
        """A free word of `bits` flags."""
        return Bits(tuple(self.truth(f"{name}.{n}") for n in range(bits)))

    # Truth values.

    def no(self, a: Truth) -> Truth:
        """Not `a`."""
        if isinstance(a, bool):
            return not a
        if a.op == "not":
            inner: Term = a.args[0]
            return inner
        return self._make("not", (a,), True, 0, 1)

    def both(self, *terms: Truth) -> Truth:
        """All of them."""
        kept: dict[int, Term] = {}
        for t in terms:
            if isinstance(t, bool):
                if not t:
                    return False
                continue
            kept[t.number] = t
        for t in kept.values():
            if t.op == "not" and t.args[0].number in kept:
                return False
        if not kept:
            return True
        if len(kept) == 1:
            return next(iter(kept.values()))
        return self._make("and", tuple(kept[n] for n in sorted(kept)), True, 0, 1)

    def parts(self, *terms: Truth) -> list[Truth]:
        """What must hold for all of them to hold, taken apart."""
        found: dict[object, Truth] = {}
        waiting = list(terms)
        while waiting:
            part = waiting.pop()
            key = part.number if isinstance(part, Term) else part
            if key not in found:
                found[key] = part
                if isinstance(part, Term) and part.op == "and":
                    waiting += part.args
        return list(found.values())

    def either(self, *terms: Truth) -> Truth:
        """At least one of them."""
        return self.no(self.both(*(self.no(t) for t in terms)))

    def implies(self, a: Truth, b: Truth) -> Truth:
        """If `a` then `b`."""
        return self.either(self.no(a), b)

    # Integers.

    def low(self, a: Number) -> int:
        """Lowest value `a` may have."""
        if isinstance(a, int):
            return a
        if isinstance(a, Term):
            return a.low
        lowest = sum(1 << n for n, b in enumerate(a.bits) if b is True)
        return lowest - (1 << len(a.bits)) if a.sign else lowest

    def high(self, a: Number) -> int:
        """Highest value `a` may have."""
        if isinstance(a, int):
            return a
        if isinstance(a, Term):
            return a.high
        highest = sum(1 << n for n, b in enumerate(a.bits) if b is not False)
        return highest - (1 << len(a.bits)) if a.sign else highest

    def plain(self, a: Number | bool) -> int | Term:
        """`a` as one integer, its bits joined."""
        if isinstance(a, Bits):
            if all(isinstance(b, bool) for b in a.bits):
                return self.low(a)
            return self._make("bits", (*a.bits, a.sign), False, self.low(a), self.high(a))
        if isinstance(a, bool):
            return int(a)
        if isinstance(a, Term) and a.truth:
            return self._make("choose", (a, 1, 0), False, 0, 1)
        return a

    def choose(self, test: Truth, a: Value, b: Value) -> Any:
        """`a` where `test` holds, else `b`."""
        if isinstance(test, bool):
            return a if test else b
        if a is b or (type(a) is type(b) and a == b):
            return a
        if a is None or b is None:
            raise Undefined("a result on one branch only")
        truths = [isinstance(v, bool) or (isinstance(v, Term) and v.truth) for v in (a, b)]
        if all(truths):
            yes: Any = a
            no: Any = b
            return self.both(self.either(self.no(test), yes), self.either(test, no))
        if isinstance(a, Bits) or isinstance(b, Bits):
            return self._choose_bits(test, a, b)
        x, y = self.plain(a), self.plain(b)
        if test.op == "not":
            test, x, y = test.args[0], y, x
        low, high = min(self.low(x), self.low(y)), max(self.high(x), self.high(y))
        return self._make("choose", (test, x, y), False, low, high)

    def _choose_bits(self, test: Term, a: Number, b: Number) -> Any:
        wide = max(len(v.bits) for v in (a, b) if isinstance(v, Bits))
        x, y = self.as_bits(a, wide), self.as_bits(b, wide)
        if x is None or y is None or x.sign != y.sign:
            return self.choose(test, self.plain(a), self.plain(b))
        wide = max(len(x.bits), len(y.bits))
        bits = tuple(self.choose(test, x.at(n), y.at(n)) for n in range(wide))
        return Bits(bits, x.sign)

    def as_bits(self, a: Number, wide: int) -> Bits | None:
        """`a` as bits if it is known or already so, else None."""
        if isinstance(a, Bits):
            return a
        if isinstance(a, int):
            wide = max(wide, a.bit_length())
            return Bits(tuple(bool(a >> n & 1) for n in range(wide)), a < 0)
        leaves = self.leaves(a)
        if leaves is None or any(not 0 <= k < 1 << WORD_BITS for _, k in leaves):
            return None
        return Bits(
            tuple(self.either(*(c for c, k in leaves if k >> n & 1)) for n in range(WORD_BITS))
        )

    def leaves(self, a: Number) -> list[Leaf] | None:
        """(when, constant) of an integer that is one of a few constants, else None."""
        if isinstance(a, int):
            return [(True, a)]
        if isinstance(a, Bits) or a.op != "choose":
            return None
        if a.number not in self._leaves:
            self._leaves[a.number] = self._find_leaves(a)
        return self._leaves[a.number]

    def _find_leaves(self, a: Term) -> list[Leaf] | None:
        test, yes, no = a.args
        found: dict[int, list[Truth]] = {}
        for when, side in ((test, yes), (self.no(test), no)):
            inner = self.leaves(side)
            if inner is None:
                return None
            for c, k in inner:
                found.setdefault(k, []).append(self.both(when, c))
        if len(found) > MOST_LEAVES:
            return None
        return [(self.either(*cs), k) for k, cs in found.items()]

    def cases(self, a: Number) -> list[Leaf]:
        """(when, constant) of an integer with few possible values."""
        found = self.leaves(a)
        if found is None and self.high(a) - self.low(a) < MOST_LEAVES:
            found = [(self.equal(a, k), k) for k in range(self.low(a), self.high(a) + 1)]
        if found is None:
            raise Undefined("an index that may be anything")
        return found

    def from_leaves(self, leaves: Iterable[tuple[Truth, Value]]) -> Any:
        """The value that goes with whichever condition holds; one of them must."""
        leaves = list(leaves)
        value = leaves[-1][1]
        for when, v in reversed(leaves[:-1]):
            value = self.choose(when, v, value)
        return value

    def _each(self, a: Number, b: Number, op: Callable[[int, int], int]) -> Any:
        """`op` case by case if one side is known and the other one of a few constants."""
        if self.leaves(a) is None or self.leaves(b) is None:
            return None
        if isinstance(b, int):
            return self._mapped(a, lambda x: op(x, b))
        return self._mapped(b, lambda y: op(a, y)) if isinstance(a, int) else None

    def _mapped(self, a: Any, op: Callable[[int], int]) -> Any:
        """The same choice between results as between constants."""
        if isinstance(a, int):
            return op(a)
        test, yes, no = a.args
        return self.choose(test, self._mapped(yes, op), self._mapped(no, op))

    def add(self, a: Number, b: Number) -> Any:
        """A + b; notes in `overflows` when it might leave 32 bits."""
        a, b = self.plain(a), self.plain(b)
        if isinstance(a, int) and isinstance(b, int):
            return a + b
        if isinstance(b, int) and b == 0:
            return a
        if isinstance(a, int) and a == 0:
            return b
        each = self._each(a, b, lambda x, y: x + y)
        if each is not None:
            return each
        if (
            isinstance(b, int)
            and isinstance(a, Term)
            and a.op == "add"
            and isinstance(a.args[1], int)
        ):
            return self.add(a.args[0], a.args[1] + b)
        if isinstance(a, int):
            a, b = b, a
        low, high = self.low(a) + self.low(b), self.high(a) + self.high(b)
        return self._checked("add", (a, b), low, high)

    def subtract(self, a: Number, b: Number) -> Any:
        """A - b; notes in `overflows` when it might leave 32 bits."""
        a, b = self.plain(a), self.plain(b)
        if isinstance(b, int):
            return self.add(a, -b)
        if a is b:
            return 0
        each = self._each(a, b, lambda x, y: x - y)
        if each is not None:
            return each
        low, high = self.low(a) - self.high(b), self.high(a) - self.low(b)
        return self._checked("sub", (a, b), low, high)

    def times(self, a: Number, b: Number) -> Number:
        """A * b, one of them known."""
        a, b = self.plain(a), self.plain(b)
        if isinstance(a, int):
            a, b = b, a
        if isinstance(a, int) and isinstance(b, int):
            return a * b
        if not isinstance(b, int):
            raise Undefined("a product of two unknowns")
        ends = self.low(a) * b, self.high(a) * b
        return self._checked("mul", (a, b), min(ends), max(ends))

    def _checked(self, op: str, args: tuple[Any, ...], low: int, high: int) -> Term:
        if low < LOWEST or high > HIGHEST:
            self.overflows.append(self._leaves_32_bits(op, *args))
            low, high = max(low, LOWEST), min(high, HIGHEST)
        return self._make(op, args, False, low, high)

    def _leaves_32_bits(self, op: str, a: Any, b: Any) -> Truth:
        """Whether the result leaves 32 bits, asked without leaving them."""
        if op == "mul":
            ends = sorted((int(LOWEST / b), int(HIGHEST / b)))
            return self.either(self.less(a, ends[0]), self.less(ends[1], a))
        back = "sub" if op == "add" else "add"
        room_above = self._make(back, (HIGHEST, b), False, LOWEST, HIGHEST)
        room_below = self._make(back, (LOWEST, b), False, LOWEST, HIGHEST)
        up = self.less(0, b) if op == "add" else self.less(b, 0)
        down = self.less(b, 0) if op == "add" else self.less(0, b)
        return self.either(
            self.both(up, self.less(room_above, a)), self.both(down, self.less(a, room_below))
        )

    def shift_right(self, a: Number, n: int) -> Number:
        """A >> n, rounding down."""
        if isinstance(a, int):
            return a >> n
        if isinstance(a, Bits):
            return Bits(a.bits[n:], a.sign)
        return self._make("shr", (a, n), False, a.low >> n, a.high >> n)

    def _bitwise(self, a: Number, b: Number, op: Callable[[Truth, Truth], Truth]) -> Number:
        x, y = self.as_bits(a, 0), self.as_bits(b, 0)
        if x is None or y is None:
            raise Undefined("a bit operation on an integer that is no flag word")
        wide = max(len(x.bits), len(y.bits))
        sign = op(x.sign, y.sign)
        bits = [op(x.at(n), y.at(n)) for n in range(wide)]
        while bits and bits[-1] is sign:
            bits.pop()
        if all(isinstance(b, bool) for b in bits):
            return sum(1 << n for n, b in enumerate(bits) if b) - ((1 << len(bits)) if sign else 0)
        return Bits(tuple(bits), bool(sign))

    def bit_and(self, a: Number, b: Number) -> Number:
        """A & b."""
        if isinstance(a, int) and isinstance(b, int):
            return a & b
        return self._bitwise(a, b, lambda x, y: self.both(x, y))

    def bit_or(self, a: Number, b: Number) -> Number:
        """A | b."""
        if isinstance(a, int) and isinstance(b, int):
            return a | b
        return self._bitwise(a, b, lambda x, y: self.either(x, y))

    def bit_not(self, a: Number) -> Number:
        """~a."""
        if isinstance(a, int):
            return ~a
        x = self.as_bits(a, 0)
        if x is None:
            raise Undefined("a bit operation on an integer that is no flag word")
        return Bits(tuple(self.no(b) for b in x.bits), not x.sign)

    # Comparisons.

    def less(self, a: Number, b: Number) -> Truth:
        """A < b."""
        a, b = self.plain(a), self.plain(b)
        if isinstance(a, int) and isinstance(b, int):
            return a < b
        if self.high(a) < self.low(b):
            return True
        if self.low(a) >= self.high(b) or a is b:
            return False
        x, y = self.leaves(a), self.leaves(b)
        if x is not None and y is not None and (len(x) == 1 or len(y) == 1):
            return self.either(*(self.both(p, q) for p, k in x for q, m in y if k < m))
        return self._make("less", (a, b), True, 0, 1)

    def at_most(self, a: Number, b: Number) -> Truth:
        """A <= b."""
        return self.no(self.less(b, a))

    def equal(self, a: Number, b: Number) -> Truth:
        """A == b."""
        if isinstance(a, int) and isinstance(b, int):
            return a == b
        if isinstance(a, Bits) or isinstance(b, Bits):
            x, y = self.as_bits(a, 0), self.as_bits(b, 0)
            if x is not None and y is not None:
                if x.sign != y.sign:
                    return False
                wide = max(len(x.bits), len(y.bits))
                return self.both(*(self.same(x.at(n), y.at(n)) for n in range(wide)))
        a, b = self.plain(a), self.plain(b)
        if a is b:
            return True
        if self.high(a) < self.low(b) or self.high(b) < self.low(a):
            return False
        x2, y2 = self.leaves(a), self.leaves(b)
        if x2 is not None and y2 is not None and (len(x2) == 1 or len(y2) == 1):
            return self.either(*(self.both(p, q) for p, k in x2 for q, m in y2 if k == m))
        if isinstance(a, int):
            a, b = b, a
        return self._make("equal", (a, b), True, 0, 1)

    def same(self, a: Truth, b: Truth) -> Any:
        """Both or neither."""
        return self.choose(a, b, self.no(b))

    def true(self, a: Value) -> Truth:
        """Python's truth of `a`."""
        if a is None:
            return False
        if isinstance(a, bool) or (isinstance(a, Term) and a.truth):
            return a
        return self.no(self.equal(a, 0))

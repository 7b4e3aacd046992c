"""Modified condition/decision coverage of the control core by its fast tests.

    python tests/guards/mcdc.py FOLDER [--tests FILE ...]

Works on a copy of the firmware in FOLDER in which every condition of every decision of `MODULES`
tells its value, and runs the tests of tests/firmware against that copy, in this interpreter and
not compiled. Prints conditions shown over conditions in all, and each one that is not with its
reason from mcdc_left.toml. Leaves with 1 if one has no reason there, or a reason has no condition.

A decision is the test of an if, while or conditional expression, or any other boolean expression
that is assigned, returned or passed on; a chained comparison is two conditions. Counted is
unique-cause MC/DC (RTCA DO-178C, glossary) as it is usual for short-circuit operators: a condition
is shown by two evaluations in which it differs, the decision differs, and no other condition
differs that was evaluated in both.
"""

from __future__ import annotations

import argparse
import ast
import json
import os
import shutil
import subprocess
import sys
import tomllib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations
from pathlib import Path
from typing import TypeAlias

ROOT = Path(__file__).parents[2]
LEFT = Path(__file__).parent / "mcdc_left.toml"
MODULES = ("conditions", "events", "probes", "vouching", "interlock", "restart")
# They compile the core, look at its text, or run it elsewhere.
NOT_RUN = (
    "test_core_syntax.py",
    "test_complete_check.py",
    "test_settings_schema.py",
    "test_micropython.py",
)

Vector: TypeAlias = tuple[bool | None, ...]  # of the conditions; None: not evaluated
Seen: TypeAlias = set[tuple[Vector, bool]]

RECORDER = '''
"""Keeps what decisions and their conditions came to; made by tests/guards/mcdc.py."""
import atexit, json, os
seen = {}
stack = []
def begin(key, size):
    stack.append((key, [None] * size))
    return True
def atom(i, value):
    stack[-1][1][i] = bool(value)
    return value
def end(_, value):
    key, vector = stack.pop()
    seen.setdefault(key, set()).add((tuple(vector), bool(value)))
    return value
def save():
    rows = [[key, [[list(v), out] for v, out in found]] for key, found in seen.items()]
    with open(os.path.join(os.environ["MCDC_SEEN"], f"{os.getpid()}.json"), "w") as file:
        json.dump(rows, file)
atexit.register(save)
'''


@dataclass(frozen=True)
class Decision:
    """One decision: where it stands and the text of its conditions."""

    module: str
    function: str
    line: int
    conditions: tuple[str, ...]

    @property
    def key(self) -> str:
        """What names it while tests run."""
        return f"{self.module}:{self.line}:{'|'.join(self.conditions)}"


class Instrument(ast.NodeTransformer):
    """Lets every decision of a module tell what its conditions were."""

    def __init__(self, module: str) -> None:
        self.module = module
        self.decisions: list[Decision] = []
        self._function = ""

    def visit_FunctionDef(self, node: ast.FunctionDef) -> ast.AST:
        self._function = node.name
        node.body = [self.visit(part) for part in node.body]
        return node

    def visit_If(self, node: ast.If) -> ast.AST:
        return self._tested(node)

    def visit_While(self, node: ast.While) -> ast.AST:
        return self._tested(node)

    def visit_IfExp(self, node: ast.IfExp) -> ast.AST:
        return self._tested(node)

    def _tested(self, node: ast.If | ast.While | ast.IfExp) -> ast.AST:
        test = self._decision(node.test)
        node.test = ast.Constant(True)  # so that it is not gone into again
        self.generic_visit(node)
        node.test = test
        return node

    def visit_BoolOp(self, node: ast.BoolOp) -> ast.AST:
        return self._decision(node)

    def visit_Compare(self, node: ast.Compare) -> ast.AST:
        return self._decision(node)

    def visit_UnaryOp(self, node: ast.UnaryOp) -> ast.AST:
        return self._decision(node) if isinstance(node.op, ast.Not) else self.generic_visit(node)

    def _decision(self, node: ast.expr) -> ast.expr:
        if not self._function:
            return node
        texts: list[str] = []
        body = self._conditions(node, texts)
        decision = Decision(self.module, self._function, node.lineno, tuple(texts))
        self.decisions.append(decision)
        begin = _call("begin", ast.Constant(decision.key), ast.Constant(len(texts)))
        return ast.copy_location(_call("end", begin, body), node)

    def _conditions(self, node: ast.expr, texts: list[str]) -> ast.expr:
        if isinstance(node, ast.BoolOp):
            node.values = [self._conditions(value, texts) for value in node.values]
            return node
        if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
            node.operand = self._conditions(node.operand, texts)
            return node
        if isinstance(node, ast.Compare) and len(node.ops) > 1:
            sides = [node.left, *node.comparators]
            parts: list[ast.expr] = [
                ast.Compare(sides[k], [op], [sides[k + 1]]) for k, op in enumerate(node.ops)
            ]
            return self._conditions(ast.BoolOp(ast.And(), parts), texts)
        texts.append(ast.unparse(node))
        i = len(texts) - 1
        return _call("atom", ast.Constant(i), self.generic_visit(node))  # type: ignore[arg-type]


def _call(name: str, *arguments: ast.expr) -> ast.expr:
    function = ast.Attribute(ast.Name("_mcdc", ast.Load()), name, ast.Load())
    return ast.Call(function, list(arguments), [])


def instrument(text: str, module: str) -> tuple[str, list[Decision]]:
    """Return the text of a module that tells, and its decisions."""
    tree = ast.parse(text)
    instrumenting = Instrument(module)
    tree = instrumenting.visit(tree)
    importing = ast.parse("import _mcdc").body
    tree.body[1:1] = importing  # after the docstring
    return ast.unparse(ast.fix_missing_locations(tree)), instrumenting.decisions


def shown(seen: Seen, i: int) -> bool:
    """Return whether condition `i` was shown to decide on its own."""
    for (one, out), (other, other_out) in combinations(seen, 2):
        if out == other_out or one[i] is None or other[i] is None or one[i] == other[i]:
            continue
        pairs = [(a, b) for k, (a, b) in enumerate(zip(one, other, strict=True)) if k != i]
        if all(a is None or b is None or a == b for a, b in pairs):
            return True
    return False


def read_seen(folder: Path) -> dict[str, Seen]:
    """Return what all processes saw, by the decision's key."""
    found: dict[str, Seen] = {}
    for file in folder.glob("*.json"):
        for key, rows in json.loads(file.read_text("utf-8")):
            found.setdefault(key, set()).update((tuple(v), out) for v, out in rows)
    return found


def run(folder: Path, tests: Sequence[str]) -> tuple[list[Decision], dict[str, Seen]]:
    """Run tests against an instrumented copy; return its decisions and what was seen.

    Raises:
        RuntimeError: when a test fails, for then the copy does not do what the core does.
    """
    copy, seen = folder / "firmware", folder / "seen"
    for part in (copy, seen):
        shutil.rmtree(part, ignore_errors=True)
    seen.mkdir(parents=True)
    shutil.copytree(ROOT / "firmware", copy)
    (copy / "_mcdc.py").write_text(RECORDER, "utf-8")
    decisions: list[Decision] = []
    for module in MODULES:
        file = copy / "springhouse" / f"{module}.py"
        text, own = instrument(file.read_text("utf-8"), module)
        file.write_text(text, "utf-8")
        decisions += own
    path = os.pathsep.join((str(copy), str(ROOT / "sim"), str(ROOT / "hostlib")))
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-x", "-p", "no:cacheprovider", *tests],
        env={**os.environ, "PYTHONPATH": path, "MCDC_SEEN": str(seen)},
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    if done.returncode:
        raise RuntimeError(done.stdout[-2000:])
    return decisions, read_seen(seen)


def left(decisions: Iterable[Decision], seen: dict[str, Seen]) -> list[tuple[Decision, int]]:
    """Return the conditions that are not shown."""
    return [
        (decision, i)
        for decision in decisions
        for i in range(len(decision.conditions))
        if not shown(seen.get(decision.key, set()), i)
    ]


def fast_tests() -> list[str]:
    """Return the files of tests of the core that can be run on the copy."""
    files = sorted((ROOT / "tests" / "firmware").glob("test_*.py"))
    return [str(file) for file in files if file.name not in NOT_RUN]


def main() -> int:
    """Print the figure and what is left; 1 if something is left without a reason."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--tests", nargs="*", default=None)
    given = parser.parse_args()
    decisions, seen = run(given.folder.resolve(), given.tests or fast_tests())
    reasons = {
        (row["module"], row["function"], row["condition"]): row["reason"]
        for row in tomllib.loads(LEFT.read_text("utf-8")).get("left", [])
    }
    unshown = left(decisions, seen)
    for module in MODULES:
        own = [d for d in decisions if d.module == module]
        total = sum(len(d.conditions) for d in own)
        missing = sum(d.module == module for d, _ in unshown)
        share = 100.0 * (total - missing) / max(1, total)
        print(f"{module}: {total - missing} of {total} conditions, {share:.1f} %")
    total = sum(len(d.conditions) for d in decisions)
    print(f"in all: {total - len(unshown)} of {total}, unique-cause MC/DC with short circuit")
    names = set()
    bare = 0
    for decision, i in unshown:
        name = (decision.module, decision.function, decision.conditions[i])
        names.add(name)
        reason = reasons.get(name, "NO REASON GIVEN")
        bare += name not in reasons
        where = f"{decision.module}.{decision.function}, line {decision.line}"
        print(f"  {where}: {decision.conditions[i]}: {reason}")
    for name in sorted(set(reasons) - names):
        print(f"  a reason for what is shown by now: {', '.join(name)}")
    return 1 if bare or set(reasons) - names else 0


if __name__ == "__main__":
    sys.exit(main())

"""What the core's text may not contain: floats, allocation in functions, anything a board lacks."""

from __future__ import annotations

import ast
import builtins
from pathlib import Path

import pytest
import springhouse

CORE = (
    *(
        "advice",
        "condition",
        "conditions",
        "controller",
        "events",
        "fault",
        "fitted",
        "horizon",
        "interlock",
    ),
    *("latch", "memory", "mode", "near", "output", "probes", "reading", "setting", "statechart"),
    *("restart", "timekeeping", "vouching", "week"),
)
HOME = Path(springhouse.__file__).parent
BUILTINS_ALLOWED = {
    "abs",
    "len",
    "max",
    "min",
    "range",
}  # none allocates on MicroPython as used here

ALLOCATING = (
    ast.ListComp,
    ast.SetComp,
    ast.DictComp,
    ast.GeneratorExp,
    ast.List,
    ast.Set,
    ast.Dict,
    ast.JoinedStr,
    ast.Lambda,
    ast.Slice,
    ast.Starred,
)
FOREIGN = (
    ast.Try,
    ast.Raise,
    ast.With,
    ast.ClassDef,
    ast.Global,
    ast.Nonlocal,
    ast.Yield,
    ast.YieldFrom,
    ast.Await,
    ast.AsyncFunctionDef,
    ast.Assert,
    ast.Match,
)


def tree(name: str) -> ast.Module:
    return ast.parse((HOME / f"{name}.py").read_text(encoding="utf-8"))


def faults(text: ast.Module) -> list[str]:
    """Every rule that a module's text breaks."""
    found = [f"line {node.lineno}: {type(node).__name__}" for node in _of(text, FOREIGN)]
    for node in ast.walk(text):
        if isinstance(node, ast.Constant) and isinstance(node.value, (float, complex)):
            found.append(f"line {node.lineno}: float literal")
        if isinstance(node, (ast.BinOp, ast.AugAssign)) and isinstance(node.op, ast.Div):
            found.append(f"line {node.lineno}: division")
        if (
            isinstance(node, ast.Call)
            and isinstance(node.func, ast.Name)
            and node.func.id == "const"
        ):
            found.append(f"line {node.lineno}: const")
        if isinstance(node, ast.Attribute) and node.attr.startswith("_"):
            found.append(f"line {node.lineno}: private name of another module")
    found += _imports(text)
    for function in _of(text, (ast.FunctionDef,)):
        found += _function(function, _defined(text))
    return found


def _of(text: ast.AST, kinds: tuple[type, ...]) -> list[ast.AST]:
    return [node for node in ast.walk(text) if isinstance(node, kinds)]


def _defined(text: ast.Module) -> set[str]:
    return {node.name for node in text.body if isinstance(node, ast.FunctionDef)}


def _imports(text: ast.Module) -> list[str]:
    """Only the package's own modules; `array` for annotations, which are strings."""
    found = [f"line {n.lineno}: import" for n in _of(text, (ast.Import,))]
    for node in _of(text, (ast.ImportFrom,)):
        if node.module not in ("springhouse", "array"):
            found.append(f"line {node.lineno}: import from {node.module}")
        if any(alias.name.startswith("_") for alias in node.names):
            found.append(f"line {node.lineno}: private name of another module")
    return found


def _function(function: ast.FunctionDef, defined: set[str]) -> list[str]:
    found = [f"line {n.lineno}: {type(n).__name__}" for n in _of(function, ALLOCATING)]
    args = function.args
    if args.defaults or args.kwonlyargs or args.vararg or args.kwarg or function.decorator_list:
        found.append(f"line {function.lineno}: default, star or decorator")
    docstring = function.body[0].value if isinstance(function.body[0], ast.Expr) else None
    annotations = {id(a.annotation) for a in args.args} | {id(function.returns)}
    for node in ast.walk(function):
        if isinstance(node, ast.FunctionDef) and node is not function:
            found.append(f"line {node.lineno}: nested function")
        if isinstance(node, ast.Tuple) and isinstance(node.ctx, ast.Load):
            found.append(f"line {node.lineno}: tuple built")
        if isinstance(node, ast.Name) and node.id == "array":
            found.append(f"line {node.lineno}: array used")
        if isinstance(node, ast.Call):
            found += _call(node, defined)
        text = isinstance(node, ast.Constant) and isinstance(node.value, (str, bytes))
        if text and node is not docstring and id(node) not in annotations:
            found.append(f"line {node.lineno}: string")
    return found


def _call(node: ast.Call, defined: set[str]) -> list[str]:
    if node.keywords:
        return [f"line {node.lineno}: keyword argument"]
    if isinstance(node.func, ast.Name):
        name = node.func.id
        if name in defined or name in BUILTINS_ALLOWED:
            return []
        return [f"line {node.lineno}: {'builtin' if hasattr(builtins, name) else 'call of'} {name}"]
    return []


@pytest.mark.parametrize("name", CORE)
def test_the_core_file_keeps_to_the_rules(name: str) -> None:
    assert faults(tree(name)) == []


@pytest.mark.parametrize(
    "text",
    [
        "A = 0.5",
        "def f(a: int) -> int:\n    return a / 2",
        "def f(a: int) -> int:\n    a /= 2\n    return a",
        "def f(a: int) -> int:\n    return [a][0]",
        "def f(a: int) -> int:\n    for x in (a, a):\n        pass",
        "def f(a: int) -> int:\n    return sum(n for n in range(a))",
        "def f(a: int) -> str:\n    return f'{a}'",
        "def f(a: int) -> int:\n    return a or {}",
        "def f(a: int) -> int:\n    try:\n        return a\n    finally:\n        pass",
        "f = lambda a: a\ndef g(a: int) -> int:\n    return (lambda b: b)(a)",
        "class A:\n    pass",
        "import time",
        "from micropython import const",
        "A = const(3)",
        "from springhouse.memory import _hidden",
        "def f(a: int = 3) -> int:\n    return a",
        "def f(a: int) -> int:\n    return str(a)",
        "def f(a: int) -> int:\n    return 'x'",
        "from springhouse import memory as cell\ndef f(a: int) -> int:\n    return cell._x",
        "def f(a: 'array[int]') -> int:\n    return a[1:2]",
    ],
)
def test_the_rules_notice(text: str) -> None:
    assert faults(ast.parse(text))


def test_every_file_the_step_path_imports_is_checked() -> None:
    reached, fresh = set(), {"controller", "horizon"}
    while fresh:
        name = fresh.pop()
        reached.add(name)
        for node in _of(tree(name), (ast.ImportFrom,)):
            if node.module == "springhouse":
                fresh |= {alias.name for alias in node.names} - reached
    assert reached <= set(CORE)

"""Folding changes no value: constants, whole programs, and what it must refuse."""

import ast
import json
import subprocess
import sys
from pathlib import Path

import built
import core_walk
import pytest
from hypothesis import given
from hypothesis import strategies as st
from springhouse_host.flashing import folding
from springhouse_host.flashing.folding import FoldError, Package
from springhouse_host.flashing.walking import parts
from springhouse_sim import board_files

ROOT = board_files.folder("firmware")
HERE = Path(__file__).parent
# Imports every module, with a dummy in the place of what only a board has, and tells its integers.
ASK = """
import importlib, json, sys
from unittest.mock import MagicMock
for name in ("machine", "network", "framebuf"):
    sys.modules[name] = MagicMock()
sys.modules["framebuf"].FrameBuffer = object
sys.modules["micropython"] = MagicMock(const=int)
found = {}
for name in sys.argv[1:]:
    names = vars(importlib.import_module(name.removesuffix(".__init__")))
    found[name] = {k: v if type(v) is int else None for k, v in names.items() if k[:2] != "__"}
print(json.dumps(found))
"""


def test_every_constant_is_the_value_that_its_module_has_when_run() -> None:
    package = built.package()
    done = subprocess.run(
        [sys.executable, "-c", ASK, *package.modules],
        env={"PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        check=True,
    )
    held = json.loads(done.stdout)
    count = 0
    for name in package.modules:
        for key, value in package.constants(name).items():
            assert held[name][key] == value, (name, key)
            count += 1
        if package.left_out(name):
            assert set(held[name]) == set(package.constants(name)), "nothing may be lost"
    print(f"{count} constants")
    assert count > 300


def test_what_is_left_out_is_what_holds_only_numbers() -> None:
    gone = {name for name in built.package().modules if built.package().left_out(name)}
    assert gone == {
        f"springhouse.{name}"
        for name in ("condition", "fault", "fitted", "latch", "memory", "output", "reading")
    }


SIGNS = (ast.expr_context, ast.operator, ast.unaryop, ast.boolop, ast.cmpop)


def test_all_parts_of_a_tree_are_those_of_the_standard_library() -> None:
    """Operators and contexts apart, which are fields of what they belong to."""
    for module, text in folding.read_sources(board_files.sources()).items():
        tree = ast.parse(text)
        assert parts(tree) == [n for n in ast.walk(tree) if not isinstance(n, SIGNS)], module


def test_folded_text_holds_no_name_of_a_constant_any_more() -> None:
    """Read with a tokenizer of another kind: the interpreter's own list of names."""
    package = built.package()
    for name in package.modules:
        tree = package.folded(name)
        if tree is None or name.startswith(folding.AS_IS):
            continue
        code = compile(ast.unparse(tree), name, "exec")
        names = {n for block in blocks(code) for n in block.co_names}
        assert not names & {"R", "M", "C", "F", "O", "A"}, name
        assert not names & set(package.constants(name)), name


def blocks(code):
    yield code
    for constant in code.co_consts:
        if hasattr(constant, "co_code"):
            yield from blocks(constant)


def test_the_folded_core_walks_as_its_sources_do(tmp_path: Path) -> None:
    """The board's text on the same CPython: no other interpreter in between."""
    here: list[str] = []
    core_walk.walk(0, 3, 1, here.append)
    for name, text in built.texts().items():
        path = tmp_path / (name.replace(".", "/") + ".py")
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text)
    (tmp_path / "core_walk.py").write_text(built.program(HERE / "core_walk.py"))
    code = "import json, core_walk; a = []; core_walk.walk(0, 3, 1, a.append); print(json.dumps(a))"
    done = subprocess.run(
        [sys.executable, "-c", code],
        env={"PYTHONPATH": str(tmp_path)},
        capture_output=True,
        text=True,
        check=True,
    )
    assert json.loads(done.stdout) == here


NUMBERS = st.integers(-70000, 70000).map(lambda n: f"({n})" if n < 0 else str(n))
NAMES = st.sampled_from(("A", "B", "C", "X.D", "E"))
EXPRESSIONS = st.recursive(
    NUMBERS | NAMES,
    lambda inner: st.one_of(
        st.tuples(inner, st.sampled_from(("+", "-", "*", "|", "&", "^", "//", "%")), inner).map(
            lambda t: f"({t[0]} {t[1]} {t[2]})"
        ),
        st.tuples(st.sampled_from("-~+"), inner).map(lambda t: f"({t[0]}{t[1]})"),
        st.tuples(inner, st.integers(0, 9)).map(lambda t: f"({t[0]} << {t[1]})"),
        inner.map(lambda e: f"({e}) ** 2"),
    ),
    max_leaves=8,
)
OTHER = "D, E = range(-3, 0)[:2]\n"
MODULE = """
from springhouse import x as X
from springhouse.x import E
A, B = [7 << n for n in range(2)]
C = -5
V = {expression}
def f(a):
    return (a, {expression}, -A ** 2, V)
"""


def test_a_number_named_inside_a_table_is_a_constant_and_stays_in_the_table() -> None:
    texts = {
        "springhouse.x": "ROWS = ((A := 3, 1), (B := A + 1, -A))\ndef f(n):\n    return ROWS[n]\n",
        "springhouse.y": "from springhouse import x\ndef g():\n    return x.B + x.f(0)[0]\n",
    }
    package = Package(texts)
    assert package.constants("springhouse.x") == {"A": 3, "B": 4}
    assert ast.unparse(package.folded("springhouse.x")) == (
        "ROWS = ((3, 1), (4, -3))\n\ndef f(n):\n    return ROWS[n]"
    )
    assert "return 4 + x.f(0)[0]" in ast.unparse(package.folded("springhouse.y"))


def test_what_follows_from_a_number_that_is_bound_again_is_no_constant() -> None:
    package = Package({"springhouse.x": "ROWS = ((A := 3, 1), (B := A + 1, 2))\nA = 4\n"})
    assert package.constants("springhouse.x") == {}


@pytest.mark.parametrize(
    "more", ["A = 4", "def f(A):\n    return A", "B = [(A := 5) for _ in (1,)]"]
)
def test_a_number_named_inside_a_table_and_bound_again_is_none(more: str) -> None:
    package = Package({"springhouse.x": f"ROWS = ((A := 3, 1),)\n{more}\n"})
    assert "A" not in package.constants("springhouse.x")


@given(EXPRESSIONS)
def test_any_expression_keeps_its_value(expression: str) -> None:
    sources = {"springhouse.x": "D, E = [n - 3 for n in range(2)]\nTABLE = (D,)\n"}
    sources["springhouse.y"] = MODULE.format(expression=expression)
    package = Package(sources)
    plain: dict = {"X": type("X", (), {"D": -3}), "E": -2}
    body = MODULE.replace("from springhouse", "# ").format(expression=expression)
    try:
        exec(body, plain)
        want = plain["f"](1)
    except ZeroDivisionError:
        assert "V" not in package.constants("springhouse.y")
        return
    if "**" not in expression:  # the one operator here that constants are not made with
        assert package.constants("springhouse.y")["V"] == plain["V"]
    got: dict = {}
    text = ast.unparse(package.folded("springhouse.y"))
    assert "import" not in text
    exec(text, got)
    assert got["f"](1) == want


@pytest.mark.parametrize(
    "text",
    [
        "A = 1\nA = 2\ndef f():\n    return A",
        "A = 1\ndef f():\n    global A\n    A = 2\n    return A",
        "A = 1\ndef f(A):\n    return A",
        "if True:\n    A = 1\ndef f():\n    return A",
        "A = True\ndef f():\n    return A",
        "A = 1.5\ndef f():\n    return A",
        "A = 'x'\ndef f():\n    return A",
        "A = B = 1\ndef f():\n    return A",
        "A, *B = range(3)\ndef f():\n    return A",
        "(A, B), C = (1, 2), 3\ndef f():\n    return A",
        "A = 1 // 0\ndef f():\n    return A",
        "A = 1 << -1\ndef f():\n    return A",
        "A = 1\nfor A in range(3):\n    pass\ndef f():\n    return A",
        "A = 1\ntry:\n    pass\nexcept Exception as A:\n    pass\ndef f():\n    return A",
        "def range(n):\n    return [n]\nA, = range(1)\ndef f():\n    return A",
    ],
)
def test_what_is_no_constant_is_left_alone(text: str) -> None:
    package = Package({"springhouse.x": text})
    assert "A" not in package.constants("springhouse.x")
    assert "return A" in ast.unparse(package.folded("springhouse.x"))


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("from springhouse import x as X\nprint(vars(X))", "without a dot"),
        ("from springhouse import x as X\nY = X", "without a dot"),
        ("from springhouse import x as X\nX.A = 2", "set from outside"),
        ("from springhouse import x as X\nX.A += 2", "set from outside"),
        ("from springhouse import x as X\ndel X.A", "set from outside"),
        ("from springhouse import x as X\nprint(X.MISSPELT)", "of springhouse.x, unknown there"),
        ("from springhouse.x import MISSPELT\nprint(MISSPELT)", "of springhouse.x, unknown"),
        ("from springhouse import x as X\ndef f(X):\n    return X.A", "bound again"),
        ("from springhouse.x import A\nA = 3\nprint(A)", "bound again"),
        ("from springhouse.x import *", "several things"),
        ("from springhouse import x as X\nfrom springhouse import y as X", "several things"),
        ("import springhouse.x\nprint(springhouse.x.A)", "from springhouse import"),
    ],
)
def test_any_other_use_of_a_constant_module_is_refused(text: str, why: str) -> None:
    package = Package({"springhouse.x": "A = 1\n", "springhouse.y": "def g():\n    pass\n"})
    with pytest.raises(FoldError) as caught:
        package.fold(text, "program.py")
    assert len(caught.value.lines) == 1
    assert caught.value.lines[0].startswith("program.py:")
    assert why in caught.value.lines[0]


NEAR = """
def begin(r):
    if len(r) > 3:
        r[3] = 0
def above(r, why, q, x):
    if len(r) > 3:
        r[3] = why
    return q >= x
def within(r, why, q, most):
    return -most <= q <= most
"""


def plain(body: str) -> str:
    head = "from springhouse import near\n"
    package = Package({"springhouse.near": NEAR, "springhouse.x": head + body})
    tree = package.folded("springhouse.x")
    assert tree is not None
    return ast.unparse(tree)


@pytest.mark.parametrize(
    ("body", "left"),
    [
        ("def f(r, x):\n    near.begin(r)\n    return 1", "def f(r, x):\n    return 1"),
        (
            "def f(r, x):\n    return not near.above(r, 5, r[0] + 1, x)",
            "def f(r, x):\n    return not r[0] + 1 >= x",
        ),
        (
            "def f(r, x):\n    why = 5\n    near.above(r, why, 1, 2) or g(x)",
            "def f(r, x):\n    1 >= 2 or g(x)",
        ),
        (  # what a binding calls may do more than be read
            "def f(r, x):\n    why = g(x)\n    return near.above(r, why, 1, x)",
            "def f(r, x):\n    why = g(x)\n    return 1 >= x",
        ),
        (
            "def f(r, x):\n    why = 5\n    return near.above(r, why, why, x)",
            "def f(r, x):\n    why = 5\n    return why >= x",
        ),
        (
            "def f(r, x):\n    return near.within(r, 0, near.above(r, 0, 1, 2), x)",
            "def f(r, x):\n    return -x <= (1 >= 2) <= x",
        ),
    ],
)
def test_a_noting_call_becomes_the_comparison_it_answers(body: str, left: str) -> None:
    assert plain(body) == left


@pytest.mark.parametrize(
    "call", ["within(r, 0, 1, r[0])", "within(r, 0, 1, x + 1)", "within(r, 0, 1, g(x))"]
)
def test_what_would_be_worked_out_twice_is_refused(call: str) -> None:
    with pytest.raises(FoldError) as caught:
        plain(f"def f(r, x):\n    return near.{call}")
    assert "x:3: within: most: cannot be folded" in caught.value.lines[0]


def test_the_board_gets_no_noting_call() -> None:
    package = built.package()
    for name in package.modules:
        tree = package.folded(name)
        if tree is not None and name not in (folding.NOTING, "springhouse.horizon"):
            assert "near" not in {n.id for n in ast.walk(tree) if isinstance(n, ast.Name)}, name

"""What shaking and short names may not change: what the code does."""

import ast
import builtins
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path

import built
import pytest
from hypothesis import given
from hypothesis import strategies as st
from springhouse_host.flashing import build
from springhouse_host.flashing.naming import shorten
from springhouse_host.flashing.shaking import shake

ROOT = "from springhouse import top\nprint(top.main())\n"


def run(folder: Path, texts: Mapping[str, str]) -> str:
    for name, text in {"springhouse.__init__": "", **texts}.items():
        path = folder / (name.replace(".", "/") + ".py")
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text)
    command = [sys.executable, "-B", "-c", ROOT]
    done = subprocess.run(
        command, env={"PYTHONPATH": str(folder)}, capture_output=True, text=True, check=True
    )
    return done.stdout


SAME = {
    "an argument in a comprehension, a closure and a default": """
def outer(first, second=3):
    def inner(third, first=first):
        return [first + third + second for third in range(2)]
    return inner(1), [second for _ in range(2)], {first: second for first in (second,)}
def plain(longest):
    return [longest for _ in range(2)]
def main():
    return outer(1), outer(2, 4), outer(second=5, first=6), plain(9)
""",
    "globals that are set, shadowed, and like an attribute": """
_count = 0
_table = {"_word": 1}
_shadowed = 7
class _Kept:
    _size = 3
    def __init__(self, _count):
        self._count = _count
        self._table = _table
    def _more(self):
        global _count
        _count += self._count
        return _count
    def _shadow(self):
        _shadowed = 8
        return _shadowed
    def all(self):
        return self._more(), self._shadow(), self._table["_word"], getattr(self, "_size")
def main():
    return _Kept(5).all(), _count, _shadowed
""",
    "an attribute of another object": """
class One:
    def __init__(self, other):
        self._mine, self._other, self._b = 1, other, 4
    def ask(self):
        return self._mine, self._other._mine if self._other else self._b
def main():
    return One(One(None)).ask(), One(None).ask()
""",
    "names that are short already": """
a, b = 1, 2
A = 3
_A, _a = 4, 5
class C:
    def __init__(self, b):
        self.a, self._a, self._c = b, a, A
    def both(self, first):
        a = first
        return a, b, self.a, self._a, self._c, _A, _a
def main():
    return C(8).both(9)
""",
}


@pytest.mark.parametrize("what", SAME)
def test_short_names_change_nothing(what: str, tmp_path: Path) -> None:
    text = {"springhouse.top": SAME[what]}
    made = build.texts(text, [ROOT])
    folded = build.Package(text).folded("springhouse.top")
    assert made["springhouse.top"] != ast.unparse(folded) + "\n"
    assert run(tmp_path / "after", made) == run(tmp_path / "before", text)


def test_a_class_of_another_file_shares_its_names(tmp_path: Path) -> None:
    texts = {
        "springhouse.base": (
            "class Base:\n    def __init__(self):\n        self._held = 1\n"
            "    def _tell(self):\n        return self._held\n"
        ),
        "springhouse.top": (
            "from springhouse.base import Base\n"
            "class Derived(Base):\n    def tell(self):\n        self._own = self._own_first = 2\n"
            "        return self._tell(), self._held, self._own\n"
            "def main():\n    return Derived().tell()\n"
        ),
    }
    made = build.texts(texts, [ROOT])
    assert "_tell" not in made["springhouse.top"]
    assert run(tmp_path / "after", made) == run(tmp_path / "before", texts)


def test_a_class_of_the_interpreter_keeps_its_names() -> None:
    text = "from framebuf import FrameBuffer\nclass Screen(FrameBuffer):\n    def _f(self): pass\n"
    tree = ast.parse(text + "    def show(self):\n        self._f()\n")
    shorten({"springhouse.x": tree}, [])
    assert "self._f()" in ast.unparse(tree)


def test_what_nobody_says_falls_out_and_what_only_that_says_too() -> None:
    text = (
        "TABLE = (1, 2)\nSPARE = {'a': (TABLE, 1)}\nDONE = print('it does something')\n"
        "def used():\n    return kept\ndef dead():\n    return also_dead()\n"
        "def also_dead():\n    return TABLE\n"
        "class Kept:\n    def __len__(self):\n        return 1\n    def spare(self): pass\n"
    )
    tree = ast.parse(text)
    shake({"springhouse.x": tree}, [ast.parse("used(); Kept()")])
    left = ast.unparse(tree)
    assert "dead" not in left
    assert "spare" not in left
    assert all(word in left for word in ("used", "__len__", "DONE"))
    tree = ast.parse(text)
    shake({"springhouse.x": tree}, [ast.parse("getattr(x, 'dead')\nfrom x import Kept as K\nK()")])
    assert all(word in ast.unparse(tree) for word in ("also_dead", "TABLE = ", "Kept"))


def bound_in(tree: ast.AST) -> set[str]:
    found: set[str] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Name) and not isinstance(node.ctx, ast.Load):
            found.add(node.id)
        elif isinstance(node, ast.arg):
            found.add(node.arg)
        elif isinstance(node, ast.Import | ast.ImportFrom):
            found.update((a.asname or a.name).split(".")[0] for a in node.names)
        elif name := getattr(node, "name", None):  # a function, a class, an exception caught
            found.add(name)
    return found


def test_everything_the_image_says_is_still_there() -> None:
    """Each name a module reads bare is bound in it or built in; each it imports is there."""
    trees = {module: ast.parse(text) for module, text in built.texts().items()}
    bound = {module: bound_in(tree) for module, tree in trees.items()}
    for module, tree in trees.items():
        loads = [n for n in ast.walk(tree) if isinstance(n, ast.Name)]
        read = {n.id for n in loads if isinstance(n.ctx, ast.Load)}
        assert read <= bound[module] | set(dir(builtins)) | {"__file__"}, module
        for node in ast.walk(tree):
            if isinstance(node, ast.ImportFrom) and (node.module or "") in trees:
                assert {a.name for a in node.names} <= bound[node.module or ""], module


WORDS = st.sampled_from(["a", "b", "_a", "_b", "A", "_A", "first", "_held", "self"])


@given(st.lists(WORDS, min_size=3, max_size=3), WORDS, WORDS)
def test_any_mixture_of_names_computes_the_same(args: list[str], top: str, attr: str) -> None:
    names = list(dict.fromkeys(w for w in args if w != "self"))
    if not names or top == "self" or attr == "self":
        return
    body = " + ".join(names)
    numbers = ", ".join(map(str, range(1, len(names) + 1)))
    text = (
        f"{top} = 100\nclass Thing:\n    def __init__(self, {', '.join(names)}):\n"
        f"        self.{attr} = {body}\n        self._more = {top}\n"
        f"    def {attr}_it(self, {names[0]}):\n"
        f"        return self.{attr} + self._more + {names[0]} + {top}\n"
        f"def main():\n    return Thing({numbers}).{attr}_it(7)\n"
    )
    results = []
    for made in (text, build.texts({"springhouse.top": text}, [ROOT])["springhouse.top"]):
        space: dict[str, object] = {}
        exec(compile(made, "top", "exec"), space)
        results.append(space["main"]())
    assert results[0] == results[1]

"""Functions, classes and tables that nothing on the board speaks of are left out of its code.

A definition is kept if its name is said anywhere: read, called, behind a dot, in a string, or in
the root files. Whose it is makes no difference, so `wlan.connect` keeps every `connect`. What only
something left out says goes too. Names with two underscores are the language's.
"""

import ast
from collections.abc import Iterable, Mapping

from .folding import PACKAGE
from .walking import parts

_Function = ast.FunctionDef | ast.AsyncFunctionDef


def said(tree: ast.AST) -> set[str]:
    """Return all names that code says other than to define them."""
    found: set[str] = set()
    imported: dict[str, str] = {}
    for node in parts(tree):
        if isinstance(node, ast.Name) and not isinstance(node.ctx, ast.Store):
            found.add(node.id)
        elif isinstance(node, ast.Attribute):
            found.add(node.attr)
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            found.add(node.value)
        elif isinstance(node, ast.Global | ast.Nonlocal):
            found.update(node.names)
        elif isinstance(node, ast.ImportFrom | ast.Import):
            imported.update({alias.asname or alias.name: alias.name for alias in node.names})
    return found | {name for shown, name in imported.items() if shown in found}


def _plain(node: ast.expr) -> bool:
    """Whether evaluating it does nothing but make a value."""
    if isinstance(node, ast.Tuple | ast.List | ast.Set):
        return all(_plain(part) for part in node.elts)
    if isinstance(node, ast.Dict):
        return all(key is not None and _plain(key) for key in node.keys) and all(
            _plain(value) for value in node.values
        )
    if isinstance(node, ast.UnaryOp):
        return _plain(node.operand)
    return isinstance(node, ast.Constant)


def _defines(node: ast.stmt) -> str:
    """Return the name that a statement defines and does nothing else, "" if it is not such."""
    if isinstance(node, _Function | ast.ClassDef) and not node.decorator_list:
        return "" if node.name.startswith("__") else node.name
    if isinstance(node, ast.Assign) and len(node.targets) == 1 and _plain(node.value):
        target = node.targets[0]
        return target.id if isinstance(target, ast.Name) else ""
    return ""


class _Shaker(ast.NodeTransformer):
    """Takes out definitions that are not said, of a module and of its classes."""

    def __init__(self, kept: set[str]) -> None:
        self._kept = kept
        self.taken = 0

    def _body(self, body: list[ast.stmt]) -> list[ast.stmt]:
        rest = [node for node in body if (name := _defines(node)) in self._kept or not name]
        self.taken += len(body) - len(rest)
        return rest

    def visit_Module(self, node: ast.Module) -> ast.Module:
        """A module's own definitions, then those of its classes."""
        node.body = self._body(node.body)
        self.generic_visit(node)
        return node

    def visit_FunctionDef(self, node: ast.FunctionDef) -> ast.FunctionDef:
        """Nothing inside functions."""
        return node

    def visit_ClassDef(self, node: ast.ClassDef) -> ast.ClassDef:
        """A class's methods."""
        node.body = self._body(node.body) or [ast.Pass()]
        return node


class _Imports(ast.NodeTransformer):
    """Takes out what a module imports of the package and does not say."""

    def __init__(self, used: set[str]) -> None:
        self._used = used

    def visit_ImportFrom(self, node: ast.ImportFrom) -> ast.AST | None:
        """All of them stand in this form, see folding.py."""
        if (node.module or "").split(".")[0] == PACKAGE:
            node.names = [a for a in node.names if (a.asname or a.name) in self._used]
        return node if node.names else None


def shake(modules: Mapping[str, ast.Module], roots: Iterable[ast.AST]) -> None:
    """Take out of the modules what neither they nor the roots say, until nothing more falls out."""
    outside: set[str] = set()
    for root in roots:
        outside |= said(root)
    while True:
        shaker = _Shaker(outside.union(*[said(tree) for tree in modules.values()]))
        for tree in modules.values():
            shaker.visit(tree)
        if not shaker.taken:
            return
        for tree in modules.values():
            _Imports(said(tree)).visit(tree)

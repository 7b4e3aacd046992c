"""Short names for what is nobody else's business: every name that code says costs a board memory.

The interpreter keeps each name once, whoever says it, so the same few serve everywhere:

- arguments that no call names, `a`, `b`, ... in each function;
- attributes and methods with one underscore, `a`, `b`, ... in each file. A file that derives a
  class from another's shares its names; one that derives from an interpreter's keeps its own;
- names with one underscore at a module's top level, `A`, `B`, ... in each file.

A name with one underscore that is said behind anything but `self`, imported, or in a string, stays
as it is everywhere. So do all names without underscore, and those with two.
"""

import ast
import builtins
import keyword
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from itertools import count
from string import ascii_lowercase, ascii_uppercase

from .walking import parts

_Function = ast.FunctionDef | ast.AsyncFunctionDef
_Scope = _Function | ast.Lambda | ast.ListComp | ast.SetComp | ast.DictComp | ast.GeneratorExp
_BUILTINS = frozenset(dir(builtins))


def _private(name: str) -> bool:
    return len(name) > 1 and name[0] == "_" and name[1] != "_"


def _short(letters: str, taken: set[str]) -> Iterator[str]:
    """Yield a, b, ..., z, aa, ab, ... but what is taken."""
    for number in count():
        name, rest = letters[number % 26], number // 26
        while rest:
            rest -= 1
            name, rest = letters[rest % 26] + name, rest // 26
        if name not in taken and not keyword.iskeyword(name):
            yield name


def _given(wanted: Counter[str], letters: str, taken: set[str]) -> dict[str, str]:
    """Return a short name for each, the shortest for what is said most often."""
    order = sorted(wanted, key=lambda name: (-wanted[name], name))
    return dict(zip(order, _short(letters, taken), strict=False))


def _stored(node: ast.AST) -> set[str]:
    """Names bound within a tree, but those said to be global."""
    found: set[str] = set()
    shared: set[str] = set()
    for part in parts(node):
        if isinstance(part, ast.Name):
            if not isinstance(part.ctx, ast.Load):
                found.add(part.id)
        elif isinstance(part, _Function | ast.ClassDef | ast.ExceptHandler) and part.name:
            if part is not node:
                found.add(part.name)
        elif isinstance(part, ast.arg):
            found.add(part.arg)
        elif isinstance(part, ast.Import | ast.ImportFrom):
            found.update((a.asname or a.name).split(".")[0] for a in part.names)
        elif isinstance(part, ast.Global):
            shared.update(part.names)
    return found - shared


def _identifiers(node: ast.AST) -> set[str]:
    """All names said or bound in a tree, those behind a dot apart."""
    return _stored(node) | {n.id for n in parts(node) if isinstance(n, ast.Name)}


class _Names(ast.NodeTransformer):
    """Renames plain names."""

    def __init__(self, short: Mapping[str, str]) -> None:
        self._short = short

    def _named(self, name: str) -> str:
        return self._short.get(name, name)

    def visit_Name(self, node: ast.Name) -> ast.AST:
        """One that is read or bound."""
        node.id = self._named(node.id)
        return node

    def visit_Global(self, node: ast.Global) -> ast.AST:
        """Those said to be global."""
        node.names = [self._named(name) for name in node.names]
        return node


def _name_arguments(node: _Function, kept: set[str]) -> None:
    own = [a for a in node.args.args if a.arg not in kept | {"self"}]
    every = parts(node) if own else []
    if not own or any(isinstance(part, ast.Global | ast.Nonlocal) for part in every):
        return
    inner = [part for part in every if isinstance(part, _Scope) and part is not node]
    hidden = {name for part in inner for name in _stored(part)}
    own = [a for a in own if a.arg not in hidden]
    taken = _identifiers(node) | kept | _BUILTINS
    short = dict(zip([a.arg for a in own], _short(ascii_lowercase, taken), strict=False))
    for argument in own:
        argument.arg = short[argument.arg]
    node.body = [_Names(short).visit(statement) for statement in node.body]


def _top_bound(tree: ast.Module) -> set[str]:
    """Private names that a module's top level defines."""
    found: set[str] = set()
    for node in tree.body:
        if isinstance(node, _Function | ast.ClassDef):
            found.add(node.name)
        elif isinstance(node, ast.Assign):
            found |= _stored(node)
    return {name for name in found if _private(name)}


def _name_top(tree: ast.Module, spoken_of: set[str]) -> None:
    bound = _top_bound(tree) - spoken_of
    if not bound:
        return
    for node in parts(tree):
        if isinstance(node, _Scope):
            bound -= _stored(node)
        elif isinstance(node, ast.ClassDef):
            for statement in node.body:
                bound -= _stored(statement) | {getattr(statement, "name", "")}
        elif isinstance(node, ast.Import | ast.ImportFrom):
            bound -= _stored(node)
    said = Counter(n.id for n in parts(tree) if isinstance(n, ast.Name) and n.id in bound)
    said.update(dict.fromkeys(bound, 0))
    short = _given(said, ascii_uppercase, _identifiers(tree) | _BUILTINS)
    _Names(short).visit(tree)
    for statement in tree.body:
        if isinstance(statement, _Function | ast.ClassDef):
            statement.name = short.get(statement.name, statement.name)


def _classes(tree: ast.Module) -> Iterator[ast.ClassDef]:
    return (node for node in parts(tree) if isinstance(node, ast.ClassDef))


def _groups(modules: Mapping[str, ast.Module]) -> list[list[str]]:
    """Return the modules in groups that share classes, less those that derive from others'."""
    group = {name: {name} for name in modules}
    foreign: set[str] = set()
    for name, tree in modules.items():
        source: dict[str, str] = {}
        for node in parts(tree):
            if isinstance(node, ast.ImportFrom):
                source.update({a.asname or a.name: node.module or "" for a in node.names})
        own = {node.name for node in _classes(tree)}
        for base in [base for node in _classes(tree) for base in node.bases]:
            root = base.id if isinstance(base, ast.Name) else ""
            if source.get(root) in modules:
                group[name] |= group[source[root]]
                for other in group[name]:
                    group[other] = group[name]
            elif root not in own | _BUILTINS:
                foreign.add(name)
    whole = {id(members): sorted(members) for members in group.values()}
    return [members for members in whole.values() if not foreign & set(members)]


def _name_attributes(trees: Iterable[ast.Module], spoken_of: set[str], public: set[str]) -> None:
    trees = list(trees)
    said: Counter[str] = Counter()
    kept = set(spoken_of)
    for tree in trees:
        said.update(n.attr for n in parts(tree) if isinstance(n, ast.Attribute))
        for each in _classes(tree):
            for part in each.body:
                if isinstance(part, _Function):
                    said[part.name] += 1
                else:
                    kept |= _stored(part)
    wanted = Counter({n: c for n, c in said.items() if _private(n) and n not in kept})
    short = _given(wanted, ascii_lowercase, public)
    for tree in trees:
        for node in parts(tree):
            if isinstance(node, ast.Attribute):
                node.attr = short.get(node.attr, node.attr)
            elif isinstance(node, ast.ClassDef):
                for part in node.body:
                    if isinstance(part, _Function):
                        part.name = short.get(part.name, part.name)


def _spoken_of(trees: Iterable[ast.AST]) -> set[str]:
    """Private names that others than their own file or `self` may mean."""
    found: set[str] = set()
    for tree in trees:
        for node in parts(tree):
            if isinstance(node, ast.Attribute):
                if not isinstance(node.value, ast.Name) or node.value.id != "self":
                    found.add(node.attr)
            elif isinstance(node, ast.ImportFrom):
                found.update(alias.name for alias in node.names)
            elif isinstance(node, ast.Constant) and isinstance(node.value, str):
                found.add(node.value)
    return found


def shorten(modules: Mapping[str, ast.Module], outside: Iterable[ast.AST]) -> None:
    """Give the modules short names; `outside` is other code that may speak of theirs."""
    every = [*modules.values(), *outside]
    spoken_of = _spoken_of(every)
    keywords = {n.arg for tree in every for n in parts(tree) if isinstance(n, ast.keyword)}
    kept = {name for name in keywords if name is not None}
    public = {n.attr for tree in every for n in parts(tree) if isinstance(n, ast.Attribute)}
    public |= {
        n.name for tree in every for n in parts(tree) if isinstance(n, _Function | ast.ClassDef)
    }
    for tree in modules.values():
        for node in parts(tree):
            if isinstance(node, _Function):
                _name_arguments(node, kept)
        _name_top(tree, spoken_of)
    for members in _groups(modules):
        _name_attributes([modules[name] for name in members], spoken_of, public)

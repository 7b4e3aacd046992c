"""Named integers become numbers in the code that goes on the board: half the size and RAM.

What is folded, and nothing else:

- A *constant* is a name that a module of the package binds once in the whole file, at its top
  level, to a value made of integers, `range`, lists over a range, and other constants; `NAME := 7`
  inside the value of another name is such a binding, too.
- Every read of a constant becomes its value: `reading.NOW_MS` through the module's name or alias,
  `NOW_MS` after `from ... import NOW_MS`, and the bare name inside its own module.
- Its binding is then left out, an import of which nothing remains is left out, and so is a module
  that holds nothing but constants. Annotations and `if TYPE_CHECKING:` go too; the board's compiler
  ignores the former.
- A call of `near`, which notes what a simulation wants to know, becomes the expression that the
  function returns; a call of one that returns nothing is left out, and so is the binding of a local
  that only such calls read.
- The profiles in `boards` are left alone: the board looks them up by name.

So that nothing can miss what was left out, a module of the package may be used only as the left
side of a dot, read only; anything else is refused.
"""

import ast
from collections import Counter
from collections.abc import Iterator, Mapping
from contextlib import suppress
from functools import partial
from pathlib import Path

from ..errors import KnownError
from . import plain
from .constants import Evaluator, NotConstantError
from .walking import parts

PACKAGE = "springhouse"
AS_IS = f"{PACKAGE}.boards."
NOTING = f"{PACKAGE}.near"
_TYPE_CHECKING = "TYPE_CHECKING"

_NAMED = (ast.FunctionDef, ast.AsyncFunctionDef, ast.ClassDef, ast.ExceptHandler)


class FoldError(KnownError):
    """Source that cannot be folded safely; the line names file and place."""


def _bound_names(tree: ast.Module) -> Counter[str]:
    """Return how often each name is bound anywhere in a file, imports apart."""
    found: Counter[str] = Counter()
    for node in parts(tree):
        if isinstance(node, ast.Name) and not isinstance(node.ctx, ast.Load):
            found[node.id] += 1
        elif isinstance(node, ast.arg):
            found[node.arg] += 1
        elif isinstance(node, _NAMED) and node.name:
            found[node.name] += 1
        elif isinstance(node, ast.Global | ast.Nonlocal):
            found.update(node.names)
        elif isinstance(node, ast.Import):
            found.update(alias.asname or alias.name.split(".")[0] for alias in node.names)
    return found


class _Source:
    """One file: its tree, and what its names stand for."""

    def __init__(self, text: str, shown: str, modules: frozenset[str]) -> None:
        self.text = text
        self.tree = ast.parse(text)
        self.shown = shown
        self.bound = _bound_names(self.tree)
        self.aliases: dict[str, str] = {}  # name -> module of the package
        self.names: dict[str, tuple[str, str]] = {}  # name -> (module, name there)
        for node in parts(self.tree):
            if isinstance(node, ast.ImportFrom) and _in_package(node.module):
                self._take_import(node, modules)
            elif isinstance(node, ast.Import) and any(_in_package(a.name) for a in node.names):
                raise self.refuse(node, "import it as `from springhouse import ...`")
        for name in (*self.aliases, *self.names):
            if self.bound[name]:
                raise self.refuse(self.tree, f"{name}: imported and bound again")

    def _take_import(self, node: ast.ImportFrom, modules: frozenset[str]) -> None:
        for alias in node.names:
            name, whole = alias.asname or alias.name, f"{node.module}.{alias.name}"
            meaning = whole if whole in modules else (node.module or "", alias.name)
            if alias.name == "*" or self.meaning(name) not in (None, meaning):
                raise self.refuse(node, f"{name}: one name for several things")
            if isinstance(meaning, str):
                self.aliases[name] = meaning
            else:
                self.names[name] = meaning

    def meaning(self, name: str) -> "str | tuple[str, str] | None":
        """Return the module, or module and name there, that an imported name stands for."""
        return self.aliases.get(name) or self.names.get(name)

    def refuse(self, node: ast.AST, why: str) -> FoldError:
        return FoldError(f"{self.shown}:{getattr(node, 'lineno', 1)}: {why}: cannot be folded")


def _in_package(module: str | None) -> bool:
    return module is not None and module.split(".")[0] == PACKAGE


def read_sources(files: Mapping[str, Path]) -> dict[str, str]:
    """Return the package among files by POSIX path, text by dotted module name."""
    return {
        name.removesuffix(".py").replace("/", "."): path.read_text("utf-8")
        for name, path in files.items()
        if name.startswith(f"{PACKAGE}/")
    }


class Package:
    """The sources of the package, folded one by one.

    Args:
        sources: as of `read_sources`; a package's own text is called `name.__init__`.

    Raises:
        FoldError: at construction or folding, for a use that could miss a folded name.
    """

    def __init__(self, sources: Mapping[str, str]) -> None:
        self._modules = frozenset(sources)
        self._sources = {name: self._read(text, name) for name, text in sources.items()}
        self._constants: dict[str, dict[str, int]] = {}

    @property
    def modules(self) -> list[str]:
        """Names of all modules."""
        return sorted(self._sources)

    def _read(self, text: str, shown: str) -> _Source:
        return _Source(text, shown, self._modules)

    def constants(self, module: str) -> dict[str, int]:
        """Return the constants of a module by name."""
        if module not in self._constants:
            self._constants[module] = {}  # a circle of imports finds none
            self._constants[module] = self._find_constants(self._sources[module])
        return self._constants[module]

    def _find_constants(self, source: _Source) -> dict[str, int]:
        found: dict[str, int] = {}
        for node in source.tree.body:
            for name, value in self._assigned(source, node, found):
                if source.bound[name] == 1:
                    found[name] = value
        return found

    def _assigned(
        self, source: _Source, node: ast.stmt, known: Mapping[str, int]
    ) -> list[tuple[str, int]]:
        """Return what a statement binds to integers; nothing unless it binds only such."""
        if not isinstance(node, ast.Assign) or len(node.targets) != 1:
            return []
        if found := list(self._inside(source, node.value, known)):
            return found
        target = node.targets[0]
        targets = target.elts if isinstance(target, ast.Tuple) else [target]
        names = [name.id for name in targets if isinstance(name, ast.Name)]
        try:
            value = Evaluator(partial(self.lookup, source), source.bound, known).value(node.value)
        except NotConstantError:
            return []
        values = value if isinstance(value, list) else [value]
        if isinstance(target, ast.Tuple) != isinstance(value, list) or len(names) != len(targets):
            return []
        return list(zip(names, values, strict=True))

    def _inside(
        self, source: _Source, whole: ast.expr, known: Mapping[str, int]
    ) -> Iterator[tuple[str, int]]:
        """Yield the integers that a value names on the way, `SLOT := 7`."""
        held = dict(known)
        for node in parts(whole):
            if isinstance(node, ast.NamedExpr) and source.bound[node.target.id] == 1:
                with suppress(NotConstantError):
                    lookup = partial(self.lookup, source)
                    number = Evaluator(lookup, source.bound, held).number(node.value)
                    held[node.target.id] = number
                    yield node.target.id, number

    def lookup(self, source: _Source, node: ast.expr) -> int | None:
        """Return the constant that an imported name or a dotted one stands for, None if none."""
        if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
            module = source.aliases.get(node.value.id)
            return None if module is None else self.constants(module).get(node.attr)
        if isinstance(node, ast.Name) and node.id in source.names:
            module, name = source.names[node.id]
            return self.constants(module).get(name) if module in self._sources else None
        return None

    def plain(self, source: _Source, call: ast.expr) -> ast.expr | None:
        """Return what a noting call answers, as `plain.answer`; None if it is no such call.

        Raises:
            FoldError: what it answers asks for an argument twice.
        """
        if not isinstance(call, ast.Call) or not isinstance(call.func, ast.Attribute):
            return None
        module = call.func.value
        if not isinstance(module, ast.Name) or source.aliases.get(module.id) != NOTING:
            return None
        for function in self._sources[NOTING].tree.body:
            if isinstance(function, ast.FunctionDef) and function.name == call.func.attr:
                try:
                    return plain.answer(function, call)
                except ValueError as error:
                    raise source.refuse(call, str(error)) from None
        return None

    def only_constants(self, module: str) -> bool:
        """Whether a module, its docstring and imports apart, binds nothing but constants."""
        body = self._sources[module].tree.body
        constants = self.constants(module)
        rest = [n for n in body if not isinstance(n, ast.ImportFrom) and not _is_text(n)]
        return bool(rest) and all(_binds_only(node, constants) for node in rest)

    def left_out(self, module: str) -> bool:
        """Whether the board does not get a module, for it holds nothing but constants."""
        known = module in self._sources and not module.startswith(AS_IS)
        return known and self.only_constants(module)

    def folded(self, module: str) -> ast.Module | None:
        """Return a module as the board gets it, None if it does not."""
        if module.startswith(AS_IS):
            return ast.parse(self._sources[module].text)
        if self.left_out(module):
            return None
        return self._fold(self._sources[module], self.constants(module))

    def fold(self, text: str, shown: str) -> str:
        """Return a program outside the package in terms of the folded one."""
        return ast.unparse(self._fold(self._read(text, shown), {})) + "\n"

    def _fold(self, source: _Source, own: Mapping[str, int]) -> ast.Module:
        tree: ast.Module = _Folder(self, source, own).visit(ast.parse(source.text))
        used = {n.id for n in parts(tree) if isinstance(n, ast.Name)}
        _Prune(self, source, used).visit(tree)
        return ast.fix_missing_locations(tree)


def _is_text(node: ast.stmt) -> bool:
    return isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)


def _binds_only(node: ast.stmt, constants: Mapping[str, int]) -> bool:
    if not isinstance(node, ast.Assign) or len(node.targets) != 1:
        return False
    target = node.targets[0]
    targets = target.elts if isinstance(target, ast.Tuple) else [target]
    return all(isinstance(name, ast.Name) and name.id in constants for name in targets)


def _number_node(value: int) -> ast.expr:
    """Return a number as source has it; a negative one stays a minus and a number."""
    if value < 0:
        return ast.UnaryOp(ast.USub(), ast.Constant(-value))
    return ast.Constant(value)


class _Folder(ast.NodeTransformer):
    """Puts numbers in the place of constants and takes their bindings out."""

    def __init__(self, package: Package, source: _Source, own: Mapping[str, int]) -> None:
        self._package = package
        self._source = source
        self._own = own

    def visit_Attribute(self, node: ast.Attribute) -> ast.AST:
        """Fold `reading.NOW_MS`; the module before the dot is nobody else's business."""
        if not isinstance(node.value, ast.Name) or node.value.id not in self._source.aliases:
            return self.generic_visit(node)
        if not isinstance(node.ctx, ast.Load):
            raise self._source.refuse(node, f"{node.value.id}.{node.attr}: set from outside")
        found = self._package.lookup(self._source, node)
        return node if found is None else _number_node(found)

    def visit_Name(self, node: ast.Name) -> ast.AST:
        """Fold a bare name; a module may not be handed about."""
        if node.id in self._source.aliases:
            raise self._source.refuse(node, f"{node.id}: a module used without a dot")
        if not isinstance(node.ctx, ast.Load):
            return node
        found = self._own.get(node.id)
        if found is None:
            found = self._package.lookup(self._source, node)
        return node if found is None else _number_node(found)

    def visit_NamedExpr(self, node: ast.NamedExpr) -> ast.AST:
        """Leave the number of a constant that is bound inside another value."""
        if node.target.id in self._own:
            return _number_node(self._own[node.target.id])
        return self.generic_visit(node)

    def visit_Call(self, node: ast.Call) -> ast.AST:
        """Put the plain comparison in the place of a noting one."""
        found = self._package.plain(self._source, node)
        return self.generic_visit(node) if found is None else self.visit(found)

    def visit_Expr(self, node: ast.Expr) -> ast.AST | None:
        """Leave out a noting call that answers nothing."""
        if self._package.plain(self._source, node.value) is not None:
            return None
        return self.generic_visit(node)

    def visit_Assign(self, node: ast.Assign) -> ast.AST | None:
        """Leave out the binding of constants."""
        if _binds_only(node, self._own) or _binds_only(node, {_TYPE_CHECKING: 0}):
            return None
        return self.generic_visit(node)

    def visit_AnnAssign(self, node: ast.AnnAssign) -> ast.AST | None:
        """Leave out the annotation."""
        if node.value is None:
            return None
        return self.generic_visit(ast.Assign([node.target], node.value, lineno=node.lineno))

    def visit_If(self, node: ast.If) -> ast.AST | None:
        """Leave out what only a type checker reads."""
        if isinstance(node.test, ast.Name) and node.test.id == _TYPE_CHECKING and not node.orelse:
            return None
        return self.generic_visit(node)

    def visit_FunctionDef(self, node: ast.FunctionDef) -> ast.AST:
        """Leave out the annotation of the result, and locals that only noting calls read."""
        node.returns = None
        before = plain.read_names(node)
        self.generic_visit(node)
        return plain.without_bindings(node, before - plain.read_names(node))

    def visit_AsyncFunctionDef(self, node: ast.AsyncFunctionDef) -> ast.AST:
        """As of any function."""
        node.returns = None
        return self.generic_visit(node)

    def visit_arg(self, node: ast.arg) -> ast.AST:
        """Leave out the annotation of an argument."""
        node.annotation = None
        return node


class _Prune(ast.NodeTransformer):
    """Takes out imports that nothing uses any more."""

    def __init__(self, package: Package, source: _Source, used: set[str]) -> None:
        self._package = package
        self._source = source
        self._used = used

    def visit_ImportFrom(self, node: ast.ImportFrom) -> ast.AST | None:
        """Keep the names still in use; a module that is left out cannot be among them."""
        if not _in_package(node.module):
            return node
        node.names = [a for a in node.names if (a.asname or a.name) in self._used]
        for alias in node.names:
            module = self._source.aliases.get(alias.asname or alias.name, node.module or "")
            if self._package.left_out(module):
                raise self._source.refuse(node, f"{alias.name}: of {module}, unknown there")
        return node if node.names else None

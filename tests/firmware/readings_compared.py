"""Follows analog readings through the text of the core to the places where they are compared."""

from __future__ import annotations

import ast
from collections.abc import Iterator

from test_core_syntax import CORE, tree

ANALOG = {
    *("STORE_LOW_MC", "STORE_HIGH_MC", "ROOM_MC", "COIL_IN_MC", "COIL_AIR_MC"),
    *("FLOW_ML_MIN", "FAN_RPM", "BATTERY_MV"),
}
KEEPING = {"abs", "min", "max"}  # what they return of a reading is one still
NOTING = "near"
Key = tuple[str, str]  # module, function


class Core:
    """Modules by name. A value is a reading if it was made of one by arithmetic or a call."""

    def __init__(self) -> None:
        self.functions: dict[Key, ast.FunctionDef] = {}
        self.modules: dict[str, dict[str, str]] = {}  # alias -> module, of each module
        self.returning: set[Key] = set()
        self.given: set[tuple[Key, str]] = set()  # parameters that some call gives a reading

    @classmethod
    def of_the_package(cls) -> Core:
        core = cls()
        for name in CORE:
            if name not in (NOTING, "horizon"):
                core.add_tree(name, tree(name))
        return core

    def add(self, name: str, text: str) -> None:
        self.add_tree(name, ast.parse(text))

    def add_tree(self, name: str, text: ast.Module) -> None:
        self.modules[name] = {}
        for node in text.body:
            if isinstance(node, ast.ImportFrom) and node.module == "springhouse":
                self.modules[name] |= {a.asname or a.name: a.name for a in node.names}
            if isinstance(node, ast.FunctionDef):
                self.functions[name, node.name] = node

    def stray(self) -> list[str]:
        """Places that compare a reading, or take it for a truth."""
        size = -1
        while size != len(self.returning) + len(self.given):
            size = len(self.returning) + len(self.given)
            for key in self.functions:
                self._follow(key)
        return [f"{key[0]}:{line}" for key in self.functions for line in self._compared(key)]

    def calls(self) -> int:
        """How many noting calls there are."""
        return sum(
            self._called(key[0], node) == (NOTING, "")
            for key, function in self.functions.items()
            for node in ast.walk(function)
            if isinstance(node, ast.Call)
        )

    def _follow(self, key: Key) -> None:
        names = self._names(key)
        nodes = list(ast.walk(self.functions[key]))
        answers = [n.value for n in nodes if isinstance(n, ast.Return) and n.value is not None]
        if any(self._is_reading(key[0], answer, names) for answer in answers):
            self.returning.add(key)
        for node in (n for n in nodes if isinstance(n, ast.Call)):
            called = self._called(key[0], node)
            if called in self.functions:
                parameters = self.functions[called].args.args
                for parameter, given in zip(parameters, node.args, strict=True):
                    if self._is_reading(key[0], given, names):
                        self.given.add((called, parameter.arg))

    def _names(self, key: Key) -> set[str]:
        """Names of a function that hold a reading at some time."""
        names = {name for owner, name in self.given if owner == key}
        size = -1
        while size != len(names):
            size = len(names)
            for node in ast.walk(self.functions[key]):
                if isinstance(node, ast.Assign | ast.AugAssign):
                    targets = node.targets if isinstance(node, ast.Assign) else [node.target]
                    if self._is_reading(key[0], node.value, names):
                        names |= {t.id for t in targets if isinstance(t, ast.Name)}
        return names

    def _called(self, module: str, node: ast.Call) -> Key:
        """The function called; (near, "") for every noting one."""
        if isinstance(node.func, ast.Name):
            return module, node.func.id
        assert isinstance(node.func, ast.Attribute)
        owner = node.func.value
        name = self.modules[module].get(owner.id, "") if isinstance(owner, ast.Name) else ""
        return (NOTING, "") if name == NOTING else (name, node.func.attr)

    def _is_reading(self, module: str, e: ast.expr, names: set[str]) -> bool:
        if isinstance(e, ast.Name):
            return e.id in names
        if isinstance(e, ast.Subscript):
            if not isinstance(e.value, ast.Name) or e.value.id != "readings":
                return False
            slot = e.slice.left if isinstance(e.slice, ast.BinOp) else e.slice
            return not isinstance(slot, ast.Attribute) or slot.attr in ANALOG
        if isinstance(e, ast.Call):
            called = self._called(module, e)
            kept = called[1] in KEEPING and called not in self.functions
            return called in self.returning or (
                kept and any(self._is_reading(module, a, names) for a in e.args)
            )
        parts: list[ast.expr] = []
        if isinstance(e, ast.BinOp):
            parts = [e.left, e.right]
        elif isinstance(e, ast.UnaryOp) and not isinstance(e.op, ast.Not):
            parts = [e.operand]
        elif isinstance(e, ast.IfExp):
            parts = [e.body, e.orelse]
        return any(self._is_reading(module, part, names) for part in parts)

    def _compared(self, key: Key) -> Iterator[int]:
        names = self._names(key)
        for node in ast.walk(self.functions[key]):
            asked: list[ast.expr] = []
            if isinstance(node, ast.Compare):
                asked = [node.left, *node.comparators]
            elif isinstance(node, ast.BoolOp):
                asked = node.values
            elif isinstance(node, ast.If | ast.While | ast.IfExp):
                asked = [node.test]
            elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
                asked = [node.operand]
            if any(self._is_reading(key[0], part, names) for part in asked):
                yield node.lineno

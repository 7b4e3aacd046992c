"""The parts of a running program: records, local names, how a block ends, sources."""

import ast
import inspect
import textwrap
from collections.abc import Callable
from dataclasses import dataclass, field
from types import FunctionType
from typing import Any, TypeAlias

from springhouse_host.induction.term import Truth, Value


@dataclass(frozen=True)
class SlotRecord:
    """A record by its name; its slots live in the state."""

    name: str


@dataclass
class State:
    """Local names of the running function, and the records it may write."""

    names: dict[str, Any]
    slots: dict[str, list[Value]]

    def copy(self) -> "State":
        """A copy for one branch."""
        return State(dict(self.names), {name: list(v) for name, v in self.slots.items()})


@dataclass
class Ends:
    """How a block may end: where it goes on, and where it returned what."""

    on: State | None
    on_when: Truth
    returned: list[tuple[Truth, Value, State]] = field(default_factory=list)


@dataclass(frozen=True)
class Duty:
    """What must be impossible for the text to have a meaning, and where."""

    where: str
    impossible: Truth


StandIn: TypeAlias = Callable[[Any, State, list[Any]], Value]


class NotInSubset(Exception):
    """The text uses something that the translator does not know."""


_SOURCES: dict[FunctionType, ast.FunctionDef] = {}


def source_of(function: FunctionType) -> ast.FunctionDef:
    """Syntax tree of a function."""
    if function not in _SOURCES:
        tree = ast.parse(textwrap.dedent(inspect.getsource(function))).body[0]
        if not isinstance(tree, ast.FunctionDef):
            raise NotInSubset(f"{function.__qualname__}: not a plain function")
        _SOURCES[function] = tree
    return _SOURCES[function]

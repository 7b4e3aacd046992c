"""Rules across keys: what one is, and how they are asked."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

from .read import Fault, Values, shown

# Table and key, value as it stands, what is allowed.
Found = Iterable[tuple[str, Any, str]]


class Said(str):
    """Words about a value, where the value itself is not there to be shown."""

    __slots__ = ()


@dataclass(frozen=True)
class Rule:
    """A question about good values; ``needs`` names them as table.key, in the order passed."""

    needs: tuple[str, ...]
    ask: Callable[..., Found]


def rule(*needs: str) -> Callable[[Callable[..., Found]], Rule]:
    """Make a rule of a function that yields what is wrong with the values it is given."""
    return lambda ask: Rule(needs, ask)


def check(rules: Iterable[Rule], values: Values) -> list[Fault]:
    """Return what the rules find; one that needs a value which is itself bad is passed over."""
    faults = []
    for asked in rules:
        try:
            needed = [values[table][key] for table, key in (n.split(".") for n in asked.needs)]
        except KeyError:
            continue
        for where, value, allowed in asked.ask(*needed):
            text = str(value) if isinstance(value, Said) else shown(value)
            faults.append(Fault(where, text, allowed))
    return faults

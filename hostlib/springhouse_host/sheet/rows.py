"""What a row of the sizing sheet is when it is printed, and its figures in words."""

from collections.abc import Callable
from typing import TYPE_CHECKING, TypeAlias

if TYPE_CHECKING:
    from .sizing import Sheet

Rows: TypeAlias = "tuple[tuple[str, Callable[[Sheet], str]], ...]"

DESCRIBED = {"low": "weakest", "mid": "middle", "high": "strongest"}  # readings of the labels


def days(value: float | None) -> str:
    """Return days, or words where there are none."""
    return "does not warm so far" if value is None else f"{value:.1f} d"


def hours(value: float | None) -> str:
    """Return hours, or words where there are none."""
    return "not reached" if value is None else f"{value:.1f} h"

"""Whose records they are: a real installation, a simulated one, a board without a site."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from ..site.site import Site

Kind = Literal["site", "simulated", "board"]
BEFORE = "before"  # records from when installations were not told apart
NO_NAME = "without a name"


@dataclass(frozen=True)
class Whose:
    """An installation in a base of records; one kind is never taken for another."""

    kind: Kind
    name: str

    def __str__(self) -> str:
        return f"{self.kind}:{self.name}"


def whose(site: "Site | None", simulated: bool, serial_number: str | None = None) -> Whose:
    """Return whose records a watcher keeps: the site's, or those of a board by its USB number."""
    if site is not None:
        return Whose("simulated" if simulated else "site", site.name)
    return Whose("board", serial_number or NO_NAME)


def serial_number(port: str) -> str | None:
    """Return the number that a board on USB tells the computer, None where there is none."""
    from serial.tools import list_ports

    return next((at.serial_number for at in list_ports.comports() if at.device == port), None)


def shown(whose: str | None) -> str:
    """Return an installation as a person reads it and names it."""
    if whose is None:
        return BEFORE
    kind, _, name = whose.partition(":")
    words = {"site": name, "simulated": f"{name}, simulated", "board": f"board {name}"}
    return words.get(kind, whose)

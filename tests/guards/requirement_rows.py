"""The table of requirements, the tests that exist, the hardware rows; and what is wrong with them.

Tests are found by parsing the files, so that a row cannot lean on a test that is never collected.
"""

from __future__ import annotations

import ast
import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

TESTS = Path(__file__).parents[1]
ROOT = TESTS.parent
# How a row is verified, and where a test that does so may lie; hardware needs none.
HOW = {
    "complete check": (
        "guards/test_abstract",
        "guards/test_arithmetic",
        "firmware/test_complete",
        "host/test_induction",
    ),
    "random adversary": ("firmware/", "sim/", "guards/test_plant_adversary", "board/"),
    "fault injection": ("guards/test_catalogue", "guards/test_plant_adversary", "sim/test_world"),
    "scripted test": ("firmware/", "host/", "reference/", "sim/"),
    "board test": ("board/", "guards/test_requirements"),
    "hardware": (),
}
ROWS = range(1, 72)
WANTED = [f"INV-{n:02d}" for n in range(1, 32)] + [f"ROW-{n:02d}" for n in ROWS]
# Service invariants may be tuned by the owner; the other 27 may never be switched off.
SERVICE = {"INV-06", "INV-25", "INV-26", "INV-27"}
INTERVAL = r"monthly|yearly|commissioning|rated life"
_NAMED = re.compile(r"test_inv_(\d\d)_")
_HARDWARE = re.compile(r"^\| (ROW-\d\d) \|(.*)\|$", re.M)

Row = dict[str, Any]


@dataclass(frozen=True)
class Shown:
    """What a test function shows: the ids it carries, and whether only the long runs have it."""

    ids: tuple[str, ...] = ()
    slow: bool = False


@dataclass
class Owed:
    """All that must fit together."""

    table: Mapping[str, Row]
    tests: Mapping[str, Shown]
    hardware: Mapping[str, list[str]] = field(default_factory=dict)

    def wrong(self) -> list[str]:
        """One line for each thing that does not fit."""
        found = [] if list(self.table) == WANTED else ["rows are not those wanted, in order"]
        for name, row in self.table.items():
            found += [f"{name}: {line}" for line in self._row(name, row)]
        for name in self.hardware:
            if "hardware" not in self.table.get(name, {}).get("verified", ()):
                found.append(f"{name}: in wiring/, and no requirement of hardware")
        for name, test in self.tests.items():
            for identity in test.ids:
                if name not in self.table.get(identity, {}).get("tests", ()):
                    found.append(f"{identity} does not list {name}")
        return found

    def _row(self, name: str, row: Row) -> Iterator[str]:
        for key in ("shall", "default", "origin"):
            if not str(row.get(key, "")).strip():
                yield f"no {key}"
        kind = "service" if name in SERVICE else "safety"
        if name.startswith("INV") and row.get("kind") != kind:
            yield f"not {kind}"
        tests, verified = row["tests"], row["verified"]
        if not verified or set(verified) - set(HOW) or len(set(tests)) < len(tests):
            yield "not verified, in no known way, or a test named twice"
        yield from (f"{test} does not exist" for test in tests if test not in self.tests)
        if tests and all(self.tests.get(test, Shown()).slow for test in tests):
            yield "no everyday test"
        for how in verified:
            if how in HOW and how != "hardware" and not any(t.startswith(HOW[how]) for t in tests):
                yield f"no test of the kind '{how}'"
        if "hardware" in verified:
            cells = self.hardware.get(name, [])
            if len(cells) != 4 or not all(cells) or not re.search(INTERVAL, cells[3]):
                yield "no part, caution and proof test with its interval in wiring/"


def read_table() -> dict[str, Row]:
    return tomllib.loads((TESTS / "requirements.toml").read_text(encoding="utf-8"))


def read_hardware() -> dict[str, list[str]]:
    text = (ROOT / "wiring" / "required_hardware.md").read_text(encoding="utf-8")
    return {row: [c.strip() for c in rest.split("|")] for row, rest in _HARDWARE.findall(text)}


def read_tests() -> dict[str, Shown]:
    """Every test function by the name the table uses."""
    found = {}
    for path in sorted(TESTS.rglob("test_*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.FunctionDef) and node.name.startswith("test_"):
                name = f"{path.relative_to(TESTS).as_posix()}::{node.name}"
                found[name] = read_test(node)
    return found


def read_test(node: ast.FunctionDef) -> Shown:
    """The ids of a test are those of its marks and of its name."""
    by_name = _NAMED.search(node.name)
    ids = [f"INV-{by_name[1]}"] if by_name else []
    slow = False
    for mark in node.decorator_list:
        slow |= ast.unparse(mark) == "pytest.mark.slow"
        if isinstance(mark, ast.Call) and ast.unparse(mark.func) == "pytest.mark.requirement":
            ids += [str(ast.literal_eval(argument)) for argument in mark.args]
    return Shown(tuple(ids), slow)

"""The table of requirements is whole: each row has tests that exist, each marked test has its row.

Tests are found by parsing the files, so that a row cannot lean on a test that is never collected.
"""

from __future__ import annotations

import ast
import re
import tomllib
from functools import cache
from pathlib import Path
from typing import Any

import pytest

TESTS = Path(__file__).parents[1]
ROOT = TESTS.parent
HOW = {
    "complete check",
    "random adversary",
    "fault injection",
    "scripted test",
    "board test",
    "hardware",
}
# Service invariants may be tuned by the owner; the other 23 may never be switched off.
SERVICE = {"INV-06", "INV-25", "INV-26"}
WANTED = [f"INV-{n:02d}" for n in range(1, 27)] + [f"ROW-{n:02d}" for n in range(1, 63)]
_NAMED = re.compile(r"test_inv_(\d\d)_")
_HARDWARE = re.compile(r"^\| (ROW-\d\d) \|(.*)\|$", re.M)


@cache
def table() -> dict[str, dict[str, Any]]:
    return tomllib.loads((TESTS / "requirements.toml").read_text(encoding="utf-8"))


@cache
def collected() -> dict[str, list[str]]:
    """Every test function by the name the table uses, with the ids of its `requirement` marks."""
    found = {}
    for path in sorted(TESTS.rglob("test_*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.FunctionDef) and node.name.startswith("test_"):
                name = f"{path.relative_to(TESTS).as_posix()}::{node.name}"
                found[name] = marks(node)
    return found


def marks(node: ast.FunctionDef) -> list[str]:
    ids = []
    for mark in node.decorator_list:
        if isinstance(mark, ast.Call) and ast.unparse(mark.func) == "pytest.mark.requirement":
            ids += [str(ast.literal_eval(argument)) for argument in mark.args]
    return ids


@cache
def hardware_rows() -> dict[str, list[str]]:
    text = (ROOT / "wiring" / "required_hardware.md").read_text(encoding="utf-8")
    return {row: [c.strip() for c in rest.split("|")] for row, rest in _HARDWARE.findall(text)}


def test_every_invariant_and_every_failure_mode_is_there_in_order() -> None:
    assert list(table()) == WANTED
    service = {name for name, row in table().items() if row.get("kind") == "service"}
    assert service == SERVICE
    assert sum(row.get("kind") == "safety" for row in table().values()) == 23


@pytest.mark.parametrize("name", WANTED)
def test_row_says_what_from_where_and_how(name: str) -> None:
    row = table()[name]
    for key in ("shall", "default", "origin"):
        assert isinstance(row[key], str), key
        assert row[key].strip(), key
    assert row["verified"]
    assert set(row["verified"]) <= HOW
    assert len(set(row["tests"])) == len(row["tests"])


@pytest.mark.parametrize("name", WANTED)
def test_row_has_tests_that_exist(name: str) -> None:
    row = table()[name]
    if set(row["verified"]) != {"hardware"}:
        assert row["tests"], "a row that is not hardware alone needs a test"
    missing = [test for test in row["tests"] if test not in collected()]
    assert not missing


@pytest.mark.parametrize("name", [n for n in WANTED if "hardware" in table()[n]["verified"]])
def test_hardware_row_has_its_part_caution_and_proof_test(name: str) -> None:
    assert name in hardware_rows(), "not in wiring/required_hardware.md"
    cells = hardware_rows()[name]
    assert len(cells) == 4
    assert all(cells)
    assert re.search(r"monthly|yearly|commissioning|rated life", cells[3]), "no interval"


def test_no_row_of_wiring_is_without_its_requirement() -> None:
    for name in hardware_rows():
        assert "hardware" in table()[name]["verified"], name


def test_every_test_that_names_a_requirement_is_listed_under_it() -> None:
    named = 0
    for test, ids in collected().items():
        by_name = _NAMED.search(test)
        for identity in ids + ([f"INV-{by_name[1]}"] if by_name else []):
            named += 1
            assert identity in table(), f"{test}: no row {identity}"
            assert test in table()[identity]["tests"], f"{identity} does not list {test}"
    assert named > 23


def test_every_safety_invariant_has_a_planted_bug() -> None:
    planted: set[str] = set()
    for path in sorted(TESTS.rglob("planted*.toml")):
        bugs = tomllib.loads(path.read_text(encoding="utf-8"))["bug"]
        planted |= {f"INV-{bug['invariant']:02d}" for bug in bugs}
    assert {n for n, row in table().items() if row.get("kind") == "safety"} <= planted


@pytest.mark.requirement("ROW-61")
def test_one_writer_of_outputs() -> None:
    """Only the scanner drives outputs, and only the loop's control task runs the scanner."""
    drives, scans = [], []
    for path in sorted((ROOT / "firmware").rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not isinstance(node, ast.Call):
                continue
            called = ast.unparse(node.func)
            if called.endswith("outputs.write"):
                drives.append(path.name)
            if called.endswith("scanner.run"):
                scans.append(path.name)
    assert drives == ["scan.py"]
    assert scans == ["loop.py"]

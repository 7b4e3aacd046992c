"""The requirements are whole: each row has tests that exist, each marked test has its row."""

from __future__ import annotations

import ast
import re
import tomllib
from collections.abc import Callable
from copy import deepcopy
from functools import cache
from pathlib import Path

import pytest
from requirement_rows import ROOT, TESTS, Owed, Shown, read_hardware, read_table, read_tests
from springhouse_host.proof import catalogue
from springhouse_host.site import load_site


@cache
def owed() -> Owed:
    return Owed(read_table(), read_tests(), read_hardware())


def test_everything_fits_together() -> None:
    assert owed().wrong() == []
    assert sum(len(test.ids) for test in owed().tests.values()) > 60


BREAKS: dict[str, Callable[[Owed], object]] = {
    "rows are not those wanted": lambda o: o.table.pop("ROW-17"),
    "ROW-23: not verified": lambda o: o.table["ROW-23"].update(verified=[]),
    "ROW-23: no test of the kind 'scripted test'": lambda o: o.table["ROW-23"]["tests"].__delitem__(
        slice(1, None)
    ),
    "INV-04: no test of the kind 'complete check'": lambda o: o.table["INV-04"].update(tests=[]),
    "does not exist": lambda o: o.tests.pop(o.table["INV-05"]["tests"][0]),
    "INV-05 does not list": lambda o: o.table["INV-05"]["tests"].pop(1),
    "ROW-99 does not list": lambda o: o.tests.update({"sim/x.py::test_x": Shown(("ROW-99",))}),
    "ROW-31: no part, caution": lambda o: o.hardware.pop("ROW-31"),
    "ROW-32: in wiring/": lambda o: o.hardware.update({"ROW-32": ["a", "b", "c", "monthly"]}),
    "ROW-52: no part, caution": lambda o: o.hardware["ROW-52"].__setitem__(3, "now and then"),
    "INV-01: no shall": lambda o: o.table["INV-01"].update(shall=" "),
    "INV-26: not service": lambda o: o.table["INV-26"].update(kind="safety"),
    "ROW-44: no everyday test": lambda o: o.tests.update(
        {name: Shown(slow=True) for name in o.table["ROW-44"]["tests"]}
    ),
}


@pytest.mark.parametrize("line", BREAKS)
def test_what_does_not_fit_is_told(line: str) -> None:
    broken = deepcopy(owed())
    BREAKS[line](broken)
    assert any(line in told for told in broken.wrong()), broken.wrong()


def test_every_row_shown_by_the_catalogue_has_a_case_there() -> None:
    """So that no row leans on a test that runs faults, but not its own."""
    found = catalogue.cases(load_site("demo"))
    cases = {f"ROW-{case.row:02d}" for case in found if case.row}
    cases.add("ROW-28")  # with a tachometer, see test_catalogue.py
    name = "guards/test_catalogue.py::test_each_fault_gets_its_response"
    cited = {row for row, entry in owed().table.items() if name in entry["tests"]}
    assert {row for row in cited if row.startswith("ROW")} == cases


def test_every_safety_invariant_has_a_planted_bug() -> None:
    planted: set[str] = set()
    for path in sorted(TESTS.rglob("planted*.toml")):
        bugs = tomllib.loads(path.read_text(encoding="utf-8"))["bug"]
        planted |= {f"INV-{bug['invariant']:02d}" for bug in bugs}
    safety = {n for n, row in owed().table.items() if row.get("kind") == "safety"}
    assert len(safety) == 27
    assert safety <= planted


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


PROTECTIONS = {
    "independent_freeze_cutout": "independent freeze cut-out",
    "siphon_break": "siphon break",
    "residual_current_device": "residual-current device",
}


def test_the_verdict_says_which_hardware_it_takes_for_granted(tmp_path: Path) -> None:
    """A part declared is assumed, one that is not is unguarded, the rest is in wiring/."""
    demo = load_site("demo")
    bare = re.sub(r"(?m)^(" + "|".join(PROTECTIONS) + r") *=.*$", r"\1 = false", demo_text())
    assert bare != demo_text()
    path = tmp_path / "bare.toml"
    path.write_text(bare, encoding="utf-8")
    without = load_site(str(path))
    for key, words in PROTECTIONS.items():
        assert any(words in line for line in demo.assumes()), key
        assert any(words in line for line in without.unguarded()), key
        assert not any(words in line for line in without.assumes()), key
    assert any("wiring/required_hardware.md" in line for line in without.assumes())


def demo_text() -> str:
    return (ROOT / "hostlib/springhouse_host/sites/demo.toml").read_text(encoding="utf-8")

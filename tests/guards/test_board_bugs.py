"""A planted bug for each invariant that only the board's program keeps; a board test catches it.

Each entry of planted_board_bugs.toml changes a line in a copy of the firmware; the named test then
runs in a process of its own and must fail.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path
from typing import Any

import pytest

TESTS = Path(__file__).parents[1]
ROOT = TESTS.parent
BUGS: list[dict[str, Any]] = tomllib.loads(
    (Path(__file__).parent / "planted_board_bugs.toml").read_text(encoding="utf-8")
)["bug"]
FAILED = 1  # pytest: tests ran and some failed; a test that is not found gives another code


def copied(folder: Path) -> Path:
    """Firmware and simulation: the virtual board flashes the firmware that lies beside it."""
    for name in ("firmware", "sim"):
        shutil.copytree(ROOT / name, folder / name)
    return folder / "firmware"


def run(firmware: Path, test: str) -> int:
    paths = (firmware, firmware.parent / "sim", ROOT / "hostlib")
    return subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-x", "-p", "no:cacheprovider", str(TESTS / test)],
        env={**os.environ, "PYTHONPATH": os.pathsep.join(map(str, paths))},
        cwd=ROOT,
        capture_output=True,
        check=False,
    ).returncode


@pytest.mark.slow
@pytest.mark.requirement("INV-20", "INV-21", "INV-22", "INV-24")
@pytest.mark.parametrize("bug", BUGS, ids=lambda b: f"inv-{b['invariant']:02d}-{b['file']}")
def test_planted_board_bug_is_caught(bug: dict[str, Any], tmp_path: Path) -> None:
    firmware = copied(tmp_path)
    file = firmware / "springhouse" / bug["file"]
    text = file.read_text(encoding="utf-8")
    assert text.count(bug["old"]) == 1, "the line the bug changes is no longer there"
    file.write_text(text.replace(bug["old"], bug["new"]), encoding="utf-8")
    assert run(firmware, bug["test"]) == FAILED


@pytest.mark.slow
@pytest.mark.parametrize("test", sorted({bug["test"].partition("[")[0] for bug in BUGS})[:1])
def test_the_copy_as_it_is_passes(test: str, tmp_path: Path) -> None:
    """So that a failure above is the bug's and not the copy's."""
    assert run(copied(tmp_path), test) == 0

"""Bugs in what judges: each is caught by the fast test that stands beside it in judging_bugs.toml.

The changed file is put in a copy of its package, and the test is run against the copy.
"""

import os
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).parents[2]
BUGS: list[dict[str, Any]] = tomllib.loads(
    (Path(__file__).parent / "judging_bugs.toml").read_text(encoding="utf-8")
)["bug"]


def test_every_bug_says_who_catches_it() -> None:
    """The line is there once, the test exists, and what a proof would show is said."""
    for bug in BUGS:
        text = (ROOT / bug["root"] / bug["file"]).read_text(encoding="utf-8")
        assert text.count(bug["old"]) == 1, bug["story"]
        assert bug["name"] in (ROOT / "tests" / bug["test"]).read_text(encoding="utf-8")
        assert bug["prove"].startswith(("not run; should show as: ", "nothing: "))
    assert len({bug["story"] for bug in BUGS}) == len(BUGS) > 10


@pytest.mark.slow
@pytest.mark.parametrize("bug", BUGS, ids=lambda b: b["story"])
def test_planted_bug_is_caught(bug: dict[str, Any], tmp_path: Path) -> None:
    for part in ("firmware", "sim", "hostlib"):
        shutil.copytree(
            ROOT / part, tmp_path / part, ignore=shutil.ignore_patterns("__pycache__", "*.egg-info")
        )
    shutil.copytree(ROOT / "wiring", tmp_path / "wiring")
    file = tmp_path / bug["root"] / bug["file"]
    text = file.read_text(encoding="utf-8")
    file.write_text(text.replace(bug["old"], bug["new"]), encoding="utf-8")
    path = os.pathsep.join(str(tmp_path / part) for part in ("firmware", "sim", "hostlib"))
    test = [str(ROOT / "tests" / bug["test"]), "-k", bug["name"]]
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-x", "-p", "no:cacheprovider", *test],
        env={**os.environ, "PYTHONPATH": path},
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 1, done.stdout[-500:]

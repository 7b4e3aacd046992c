"""The random adversary and its observer catch one planted bug per invariant.

Each entry of planted_bugs.toml changes one line in a copy of the firmware; the copy is driven in a
process of its own. `seed` is where the search begins: an episode known to catch the bug.
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
    (Path(__file__).parent / "planted_bugs.toml").read_text(encoding="utf-8")
)["bug"]
EPISODES = 80
HUNT = str(Path(__file__).parent / "hunt.py")


def search(folder: Path, invariant: int, first_seed: int, episodes: int, scans: int) -> str:
    """Drive the firmware in `folder` until the invariant breaks; "seed N" or "none"."""
    done = subprocess.run(
        [sys.executable, HUNT, *map(str, (invariant, first_seed, episodes, scans))],
        env={**os.environ, "PYTHONPATH": os.pathsep.join((str(folder), str(ROOT / "sim")))},
        capture_output=True,
        text=True,
        check=True,
    )
    return done.stdout.strip()


def copied_firmware(folder: Path) -> Path:
    shutil.copytree(ROOT / "firmware" / "springhouse", folder / "springhouse")
    return folder


@pytest.mark.parametrize("bug", BUGS, ids=lambda b: f"inv-{b['invariant']:02d}")
def test_planted_bug_is_caught(bug: dict[str, Any], tmp_path: Path) -> None:
    file = copied_firmware(tmp_path) / "springhouse" / bug["file"]
    text = file.read_text(encoding="utf-8")
    assert text.count(bug["old"]) == 1, "the line the bug changes is no longer there"
    file.write_text(text.replace(bug["old"], bug["new"]), encoding="utf-8")
    assert search(tmp_path, bug["invariant"], bug["seed"], EPISODES, bug["scans"]) != "none"


def test_firmware_as_it_is_breaks_nothing(tmp_path: Path) -> None:
    assert search(copied_firmware(tmp_path), 0, 0, 4, 6000) == "none"

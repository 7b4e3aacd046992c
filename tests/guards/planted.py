"""All planted bugs of this repository, and what refutes each of them; run by hand.

    python tests/guards/planted.py FOLDER [--only TEXT] [--judges fast,table,...] [--out FILE]

Each bug is one wrong line in a copy of what it lies in; the files of `LISTS` hold them. Judges:

- `fast`: the test that is named beside it;
- `table`, `interlock`: the two halves of the complete check, where the bug lies in what they read;
- `induction`: the queries named beside it (`only`);
- `adversary`: random inputs under the observer, from the episode named beside it; else, where
  nothing above that `prove` runs refutes the bug, `EPISODES` of `SCANS` each. `prove` runs two
  million inputs, so a "no" here is no "no" there.

`prove` beside a bug says why nothing that it runs can refute that one. One with `equivalent` is no
bug: the program does the same, and why is said there; it is counted apart and must not be refuted.

Prints a table and three counts: bugs that a fast test refutes, that something refutes which `prove`
runs, and that nothing refutes. `-` was not asked. Leaves with 1 if nothing refutes one.
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import subprocess
import sys
import tomllib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

TESTS = Path(__file__).parents[1]
ROOT = TESTS.parent
CORE = "firmware/springhouse"
ADVERSARY = "sim/planted_bugs.toml"
INDUCTION = "host/induction_bugs.toml"
LISTS = (
    "guards/core_bugs.toml",
    "guards/planted_board_bugs.toml",
    ADVERSARY,
    "sim/judging_bugs.toml",
    INDUCTION,
)
JUDGES = ("fast", "table", "interlock", "induction", "adversary")
PROVES = JUDGES[1:]  # what `prove` runs
PARTS = ("firmware", "sim", "hostlib")
READ_BY_TABLE = ("condition.py", "output.py", "statechart.py", "interlock.py")
EPISODES = 2
SCANS = 4000
HUNT = TESTS / "sim" / "hunt.py"

COMPLETE = """
import json
from springhouse import interlock, statechart
from springhouse_host.proof.interlock_check import check_interlock
from springhouse_host.proof.table_check import check_region, room_side, store_side
found = [line for side in (store_side, room_side) for line in check_region(side(statechart))[0]]
print(json.dumps([len(found), len(check_interlock(interlock.grant)[0])]))
"""


@dataclass(frozen=True)
class Bug:
    """One wrong line: where, and what is said to refute it."""

    listed: str
    row: dict[str, Any]

    @property
    def story(self) -> str:
        """What is wrong, in words."""
        return str(self.row["story"])

    @property
    def file(self) -> Path:
        """The file it lies in, below the root."""
        return Path(self.row.get("root", CORE)) / self.row["file"]

    @property
    def in_core(self) -> bool:
        """Whether it lies in the board's flash."""
        return str(self.file).startswith(CORE)

    @property
    def test(self) -> list[str]:
        """Arguments of pytest for the test named beside it; empty if none is."""
        if "test" not in self.row:
            return []
        file, _, name = str(self.row["test"]).partition("::")
        name = name or self.row.get("name", "")
        return [str(TESTS / file), *(["-k", name] if name else [])]

    def put_in(self, folder: Path) -> None:
        """Copy what it lies in to `folder`, with the wrong line.

        Raises:
            ValueError: when the line is not there once.
        """
        for part in ("firmware",) if self.in_core else (*PARTS, "wiring"):
            ignored = shutil.ignore_patterns("__pycache__", "*.egg-info")
            shutil.copytree(ROOT / part, folder / part, ignore=ignored)
        text = (folder / self.file).read_text("utf-8")
        if text.count(self.row["old"]) != 1:
            raise ValueError(f"{self.listed}: {self.story}: the line is there not once")
        (folder / self.file).write_text(text.replace(self.row["old"], self.row["new"]), "utf-8")


def bugs() -> Iterator[Bug]:
    """Yield every planted bug of the lists."""
    topics = tomllib.loads((TESTS / INDUCTION).read_text("utf-8"))["adversary"]
    for name in LISTS:
        for row in tomllib.loads((TESTS / name).read_text("utf-8"))["bug"]:
            topic = topics.get(row["story"]) if name == ADVERSARY else None
            if topic:
                row |= {"only": topic, "parts": ["lemma" if topic == "expire" else "step"]}
            yield Bug(name, row)


class Ran:
    """Programs run against the copy with the bug in it."""

    def __init__(self, folder: Path) -> None:
        here = [folder / part if (folder / part).exists() else ROOT / part for part in PARTS]
        self._environment = {**os.environ, "PYTHONPATH": os.pathsep.join(map(str, here))}

    def __call__(self, *arguments: str) -> subprocess.CompletedProcess[str]:
        """Run one to its end."""
        return subprocess.run(
            [sys.executable, *arguments],
            env=self._environment,
            cwd=ROOT,
            capture_output=True,
            text=True,
            check=False,
        )


def fast(bug: Bug, ran: Ran) -> bool | None:
    """Whether the test named beside it fails; None if there is none.

    Raises:
        RuntimeError: when it could not be run.
    """
    if not bug.test:
        return None
    done = ran("-m", "pytest", "-q", "-x", "-p", "no:cacheprovider", *bug.test)
    if done.returncode not in (0, 1):
        raise RuntimeError(f"{bug.story}: {done.stdout[-300:]}{done.stderr[-300:]}")
    return done.returncode == 1


def complete(bug: Bug, ran: Ran) -> tuple[bool | None, bool | None]:
    """Whether the table's half and the interlock's half of the complete check find it."""
    if not bug.in_core or bug.file.name not in READ_BY_TABLE:
        return None, None
    done = ran("-c", COMPLETE)
    if done.returncode:
        return True, True
    rows, grants = json.loads(done.stdout)
    return rows > 0, grants > 0


def induction(bug: Bug, ran: Ran) -> bool | None:
    """Whether one of the queries named beside it is refuted; None if none is named.

    Source that can no longer be translated is refuted too: `prove` ends there.

    Raises:
        RuntimeError: when no query has such a name.
    """
    if "only" not in bug.row:
        return None
    asked = (*bug.row.get("parts", ()), "--only", bug.row["only"])
    done = ran("-m", "springhouse_host.induction", *asked)
    if done.returncode == 0 and "proven" not in done.stdout.rpartition("\n0 not proven")[0]:
        raise RuntimeError(f"{bug.story}: no query is named {bug.row['only']!r}")
    return done.returncode != 0


def adversary(bug: Bug, ran: Ran) -> bool | None:
    """Whether the observer counts a violation under random inputs."""
    if not bug.in_core or "board/" in bug.row.get("test", ""):
        return None
    named = "seed" in bug.row
    asked = (0, 1, EPISODES, SCANS)
    if named:
        asked = (bug.row["invariant"], bug.row["seed"], 1, bug.row["scans"])
    done = ran(str(HUNT), *map(str, asked))
    return done.returncode != 0 or done.stdout.strip() != "none"


def judge(bug: Bug, folder: Path, judges: Sequence[str] = JUDGES) -> dict[str, bool | None]:
    """Return what each judge says of a bug: refuted, not refuted, or not asked."""
    shutil.rmtree(folder, ignore_errors=True)
    bug.put_in(folder)
    ran = Ran(folder)
    found: dict[str, bool | None] = dict.fromkeys(JUDGES)
    if "fast" in judges:
        found["fast"] = fast(bug, ran)
    if "table" in judges or "interlock" in judges:
        found["table"], found["interlock"] = complete(bug, ran)
    if "induction" in judges:
        found["induction"] = induction(bug, ran)
    if "adversary" in judges and ("seed" in bug.row or not any(found[j] for j in PROVES)):
        found["adversary"] = adversary(bug, ran)
    shutil.rmtree(folder)
    return found


def counts(found: Sequence[dict[str, bool | None]]) -> str:
    """Return in words how many were refuted, and by what."""
    tests = sum(bool(f["fast"]) for f in found)
    proof = sum(any(f[j] for j in PROVES) for f in found)
    nothing = sum(not any(f.values()) for f in found)
    return (
        f"{len(found)} bugs: {tests} refuted by a fast test, {proof} by what prove runs, "
        f"{nothing} by nothing"
    )


def main() -> int:
    """Judge the bugs, print the table; 1 if nothing refutes one."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--only", default="", help="bugs with this text in list, file or story")
    parser.add_argument("--judges", default=",".join(JUDGES))
    parser.add_argument("--out", type=Path, help="also as Markdown")
    given = parser.parse_args()
    said = {True: "refuted", False: "no", None: "-"}
    lines = [f"| bug | file | {' | '.join(JUDGES)} |", "|---|---|" + "---|" * len(JUDGES)]
    print("\n".join(lines), flush=True)
    found, same = [], []
    for bug in bugs():
        if given.only not in f"{bug.listed} {bug.file} {bug.story}":
            continue
        row = judge(bug, given.folder.resolve(), given.judges.split(","))
        if "equivalent" in bug.row:
            same.append(any(row.values()))
        else:
            found.append(row)
        cells = " | ".join(said[row[j]] for j in JUDGES)
        lines.append(f"| {bug.story} | {bug.file.name} | {cells} |")
        print(lines[-1], flush=True)
    lines += ["", f"{counts(found)}; {len(same)} more are equivalent, {sum(same)} of them refuted"]
    print(lines[-1])
    if given.out:
        given.out.write_text("\n".join(lines) + "\n", "utf-8")
    return 1 if any(same) or any(not any(row.values()) for row in found) else 0


if __name__ == "__main__":
    sys.exit(main())

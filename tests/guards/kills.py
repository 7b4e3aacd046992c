"""Kill the long commands at random moments and look at what is left; run by hand.

    python tests/guards/kills.py FOLDER [--count 20] [--seed 1] [--only sweep]

Each command is run once in peace, then ``count`` times with SIGTERM, SIGHUP, SIGINT or SIGKILL at a
random moment of that time, or a worker of it is killed. After each: no process of it lives, no file
is half written, nothing printed a traceback. A killed worker leaves what a run in peace leaves.
After the last the command runs in peace again. A kill that came too late is tried anew.
The table says how many of each were done; it leaves with 1 if anything was wrong. FOLDER/kills.tsv
has a line a kill, so that a run that is stopped has told. All caches lie in FOLDER and are killed
along.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import signal
import subprocess
import sys
import time
import tomllib
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pyarrow.parquet

COMMANDS = {
    "sweep": ["sweep", "demo", "--vary", "settings.deep_target_c=2:5:6", "--days", "1",
              "--jobs", "2", "--out", "out.parquet"],
    "worth": ["worth", "demo", "--json", "out.json"],
    "prove": ["prove", "demo", "--fresh", "--draws", "16", "--json", "out.json",
              "--report", "out.html"],
    "prove again": ["prove", "demo", "--draws", "16", "--json", "out.json"],
    "tune": ["tune", "demo", "--budget", "32", "--days", "2", "--out", "out.toml", "--no-prove",
             "--json", "out.json"],
}  # fmt: skip
WORKER = "worker"
WAYS = ("SIGTERM", "SIGHUP", "SIGINT", "SIGKILL", WORKER)
LONGEST_S = 1800.0
GRACE_S = 30.0  # for what a killed program leaves behind to be gone
TOO_LATE = "came too late"
TRIES = 5  # to hit a run that may be quicker than the one in peace
READ = {
    ".json": lambda path: json.loads(path.read_text("utf-8")),
    ".toml": lambda path: tomllib.loads(path.read_text("utf-8")),
    ".parquet": pyarrow.parquet.read_table,
    ".html": lambda path: path.read_text("utf-8").rstrip().endswith("</html>") or 1 / 0,
}


def members(session: int) -> Iterator[int]:
    """The processes of a session that still work."""
    for folder in Path("/proc").iterdir():
        if folder.name.isdigit():
            try:
                state, _, _, found = (
                    (folder / "stat").read_text().rpartition(")")[2].split(maxsplit=4)[:4]
                )
            except OSError:
                continue
            if int(found) == session and state not in "ZX":
                yield int(folder.name)


@dataclass
class Killer:
    """Runs one command in a folder of its own, in a session of its own."""

    folder: Path
    arguments: list[str]

    def begin(self) -> subprocess.Popen[str]:
        for path in self.folder.iterdir():
            path.unlink()
        return subprocess.Popen(
            [sys.executable, "-m", "springhouse_host", *self.arguments],
            cwd=self.folder,
            env=self.environment(),
            stdout=subprocess.DEVNULL,
            stderr=(self.folder.parent / "stderr").open("w"),
            text=True,
            start_new_session=True,
        )

    def environment(self) -> dict[str, str]:
        """All that is kept, bytecode too: else each start would compile all files anew."""
        caches = self.folder.parent
        found = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
        kept = {"SPRINGHOUSE_CACHE": "cache", "PYTHONPYCACHEPREFIX": "bytecode"}
        return found | {name: str(caches / folder) for name, folder in kept.items()}

    def in_peace(self) -> tuple[float, list[str]]:
        """Seconds taken, and what was wrong."""
        begun = time.monotonic()
        program = self.begin()
        code = program.wait(LONGEST_S)
        wrong = [] if code in (0, 1) else [f"left with {code}"]
        return time.monotonic() - begun, [*wrong, *self.left(program.pid, whole=True)]

    def killed(self, way: str, after_s: float) -> tuple[str, list[str]]:
        """The way, or why it was not killed that way then; and what was wrong afterwards."""
        program = self.begin()
        try:
            program.wait(after_s)
        except subprocess.TimeoutExpired:
            pass
        else:
            return TOO_LATE, []
        if way == WORKER:
            others = [pid for pid in members(program.pid) if pid != program.pid]
            if others:
                os.kill(random.choice(others), signal.SIGKILL)
            code = program.wait(LONGEST_S)
            wrong = [] if code in (0, 1) else [f"left with {code}"]
            return way if others else "had no worker", [*wrong, *self.left(program.pid, whole=True)]
        program.send_signal(signal.Signals[way])
        program.wait(LONGEST_S)
        return way, self.left(program.pid, whole=False)

    def left(self, session: int, *, whole: bool) -> list[str]:
        """What is wrong with what a run left."""
        wrong = []
        until = time.monotonic() + GRACE_S
        while (orphans := list(members(session))) and time.monotonic() < until:
            time.sleep(0.05)
        for pid in orphans:
            wrong.append(f"orphan {pid}")
            os.kill(pid, signal.SIGKILL)
        said = (self.folder.parent / "stderr").read_text()
        ours = "springhouse" in said  # without it the interpreter itself was still starting
        if ("Traceback" in said and ours) or "internal error" in said:
            wrong.append(f"said {said[-400:]!r}")
        for path in self.folder.iterdir():
            if path.suffix in READ and not path.name.startswith("."):
                try:
                    READ[path.suffix](path)
                except Exception as error:
                    wrong.append(f"{path.name}: half written: {error}")
            elif whole:
                wrong.append(f"{path.name}: left over")
        if whole and not any(self.folder.iterdir()):
            wrong.append("nothing written")
        return wrong


def main() -> int:
    """Kill and tell."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--count", type=int, default=20, help="of kills, each command")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", choices=COMMANDS, action="append")
    asked = parser.parse_args()
    random.seed(asked.seed)
    faults = 0
    for name in asked.only or COMMANDS:
        folder = asked.folder.resolve() / name
        folder.mkdir(parents=True, exist_ok=True)
        killer = Killer(folder, COMMANDS[name])
        killer.in_peace()  # compiles
        takes_s, wrong = killer.in_peace()
        within_s = takes_s
        done: Counter[str] = Counter()
        for n in range(asked.count):
            way = WAYS[n % len(WAYS)]
            for _ in range(TRIES):
                at_s = random.uniform(0.0, within_s)
                what, found = killer.killed(way, at_s)
                done[what] += 1
                wrong += [f"{way} after {at_s:.2f} s: {fault}" for fault in found]
                with (asked.folder / "kills.tsv").open("a") as each:
                    print(name, way, f"{at_s:.2f}", what, *found, sep="\t", file=each)
                if what == way:
                    break
                if what == TOO_LATE:
                    within_s = min(within_s, at_s)  # it is quicker than it was in peace
        wrong += [f"afterwards: {fault}" for fault in killer.in_peace()[1]]
        counted = ", ".join(f"{count} {way}" for way, count in sorted(done.items()))
        print(f"{name}: {takes_s:.1f} s in peace; {counted}; {len(wrong)} faults", flush=True)
        for fault in wrong:
            print(f"  {fault}", flush=True)
        faults += len(wrong)
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())

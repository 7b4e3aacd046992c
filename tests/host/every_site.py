"""The table of installations by commands, each as a person would type it.

`python tests/host/every_site.py` runs all of them and prints the table in Markdown; `--short` leaves
out the proof and what needs it. Nothing is written outside a temporary folder.
"""

import argparse
import os
import subprocess
import sys
import time
import tomllib
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

from springhouse_host.site import BUILT_IN

SHORT = ("new", "size", "wiring", "run", "report")
ALL = (*SHORT, "compare", "worth", "prove", "flash", "tune")
PROGRAM = [sys.executable, "-c", "from springhouse_host.cli import main; main()"]
LONGEST_S = 3600


@dataclass(frozen=True)
class Cell:
    """What a command made of an installation."""

    code: int
    said: str  # the line that matters

    @property
    def sound(self) -> bool:
        """Whether it gave a result, or one line of refusal."""
        return self.code in (0, 1) or (
            self.code == 2 and "\n" not in self.said and ": " in self.said
        )


def arguments(command: str, site: str, folder: Path) -> list[str]:
    """Return what to type; `new` begins from the site's own values, `report` is run's page."""
    page, verdict = str(folder / f"{site}.html"), str(folder / f"{site}.json")
    return {
        "new": ["new", str(folder / site), *given_of(site)],
        "size": ["size", site],
        "compare": ["compare", site, "--with", "coil.fans=3"],
        "worth": ["worth", site],
        "wiring": ["wiring", site],
        "run": ["run", site, "--days", "1"],
        "report": ["run", site, "--days", "1", "--report", page],
        "prove": ["prove", site, "--json", verdict],
        "flash": ["flash", site, "--proof", verdict, "--to", str(folder / f"{site}-board")],
        "tune": ["tune", site, "--points", "8"],
    }[command]


def given_of(site: str) -> list[str]:
    """Return a built-in site's own values as answers for `new`."""
    from importlib import resources

    file = resources.files("springhouse_host") / "sites" / f"{site}.toml"
    tables = tomllib.loads(file.read_text("utf-8"))
    found = []
    for key in ("freezer.cabinet_litres", "store.water_litres", "schedule.wanted", "coil.fans"):
        table, _, name = key.partition(".")
        if name in tables[table]:
            text = tables[table][name]
            found += ["--with", f"{key}={text!r}" if isinstance(text, list) else f"{key}={text}"]
    return found


def tried(command: str, site: str, folder: Path) -> Cell:
    """Run one command on one installation."""
    environment = {**os.environ, "COLUMNS": "200"}
    environment.pop("FORCE_COLOR", None)
    done = subprocess.run(
        [*PROGRAM, *arguments(command, site, folder)],
        cwd=folder, env=environment, capture_output=True, text=True, check=False,
        stdin=subprocess.DEVNULL, timeout=LONGEST_S,
    )  # fmt: skip
    if done.returncode not in (0, 1):
        return Cell(done.returncode, done.stderr.strip())
    return Cell(done.returncode, telling(command, done.stdout))


def telling(command: str, text: str) -> str:
    """Return the line of a result that a person looks for first."""
    lines = [" ".join(line.split()) for line in text.splitlines() if line.strip()]
    marks = {"size": "first limit", "prove": "KEPT", "run": "wanted hours", "worth": ":"}
    mark = marks.get(command)
    found = [line for line in lines if mark is not None and mark in line]
    return (found or lines or [""])[0 if found else -1]


def main() -> int:
    """Print the table; leave with 1 if a cell is neither a result nor a line of refusal."""
    ask = argparse.ArgumentParser(description=main.__doc__)
    ask.add_argument("sites", nargs="*", default=list(BUILT_IN))
    ask.add_argument("--short", action="store_true")
    ask.add_argument("--only", nargs="*", choices=ALL)
    asked = ask.parse_args()
    commands = asked.only or (SHORT if asked.short else ALL)
    bad = 0
    with TemporaryDirectory() as name:
        print("| installation | " + " | ".join(commands) + " |")
        print("|---" * (len(commands) + 1) + "|", flush=True)
        for site in asked.sites:
            cells = []
            for command in commands:
                begun = time.monotonic()
                cell = tried(command, site, Path(name))
                bad += not cell.sound
                took = f"{time.monotonic() - begun:.0f} s"
                mark = {0: "", 1: "1: ", 2: "refused: "}.get(cell.code, f"BROKEN {cell.code}: ")
                cells.append(f"{mark}{cell.said.replace('|', '/')[:160]} ({took})")
            print(f"| {site} | " + " | ".join(cells) + " |", flush=True)
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())

"""The first lines of each command for two installations, as docs/first-lines.md holds them.

`python handbook/first_lines.py docs` runs all and writes the page, in minutes. `--quick`
and `--only WORD` run some commands and keep the others as they are there.
"""

from __future__ import annotations

import argparse
import os
import re
import subprocess
import sys
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

SITES = {"demo": "the demo", "bedroom-night": "the bedroom at night"}
PAGE = "first-lines.md"
WIDTH = 96
MOST_LINES = 6
HEAD = """# What each command says first

The first lines of each command for two of the [built-in installations](sites/README.md), in the
order of the work. Collected by `python handbook/first_lines.py docs`; a test holds those of the
quick ones to what the commands print, and a slow test those that take minutes. `new`, `commission`
and `season` ask a person; `flash`, `watch`, `set`, `history` and `fit` need a board or what one has
logged. `tune` is shown for the demo, with a fifth of its usual points.
"""
EVENING = "--store-c 18 --from 2026-07-14T18:00 --zone Europe/Madrid"
STAND = "--litres 150 --from 5 --to 8.4 --hours 14 --place 24"
PROGRAM = "import sys; from springhouse_host.cli import main; main(sys.argv[1:])"


@dataclass(frozen=True)
class Shown:
    """A command with SITE in it, whether it takes seconds, and for which installations."""

    words: str
    quick: bool
    sites: tuple[str, ...] = tuple(SITES)


COMMANDS = (
    Shown("size SITE", True),
    Shown("compare SITE --with coil.fans=3", False),
    Shown("worth SITE", False),
    Shown("tune SITE --budget 32 --days 2 --no-prove", False, ("demo",)),
    Shown("sweep SITE --vary store.water_litres=100:140:2 --days 2 --out sweep.parquet", False),
    Shown("wiring SITE", True),
    Shown(f"measure SITE stand {STAND} --out measured.toml", True),
    Shown("run SITE --days 1", True),
    Shown("prove SITE", False),
    Shown(f"plan SITE {EVENING}", False),
)


def said(shown: Shown, site: str) -> list[str]:
    """Run a command in an empty folder; return its first lines, the empty ones left out.

    Raises:
        ValueError: when it was refused.
    """
    with tempfile.TemporaryDirectory() as folder:
        done = subprocess.run(
            [sys.executable, "-c", PROGRAM, *shown.words.replace("SITE", site).split()],
            cwd=folder,
            env=os.environ | {"COLUMNS": str(WIDTH), "NO_COLOR": "1", "TERM": "dumb"},
            capture_output=True,
            stdin=subprocess.DEVNULL,
            text=True,
        )
    if done.returncode not in (0, 1):
        raise ValueError(f"{shown.words}: {done.stderr}")
    return first(done.stdout)


def first(text: str) -> list[str]:
    """Return the first lines of what a command printed, rules and empty lines left out."""
    return [line.rstrip() for line in text.splitlines() if line.strip(" ─")][:MOST_LINES]


def block(shown: Shown, site: str, lines: list[str]) -> str:
    """Return what the page shows of a command."""
    return "\n".join(["```", f"$ springhouse {shown.words.replace('SITE', site)}", *lines, "```"])


def kept(page: str, shown: Shown, site: str) -> list[str] | None:
    """Return the lines that a page holds of a command, None where it holds none."""
    asked = re.escape(shown.words.replace("SITE", site))
    found = re.search(rf"^```\n\$ springhouse {asked}\n(.*?)```$", page, re.M | re.S)
    return None if found is None else found[1].splitlines()


def page(old: str, wanted: Callable[[Shown], bool]) -> str:
    """Return the page, commands that are wanted run anew, the others taken from the old one."""
    parts = [HEAD]
    for shown in COMMANDS:
        parts.append(f"## {shown.words.split()[0]}\n")
        for site in shown.sites:
            name = SITES[site]
            lines = said(shown, site) if wanted(shown) else kept(old, shown, site)
            parts.append(f"{name[0].upper()}{name[1:]}:\n\n{block(shown, site, lines or [])}\n")
    return "\n".join(parts)


def main() -> None:
    """Write the page."""
    asked = argparse.ArgumentParser()
    asked.add_argument("folder", type=Path)
    asked.add_argument("--quick", action="store_true")
    asked.add_argument("--only", choices=[shown.words.split()[0] for shown in COMMANDS])
    args = asked.parse_args()

    def wanted(shown: Shown) -> bool:
        return args.only in (None, shown.words.split()[0]) and (shown.quick or not args.quick)

    path = args.folder / PAGE
    path.write_text(page(path.read_text("utf-8") if path.exists() else "", wanted), "utf-8")


if __name__ == "__main__":
    main()

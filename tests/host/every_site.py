"""The table of installations by commands, each as a person would type it.

`python tests/host/every_site.py` runs all and prints the table in Markdown; `--short`, `--only`
and `--leave` take fewer commands, names of sites fewer sites. `flash` goes to a virtual board.
Nothing is written outside a temporary folder.
"""

import argparse
import json
import os
import subprocess
import sys
import time
import tomllib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory, mkdtemp

from springhouse.boards import pico_w
from springhouse_host.site import BUILT_IN, load_site
from springhouse_host.wiring import parts, pins, sums
from springhouse_sim.virtual_board.inputs import scratchpad, serial
from springhouse_sim.virtual_board.process import BoardProcess
from springhouse_sim.virtual_board.terminal import TerminalBoard

SHORT = ("new", "size", "wiring", "run", "report")
ALL = (*SHORT, "compare", "worth", "prove", "tune", "flash")
ROLES = ("store_low", "store_high", "room", "coil_in", "coil_air")
AT_REST_C = (12.0, 12.3, 27.0, 24.0, 26.0)
BATTERY_PIN_MV = 2310  # behind the divider of a battery of 12.8 V
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
        "tune": [
            *("tune", site, "--budget", "32", "--days", "2", "--no-prove"),
            *("--out", str(folder / f"{site}-tuned.toml")),
        ],
        "flash": ["flash", site, "--wiring", str(wired(site, folder)), "--proof", verdict, "--yes"],
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


def wired(site: str, folder: Path) -> Path:
    """Write what is wired to a board for a site's sensors; return the file."""
    loaded = load_site(site)
    sensors = loaded.file.sensors
    probes = {
        role: serial(n + 1).hex()
        for n, role in enumerate(ROLES)
        if getattr(sensors, role) == "fitted"
    }
    table: dict[str, object] = {"board": "pico_w", "probes": probes, "report_s": 1}
    if sensors.flow == "fitted":
        table["flow_pulses_l"] = 450
    if sensors.battery == "fitted":
        bottom_ohm = parts.divider_ohm(loaded, pins.load_profile("pico_w"))
        table["battery_ratio_pm"] = sums.ratio_pm(bottom_ohm)
    path = folder / f"{site}-wiring.json"
    path.write_text(json.dumps(table), "utf-8")
    return path


def healthy(process: BoardProcess) -> None:
    """Close every loop of a virtual board and let its probes and battery answer."""
    for pin in (pico_w.TRAY, pico_w.LEVEL, pico_w.FLOOR, pico_w.MAINS):
        process.inputs.level(pin, 0)
    for n, celsius in enumerate(AT_REST_C):
        process.inputs.pad(serial(n + 1), scratchpad(celsius))
    process.inputs.adc(pico_w.BATTERY, BATTERY_PIN_MV * 65536 // pico_w.ADC_FULL_MV)


@contextmanager
def board(folder: Path) -> Iterator[str]:
    """Yield the port of a virtual board with an interpreter and nothing else."""
    flash = Path(mkdtemp(dir=folder))
    for name in ("boot.py", "main.py"):
        (flash / name).write_text("")
    found = TerminalBoard(flash, before=healthy)
    try:
        yield found.port
    finally:
        found.close()


def tried(command: str, site: str, folder: Path) -> Cell:
    """Run one command on one installation."""
    if command == "flash":
        with board(folder) as port:
            return typed([*arguments(command, site, folder), "--port", port], command, folder)
    return typed(arguments(command, site, folder), command, folder)


def typed(words: list[str], command: str, folder: Path) -> Cell:
    """Run a command line and return what it said."""
    environment = {**os.environ, "COLUMNS": "200"}
    environment.pop("FORCE_COLOR", None)
    done = subprocess.run(
        [*PROGRAM, *words],
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
    ask.add_argument("--leave", nargs="*", choices=ALL, default=[], help="commands left out")
    asked = ask.parse_args()
    commands = [
        command
        for command in asked.only or (SHORT if asked.short else ALL)
        if command not in asked.leave
    ]
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
                print(f"{site} {command}: {cell.code}", file=sys.stderr, flush=True)
                mark = {0: "", 1: "1: ", 2: "refused: "}.get(cell.code, f"BROKEN {cell.code}: ")
                cells.append(f"{mark}{cell.said.replace('|', '/')[:160]} ({took})")
            print(f"| {site} | " + " | ".join(cells) + " |", flush=True)
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())

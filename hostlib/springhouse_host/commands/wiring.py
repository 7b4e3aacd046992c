"""`springhouse wiring SITE`."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ..errors import EXIT_NOT_KEPT, KnownError
from ..screen import (
    JsonOption,
    SiteArgument,
    check_writable,
    console,
    say,
    write_bytes_whole,
    write_json,
)

if TYPE_CHECKING:
    from rich.table import Table

    from ..site.site import Site
    from ..wiring.bus import Wired
    from ..wiring.parts import Part
    from ..wiring.pins import Signal

OPTIONAL = (
    "store_low",
    "coil_in",
    "coil_air",
    "level",
    "floor",
    "flow",
    "fan_tach",
    "mains",
    "humidity",
    "relay_feedback",
)
CAUTIONS = (
    "Mains work is for licensed practice where your local codes say so. Unplug and prove dead "
    "first; never cut or drill a freezer.",
    "The freezer stays out of the relay until every output was seen off through 20 power-ups.",
    "Sums are for choosing parts; the data sheet of the part in your hand counts.",
)


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("wiring")(wiring)


def wiring(
    site: SiteArgument,
    board: Annotated[
        str | None,
        typer.Option("--board", help="pico_w (unless told otherwise), pico_2w or esp32."),
    ] = None,
    wired_file: Annotated[
        Path | None,
        typer.Option(
            "--wiring",
            metavar="FILE",
            help="The board's wiring.json: its board, air sensor, clock, display, target buttons.",
        ),
    ] = None,
    kit: Annotated[
        bool, typer.Option("--kit", help="The least to buy, and what stays unguarded with it.")
    ] = False,
    draw: Annotated[
        Path | None,
        typer.Option(
            "--draw",
            metavar="FOLDER",
            help="Write schematic-BOARD.svg, mains.svg and plumbing.svg there.",
            file_okay=False,
            exists=True,
        ),
    ] = None,
    run_m: Annotated[
        float | None,
        typer.Option(
            "--run-m",
            min=0.2,
            max=100,
            help="Metres of cable from board to coil; else half the tube.",
        ),
    ] = None,
    least_flow_l_min: Annotated[
        float,
        typer.Option(
            "--least-flow", min=0.01, max=60, help="What the flow sensor reads from [L/min]."
        ),
    ] = 1.0,
    drives: Annotated[
        list[str] | None,
        typer.Option(
            "--drives",
            metavar="PIN=VOLTS",
            help="A part that puts so many volts on its pin, e.g. flow=5. May be given again.",
        ),
    ] = None,
    json: JsonOption = None,
) -> int:
    """Print pins, parts with the sums behind them, and what is wrong with them.

    Pins come from the profile that the firmware imports. Leaves with 1 if a rule is broken, 2 on
    bad input.

    Example:  springhouse wiring demo --board esp32 --draw .
    """
    from ..site import load_site
    from ..wiring import rules
    from ..wiring.parts import parts
    from ..wiring.pins import load_profile, signals

    board, wired = _board(board, wired_file)
    check_writable(json)
    loaded = load_site(site)
    profile = load_profile(board)
    table = signals(loaded, board, wired)
    bought = rules.Bought(run_m, least_flow_l_min, _drives(drives or (), table), wired)
    needed, unmet = parts(loaded, profile, bought)
    faults = [*rules.check(loaded, board, profile, table, bought), *unmet]
    if kit:
        needed = tuple(part for part in needed if part.least)
    screen = console()
    say(screen, answer(board, needed, faults))
    if not kit:
        screen.print(_pins(table))
    screen.print(_parts(needed))
    if kit:
        screen.print("Unguarded with the least alone:", style="bold")
        for line in unguarded_with_least(loaded):
            screen.print(f"  - {line}", markup=False)
    if draw is not None and not unmet:
        from ..wiring.every_drawing import drawings

        for name, svg in drawings(loaded, board, table, bought).items():
            write_bytes_whole(draw / name, svg)
            screen.print(f"drawn: {draw / name}", markup=False)
    for fault in faults:
        screen.print(f"WRONG: {fault}", markup=False, style="bold")
    for line in CAUTIONS:
        screen.print(line, markup=False)
    write_json(json, _as_json(board, table, needed, faults))
    return EXIT_NOT_KEPT if faults else 0


def answer(board: str, needed: "Sequence[Part]", faults: Sequence[str]) -> str:
    """Return in a sentence or two whether it can be wired so, what it takes, and what is wrong."""
    least = sum(part.least for part in needed)
    takes = (
        f"{len(needed)} kinds of parts on the pins of the {board} board, {least} of which must be "
        "there; without the rest something is unguarded."
    )
    if not faults:
        return f"Yes, pins and parts: every rule holds. It takes {takes}"
    count = "one thing is" if len(faults) == 1 else f"{len(faults)} things are"
    return f"Not so: {count} wrong, first: {faults[0].rstrip('.')}. It would take {takes}"


def _board(asked: str | None, wired_file: Path | None) -> "tuple[str, Wired | None]":
    from ..wiring import bus
    from ..wiring.pins import BOARDS

    if asked is not None and asked not in BOARDS:
        raise KnownError(f"--board: {asked!r} is none of {', '.join(BOARDS)}")
    if wired_file is None:
        return asked or BOARDS[0], None
    named, wired = bus.read(wired_file)
    if asked not in (None, named):
        raise KnownError(f"{wired_file}: board: {named!r}, --board says {asked!r}")
    return named, wired


def unguarded_with_least(site: "Site") -> list[str]:
    """Return what nothing watches when only the least is bought."""
    from ..site.words import unguarded

    absent = dict.fromkeys(OPTIONAL, "absent")
    return unguarded(replace(site.file, sensors=site.file.sensors.model_copy(update=absent)))


def _drives(words: Sequence[str], table: "tuple[Signal, ...]") -> dict[str, float]:
    names = {signal.name for signal in table if signal.way != "out"}
    found = {}
    for word in words:
        name, _, volts = word.partition("=")
        key = name.strip().upper()
        try:
            value = float(volts)
        except ValueError:
            value = float("nan")
        if key not in names or not 0.0 <= value <= 60.0:
            allowed = ", ".join(sorted(n.lower() for n in names))
            raise KnownError(f"--drives: {word!r}: PIN=VOLTS, 0 to 60 V, PIN one of {allowed}")
        found[key] = value
    return found


def _pins(table: "tuple[Signal, ...]") -> "Table":
    from rich import box
    from rich.table import Table

    shown = Table("GPIO", "what", "between pin and part", "with nothing there", box=box.SIMPLE_HEAD)
    for signal in table:
        word = signal.word if signal.fitted else f"{signal.word} (not fitted)"
        shown.add_row(str(signal.gpio), word, signal.circuit, signal.idle)
    return shown


def _parts(needed: "tuple[Part, ...]") -> "Table":
    from rich import box
    from rich.table import Table

    shown = Table("part", "", "must", "why", box=box.SIMPLE_HEAD)
    for part in needed:
        shown.add_row(part.name, str(part.count), part.must, part.why)
    return shown


def _as_json(
    board: str, table: "tuple[Signal, ...]", needed: "tuple[Part, ...]", faults: list[str]
) -> dict[str, object]:
    from dataclasses import asdict

    return {
        "board": board,
        "pins": [asdict(signal) for signal in table],
        "parts": [asdict(part) for part in needed],
        "wrong": faults,
    }

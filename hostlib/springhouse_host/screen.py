"""What the commands share: their options, the console, files written whole or not at all."""

import json
import os
import re
import sys
import tempfile
import textwrap
from collections.abc import Mapping
from enum import StrEnum
from pathlib import Path
from typing import Annotated, Any

import typer
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

from .errors import KnownError

PIPED_WIDTH = 100
HARD_SPACE = "\u00a0"
_UNIT = re.compile(r"(?<=\d) (?=%|°|(?:W/K|US gal|kWh|Wh|mA|mm|in|ft|W|V|K|L|m|h|d)\b)")


class Units(StrEnum):
    """Units on screen; JSON, logs and the board stay SI."""

    SI = "si"
    US = "us"


SiteArgument = Annotated[
    str,
    typer.Argument(
        metavar="SITE",
        help="A site file, or the word of a built-in one: demo, bedroom-night, rented-room, ...",
    ),
]
UnitsOption = Annotated[
    Units, typer.Option("--units", help="Units on screen; JSON stays SI.", show_default=True)
]
JsonOption = Annotated[
    Path | None,
    typer.Option("--json", metavar="FILE", help="Write the result as JSON too.", dir_okay=False),
]
ReportOption = Annotated[
    Path | None,
    typer.Option("--report", metavar="FILE.html", help="Write a page with charts.", dir_okay=False),
]


def console() -> Console:
    """Return the console for results: plain and of fixed width when piped."""
    if sys.stdout.isatty():
        return Console(highlight=False)
    return Console(highlight=False, width=PIPED_WIDTH, no_color=True)


def say(screen: Console, text: str, hang: str = "") -> None:
    """Print a paragraph in lines that break between words, never between a number and its unit.

    ``hang`` begins the second line and all that follow; what begins the first stays as it is.
    """
    held = _UNIT.sub(HARD_SPACE, text).replace("US gal", f"US{HARD_SPACE}gal")
    for line in textwrap.wrap(
        held,
        screen.width,
        subsequent_indent=hang,
        break_long_words=False,
        break_on_hyphens=False,
    ):
        screen.print(line.replace(HARD_SPACE, " "), markup=False, soft_wrap=True)


def compiled_before() -> bool:
    """Whether compiled code of these sources lies in the cache."""
    from springhouse_sim import compiled

    folder = compiled.load().cache_dir
    return folder is not None and any(folder.glob("*.code"))


def progress(label: str) -> Progress:
    """Return a progress bar on stderr that is silent unless a person is watching.

    ``label`` may be "{task.description}", for work that tells what it does.

    Before the first run of new code the person is told what takes so long.
    """
    if sys.stderr.isatty() and not compiled_before():
        Console(stderr=True).print("compiling the simulation, once: about a minute")
    return Progress(
        TextColumn(label),
        BarColumn(),
        MofNCompleteColumn(),
        TimeRemainingColumn(),
        console=Console(stderr=True),
        transient=True,
        disable=not sys.stderr.isatty(),
    )


def check_writable(*paths: Path | None) -> None:
    """Refuse a file to be written before the work for it is done.

    Raises:
        KnownError: naming the first path whose folder is missing or not writable.
    """
    for path in paths:
        if path is not None and not os.access(path.parent, os.W_OK | os.X_OK):
            raise KnownError(f"{path}: cannot be written: its folder is missing or closed")


def say_written(**paths: Path | None) -> None:
    """Name each file that was written, by what it is."""
    for what, path in paths.items():
        if path is not None:
            console().print(f"{what}: {path}", markup=False, soft_wrap=True)


def write_whole(path: Path, text: str) -> None:
    """Write a text file so that it is there complete or not at all.

    Raises:
        KnownError: when it cannot be written.
    """
    write_bytes_whole(path, text.encode())


def write_bytes_whole(path: Path, content: bytes) -> None:
    """Write a file so that it is there complete or not at all.

    Raises:
        KnownError: when it cannot be written.
    """
    handle, name = -1, ""
    try:
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
        with os.fdopen(handle, "wb") as file:
            file.write(content)
        os.chmod(name, 0o644)  # mkstemp makes it private
        os.replace(name, path)
    except OSError as error:
        if name:
            Path(name).unlink(missing_ok=True)
        raise KnownError(f"{path}: cannot be written: {error.strerror or error}") from None


def write_json(path: Path | None, result: Mapping[str, Any]) -> None:
    """Write a result as JSON where a path is given.

    Raises:
        KnownError: when it cannot be written.
    """
    if path is not None:
        text = json.dumps(result, indent=2, ensure_ascii=False, allow_nan=False)
        write_whole(path, text + "\n")

"""`springhouse watch`."""

import signal
import sys
from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ..errors import KnownError
from ..screen import Units, UnitsOption, console

if TYPE_CHECKING:
    from ..site import Site
    from ..watching.keeping import Keeper
    from ..watching.sources import Lines, Stop
    from ..watching.view import Facts

DEMO_SPEED = 600.0  # simulated seconds in one


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("watch")(watch)


def watch(
    site: Annotated[
        str | None,
        typer.Argument(
            metavar="[SITE]", help="Its targets, calibration and battery, for the hours left."
        ),
    ] = None,
    port: Annotated[str | None, typer.Option("--port", help="Serial port of the board.")] = None,
    replay: Annotated[
        Path | None,
        typer.Option("--replay", metavar="FILE", help="Recorded lines instead of a board."),
    ] = None,
    demo: Annotated[
        bool, typer.Option("--demo", help="A simulated board over the hottest days.")
    ] = False,
    base: Annotated[
        Path, typer.Option("--base", metavar="FILE", help="Database the records go to.")
    ] = Path("records.sqlite"),
    speed: Annotated[
        float | None,
        typer.Option("--speed", min=0, help="Recorded seconds in one; 0 as fast as can be."),
    ] = None,
    web: Annotated[
        bool, typer.Option("--web", help="Show it as a page too, on this computer alone.")
    ] = False,
    web_port: Annotated[
        int, typer.Option("--web-port", min=0, max=65535, help="Port of the page, 0 any free one.")
    ] = 8765,
    units: UnitsOption = Units.SI,
) -> None:
    """Watch a board: store, room, what it does and why, hours left, alarms with what to do.

    Nothing is sent to the board. Every record is kept in a database before it is shown; a killed
    process, an unplugged or restarting board loses none that was kept. While the disk is full,
    locked or away, records wait and watching goes on. Stop with Ctrl-C.

    Example:  springhouse watch my-store/site.toml --port /dev/ttyACM0 --web
    Example:  springhouse watch demo --demo
    """
    from ..site import load_site
    from ..watching.keeping import Keeper
    from ..watching.page import Page
    from ..watching.watch import watch as run_watch
    from ..watching.whose import whose

    if sum((port is not None, replay is not None, demo)) > 1:
        raise KnownError("watch: one of --port, --replay and --demo")
    site = "demo" if demo and site is None else site
    loaded = load_site(site) if site is not None else None
    stopped: list[bool] = []
    with ExitStack() as stack:
        lines = _lines(loaded if demo else None, port, replay, speed, lambda: bool(stopped))
        owner = whose(loaded, demo, _number_of(port) if replay is None and not demo else None)
        keeper = stack.enter_context(Keeper(base, str(owner)))
        page = None
        if web:
            page = Page(web_port)
            stack.callback(page.close)
            console().print(f"page: http://127.0.0.1:{page.port}/", markup=False)
        show = _screen(stack, "simulating two days first" if demo else "waiting for a record")

        def both(shown: "Facts") -> None:
            if not sys.stdout.isatty():
                tell(keeper)
            show(shown)
            if page is not None:
                page.show(shown)

        before = signal.signal(signal.SIGTERM, lambda *_: stopped.append(True))
        stack.callback(signal.signal, signal.SIGTERM, before)
        try:
            run_watch(lines, keeper, loaded, both, units is Units.US)
        except KeyboardInterrupt:
            stopped.append(True)
    tell(keeper)
    if keeper.waiting or keeper.lost:
        raise KnownError(f"{keeper.kept} records kept; {keeper.note}")
    console().print(f"{keeper.kept} records kept in {base}", markup=False)


def tell(keeper: "Keeper") -> None:
    """Say what became of the disk."""
    while keeper.told:
        typer.echo(keeper.told.pop(0), err=True)


def _number_of(port: str | None) -> str | None:
    from ..flashing.ports import choose
    from ..watching.whose import serial_number

    return serial_number(choose(port))


def _lines(
    simulated: "Site | None",
    port: str | None,
    replay: Path | None,
    speed: float | None,
    stop: "Stop",
) -> "Lines":
    from ..flashing.ports import choose
    from ..watching import sources

    if replay is not None:
        return sources.from_file(replay, 1.0 if speed is None else speed, stop)
    if simulated is not None:
        return sources.from_demo(simulated, DEMO_SPEED if speed is None else speed, stop)
    return sources.from_port(choose(port), stop)


def _screen(stack: ExitStack, waits: str) -> "Callable[[Facts], None]":
    """Return what shows a record: a live picture for a person, a line a change when piped.

    ``waits`` is shown until the first one comes.
    """
    from ..watching.view import table

    if sys.stdout.isatty():
        from rich.live import Live
        from rich.text import Text

        live = stack.enter_context(Live(Text(waits), refresh_per_second=4, screen=True))
        return lambda shown: live.update(table(shown))
    plain = console()
    last = ["", ""]
    alarmed: set[str] = set()

    def say(shown: "Facts") -> None:
        if not last[0] and shown.readings:
            plain.print(f"readings: {shown.readings}", markup=False)
        now = [shown.store.split(":")[0], shown.room.split(":")[0]]
        if now != last:
            last[:] = now
            plain.print(f"{shown.seen}  {shown.store}; {shown.room}", markup=False)
        for what, do in shown.alarms:
            if what not in alarmed:
                plain.print(f"{shown.seen}  ALARM: {what}: {do}", markup=False)
        alarmed.clear()
        alarmed.update(what for what, _ in shown.alarms)

    return say

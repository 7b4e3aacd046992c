"""`springhouse desk SITE`."""

from typing import Annotated

import typer

from ..screen import SiteArgument, Units, UnitsOption, console


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("desk")(desk)


def desk(
    site: SiteArgument,
    port: Annotated[
        int, typer.Option("--port", min=0, max=65535, help="Port of the page, 0 any free one.")
    ] = 0,
    browser: Annotated[
        bool, typer.Option("--open", help="Open the page in this computer's browser.")
    ] = False,
    units: UnitsOption = Units.SI,
) -> None:
    """Open a page on which the installation can be changed and its hottest week seen at once.

    Sliders for water, coil, tube, hours, targets, prices, sensors; the real controller runs the
    week again on all readings of the labels. What is kept becomes another version of the site file
    beside the old one. For this computer alone; stop with Ctrl-C.

    Example:  springhouse desk demo --open
    """
    import asyncio
    import contextlib
    import signal
    from pathlib import Path
    from tempfile import TemporaryDirectory

    from ..desk.desk import Desk
    from ..desk.server import Server
    from ..site import load_site

    loaded = load_site(site)
    with TemporaryDirectory(prefix="springhouse-desk-") as folder, contextlib.ExitStack() as stack:
        shared = Desk(loaded, units is Units.US, Path(folder))
        stack.callback(shared.close)
        server = Server(shared, port)
        console().print(f"desk: {server.address}", markup=False, soft_wrap=True)
        if browser:
            import webbrowser

            webbrowser.open(server.address)
        with contextlib.suppress(KeyboardInterrupt):
            signal.raise_signal(asyncio.run(server.serve()))  # unwinds all that was opened here
    console().print("desk closed", markup=False)

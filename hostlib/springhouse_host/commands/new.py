"""`springhouse new DIR`."""

from pathlib import Path
from typing import Annotated

import typer

from ..errors import KnownError
from ..screen import console, write_whole

NAME = "site.toml"


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("new")(new)


def new(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="Folder for the site file.")],
) -> None:
    """Write a commented site file to start from.

    It is the built-in demo with every further key named in a comment. A file that is already
    there is never touched.

    Example:  springhouse new my-store
    """
    from ..starter import starter_text

    path = folder / NAME
    if path.exists():
        raise KnownError(f"{path}: exists already: nothing was written")
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise KnownError(f"{folder}: cannot be made: {error.strerror or error}") from None
    write_whole(path, starter_text(folder.resolve().name[:80]))
    console().print(f"wrote {path}\nnext: springhouse size {path}", markup=False)

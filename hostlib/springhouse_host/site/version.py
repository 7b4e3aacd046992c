"""A new version of a site file with some of its values changed, comments and order kept."""

from collections.abc import Mapping
from importlib import resources
from pathlib import Path
from typing import Any

from ..errors import KnownError
from ..screen import write_whole
from .site import BUILT_IN, Site, load_site


def text_of(site: Site) -> str:
    """Return the text of a site's file."""
    if site.path in BUILT_IN:
        name = f"{site.path}.toml"
        return (resources.files("springhouse_host") / "sites" / name).read_text("utf-8")
    return Path(site.path).read_text("utf-8")


def free_path(site: Site) -> Path:
    """Return a name for a new version that is not taken: beside the file, or here."""
    old = Path(f"{site.path}.toml" if site.path in BUILT_IN else site.path)
    number = 1
    while True:
        ending = "" if number == 1 else f"-{number}"
        path = old.with_name(f"{old.stem}-tuned{ending}.toml")
        if not path.exists():
            return path
        number += 1


def changed_text(text: str, changes: Mapping[str, Any], heading: str) -> str:
    """Return the text with values by "table.key" put in their places under one more comment."""
    import tomlkit

    document = tomlkit.parse(text)
    for where, value in changes.items():
        table, _, key = where.partition(".")
        if table not in document:
            document.add(table, tomlkit.table())
        document[table][key] = value
    return f"# {heading}\n{tomlkit.dumps(document)}"


def write_version(site: Site, changes: Mapping[str, Any], path: Path, heading: str) -> Site:
    """Write a new version and return it; an existing file is never written over.

    Raises:
        KnownError: when ``path`` exists or cannot be written.
        SiteError: when the changed site would be refused; nothing is written then.
    """
    if path.exists():
        raise KnownError(f"{path}: exists already: nothing was written")
    load_site(site.path, changes)
    write_whole(path, changed_text(text_of(site), changes, heading))
    return load_site(path)

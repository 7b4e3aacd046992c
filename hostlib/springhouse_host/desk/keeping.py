"""Keeping what is on the page: another version of the site file beside the old one."""

from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Any

from ..errors import KnownError
from ..site import heights
from ..site.read import load_toml
from ..site.site import Site, file_of
from ..site.version import next_version, write_changed


def keep(site: Site, changes: Mapping[str, Any]) -> Site:
    """Write the next version of a site file with the changes in it and return it as read back.

    Nothing is overwritten, comments stay, and what moves with the water stands in it as numbers.

    Args:
        site: as it is in its file.
        changes: as `load_site` takes them.

    Raises:
        KnownError: when nothing is changed, or the file cannot be written.
        SiteError: when the site's rules refuse the changes; nothing is then left behind.
    """
    if not changes:
        raise KnownError(f"{site.path}: nothing is changed, so there is nothing to keep")
    store = load_toml(file_of(site.path)).get("store", {})
    moved = {f"store.{key}": value for key, value in heights.moved(store, changes).items()}
    heading = f"another version of {Path(site.path).name}, {date.today().isoformat()}"
    return write_changed(site, next_version(site), {**moved, **changes}, heading)


def free(path: Path) -> Path:
    """Return the path, or the first like it with a number behind that no file has."""
    number, found = 1, path
    while found.exists():
        number += 1
        found = path.with_name(f"{path.stem}-{number}{path.suffix}")
    return found

"""A site with some of its values changed, without another file."""

from collections.abc import Iterable
from typing import Any

from springhouse_sim import outside

from ..errors import SiteError
from .site import Site, load_site


def changes_of(texts: Iterable[str]) -> dict[str, Any]:
    """Return values by ``table.key`` of changes of the form ``table.key=value``.

    ``value`` is written as in a site file; a word or text needs no quotes.

    Raises:
        SiteError: naming a change that is none.
    """
    found = {}
    for change in texts:
        where, equals, text = (part.strip() for part in change.partition("="))
        table, dot, key = where.partition(".")
        if not (equals and dot and table and key and text):
            raise SiteError(f"--with {change.strip()!r}: table.key=value, such as coil.fans=2")
        found[where] = _value(text)
    return found


def site_with(site: str, changes: Iterable[str]) -> Site:
    """Return a site file or built-in site with changes.

    Raises:
        SiteError: for every fault of the file or of a change, naming it.
    """
    return load_site(site, changes_of(changes))


def _value(text: str) -> Any:
    try:
        return outside.from_toml(f"x = {text}", "")["x"]
    except (outside.OutsideError, KeyError):
        return text

"""What was found, into a new version of the site file: offsets, probes checked, dates of tests."""

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from ..site import Site
from ..site.tables import PROBES
from ..site.version import write_changed
from .answer_book import Book
from .kinds import Step


def changes(book: Book) -> Mapping[str, Any]:
    """Return the values by "table.key" that differ from the site file.

    A probe that failed its ice point is no longer counted as checked: its error budget is wide
    again and the proof has to hold with that.
    """
    found: dict[str, Any] = {}
    checked = set(book.site.file.sensors.ice_point_checked)
    for step in book.steps:
        if step.kind != "ice_point" or step.name not in book.answers:
            continue
        if book.good(step) and "offset_k" in book.answers[step.name].results:
            checked.add(step.probe)
            offset_k = book.answers[step.name].results["offset_k"]
            found[f"settings.{step.probe}_offset_k"] = offset_k
        else:
            checked.discard(step.probe)
    found["sensors.ice_point_checked"] = [probe for probe in PROBES if probe in checked]
    for key in {step.keeps: None for step in book.steps if step.keeps}:
        days = _days(book, (step for step in book.steps if step.keeps == key))
        if days:
            found[f"commissioned.{key}"] = min(days)
    return {where: value for where, value in found.items() if _now(book.site, where) != value}


def _days(book: Book, steps: Iterable[Step]) -> list[str]:
    return [book.answers[step.name].on for step in steps if book.good(step)]


def _now(site: Site, where: str) -> Any:
    table, key = where.split(".")
    value = getattr(getattr(site.file, table), key)
    if isinstance(value, tuple):
        return list(value)
    return 0.0 if value is None and key.endswith("_offset_k") else value


def write(book: Book, path: Path, found: Mapping[str, Any]) -> Site:
    """Write the new version and note it in the record.

    Raises:
        KnownError: when the file is there, or cannot be written.
        SiteError: when the site's rules refuse the new values; nothing is then left behind.
    """
    site = write_changed(book.site, path, found, f"commissioning, record {book.path.name}")
    book.written = str(path)
    book.save()
    return site

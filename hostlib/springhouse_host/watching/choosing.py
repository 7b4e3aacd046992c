"""What a base holds of the installation that a person asks about."""

import sqlite3
import time
from pathlib import Path
from typing import TYPE_CHECKING

from ..errors import KnownError
from .base import Base
from .whose import BEFORE, Kind, Whose, shown, whose

if TYPE_CHECKING:
    import pandas as pd

    from ..site.site import Site


def _open(path: Path, writing: bool) -> Base:
    """Return a base that is there.

    Raises:
        KnownError: there is none, or it cannot be opened or written.
    """
    if writing and not path.is_file():
        raise KnownError(f"{path}: there is no such database: springhouse watch makes")
    try:
        return Base(path, read_only=not writing)
    except (sqlite3.Error, OSError) as error:
        raise KnownError(f"{path}: cannot be written: {error}") from None


def read(
    path: Path,
    site: "Site | None",
    name: str | None,
    adopt: bool,
    meter_kwh: float | None,
) -> "tuple[pd.DataFrame, list[tuple[float, float]], list[str]]":
    """Return an installation's records as a table, its meter readings, and what to say of them.

    Raises:
        KnownError: there is no such base or installation, or it cannot be written.
    """
    from .days import table

    notes: list[str] = []
    with _open(path, writing=adopt or meter_kwh is not None) as base:
        if adopt:
            owner = _adopting(site)
            adopted = base.adopt(str(whose(owner, False)))
            notes.append(f"{adopted} records are now those of {owner.name}")
        of = _chosen(base, site, name)
        if meter_kwh is not None:
            base.add_meter(time.time(), meter_kwh, of)
        data = table(base.records(whose=of), site=site)
        readings = base.meter_readings(of)
        notes += [text for text in (base.told, base.damage.words(path)) if text]
    if of is None or not of.startswith("site:"):
        notes.append(f"records of: {shown(of)}")
    if data.empty:
        raise KnownError(f"{path}: holds no records")
    return data, readings, notes


def _adopting(site: "Site | None") -> "Site":
    """Return the site that takes over records.

    Raises:
        KnownError: none is named.
    """
    if site is None:
        raise KnownError("--adopt: needs --site SITE, whose records they are")
    return site


def _chosen(base: Base, site: "Site | None", name: str | None) -> str | None:
    """Return the installation of a base, named by word, by its site, or the only one there.

    Simulated records are a site's only where it has no others.

    Raises:
        KnownError: there is none such, or several and none is named.
    """
    held = base.whose()
    if not held:
        raise KnownError(f"{base.path}: holds no records")
    there = ", ".join(f'"{shown(of)}" ({n} records)' for of, n in held.items())
    if name is not None:
        for of in held:
            if shown(of) == name:
                return of
        raise KnownError(f"{base.path}: --installation: {name!r}: holds records of {there}")
    if site is not None:
        kinds: tuple[Kind, ...] = ("site", "simulated")
        for kind in kinds:
            of = str(Whose(kind, site.name))
            if of in held:
                return of
        why = f"; --adopt gives {site.name} those named {BEFORE!r}" if None in held else ""
        raise KnownError(f"{base.path}: no records of {site.name!r}: holds those of {there}{why}")
    if len(held) > 1:
        raise KnownError(
            f"{base.path}: holds records of {there}: choose by --site or --installation"
        )
    return next(iter(held))

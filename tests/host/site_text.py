"""Site files for tests: one installation with some of its lines changed."""

from pathlib import Path

import pytest
from springhouse_host.errors import SiteError
from springhouse_host.site import Site, load_site

BASE = (Path(__file__).parent / "base.toml").read_text("utf-8")


def edited(*changes: tuple[str, str]) -> str:
    """The text with (table.key, new right-hand side); "" takes the line out."""
    lines = BASE.splitlines()
    for where, value in changes:
        table, key = where.split(".")
        start = next(i for i, line in enumerate(lines) if line.startswith(f"[{table}]"))
        stop = next(
            (i for i in range(start + 1, len(lines)) if lines[i].startswith("[")), len(lines)
        )
        found = [i for i in range(start, stop) if lines[i].split("=")[0].strip() == key]
        if found and not value:
            del lines[found[0]]
        elif found:
            lines[found[0]] = f"{key} = {value}"
        elif value:
            lines.insert(start + 1, f"{key} = {value}")
    return "\n".join(lines) + "\n"


def site_of(folder: Path, text: str) -> Site:
    """The site of a text."""
    path = folder / "site.toml"
    path.write_text(text, "utf-8")
    return load_site(path)


def lines_of(folder: Path, text: str | bytes) -> list[str]:
    """The lines with which a text is refused, without the folder."""
    path = folder / "site.toml"
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    with pytest.raises(SiteError) as refused:
        load_site(path)
    return [line.replace(f"{folder}/", "") for line in refused.value.lines]

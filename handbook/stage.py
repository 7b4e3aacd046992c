"""Lays out the pages of the handbook for `make docs`: python handbook/stage.py FOLDER.

The files of `docs` and `wiring` are taken as they are. What the program knows better is made here:
a page a command, a page an installation, the statechart's rows, the reference of the Python API.
"""

from __future__ import annotations

import shutil
import sys
from collections.abc import Iterator
from pathlib import Path

import commands
import installations
import springhouse_sim.plant as plant
import statechart
from springhouse_host.site.site import BUILT_IN

HERE = Path(__file__).parent
ROOT = HERE.parent
OWN = ("style.css", "iframe-worker.js")
TAKEN = ("README.md", "DEVELOPERS.md", "docs", "wiring")
PROOF = "docs/how-the-proof-works.md"
# Modules of the plant that describe a part or its water and air; the rest is bookkeeping.
PARTS = (
    *("store", "layers", "ice", "freezer", "machine", "refrigerant", "envelope", "loop"),
    *("hydraulics", "coil", "exchanger", "tray", "room", "spaces", "place", "battery"),
    *("moist_air", "water", "balance"),
)
API = {
    "notebook": ("Commands as functions", ("springhouse_host.notebook",)),
    "site": ("Site files and errors", ("springhouse_host.site.site", "springhouse_host.errors")),
    "plant": ("Parts of the plant", tuple(f"{plant.__name__}.{part}" for part in PARTS)),
    "firmware": ("The controller", ("springhouse.controller", "springhouse.horizon")),
}


def stage(folder: Path) -> None:
    """Lay out all pages in a folder, which is emptied first."""
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    for name in TAKEN:
        take = shutil.copytree if (ROOT / name).is_dir() else shutil.copy
        take(ROOT / name, folder / name)
    for name in OWN:
        shutil.copy(HERE / name, folder)
    with (folder / PROOF).open("a", encoding="utf-8") as page:
        page.writelines(rows())
    (folder / "commands").mkdir()
    groups = commands.write(folder / "commands")
    installations.write(ROOT / "docs/sites", folder / "docs/sites")
    (folder / "api").mkdir()
    for name, (title, modules) in API.items():
        text = "\n".join([f"# {title}\n", *(f"::: {module}\n" for module in modules)])
        (folder / f"api/{name}.md").write_text(text, "utf-8")
    config = (HERE / "mkdocs.yml").read_text("utf-8")
    (folder.parent / "mkdocs.yml").write_text(config + "".join(nav(groups)), "utf-8")


def rows() -> Iterator[str]:
    """Yield the statechart's rows, a table a region."""
    for region in (statechart.STORE, statechart.ROOM):
        yield f"\n## Rows of the {region.name}\n\n{statechart.table(region)}"


def nav(groups: list[tuple[str, list[str]]]) -> Iterator[str]:
    """Yield what follows the handbook in the navigation, as YAML."""
    yield "  - Installations:\n      - docs/sites/README.md\n"
    yield from (f"      - {word}: docs/sites/{word}.md\n" for word in BUILT_IN)
    yield f"  - Commands:\n      - commands/{commands.INDEX}\n"
    yield from (f"      - {name}: commands/{name}.md\n" for _, names in groups for name in names)
    yield "  - Wiring:\n      - wiring/README.md\n"
    for page in sorted((ROOT / "wiring").glob("[!R]*.md")):
        yield f"      - {page.stem.replace('_', ' ')}: wiring/{page.name}\n"
    yield "  - Python:\n"
    yield from (f"      - {title}: api/{name}.md\n" for name, (title, _) in API.items())
    yield "      - Working on it: DEVELOPERS.md\n"


if __name__ == "__main__":
    stage(Path(sys.argv[1]))

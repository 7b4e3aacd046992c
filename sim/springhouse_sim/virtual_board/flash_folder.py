"""A folder that stands for the board's flash: firmware as copied, wiring, settings record."""

import json
import shutil
from collections.abc import Mapping
from pathlib import Path

from springhouse.storage import pack

SOURCES = Path(__file__).parents[3] / "firmware"


def make_flash(
    folder: Path, wiring: Mapping[str, object], body: bytes | None, firmware: Path = SOURCES
) -> None:
    """Fill an empty folder.

    Args:
        folder: what becomes the flash.
        wiring: what is wired to the board.
        body: a settings record (`springhouse.record`), None for none.
        firmware: boot.py, main.py and springhouse/, as sources or as built for a board.
    """
    for name in ("boot.py", "main.py", "manifest.json", "sources.json"):
        if (firmware / name).exists():
            shutil.copy(firmware / name, folder / name)
    ignore = shutil.ignore_patterns("__pycache__")
    shutil.copytree(firmware / "springhouse", folder / "springhouse", ignore=ignore)
    (folder / "wiring.json").write_text(json.dumps(wiring))
    if body is not None:
        (folder / "settings.0").write_bytes(pack(1, body))

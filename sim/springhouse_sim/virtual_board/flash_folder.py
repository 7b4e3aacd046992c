"""A folder that stands for the board's flash: firmware as copied, wiring, settings record."""

import json
import shutil
from collections.abc import Mapping
from pathlib import Path

from springhouse.storage import pack

from .. import board_files


def make_flash(
    folder: Path, wiring: Mapping[str, object], body: bytes | None, firmware: Path | None = None
) -> None:
    """Fill an empty folder.

    Args:
        folder: what becomes the flash.
        wiring: what is wired to the board.
        body: a settings record (`springhouse.record`), None for none.
        firmware: boot.py, main.py and springhouse/, as built for a board; None for the sources.
    """
    if firmware is None:
        for name, path in board_files.sources().items():
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy(path, folder / name)
    else:
        shutil.copytree(firmware, folder, dirs_exist_ok=True)
    (folder / "wiring.json").write_text(json.dumps(wiring))
    if body is not None:
        (folder / "settings.0").write_bytes(pack(1, body))

"""A folder that stands for the board's flash: firmware as copied, wiring, settings record."""

import json
import shutil
from collections.abc import Mapping
from pathlib import Path

from springhouse.storage import pack

FIRMWARE = Path(__file__).parents[3] / "firmware"


def make_flash(folder: Path, wiring: Mapping[str, object], body: bytes | None) -> None:
    """Fill an empty folder; `body` is a settings record (`springhouse.record`), None for none."""
    for name in ("boot.py", "main.py"):
        shutil.copy(FIRMWARE / name, folder / name)
    ignore = shutil.ignore_patterns("__pycache__")
    shutil.copytree(FIRMWARE / "springhouse", folder / "springhouse", ignore=ignore)
    (folder / "wiring.json").write_text(json.dumps(wiring))
    if body is not None:
        (folder / "settings.0").write_bytes(pack(1, body))

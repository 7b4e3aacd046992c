"""The black box of a running board, got over its link."""

import json
import os
from pathlib import Path

from ..errors import KnownError
from .flash import ANSWER_S
from .line import Line


def is_port(path: Path) -> bool:
    """Whether a path names a serial port and not a file."""
    return path.is_char_device() or (os.name == "nt" and path.name.upper().startswith("COM"))


def fetch_log(port: str) -> str:
    """Return the lines of the whole black box; three days of it take some four minutes.

    What the board has not yet written, ten minutes at most, is not in it.

    Raises:
        KnownError: the board does not answer, or breaks off before its last record.
    """
    lines: list[str] = []
    try:
        with Line(port) as line:
            line.send({"cmd": "get-log"})
            while not lines or lines[-1] != '{"log": ""}':
                message = line.wait(lambda m: isinstance(m.get("log"), str), ANSWER_S)
                if message is None:
                    after = f"after {len(lines)} records" if lines else "at all"
                    raise KnownError(
                        f"board: no log on {port} {after}: is its program running? It looks at six "
                        "commands a minute"
                    )
                lines.append(json.dumps({"log": message["log"]}))
    except OSError as error:
        raise KnownError(f"board: the line broke off: {error}") from None
    return "\n".join(lines) + "\n"

"""The measured pulses a litre, in the wiring file that `flash` takes to the board."""

import json
import re
from pathlib import Path

from ..errors import KnownError
from ..flashing.flash import read_wiring
from ..outside import read_text
from ..screen import write_whole
from .answer_book import Book

KEY = "flow_pulses_l"


def pulses_l(path: Path) -> int:
    """Return the pulses a litre that a wiring file names.

    Raises:
        KnownError: when the board would not take the file, or it names none.
    """
    _, text, _ = read_wiring(path)
    value = json.loads(text).get(KEY, 0)
    if not value:
        raise KnownError(f"{path}: {KEY}: missing or 0: first what the sensor's data sheet says")
    return int(value)


def put_pulses(book: Book, path: Path) -> int | None:
    """Write what the bucket told into a wiring file; return it, None if nothing is to change.

    Only the number changes, so that a file written by hand stays as it was.

    Raises:
        KnownError: when the file is not as the board takes it, or cannot be written.
    """
    answer = book.answers.get("flow")
    if answer is None or not answer.good or "pulses_l" not in answer.results:
        return None
    right = round(answer.results["pulses_l"])
    if right == pulses_l(path):
        return None
    text, times = re.subn(rf'("{KEY}"\s*:\s*)\d+', rf"\g<1>{right}", read_text(path))
    if times != 1:
        raise KnownError(f"{path}: {KEY}: stands there {times} times, once is needed")
    write_whole(path, text)
    return right

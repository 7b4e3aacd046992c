"""The reasons of reason.py in plain words, read from flash: in memory they would take 6 kB.

The file is made of the table in why.py when an image is built, a line a reason.
"""

from springhouse.words import clock

_FILE = __file__.rsplit("/", 1)[0] + "/reasons.txt"
_PARTS = "|"
_found: "dict[int, list[str]]" = {}  # the latest few
_FOUND_MOST = 2


def _pair(reason: int) -> "list[str]":
    """What the side does, and why."""
    pair = _found.get(reason)
    if pair is None:
        with open(_FILE) as f:
            for _ in range(reason):
                f.readline()
            pair = f.readline().strip().split(_PARTS)
        if len(_found) == _FOUND_MOST:
            _found.clear()
        _found[reason] = pair
    return pair


def text(reason: int, ms: int) -> str:
    """A reason for a person, e.g. "waiting 7:12: compressor off time after power-up".

    "" for -1, and where the file cannot be read.
    """
    if reason < 0:
        return ""
    try:
        does, why = _pair(reason)
    except (OSError, ValueError):
        return ""
    if ms >= 0:
        does += " " + clock(ms)
    return does + ": " + why

"""A fault of the catalogue from one word of a command line."""

import re
from difflib import get_close_matches

from springhouse_sim.world.faults import CATALOGUE, FOREVER_S, Fault

from ..errors import KnownError

_FORM = re.compile(
    r"(?P<kind>\w+)(\.(?P<probe>\w+))?(=(?P<value>[-+.\d]+))?"
    r"@(?P<from>\d+:\d\d)(-(?P<to>\d+:\d\d))?"
)


def _seconds(text: str) -> int:
    hours, _, minutes = text.partition(":")
    return int(hours) * 3600 + int(minutes) * 60


def fault_from(text: str, days: int) -> Fault:
    """Return the fault that a word names.

    Args:
        text: ``NAME[.PROBE][=VALUE]@H:MM[-H:MM]``, times since the start of the run.
        days: length of the run.

    Raises:
        KnownError: in one line, when the form, the name, the probe, the value or a time is wrong.
    """
    found = _FORM.fullmatch(text)
    if found is None:
        raise KnownError(f"--fault {text}: expected NAME[.PROBE][=VALUE]@H:MM[-H:MM]")
    kind = found["kind"]
    if kind not in CATALOGUE:
        near = get_close_matches(kind, CATALOGUE, 1, 0.0)[0]
        raise KnownError(f"--fault {text}: no fault {kind!r}, nearest is {near!r}")
    onset_s = _seconds(found["from"])
    end_s = _seconds(found["to"]) if found["to"] else 0
    if onset_s >= days * 86400:
        raise KnownError(f"--fault {text}: begins after the run of {days} days")
    if end_s and end_s <= onset_s:
        raise KnownError(f"--fault {text}: ends before it begins")
    try:
        value = float(found["value"]) if found["value"] else None
        duration_s = end_s - onset_s if end_s else FOREVER_S
        return Fault(kind, onset_s, duration_s, found["probe"] or "", value)
    except ValueError as error:
        raise KnownError(f"--fault {text}: {error}") from None

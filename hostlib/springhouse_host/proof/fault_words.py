"""A fault from one word of a command line, and the list of all that there are."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from difflib import get_close_matches

from springhouse_sim.world.faults import CATALOGUE, FOREVER_S, Acts, Fault
from springhouse_sim.world.outage import Outage

from ..errors import KnownError

_FORM = re.compile(
    r"(?P<kind>\w+)(\.(?P<probe>\w+))?(=(?P<value>[-+.\d]+))?"
    r"@(?P<from>\d+:\d\d)(-(?P<to>\d+:\d\d))?"
)

MAINS_AWAY = "mains_away"  # no slot of a record, but an outage
# Other words that a person may have for one of them.
ALSO = {
    "outage": MAINS_AWAY,
    "blackout": MAINS_AWAY,
    "power": MAINS_AWAY,
    "power_cut": MAINS_AWAY,
    "power_failure": MAINS_AWAY,
    "flood": "floor_wet",
    "air": "prime_lost",
    "dry_run": "prime_lost",
    "fan": "fan_stalled",
    "probe": "probe_open",
    "relay": "relay_welded",
    "clock": "clock_lost",
    "blocked": "line_iced",
    "door_open": "lid_open",
}


@dataclass(frozen=True)
class Named:
    """A fault by its name: what it is, what it acts on, and the value it may bring."""

    name: str
    text: str
    probe: bool
    value: str


def every() -> Iterator[Named]:
    """Yield every fault that can be asked for."""
    yield Named(MAINS_AWAY, "mains away, to the end unless told until when", False, "")
    for name, kind in CATALOGUE.items():
        value = f"{kind.value:g} {kind.unit}" if kind.unit else ""
        yield Named(name, kind.text, kind.acts is Acts.PROBE, value)


def _unknown(text: str, kind: str) -> KnownError:
    names = [MAINS_AWAY, *CATALOGUE]
    near = get_close_matches(kind, [*names, *ALSO], 1, 0.7)
    meant = f", did you mean {ALSO.get(near[0], near[0])!r}?" if near else ""
    return KnownError(f"--fault {text}: no fault {kind!r}{meant}; `run --faults` lists them")


def _seconds(text: str) -> int:
    hours, _, minutes = text.partition(":")
    return int(hours) * 3600 + int(minutes) * 60


def fault_from(text: str, days: int) -> Fault | Outage:
    """Return the fault, or the outage of the mains, that a word names.

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
    if kind not in CATALOGUE and kind != MAINS_AWAY:
        raise _unknown(text, kind)
    onset_s = _seconds(found["from"])
    end_s = _seconds(found["to"]) if found["to"] else 0
    if onset_s >= days * 86400:
        raise KnownError(f"--fault {text}: begins after the run of {days} days")
    if end_s and end_s <= onset_s:
        raise KnownError(f"--fault {text}: ends before it begins")
    if kind == MAINS_AWAY:
        if found["probe"] or found["value"]:
            raise KnownError(f"--fault {text}: {MAINS_AWAY} takes no probe and no value")
        return Outage(onset_s, (end_s or days * 86400) - onset_s)
    try:
        value = float(found["value"]) if found["value"] else None
        duration_s = end_s - onset_s if end_s else FOREVER_S
        return Fault(kind, onset_s, duration_s, found["probe"] or "", value)
    except ValueError as error:
        raise KnownError(f"--fault {text}: {error}") from None

"""Change settings of a running board over its link, inside the range that its proof covers."""

import json
from array import array
from collections.abc import Sequence
from dataclasses import dataclass

from springhouse import setting
from springhouse.link import LINE_MOST

from ..errors import KnownError
from ..site import Site, owner_change
from ..site.hashes import settings_sha256
from ..site.owner_range import Change
from .flash import ANSWER_S, UNTOUCHED, BoardFailure
from .line import Line, Message

RATION = "it looks at six commands a minute: wait a minute and try again"
LOOK = "the board may have the old settings or the new: springhouse set without a KEY=VALUE shows"


@dataclass(frozen=True)
class InForce:
    """What runs on the board."""

    settings: "array[int]"
    state: Message  # its own account


def command(changes: Sequence[Change]) -> Message:
    """Return the one command that makes the changes, all or none.

    Raises:
        KnownError: it is longer than the board reads.
    """
    message = {"cmd": "set", "values": [number for change in changes for number in change]}
    if len(json.dumps(message, separators=(",", ":"))) > LINE_MOST:
        raise KnownError(f"set: too many windows for one command: one key at a time; {UNTOUCHED}")
    return message


def _state(line: Line, port: str) -> Message:
    line.send({"cmd": "get-state"})
    state = line.wait(lambda m: "firmware" in m, ANSWER_S)
    if state is None:
        raise KnownError(
            f"board: no answer on {port}: is its program running? {RATION}; {UNTOUCHED}"
        )
    return state


def _settings(line: Line) -> "array[int] | None":
    line.send({"cmd": "get-settings"})
    parts: dict[int, list[int]] = {}

    def complete(message: Message) -> bool:
        if "from" in message:
            parts[message["from"]] = message["settings"]
        return sum(map(len, parts.values())) >= setting.SIZE

    if line.wait(complete, ANSWER_S) is None:
        return None
    return array("i", [value for first in sorted(parts) for value in parts[first]])


def look_at(line: Line, port: str, site: Site) -> InForce:
    """Ask what runs; it must be the site's settings, changed at most inside the range.

    Raises:
        KnownError: nothing answers, or something else than the site runs there.
    """
    state = _state(line, port)
    if state["settings"] != site.settings_sha256[:16]:
        raise KnownError(
            f"board: its settings {state['settings']} are not those of {site.path} "
            f"({site.settings_sha256[:16]}): springhouse flash {site.path} first; {UNTOUCHED}"
        )
    settings = _settings(line)
    if settings is None:
        raise KnownError(f"board: no settings on {port}: {RATION}; {UNTOUCHED}")
    if settings_sha256(settings, site.ranges())[:16] != state["settings"]:
        raise KnownError(f"board: its settings arrive garbled on {port}: try again; {UNTOUCHED}")
    return InForce(settings, state)


def look(port: str, site: Site) -> InForce:
    """Return what is in force.

    Raises:
        KnownError: nothing answers, or something else than the site runs there.
    """
    with Line(port) as line:
        return look_at(line, port, site)


def adjust(port: str, site: Site, changes: Sequence[Change]) -> InForce:
    """Make the changes and return what is in force, read back from the board.

    Raises:
        KnownError: nothing was changed.
        BoardFailure: it is not certain whether something was.
    """
    message = command(changes)
    try:
        with Line(port) as line:
            before = look_at(line, port, site)
            if owner_change.contradiction(before.settings, changes):
                raise KnownError(f"set: contradicts another setting on the board; {UNTOUCHED}")
            line.send(message)
            answer = line.wait(lambda m: "refused" in m or m.get("done") == "set", ANSWER_S)
            if answer is None:
                raise BoardFailure(f"board: no answer to the change: {RATION}", LOOK)
            if "refused" in answer:
                raise KnownError(f"board: refuses: {answer['refused']}; {UNTOUCHED}")
            settings = _settings(line)
            line.send({"cmd": "get-state"})
            state = line.wait(lambda m: "firmware" in m, ANSWER_S)
    except OSError as error:
        raise BoardFailure(f"board: the line broke off: {error}", LOOK) from None
    if settings is None or state is None:
        raise BoardFailure("board: says that it is done but does not read back", LOOK)
    if any(settings[slot] != value for slot, value in changes):
        raise BoardFailure("board: reads back other values", LOOK)
    if (state["settings"], state["unproven"]) != (
        before.state["settings"],
        before.state["unproven"],
    ):
        raise BoardFailure("board: reports other settings or proof than before", LOOK)
    return InForce(settings, state)

"""A line of the link as a command: which there are, their keys, and JSON to the letter."""

import json

TYPE_CHECKING = False
if TYPE_CHECKING:
    from springhouse.kinds import Command

# command: keys it must have, keys it may have
_COMMANDS = {
    "ack": ((), ()),
    "mode": (("mode",), ("minutes",)),
    "set-time": (("utc_s",), ("sure",)),
    "set": (("values",), ()),  # slot, value, slot, value, ...: all or none
    "plan": (("from", "runs"), ()),  # UTC minute; quarter hours, advice, wanted, target, ...
    "get-plan": ((), ()),
    "get-settings": ((), ()),
    "get-log": ((), ()),
    "get-state": ((), ()),
    "service": ((), ()),
    "reset": ((), ()),
}

# Shape of a command: where it may go from each place with a token (s string, v word or number).
# 0 start, 1 key, 2 colon, 3 value, 4 behind it, 5 item of a list, 6 behind it, 7 end.
_GOES = {"0{": 1, "1s": 2, "2:": 3, "3s": 4, "3v": 4, "3[": 5, "4,": 1, "4}": 7, "5v": 6}
_GOES["6,"] = 5
_GOES["6]"] = 4
_BLANK = " \t\r\n"
_MARKS = "{}[]:,"


def _to_the_letter(text: str) -> bool:
    """Whether JSON is JSON: the board's reader takes a comma for a colon and ] for }.

    A line that lost or changed a byte on its way must not count as a command.
    """
    place = at = 0
    while at < len(text):
        token = text[at]
        start = at
        at += 1
        if token in _BLANK:
            continue
        if token == '"':
            at = text.find('"', at) + 1
            if not at:
                return False
            token = "s"
        elif token not in _MARKS:
            while at < len(text) and text[at] not in _BLANK + _MARKS + '"':
                at += 1
            digits = text[start:at].lstrip("-")
            if digits[:1] == "0" and len(digits) > 1:
                return False
            token = "v"
        place = _GOES.get(str(place) + token, -1)
        if place < 0:
            return False
    return place == 7


def _whole(value: object) -> bool:
    return isinstance(value, int) and not isinstance(value, bool)


def _numbers(value: object) -> bool:
    if not isinstance(value, list) or not value or len(value) % 2:
        return False
    for number in value:
        if not _whole(number) or not -(1 << 30) <= number < 1 << 30:
            return False
    return True


def parse(line: bytes) -> "tuple[Command, str]":
    """(command, what is wrong with it)."""
    try:
        given = json.loads(line.decode())
    except (ValueError, RuntimeError, MemoryError):  # RuntimeError: nested too deep
        return {}, "not JSON"
    if not isinstance(given, dict):
        return {}, "not a table"
    name = given.get("cmd")
    if not isinstance(name, str) or name not in _COMMANDS:
        return {}, "unknown cmd"
    must, may = _COMMANDS[name]
    for key in must:
        if key not in given:
            return {}, "missing " + key
    for key, value in given.items():
        if key == "cmd":
            continue
        if key not in must and key not in may:
            return {}, "unknown key"
        if key == "sure":
            if value is not True and value is not False:
                return {}, "sure: true or false"
        elif key in ("values", "runs"):
            if not _numbers(value):
                return {}, key + ": whole numbers in pairs"
        elif not _whole(value) or not -(1 << 31) <= value < 1 << 33:
            return {}, key + ": whole number"
    if not _to_the_letter(line.decode()):
        return {}, "not JSON"
    return given, ""

"""Commands in: newline-delimited JSON, read-mostly, rate limited. A command never writes an output.

Lines are at most 256 bytes; a longer one is thrown away up to its end. Six lines a minute are
looked at, more are counted and dropped unread.
"""

import json
from array import array

from springhouse.owner import RESET, SERVICE, Owner

TYPE_CHECKING = False
if TYPE_CHECKING:
    from springhouse.kinds import Command

LINE_MOST = 256
A_MINUTE = 6
_NEWLINE = 10

# command: keys it must have, keys it may have
_COMMANDS = {
    "ack": ((), ()),
    "mode": (("mode",), ("minutes",)),
    "set-time": (("utc_s",), ("sure",)),
    "set": (("values",), ()),  # slot, value, slot, value, ...: all or none
    "get-settings": ((), ()),
    "get-log": ((), ()),
    "get-state": ((), ()),
    "service": ((), ()),
    "reset": ((), ()),
}


class Lines:
    """Cuts a byte stream into lines in one fixed buffer."""

    def __init__(self) -> None:
        self._buffer = bytearray(LINE_MOST)
        self._used = 0
        self._skipping = False

    def take(self, byte: int) -> "bytes | None":
        """Add a byte; the line without its newline once it is complete."""
        if byte == _NEWLINE:
            line = None if self._skipping or not self._used else bytes(self._buffer[: self._used])
            self._used = 0
            self._skipping = False
            return line
        if self._used >= LINE_MOST:
            self._skipping = True
        elif not self._skipping:
            self._buffer[self._used] = byte
            self._used += 1
        return None


class Limit:
    """At most A_MINUTE in any 60 s; ages in whole seconds, so that no tick ever wraps."""

    def __init__(self) -> None:
        self._ages = array("i", [60] * A_MINUTE)

    def second(self) -> None:
        """A second has passed."""
        for i in range(A_MINUTE):
            if self._ages[i] < 60:
                self._ages[i] += 1

    def allow(self) -> bool:
        """Whether another one fits now; it is counted if so."""
        for i in range(A_MINUTE):
            if self._ages[i] >= 60:
                self._ages[i] = 0
                return True
        return False


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


def _pairs(value: object) -> bool:
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
        elif key == "values":
            if not _pairs(value):
                return {}, "values: slot, value, slot, value, ..."
        elif not _whole(value) or not -(1 << 31) <= value < 1 << 33:
            return {}, key + ": whole number"
    if not _to_the_letter(line.decode()):
        return {}, "not JSON"
    return given, ""


class Link:
    """Turns lines into requests of the owner and answers."""

    def __init__(self, owner: Owner) -> None:
        self._owner = owner
        self._lines = Lines()
        self.limit = Limit()
        self.dropped = 0  # lines over the rate, saturates
        self.wants_log = False
        self.wants_settings = False
        self.wants_state = False

    def feed(self, byte: int) -> "str | None":
        """Add a byte of input; the answer once a line is complete and was looked at."""
        line = self._lines.take(byte)
        if line is None:
            return None
        if not self.limit.allow():
            self.dropped = min(self.dropped + 1, 9999)
            return None
        command, fault = parse(line)
        if not fault:
            fault = self._obey(command)
        if fault:
            return json.dumps({"refused": fault})
        return json.dumps({"done": command["cmd"]})

    def _obey(self, command: "Command") -> str:
        name = command["cmd"]
        owner = self._owner
        if name == "ack":
            owner.acknowledge()
        elif name == "mode":
            return owner.ask_mode(int(command["mode"]), int(command.get("minutes", 0)))
        elif name == "set-time":
            return owner.set_time(int(command["utc_s"]), command.get("sure") is True)
        elif name == "set":
            return owner.change(command["values"])
        elif name == "get-log":
            self.wants_log = True
        elif name == "get-settings":
            self.wants_settings = True
        elif name == "get-state":
            self.wants_state = True
        elif name == "service":
            owner.reset = SERVICE
        elif name == "reset":
            owner.reset = RESET
        return ""

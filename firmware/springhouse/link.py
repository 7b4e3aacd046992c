"""Commands in: newline-delimited JSON, read-mostly, rate limited. A command never writes an output.

Lines are at most 256 bytes; a longer one is thrown away up to its end. Six lines a minute are
looked at, more are counted and dropped unread.
"""

import json
from array import array

from springhouse.command import parse
from springhouse.owner import RESET, SERVICE, Owner

TYPE_CHECKING = False
if TYPE_CHECKING:
    from springhouse.kinds import Command

LINE_MOST = 256
A_MINUTE = 6
_NEWLINE = 10


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
        self.wants_plan = False

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
        elif name in ("plan", "get-plan"):
            if owner.plan is None:
                return "plan: the settings allow none"
            if name == "plan":
                return owner.plan.take(int(command["from"]), command["runs"], owner)
            self.wants_plan = True
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

"""The board's link as lines of JSON, for as long as its program runs."""

import contextlib
import json
import time
from collections.abc import Callable
from typing import Any

import serial

from .. import outside
from ..errors import KnownError

BAUD = 115200
RETRY_S = 0.2
LONGEST_LINE = 4096  # the board's own are at most some hundred; more is noise on the wire
Message = dict[str, Any]


class Line:
    """An open port. Reading sends nothing, so that a watched board is never stopped.

    Raises:
        KnownError: the port cannot be opened.
    """

    def __init__(self, port: str) -> None:
        try:
            self._serial = serial.Serial(port, BAUD, timeout=0.05, exclusive=True, write_timeout=2)
        except (serial.SerialException, OSError) as error:
            raise KnownError(f"port: {port} cannot be opened: {error}") from None
        self._partial = b""
        self._whole: list[bytes] = []  # complete lines that nobody has asked for yet
        self.other = ""  # the last line that was no JSON, e.g. an interpreter's prompt

    def __enter__(self) -> "Line":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Give the port back."""
        self._serial.close()

    def send(self, command: Message) -> None:
        """Send a command."""
        self._serial.write(json.dumps(command, separators=(",", ":")).encode() + b"\n")

    def poke(self) -> None:
        """Make an interpreter show its prompt, also from its raw one; a program hears noise."""
        self._serial.write(b"\x02\r\n")

    def _read(self) -> None:
        self._partial += self._serial.read(4096)
        *whole, self._partial = self._partial.split(b"\n")
        self._whole += whole
        self._partial = self._partial[-LONGEST_LINE:]
        if self._partial.strip().endswith(b">>>"):
            self.other = ">>>"

    @property
    def prompt(self) -> bool:
        """Whether the last that came, but for messages, is an interpreter's prompt."""
        return ">>>" in self.other

    def wait(
        self, wanted: Callable[[Message], bool], timeout_s: float, or_prompt: bool = False
    ) -> Message | None:
        """Return the first message that is wanted, None if none comes in time.

        Those before it are dropped, those behind it are for the next call. With ``or_prompt`` an
        interpreter's prompt ends the wait too: no program runs that could answer.
        """
        until = time.monotonic() + timeout_s
        while time.monotonic() < until:
            self._read()
            while self._whole:
                text = self._whole.pop(0).decode(errors="replace").strip()
                message = outside.message(text, LONGEST_LINE)
                if message is None:
                    self.other = text[:LONGEST_LINE] or self.other
                elif wanted(message):
                    return message
            if or_prompt and self.prompt:
                return None
        return None


def after_reset(
    port: str, wanted: Callable[[Message], bool], timeout_s: float
) -> tuple[Line, Message] | None:
    """Return an open line and the first message wanted; None if none comes in time.

    A board on USB is gone while it starts, and whatever else looks at new ports may hold it for a
    moment: a port that cannot be opened or breaks off is tried again.
    """
    until = time.monotonic() + timeout_s
    while time.monotonic() < until:
        try:
            line = Line(port)
        except KnownError:
            time.sleep(RETRY_S)
            continue
        with contextlib.suppress(OSError):
            seen = line.wait(wanted, until - time.monotonic())
            if seen is not None:
                return line, seen
        line.close()
    return None

"""The board as commissioning sees it: its records, and the few requests its link takes."""

import contextlib
import json
import time
from collections import deque
from collections.abc import Callable, Iterator
from typing import Protocol

from springhouse import mode as modes
from springhouse.link import A_MINUTE

from ..errors import KnownError
from ..flashing.line import Message
from ..watching.board_record import BoardRecord, parse

SILENT_S = 20.0  # without a record the board counts as lost
ANSWER_S = 5.0
MINUTE_S = 62.0  # the board's, for its commands, with a margin
AWAY_S = 1.5  # after so long without reading, what waits in the port's buffer is old


class Link(Protocol):
    """What is needed of `flashing.line.Line`."""

    def send(self, command: Message) -> None:
        """Send a command."""

    def wait(self, wanted: Callable[[Message], bool], timeout_s: float) -> Message | None:
        """Return the first message that is wanted."""


class LinkedBoard:
    """A running board. Durations are by its own uptime, so that a fast virtual one serves too."""

    def __init__(
        self,
        link: Link,
        clock: Callable[[], float] = time.monotonic,
        sleep: Callable[[float], None] = time.sleep,
    ) -> None:
        self._link = link
        self._clock = clock
        self._sleep = sleep
        self._sent: deque[float] = deque(maxlen=A_MINUTE)
        self._read_at = clock()

    def record(self) -> BoardRecord:
        """Return the next record; none from before, when a person was waited for.

        Raises:
            KnownError: none comes, or the line breaks off.
        """
        if self._clock() - self._read_at > AWAY_S:
            self.send({"cmd": "get-state"})  # lines before its answer are dropped
        until = self._clock() + SILENT_S
        while self._clock() < until:
            message = self._wait(lambda m: "st" in m, SILENT_S)
            found = None if message is None else parse(json.dumps(message), time.time())
            if found is not None:
                return found
        raise KnownError(
            f"board: no record for {SILENT_S:g} s: does its program run, with report_s 1?"
        )

    def _wait(self, wanted: Callable[[Message], bool], timeout_s: float) -> Message | None:
        try:
            return self._link.wait(wanted, timeout_s)
        except OSError as error:
            raise KnownError(f"board: the line broke off: {error}") from None
        finally:
            self._read_at = self._clock()

    def records(self, seconds: float) -> Iterator[BoardRecord]:
        """Yield records for so many seconds of the board's uptime.

        Raises:
            KnownError: as `record`, and when the board restarts meanwhile.
        """
        first = before = None
        while True:
            found = self.record()
            up = found.line.up
            if before is not None and up < before:
                raise KnownError("board: it restarted in the middle of the step: do it again")
            first, before = up if first is None else first, up
            yield found
            if up - first >= seconds:
                return

    def until(self, wanted: Callable[[BoardRecord], bool], seconds: float) -> BoardRecord | None:
        """Return the first record that is wanted, None if none comes in so many seconds."""
        return next((found for found in self.records(seconds) if wanted(found)), None)

    def send(self, command: Message) -> None:
        """Send a command, not more than the board takes in a minute.

        Raises:
            KnownError: it does not answer or refuses.
        """
        if len(self._sent) == A_MINUTE:
            self._sleep(max(0.0, self._sent[0] + MINUTE_S - self._clock()))
        answer = self._exchange(command)
        if answer is None:  # somebody else may have used up the minute, or an earlier call
            self._sleep(MINUTE_S - ANSWER_S)
            answer = self._exchange(command)
        if answer is None:
            raise KnownError(f"board: no answer to {command['cmd']}")
        if "refused" in answer:
            raise KnownError(f"board: refuses {command['cmd']}: {answer['refused']}")

    def _exchange(self, command: Message) -> Message | None:
        self._sent.append(self._clock())
        try:
            self._link.send(command)
        except OSError as error:
            raise KnownError(f"board: the line broke off: {error}") from None
        return self._wait(lambda m: m.get("done") == command["cmd"] or "refused" in m, ANSWER_S)

    def settings(self) -> str:
        """Return the first digits of the hash of the settings it runs, "" if it does not say."""
        self.send({"cmd": "get-state"})
        state = self._wait(lambda m: "firmware" in m, ANSWER_S)
        return "" if state is None else str(state.get("settings", ""))

    def acknowledge(self) -> None:
        """Press its button."""
        self.send({"cmd": "ack"})

    def ask(self, mode: int, minutes: int) -> None:
        """Ask for a mode for a time."""
        self.send({"cmd": "mode", "mode": mode, "minutes": minutes})

    @contextlib.contextmanager
    def mode(self, mode: int, minutes: int) -> Iterator[None]:
        """A mode for as long as the block lasts, then automatic; at most so many minutes."""
        self.ask(mode, minutes)
        try:
            yield
        finally:
            self.ask(modes.AUTOMATIC, 0)

"""The link's task: bytes in, answers and the longer replies out, a line at a time."""

import asyncio
import gc
import json
from binascii import hexlify

from springhouse import blackbox, report
from springhouse.blackbox import BlackBox
from springhouse.drivers.console import Console
from springhouse.link import Link
from springhouse.owner import Owner

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Iterator

    from springhouse.kinds import Identity

TALK_MS = 200
_QUEUE_MOST = 8


class Talk:
    """Feeds the console's bytes to the link and sends what it wants sent."""

    def __init__(
        self, console: Console, link: Link, owner: Owner, box: BlackBox, identity: "Identity"
    ) -> None:
        """`identity` returns a table that says which board, code, settings and proof run."""
        self._console = console
        self._link = link
        self._owner = owner
        self._box = box
        self._identity = identity
        self._queue: list[str] = []
        self._settings_part = -1
        self._log: Iterator[str] | None = None
        self.shortages = 0  # lines given up because memory was short

    def _feed(self, byte: int) -> None:
        answer = self._link.feed(byte)
        if answer is not None and len(self._queue) < _QUEUE_MOST:
            self._queue.append(answer)

    def _log_lines(self) -> "Iterator[str]":
        """The whole black box as hex, a record a line, then a line that says it is over."""
        for name in self._box.segments():
            try:
                with open(self._box.folder + "/" + name, "rb") as f:
                    batch = blackbox.next_batch(f)
                    while batch is not None:
                        for _ in range(batch[1] // blackbox.RECORD_SIZE):
                            yield '{"log":"' + hexlify(f.read(blackbox.RECORD_SIZE)).decode() + '"}'
                        f.seek(blackbox.TAIL_SIZE, 1)
                        batch = blackbox.next_batch(f)
            except OSError:
                continue  # the ring moved on meanwhile
        yield '{"log":""}'

    def _next(self) -> "str | None":
        link = self._link
        if self._queue:
            return self._queue.pop(0)
        if link.wants_state:
            link.wants_state = False
            return json.dumps(self._identity(), separators=(",", ":"))
        if link.wants_plan:
            link.wants_plan = False
            if self._owner.plan is not None:
                return self._owner.plan.line(self._owner.clock.utc_min)
        if link.wants_settings:
            link.wants_settings = False
            self._settings_part = 0
        if self._settings_part >= 0:
            line = report.settings_line(self._owner, self._settings_part)
            self._settings_part = self._settings_part + 1 if line else -1
            if line:
                return line
        if link.wants_log:
            link.wants_log = False
            self._log = self._log_lines()
        if self._log is not None:
            entry = next(self._log, None)
            if entry is None:
                self._log = None
            return entry
        return None

    async def run(self) -> None:
        """Forever; each step is short, and nothing here waits for a reader."""
        while True:
            try:
                self._step()
            except MemoryError:  # the line is lost, the program goes on
                self._log = None
                self.shortages = min(self.shortages + 1, 9999)
                gc.collect()
            await asyncio.sleep_ms(TALK_MS)

    def _step(self) -> None:
        console = self._console
        console.read(self._feed)
        for _ in range(4):
            console.push()
            if console.busy():
                break
            line = self._next()
            if line is None:
                break
            console.start(line)
        console.push()

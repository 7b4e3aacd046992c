"""The network's one task. It can be late, fail or hang; the scans never wait for it.

It has a heartbeat of its own which nothing requires. What it cannot catch is a call of the radio's
driver that never returns: then the watchdog resets the board, and after a reset that nobody asked
for the network stays off for a day. So a broken network costs one reset a day at most.
"""

import asyncio
import gc
from binascii import hexlify

import machine

from springhouse import cause
from springhouse import memory as cell
from springhouse.loop import ticks
from springhouse.net import page
from springhouse.net.server import Server
from springhouse.net.station import Station
from springhouse.once import forget

TYPE_CHECKING = False
if TYPE_CHECKING:
    from springhouse.loop import Loop
    from springhouse.net.broker import Broker

STEP_MS = 100
FREE_LEAST = 6000  # bytes; below, the network is given up for the controller's sake
_LOOK_S = 60  # between two looks at the memory; after a failure, until the next try
# Switching the radio on may hold everything up for a second or two (its firmware is loaded). A
# minute after boot the scans are under way, and the compressor still waits its off-time.
_BEGIN_S = 60
_AFTER_RESET_S = 86_400
_SILENT_S = 10
_WORDS_MOST = 48  # the line they stand in has 256 bytes
_WAITING, _ON, _GIVEN_UP = range(3)
# A start after what a network may have caused.
_NOT_AGAIN = (cause.UNKNOWN, cause.WATCHDOG, cause.FAULT, cause.SOFTWARE_OR_CRASH)


def read_config(text: str) -> "tuple[dict[str, int], dict[str, str], str]":
    """What network.json says: numbers, texts, what is wrong with it."""
    from springhouse.net.config import Config

    made = Config(text)
    forget("net.config")
    return made.number, made.text, made.fault


class View:
    """What may be shown: makes texts, hands out no part of the board."""

    def __init__(self, loop: "Loop") -> None:
        self._loop = loop

    def record(self) -> str:
        """The record of the latest scan, as on the link."""
        return self._loop.board.line(self._loop.uptime_s)

    def lines(self) -> "list[str]":
        """The same as an answer."""
        return [self.record()]

    def status(self) -> "list[str]":
        """The status page."""
        board = self._loop.board
        up_s = self._loop.uptime_s
        return page.html(board.scanner, board.proven, up_s, board.cause, board.test.word)

    def mark(self) -> int:
        """A number that changes with outputs, states and latches."""
        memory = self._loop.board.scanner.memory
        states = memory[cell.STORE_STATE] << 4 | memory[cell.ROOM_STATE]
        return memory[cell.OUT] | states << 8 | memory[cell.LATCH] << 16


class Online:
    """Station, page and broker, stepped one after the other."""

    def __init__(self, loop: "Loop", text: str) -> None:
        """`text` is the content of network.json."""
        self._loop = loop
        self._view = View(loop)
        self._number, self._text, fault = read_config(text)
        self._state = _WAITING
        self._from_s = _BEGIN_S  # uptime at which to begin, or to begin again
        self._look_s = 0
        self._beat_s = 0
        self._mark = 0
        self._why = "not yet"
        self._short = 0
        self._station: Station | None = None
        self._server: Server | None = None
        self._broker: Broker | None = None
        if fault:
            self._state = _GIVEN_UP
            self._why = fault
            return
        self._prepare()
        if loop.board.cause in _NOT_AGAIN:
            self._from_s = _AFTER_RESET_S
            self._why = "a day off after a reset"

    def words(self) -> str:
        """How the network is, for `get-state`."""
        if self._loop.uptime_s - self._beat_s > _SILENT_S:
            return "silent"
        if self._state != _ON or self._station is None:
            return ("off: " + self._why)[:_WORDS_MOST]
        broker = self._broker is not None and self._broker.up()
        return (self._station.address or "joining") + (", broker" if broker else "")

    def shortages(self) -> int:
        """What was given up because memory was short."""
        return self._short + (self._server.shortages() if self._server is not None else 0)

    async def run(self) -> None:
        """Forever."""
        while True:
            self._beat_s = self._loop.uptime_s
            try:
                self._step(ticks())
            except Exception as problem:  # whatever it is, it is the network's and not the board's
                if isinstance(problem, MemoryError):
                    self._short = min(self._short + 1, 9999)
                    gc.collect()
                self._fail(problem)
            await asyncio.sleep_ms(STEP_MS)

    def _fail(self, problem: Exception) -> None:
        """Close all and wait a minute; what cannot even be closed is given up."""
        self._state = _GIVEN_UP
        try:
            self._hang_up()
            self._why = repr(problem)
        except Exception:
            return
        self._state = _WAITING
        self._from_s = self._beat_s + _LOOK_S

    def _hang_up(self) -> None:
        if self._server is not None:
            self._server.close()
        if self._broker is not None:
            self._broker.close()

    def _step(self, now: int) -> None:
        if self._state == _GIVEN_UP or self._beat_s < self._from_s:
            return
        if self._beat_s >= self._look_s:
            self._look_s = self._beat_s + _LOOK_S
            gc.collect()
            if gc.mem_free() < FREE_LEAST:
                self._give_up()
                return
        if self._station is None:
            self._station = Station(self._text)
            self._mark = self._view.mark()
        self._state = _ON
        self._serve(now)

    def _prepare(self) -> None:
        """Take the memory before the scans begin."""
        number, text, view = self._number, self._text, self._view
        if number["page_port"]:
            self._server = Server(
                {
                    b"/": ("text/html", view.status),
                    b"/state.json": ("application/json", view.lines),
                }
            )
        if text["broker"]:
            from springhouse.net.broker import Broker

            name = "springhouse" + hexlify(machine.unique_id()[-6:]).decode()
            self._broker = Broker(number, text, name, view.record)

    def _give_up(self) -> None:
        """For as long as the board runs."""
        self._hang_up()
        if self._station is not None:
            self._station.off()
        self._station = self._server = self._broker = None
        self._state = _GIVEN_UP
        self._why = "too little memory"

    def _serve(self, now: int) -> None:
        station, server, broker = self._station, self._server, self._broker
        if station is None:
            return
        station.step(now)
        if broker is not None and self._view.mark() != self._mark:
            self._mark = self._view.mark()
            broker.event(self._view.record())
        if not station.address:
            self._hang_up()
            return
        if server is not None:
            if server.address != station.address:
                server.close()
                server.open(station.address, self._number["page_port"])
            server.step(now)
        if broker is not None:
            broker.step(now)

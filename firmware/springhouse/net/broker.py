"""Publishes to an MQTT 3.1.1 broker, as often as configured and at every change. Never subscribes.

Packets are written into memory; a step moves what the network takes. Quality of service is 0: what
was under way when the connection broke is lost.
"""

import errno
import select
import socket

from springhouse import timekeeping
from springhouse.net.station import Pause

TYPE_CHECKING = False
if TYPE_CHECKING:
    from springhouse.kinds import MakeText

EVENTS_MOST = 8  # waiting; the oldest is dropped for a newer one
KEEPALIVE_S = 60
_PING_MS = 30_000
_ANSWER_MS = 10_000  # to open, to greet, to answer a ping
_PAUSE_FIRST_MS = 5000
_PAUSE_MOST_MS = 300_000
_ROOM = 1024  # bytes on their way: one message of each kind and a ping
_WRITE_MOST = 512

_AWAY, _OPENING, _GREETING, _UP = range(4)

# The only packets a broker owes a client that subscribes to nothing and publishes at QoS 0.
_WELCOME = b"\x20\x02"  # CONNACK, section 3.2; then flags and the return code
_PING_ANSWER = b"\xd0\x00"  # PINGRESP, section 3.13


class Outgoing:
    """Packets, gathered until the network takes them. Numbers are sections of MQTT 3.1.1."""

    def __init__(self) -> None:
        self._bytes = bytearray(_ROOM)
        self._view = memoryview(self._bytes)
        self.used = 0

    def _add(self, raw: bytes) -> None:
        end = self.used + len(raw)
        if end > _ROOM:
            raise OSError(errno.ENOBUFS)
        self._bytes[self.used : end] = raw
        self.used = end

    def _head(self, kind: int, size: int) -> None:
        """Kind and length of the rest, seven bits a byte: 2.2."""
        head = [kind]
        while size > 127:
            head.append(size & 127 | 128)
            size >>= 7
        head.append(size)
        self._add(bytes(head))

    def _strings(self, raws: "list[bytes]") -> None:
        """Each behind its length: 1.5.3."""
        for raw in raws:
            self._add(bytes([len(raw) >> 8, len(raw) & 255]))
            self._add(raw)

    def greet(self, name: str, user: str, password: str) -> None:
        """CONNECT, 3.1: a clean session, no will.

        Raises:
            OSError: no room, as all that add.
        """
        raws = [name.encode()]
        flags = 0x02
        if user:
            flags = 0xC2
            raws += [user.encode(), password.encode()]
        self._head(0x10, 10 + sum(2 + len(raw) for raw in raws))
        self._add(b"\x00\x04MQTT\x04" + bytes([flags, KEEPALIVE_S >> 8, KEEPALIVE_S & 255]))
        self._strings(raws)

    def publish(self, topic: str, text: str) -> None:
        """PUBLISH at quality of service 0, not retained: 3.3."""
        raw, payload = topic.encode(), text.encode()
        self._head(0x30, 2 + len(raw) + len(payload))
        self._strings([raw])
        self._add(payload)

    def ping(self) -> None:
        """PINGREQ, 3.12."""
        self._head(0xC0, 0)

    def push(self, wire: socket.socket) -> None:
        """Hand over what is taken now.

        Raises:
            OSError: the connection is broken.
        """
        if not self.used:
            return
        sent: int | None = wire.write(self._view[: min(self.used, _WRITE_MOST)])
        if sent:
            self._bytes[: self.used - sent] = self._bytes[sent : self.used]
            self.used -= sent


class Broker:
    """The connection and what waits for it."""

    def __init__(
        self, number: "dict[str, int]", text: "dict[str, str]", name: str, record: "MakeText"
    ) -> None:
        """`number` and `text` are those of config.py.

        `name` identifies the board to the broker, `record` makes the text of a record.
        """
        self.dropped = 0  # events, saturates
        self._server = text["broker"]
        self._port = number["broker_port"]
        self._topic = text["topic"]
        self._every_ms = number["every_s"] * 1000
        self._record = record
        self._events: list[str] = []
        self._out = Outgoing()
        self._login = (name, text["broker_user"], text["broker_password"])
        self._answer = bytearray(4)
        self._answered = 0  # bytes of the answer awaited
        self._wire: socket.socket | None = None
        self._poll = select.poll()
        self._pause = Pause(_PAUSE_FIRST_MS, _PAUSE_MOST_MS)
        self._phase = _AWAY
        self._asked_at = 0  # tick of the question whose answer is awaited
        self._asking = False
        self._record_due = 0  # tick

    def up(self) -> bool:
        """Whether the broker has welcomed the board."""
        return self._phase == _UP

    def event(self, text: str) -> None:
        """Have a change published as soon as possible."""
        if len(self._events) == EVENTS_MOST:
            self._events.pop(0)
            self.dropped = min(self.dropped + 1, 9999)
        self._events.append(text)

    def close(self) -> None:
        """Hang up; what waits goes on waiting, and the next step may try again at once.

        A pause is not kept: its tick would mean something else after days without a network.
        """
        self._drop()
        self._pause.clear()

    def _drop(self) -> None:
        if self._wire is not None:
            self._poll.unregister(self._wire)
            self._wire.close()
            self._wire = None
        self._out.used = 0
        self._phase = _AWAY

    def step(self, now: int) -> None:
        """Go on from wherever the connection stands."""
        try:
            if self._phase == _AWAY:
                if self._pause.over(now):
                    self._open(now)
            elif self._phase == _OPENING:
                self._await_open(now)
            else:
                self._listen(now)
                self._speak(now)
        except OSError:
            self._drop()
            self._pause.fail(now)

    def _open(self, now: int) -> None:
        wire = socket.socket()
        self._wire = wire
        self._poll.register(wire, select.POLLOUT)
        wire.setblocking(False)
        self._phase = _OPENING
        self._ask(now)
        try:
            wire.connect(socket.getaddrinfo(self._server, self._port)[0][-1])
        except OSError as problem:
            if problem.errno != errno.EINPROGRESS:
                raise

    def _ask(self, now: int) -> None:
        self._asked_at = now
        self._asking = True
        self._answered = 0

    def _check_patience(self, now: int) -> None:
        if self._asking and timekeeping.ticks_diff(now, self._asked_at) >= _ANSWER_MS:
            raise OSError(errno.ETIMEDOUT)

    def _await_open(self, now: int) -> None:
        for _stream, mask in self._poll.ipoll(0):
            if mask & ~select.POLLOUT:
                raise OSError(errno.ECONNREFUSED)
            self._out.greet(*self._login)
            self._phase = _GREETING
            self._ask(now)
            return
        self._check_patience(now)

    def _listen(self, now: int) -> None:
        """Read the one answer that may come; anything else ends the connection."""
        self._check_patience(now)
        wire = self._wire
        if wire is None:
            return
        wanted = 4 if self._phase == _GREETING else 2
        count = wire.readinto(memoryview(self._answer)[self._answered : wanted])
        if count is None:
            return
        if count == 0 or not self._asking:
            raise OSError(errno.ECONNRESET)
        self._answered += count
        if self._answered < wanted:
            return
        self._asking = False
        self._answered = 0
        if self._phase == _UP:
            if self._answer[:2] != _PING_ANSWER:
                raise OSError(errno.EINVAL)
            return
        if self._answer[:2] != _WELCOME or self._answer[3] != 0:
            raise OSError(errno.EACCES)
        self._phase = _UP
        self._pause.clear()
        self._asked_at = now
        self._record_due = now

    def _speak(self, now: int) -> None:
        """One message at a time, behind what is still on its way."""
        wire = self._wire
        if wire is None:
            return
        if self._phase == _UP and not self._out.used:
            if self._events:
                self._out.publish(self._topic + "/event", self._events.pop(0))
            elif timekeeping.ticks_diff(now, self._record_due) >= 0:
                self._record_due = timekeeping.ticks_add(now, self._every_ms)
                self._out.publish(self._topic + "/record", self._record())
            elif not self._asking and timekeeping.ticks_diff(now, self._asked_at) >= _PING_MS:
                self._out.ping()
                self._ask(now)
        self._out.push(wire)

"""Serves texts on the local network: GET only, two clients, five seconds each, then closed.

asyncio's server is not used: it starts a task for every client, and its readline has neither a
longest line nor a longest time. Headers are counted and read past, never looked at.
"""

import gc
import select
import socket

from springhouse import timekeeping

TYPE_CHECKING = False
if TYPE_CHECKING:
    from springhouse.kinds import Answers

CLIENTS = 2
LIMIT_MS = 5000  # from the connection to its end, whatever the client does
LINE_MOST = 256
HEAD_MOST = 2048  # bytes of all headers together; browsers send well under one kilobyte
READ_MOST = 256  # bytes a client and step
# On one board a write of more than the network stack has room for waits inside the port, up to
# 10 s (from memory of its source): small pieces, few of them on their way, keep below that.
WRITE_MOST = 512

_FREE, _LINE, _HEAD, _SEND, _DRAIN = range(5)  # a slot's phases
_NEWLINE, _RETURN = 10, 13

_STATUS = {
    200: "OK",
    400: "Bad Request",
    404: "Not Found",
    405: "Method Not Allowed",
    414: "URI Too Long",
    431: "Request Header Fields Too Large",
    503: "Service Unavailable",
    505: "HTTP Version Not Supported",
}


def reply(status: int, kind: str, body: "list[bytes]") -> "list[bytes]":
    """A whole response (RFC 9110, RFC 9112), in pieces."""
    head = (
        "HTTP/1.1 %d %s\r\nContent-Type: %s; charset=utf-8\r\nContent-Length: %d\r\n"
        "Connection: close\r\nCache-Control: no-store\r\nX-Content-Type-Options: nosniff\r\n"
    ) % (status, _STATUS[status], kind, sum([len(part) for part in body]))
    if status == 405:
        head += "Allow: GET\r\n"
    return [(head + "\r\n").encode()] + body


def refusal(status: int) -> bytes:
    """A response that says why not."""
    return b"".join(reply(status, "text/plain", [(_STATUS[status] + "\n").encode()]))


_SHORT = memoryview(refusal(503))  # made at start: there may be no memory left for it later


def judge(line: bytes, answers: "Answers") -> "list[bytes]":
    """The response to a request line without its line end, in pieces."""
    parts = line.split(b" ")
    if len(parts) != 3 or not parts[0] or not parts[1]:
        return [refusal(400)]
    if parts[2] not in (b"HTTP/1.1", b"HTTP/1.0"):
        return [refusal(505 if parts[2].startswith(b"HTTP/") else 400)]
    if parts[0] != b"GET":
        return [refusal(405)]
    if parts[1] not in answers:
        return [refusal(404)]
    kind, make = answers[parts[1]]
    return reply(200, kind, [part.encode() for part in make()])


class Slot:
    """One client at a time."""

    def __init__(self, answers: "Answers") -> None:
        self._answers = answers
        self._line = b""
        self._chunk = bytearray(READ_MOST)
        self._socket: socket.socket | None = None
        self._phase = _FREE
        self._since = 0
        self._left = 0  # bytes the headers may still have
        self._blank = False  # the line being read has no byte yet
        self._out = memoryview(b"")
        self._rest: list[bytes] = []  # what follows it
        self.shortages = 0  # requests not answered because memory was short

    def free(self) -> bool:
        """Whether nobody is here."""
        return self._phase == _FREE

    def begin(self, client: socket.socket, now: int) -> None:
        """Take a client."""
        self._socket = client
        self._phase = _LINE
        self._since = now
        self._line = b""

    def close(self) -> None:
        """Let the client go."""
        if self._socket is not None:
            self._socket.close()
        self._socket = None
        self._phase = _FREE
        self._out = memoryview(b"")
        self._rest = []

    def _refuse(self, status: int) -> None:
        """Answer a request not read to its end; closing on unread bytes would cut the answer."""
        self._out = memoryview(refusal(status))
        self._phase = _DRAIN

    def _take_or_excuse(self, count: int) -> None:
        try:
            self._take(bytes(self._chunk[:count]))
        except MemoryError:
            self.shortages = min(self.shortages + 1, 9999)
            self._out = _SHORT
            self._phase = _DRAIN
            gc.collect()

    def _take(self, data: bytes) -> None:
        """A piece of the request, line by line: byte by byte would cost a board too much time."""
        at = 0
        while at < len(data) and self._phase < _SEND:
            end = data.find(b"\n", at)
            piece = data[at:end] if end >= 0 else data[at:]
            at += len(piece) + 1
            if self._phase == _LINE:
                self._take_line(piece, end >= 0)
            else:
                self._take_header(piece, end >= 0)

    def _take_line(self, piece: bytes, whole: bool) -> None:
        self._line += piece
        if len(self._line) > LINE_MOST:
            self._refuse(414)
        elif whole:
            self._phase = _HEAD
            self._left = HEAD_MOST
            self._blank = True

    def _take_header(self, piece: bytes, whole: bool) -> None:
        self._left -= len(piece) + 1
        if piece and piece != b"\r":
            self._blank = False
        if self._left < 0:
            self._refuse(431)
        elif whole and self._blank:
            line = self._line[:-1] if self._line.endswith(b"\r") else self._line
            self._rest = judge(line, self._answers)
            self._phase = _SEND
        elif whole:
            self._blank = True

    def _write(self, client: socket.socket) -> None:
        room = WRITE_MOST
        while room and (self._out or self._rest):
            if not self._out:
                self._out = memoryview(self._rest.pop(0))
            sent: int | None = client.write(self._out[:room])
            if not sent:
                return
            self._out = self._out[sent:]
            room -= sent

    def step(self, now: int) -> None:
        """Read and write what can be read and written now."""
        client = self._socket
        if client is None:
            return
        if timekeeping.ticks_diff(now, self._since) >= LIMIT_MS:
            self.close()
            return
        try:
            count = client.readinto(self._chunk)
            if count:
                self._take_or_excuse(count)
            if self._out or self._rest:
                self._write(client)
            elif count == 0 or self._phase == _SEND:
                self.close()  # the client has hung up, or has all it asked for
        except OSError:
            self.close()


class Server:
    """The listening socket and its slots."""

    def __init__(self, answers: "Answers") -> None:
        self._slots = [Slot(answers) for _ in range(CLIENTS)]
        self.address = ""  # where it listens, "" for nowhere
        self._listener: socket.socket | None = None
        self._poll = select.poll()

    def open(self, address: str, port: int) -> None:
        """Listen at one address of the board.

        Raises:
            OSError: the port is taken, or the network is gone again.
        """
        listener = socket.socket()
        self._listener = listener
        self._poll.register(listener, select.POLLIN)
        listener.setblocking(False)
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind(socket.getaddrinfo(address, port)[0][-1])
        listener.listen(CLIENTS)
        self.address = address

    def shortages(self) -> int:
        """Requests that went unanswered because memory was short."""
        return sum([slot.shortages for slot in self._slots])

    def close(self) -> None:
        """Let everybody go."""
        for slot in self._slots:
            slot.close()
        if self._listener is not None:
            self._poll.unregister(self._listener)
            self._listener.close()
            self._listener = None
        self.address = ""

    def _accept(self, listener: socket.socket, now: int) -> None:
        client, _address = listener.accept()
        client.setblocking(False)
        for slot in self._slots:
            if slot.free():
                slot.begin(client, now)
                return
        try:
            client.write(refusal(503))
        except OSError:
            pass  # it did not wait for the answer
        client.close()

    def step(self, now: int) -> None:
        """Take at most one new client, then serve the others.

        Raises:
            OSError: the listening socket is broken.
        """
        listener = self._listener
        if listener is None:
            return
        for _ in self._poll.ipoll(0):
            self._accept(listener, now)
        for slot in self._slots:
            slot.step(now)

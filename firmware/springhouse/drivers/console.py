"""The serial console as the link's line: never waits for a reader or a writer."""

import select
import sys

TYPE_CHECKING = False
if TYPE_CHECKING:
    from springhouse.kinds import Feed

_CHUNK = 64
_READ_MOST = 256  # bytes a call: bounds the time a flood of input can take


class Console:
    """Standard input and output of the board."""

    def __init__(self) -> None:
        self._in = select.poll()
        self._in.register(sys.stdin, select.POLLIN)
        self._out = select.poll()
        self._out.register(sys.stdout, select.POLLOUT)
        self._pending = ""
        self.cut = 0  # lines given up because nobody read

    def read(self, feed: "Feed") -> None:
        """Hand each waiting byte to `feed`."""
        for _ in range(_READ_MOST):
            if not self._in.poll(0):
                return
            data = sys.stdin.buffer.read(1)
            if not data:
                return
            feed(data[0])

    def busy(self) -> bool:
        """Whether a line is still on its way."""
        return self._pending != ""

    def start(self, line: str) -> None:
        """Begin a line; one that nobody reads is given up for it."""
        if self._pending:
            self.cut = min(self.cut + 1, 9999)
            line = "\n" + line
        self._pending = line + "\n"

    def push(self) -> None:
        """Write what the line takes now."""
        while self._pending and self._out.poll(0):
            sys.stdout.write(self._pending[:_CHUNK])
            self._pending = self._pending[_CHUNK:]

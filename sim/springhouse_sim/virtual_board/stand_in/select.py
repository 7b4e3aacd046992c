# mypy: ignore-errors
"""Stand-in for `select`: user polls are real, asyncio's idle wait lets virtual time pass."""

import plant_wire
import uselect

POLLIN, POLLOUT, POLLERR, POLLHUP = (
    uselect.POLLIN,
    uselect.POLLOUT,
    uselect.POLLERR,
    uselect.POLLHUP,
)


def _real(stream):
    """What the interpreter can watch: the stand-in for a socket wraps one."""
    return getattr(stream, "real", stream)


class poll:
    """Like the built-in one, which it wraps."""

    def __init__(self):
        self._real = uselect.poll()

    def register(self, stream, mask=POLLIN | POLLOUT):
        """Watch a stream."""
        return self._real.register(_real(stream), mask)

    def unregister(self, stream):
        """Stop watching."""
        return self._real.unregister(_real(stream))

    def modify(self, stream, mask):
        """Watch for other things."""
        return self._real.modify(_real(stream), mask)

    def poll(self, ms=-1):
        """Ask now; the waiting of this form is not used by the firmware."""
        return self._real.poll(0)

    def ipoll(self, ms=-1, flags=0):
        """The event loop has nothing to do for so long."""
        ready = self._real.poll(0)
        if not ready and ms != 0:
            plant_wire.trouble("idle")
            plant_wire.advance(ms if ms > 0 else 1000)
        return ready

# mypy: ignore-errors
"""Stand-in for `socket`: the interpreter's own on the loopback, but waiting takes virtual time.

A program that waits for the network without limit hangs here as it does on a board, until the
watchdog ends it; and so does a look-up of a name. Places for injected faults: connect, send.
"""

import plant_wire
import uselect
import usocket

SOL_SOCKET, SO_REUSEADDR = usocket.SOL_SOCKET, usocket.SO_REUSEADDR
_STEP_MS = 100
_AGAIN, _UNDER_WAY = 11, 115


def getaddrinfo(host, port):
    """Only numbers are answered; a look-up of a name never ends."""
    while not all(part.isdigit() for part in host.split(".")):
        plant_wire.advance(_STEP_MS)
    return usocket.getaddrinfo(host, port)


class socket:
    """Never waits in real time."""

    def __init__(self, real=None):
        self.real = real or usocket.socket()
        self.real.setblocking(False)
        self._waits = True
        self.setsockopt = self.real.setsockopt
        self.bind = self.real.bind
        self.listen = self.real.listen
        self.close = self.real.close

    def setblocking(self, on):
        """Whether calls wait."""
        self._waits = on

    def _until(self, call, *arguments):
        """The call's result once it has one."""
        while True:
            try:
                result = call(*arguments)
                if result is not None or not self._waits:
                    return result
            except OSError as problem:
                if not self._waits or problem.errno != _AGAIN:
                    raise
            plant_wire.advance(_STEP_MS)

    def accept(self):
        """Next client."""
        client, address = self._until(self.real.accept)
        return socket(client), address

    def readinto(self, buffer):
        """Bytes read; 0 at the end, None if there are none yet."""
        return self._until(self.real.readinto, buffer)

    def write(self, data):
        """Bytes taken, None if there is no room."""
        plant_wire.trouble("send")
        return self._until(self.real.write, data)

    def connect(self, address):
        """Begin to connect, or connect."""
        plant_wire.trouble("connect")
        try:
            self.real.connect(address)
        except OSError as problem:
            if not self._waits or problem.errno != _UNDER_WAY:
                raise
            poll = uselect.poll()
            poll.register(self.real, uselect.POLLOUT)
            while not poll.poll(0):
                plant_wire.advance(_STEP_MS)

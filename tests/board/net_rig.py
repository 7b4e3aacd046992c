"""The rig on a network: its page on a free loopback port, requests as raw bytes."""

import json
import socket
from contextlib import closing
from pathlib import Path

from rig import Rig
from springhouse_sim.virtual_board.chip import BY_BOARD

GET = b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n"
UP_S = 66  # the radio is switched on after a minute, and joins in two seconds
RUN_S = 660  # compressor, pump and fan all start in it
CONFIG = {"ssid": "attic", "password": "not a secret"}


def free_port() -> int:
    """A port of the loopback that nobody listens on now."""
    with closing(socket.socket()) as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def print_scans(rig: Rig) -> None:
    """Make the control task on a rig's flash print the tick of each scan."""
    before = "            out = board.scanner.run(now)\n"
    rig.edit("loop.py", before, "            print('{\"scan\":%d}' % now)\n" + before)


def lived(rig: Rig) -> tuple[list[int], list[tuple[int, int, int]]]:
    """Ticks of all scans, and every change of every output."""
    return [r["scan"] for r in rig.records() if "scan" in r], rig.history


class NetRig(Rig):
    """A rig with a `network.json`; the access point is there once it is switched on."""

    def __init__(
        self, folder: Path, heap_kib: int = 176, board: str = "pico_w", **network: object
    ) -> None:
        super().__init__(folder, heap_kib=heap_kib, chip=BY_BOARD[board], board=board)
        self.port = free_port()
        config = {**CONFIG, "page_port": self.port, **network}
        (folder / "network.json").write_text(json.dumps(config))

    def power(self, tick: int = 0) -> "NetRig":
        super().power(tick)
        self.board.inputs.wifi(True)
        return self

    def client(self, data: bytes = b"") -> socket.socket:
        """A connection to the page with some bytes sent on it."""
        made = socket.create_connection(("127.0.0.1", self.port), timeout=2)
        made.sendall(data)
        return made

    def ask(self, request: bytes, seconds: int = 2) -> bytes:
        """What comes back within so many seconds of the board's time, until it hangs up."""
        with closing(self.client(request)) as made:
            self.run(seconds)
            return rest(made)

    def net(self) -> str:
        """What the board says of its network; once in ten seconds, for the rate limit's sake."""
        self.board.send('{"cmd":"get-state"}\n')
        self.run(10)
        assert all(len(line) <= 256 for line in self.board.lines)
        return next(r for r in reversed(self.records()) if "net" in r)["net"]


def rest(made: socket.socket) -> bytes:
    """All that has come, whether the other end has hung up or not."""
    made.setblocking(False)
    got = b""
    try:
        while piece := made.recv(4096):
            got += piece
    except (BlockingIOError, ConnectionResetError):
        pass
    return got


def status(response: bytes) -> int:
    """Status code of a response."""
    assert response.startswith(b"HTTP/1.1 ")
    return int(response.split(b" ", 2)[1])


def running(folder: Path) -> NetRig:
    """A rig whose page is up, and which prints its scans."""
    made = NetRig(folder)
    print_scans(made)
    made.power().run(UP_S)
    return made

"""How long a page waits for its figures: a desk of its own, asked by a line without a browser."""

import asyncio
import itertools
import json
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from statistics import median
from urllib.parse import urlsplit

from tornado.httpclient import HTTPRequest
from tornado.websocket import WebSocketClientConnection, websocket_connect

ASKED = 9  # amounts of water a round, none of them asked before
FIRST_L, MOST_L = 100.0, 198.0
STEP_L = 0.37


class Waiting:
    """Asks a running desk about one amount of water after another."""

    def __init__(self, address: str) -> None:
        self._place = urlsplit(address)
        span = int((MOST_L - FIRST_L) / STEP_L)
        self._litres = (round(FIRST_L + STEP_L * (n % span), 2) for n in itertools.count())

    def first_s(self) -> float:
        """Return the median of one round [s], from the question to the weakest reading's figures.

        Where another reading is done before it, to the whole answer.
        """
        return asyncio.run(self._round("first", "week"))

    def whole_s(self) -> float:
        """Return the median of one round [s], from the question to the whole answer read."""
        return asyncio.run(self._round("week"))

    async def _round(self, *kinds: str) -> float:
        host = self._place.netloc
        request = HTTPRequest(
            f"ws://{host}{self._place.path}live", headers={"Origin": f"http://{host}"}
        )
        line = await websocket_connect(request)
        found = []
        for number in range(ASKED + 1):
            found.append(await self._ask(line, number, kinds))
        line.close()
        while await line.read_message() is not None:
            pass
        return median(found[1:])  # the first may wait for what another page has begun

    async def _ask(
        self, line: WebSocketClientConnection, number: int, kinds: tuple[str, ...]
    ) -> float:
        """Return the time until the first answer of a kind; the whole one is waited for too."""
        begun, took_s = time.perf_counter(), 0.0
        values = {"store.water_litres": next(self._litres)}
        await line.write_message(json.dumps({"ask": number, "values": values, "urgent": True}))
        while True:
            text = await line.read_message()
            if text is None:
                raise RuntimeError("the desk has closed the line")
            said = json.loads(text)
            if said["kind"] == "refused":
                raise RuntimeError(f"the desk refuses {values}: {said['lines']}")
            if said["kind"] in kinds and said["n"] == number and took_s == 0.0:
                took_s = time.perf_counter() - begun
            if said["kind"] == "week" and said["n"] == number:
                return took_s


@contextmanager
def waiting(site_name: str) -> Iterator[Waiting]:
    """Run a desk while the block lasts.

    Raises:
        RuntimeError: when it prints no address.
    """
    command = [sys.executable, "-m", "springhouse_host", "desk", site_name]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        try:
            assert process.stdout is not None
            first = process.stdout.readline()
            if not first.startswith("desk: "):
                raise RuntimeError(f"springhouse desk {site_name}: {first!r}")
            yield Waiting(first.removeprefix("desk: ").strip())
        finally:
            process.terminate()

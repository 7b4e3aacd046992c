"""A desk running in a process of its own, and a page's line to it without a browser."""

from __future__ import annotations

import asyncio
import json
import os
import subprocess
import sys
from collections.abc import Awaitable, Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, TypeVar
from urllib.parse import urlsplit

from patience import HANG_S
from springhouse_host.site.site import file_of
from tornado.httpclient import HTTPRequest
from tornado.websocket import WebSocketClientConnection, websocket_connect

T = TypeVar("T")
PROGRAM = (
    "import sys; from springhouse_host.__main__ import main; sys.argv = ['springhouse', "
    "*sys.argv[1:]]; main()"
)


def own_site(folder: Path) -> Path:
    """A copy of the demo with a comment of the owner's."""
    path = folder / "site.toml"
    text = file_of("demo").read_text("utf-8")
    path.write_text(text.replace("water_litres = 150", "water_litres = 150 # by bucket"), "utf-8")
    return path


class Running:
    """A desk and the address it printed."""

    def __init__(self, process: subprocess.Popen[str], address: str) -> None:
        self.process = process
        self.address = address
        self.host = urlsplit(address).netloc
        self.token = urlsplit(address).path.strip("/")


@contextmanager
def opened(*arguments: str, cwd: Path) -> Iterator[Running]:
    """Run `springhouse desk` until the block ends."""
    process = subprocess.Popen(
        [sys.executable, "-c", PROGRAM, "desk", *arguments],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        cwd=cwd,
        env=os.environ | {"PYTHONUNBUFFERED": "1"},
    )
    try:
        assert process.stdout is not None
        first = process.stdout.readline()
        if not first.startswith("desk: "):
            raise AssertionError(process.communicate(timeout=HANG_S))
        yield Running(process, first.removeprefix("desk: ").strip())
    finally:
        if process.poll() is None:
            process.kill()
        for stream in (process.stdout, process.stderr):
            if stream is not None:
                stream.close()
        process.wait(timeout=HANG_S)


class Line:
    """A page's line: says and hears JSON objects."""

    def __init__(self, connection: WebSocketClientConnection) -> None:
        self._connection = connection
        self._ended = False  # its end is heard once

    async def say(self, **said: Any) -> None:
        await self.say_text(json.dumps(said))

    async def say_text(self, text: str) -> None:
        await self._connection.write_message(text)

    async def hear(self, *kinds: str) -> dict[str, Any]:
        """The next message of these kinds; of any, None where the line is closed."""
        while True:
            text = await self._connection.read_message()
            if text is None:
                self._ended = True
                raise EOFError
            said: dict[str, Any] = json.loads(text)
            if not kinds or said["kind"] in kinds:
                return said

    async def ask(self, number: int, values: Mapping[str, Any], urgent: bool = True) -> Any:
        """The answer to a request: its week, or its refusal."""
        await self.say(ask=number, values=values, urgent=urgent)
        while True:
            said = await self.hear("week", "refused")
            if said["n"] == number:
                return said

    async def close(self) -> None:
        """Close it and wait until the desk has done so too."""
        self._connection.close()
        with suppress(EOFError):
            while not self._ended:
                await self.hear()


async def _join(desk: Running, **headers: str) -> Line:
    """A page's line as a browser opens it."""
    asked = {"Origin": f"http://{desk.host}"} | headers
    request = HTTPRequest(f"ws://{desk.host}/{desk.token}/live", headers=asked)
    return Line(await websocket_connect(request))


def talk(desk: Running, work: Callable[[Callable[..., Awaitable[Line]]], Awaitable[T]]) -> T:
    """What comes of work that gets a function to join a desk by; its lines are closed then."""

    async def talking() -> T:
        lines: list[Line] = []

        async def join(**headers: str) -> Line:
            lines.append(await _join(desk, **headers))
            return lines[-1]

        try:
            return await work(join)
        finally:
            for line in lines:
                await line.close()

    return asyncio.run(talking())

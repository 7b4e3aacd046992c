"""The page's server: loopback only, nothing without the token, nothing for another origin."""

import asyncio
import hmac
import json
import logging
import secrets
import signal
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from importlib import resources
from typing import Any

from tornado.httpserver import HTTPServer
from tornado.netutil import bind_sockets
from tornado.web import Application, HTTPError, RequestHandler
from tornado.websocket import WebSocketClosedError, WebSocketHandler

from .. import outside
from ..errors import KnownError
from . import beside
from .choices import CHOICES
from .desk import Desk
from .tab import Tab

HOST = "127.0.0.1"
MESSAGE_BYTES = 64_000
TEXT_MOST = 2000  # characters of one field
KINDS = {
    "html": "text/html; charset=utf-8",
    "css": "text/css; charset=utf-8",
    "js": "text/javascript; charset=utf-8",
    "svg": "image/svg+xml",
}
OF_REPORT = "springhouse_host.report"  # holds the colours of both
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; "
    "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
# The report holds its own script; in a sandbox it can neither fetch nor see the desk.
REPORT_POLICY = (
    "sandbox allow-scripts; default-src 'none'; script-src 'unsafe-inline'; "
    "style-src 'unsafe-inline'; img-src data:"
)
# A drawing is shown as a picture; opened by itself it may fetch nothing either.
DRAWING_POLICY = "sandbox; default-src 'none'; style-src 'unsafe-inline'"


class _Door(RequestHandler):
    """Lets in who says our host and knows the token; everybody else is told nothing."""

    desk: Desk
    token: str
    hosts: frozenset[str]

    def initialize(self, desk: Desk, token: str, hosts: frozenset[str]) -> None:
        self.desk, self.token, self.hosts = desk, token, hosts

    def prepare(self) -> None:
        # A page elsewhere could point a name of its own at the loopback: only ours are answered.
        if self.request.host not in self.hosts:
            raise HTTPError(403)
        origin = self.request.headers.get("Origin")
        if origin is not None and origin not in {f"http://{host}" for host in self.hosts}:
            raise HTTPError(403)
        given = self.path_args[0] if self.path_args else ""
        if not hmac.compare_digest(given.encode(), self.token.encode()):
            raise HTTPError(404)

    def set_default_headers(self) -> None:
        self.set_header("Server", "springhouse")
        self.set_header("Cache-Control", "no-store")
        self.set_header("Content-Security-Policy", POLICY)
        self.set_header("Cross-Origin-Resource-Policy", "same-origin")
        self.set_header("Cross-Origin-Opener-Policy", "same-origin")
        self.set_header("Referrer-Policy", "no-referrer")
        self.set_header("X-Content-Type-Options", "nosniff")

    def write_error(self, status_code: int, **_: Any) -> None:
        self.set_header("Content-Type", "text/plain; charset=utf-8")
        self.finish(f"{status_code}: open the whole address that springhouse desk printed\n")


class _File(_Door):
    """The page and what it is made of."""

    def get(self, _token: str, name: str) -> None:
        name = name or "desk.html"
        package = OF_REPORT if name == "palette.css" else __package__
        file = resources.files(package).joinpath("page", name)
        kind = KINDS.get(name.rpartition(".")[2])
        if kind is None or not file.is_file():
            raise HTTPError(404)
        self.set_header("Content-Type", kind)
        self.finish(file.read_bytes())


class _Drawing(_Door):
    """A drawing of what a page last asked about."""

    async def get(self, _token: str, place: str, name: str) -> None:
        tab = self.desk.tabs[int(place)] if int(place) < len(self.desk.tabs) else None
        if tab is None or name not in beside.DRAWINGS:
            raise HTTPError(404)
        job = self.desk.calm.submit(beside.draw, tab.site.path, tab.site.changed, name)
        try:
            svg = await asyncio.wrap_future(job)
        except (ValueError, KnownError):  # a part is not to be had: the parts list says which
            raise HTTPError(404) from None
        self.set_header("Content-Security-Policy", DRAWING_POLICY)
        self.set_header("Content-Type", "image/svg+xml")
        self.finish(svg)


class _Report(_Door):
    """The report of the last proof."""

    def get(self, _token: str) -> None:
        if self.desk.report is None or not self.desk.report.is_file():
            raise HTTPError(404)
        self.set_header("Content-Security-Policy", REPORT_POLICY)
        self.set_header("Content-Type", "text/html; charset=utf-8")
        self.finish(self.desk.report.read_bytes())


class _Live(_Door, WebSocketHandler):
    """What a page says and is told (RFC 6455), a JSON object a message."""

    tab: Tab | None = None

    def check_origin(self, origin: str) -> bool:
        return origin in {f"http://{host}" for host in self.hosts}

    def prepare(self) -> None:
        if "Origin" not in self.request.headers:  # a browser always says it
            raise HTTPError(403)
        super().prepare()

    def open(self, *_: str) -> None:
        place = self.desk.free_place()
        if place is None:
            self._say({"kind": "full", "most": len(self.desk.tabs)})
            self.close()
            return
        self.tab = Tab(self.desk, place, self._say)
        self.desk.join(self.tab)
        self._say({"kind": "place", "place": place})
        self.tab.begin()

    def on_message(self, message: str | bytes) -> None:
        asked = outside.message(message, MESSAGE_BYTES) if isinstance(message, str) else None
        if asked is None or self.tab is None:
            self.close(1003, "a JSON object is expected")
            return
        values = asked.get("values", {})
        if not _plain(values):
            self.tab.refuse(["values: an object of numbers, texts, true and false"])
            return
        number = asked.get("ask")
        if isinstance(number, int) and not isinstance(number, bool):
            self.tab.ask(number, values, asked.get("urgent") is True)
        elif asked.get("keep") is True:
            self.tab.keep(values)
        elif asked.get("prove") is True:
            self._prove(self.tab, values)
        elif asked.get("stop") is True:
            self.desk.stop_proof()

    def _prove(self, tab: Tab, values: Mapping[str, Any]) -> None:
        path = tab.keep(values) if values else self.desk.site.path
        if path is None:
            return
        try:
            self.desk.prove(path)
        except KnownError as error:
            tab.refuse(error.lines)

    def on_close(self) -> None:
        if self.tab is not None:
            self.desk.leave(self.tab)
            self.tab = None

    def _say(self, said: Mapping[str, Any]) -> None:
        try:
            self.write_message(json.dumps(said))
        except WebSocketClosedError:
            return  # it has gone, and leaves by `on_close`


def _plain(values: Any) -> bool:
    """Whether values are few, flat and short."""
    return (
        isinstance(values, dict)
        and len(values) <= len(CHOICES)
        and all(
            value is None
            or isinstance(value, bool | int | float)
            or (isinstance(value, str) and len(value) <= TEXT_MOST)
            for value in values.values()
        )
    )


class Server:
    """Serves one desk on the loopback.

    Raises:
        KnownError: the port is taken.
    """

    def __init__(self, desk: Desk, port: int) -> None:
        try:
            (self._socket,) = bind_sockets(port, HOST)
        except OSError as error:
            raise KnownError(f"--port: {port}: {error.strerror or error}") from None
        self.port = int(self._socket.getsockname()[1])
        self.token = secrets.token_urlsafe(24)
        self._desk = desk
        logging.getLogger("tornado.access").setLevel(logging.CRITICAL)  # it would tell the token

    @property
    def address(self) -> str:
        """What to open in a browser."""
        return f"http://{HOST}:{self.port}/{self.token}/"

    async def serve(self) -> signal.Signals:
        """Answer until a signal ends the program, and return which; it is the caller's to obey."""
        shared = {
            "desk": self._desk,
            "token": self.token,
            "hosts": frozenset({f"{HOST}:{self.port}", f"localhost:{self.port}"}),
        }
        application = Application(
            [
                (r"/([^/]+)/live", _Live, shared),
                (r"/([^/]+)/report", _Report, shared),
                (r"/([^/]+)/drawing/([0-9])/([a-z0-9_.-]+)", _Drawing, shared),
                (r"/([^/]+)/([a-z.]*)", _File, shared),
            ],
            default_handler_class=_Door,
            default_handler_args=shared,
            websocket_max_message_size=MESSAGE_BYTES,
            websocket_ping_interval=20,
            log_function=lambda handler: None,
        )
        server = HTTPServer(application, max_buffer_size=MESSAGE_BYTES * 4)
        server.add_sockets([self._socket])
        with _signalled() as ended:
            self._desk.open()
            try:
                return await ended
            finally:
                server.stop()


@contextmanager
def _signalled() -> Iterator[asyncio.Future[signal.Signals]]:
    """Hear of a signal as an event of the running loop.

    A handler that raises would do so in whichever callback happens to run: a task keeps what is
    raised in it for itself, and the loop would go on for ever.
    """
    loop = asyncio.get_running_loop()
    ended: asyncio.Future[signal.Signals] = loop.create_future()

    def end(number: signal.Signals) -> None:
        if not ended.done():  # a second one does not change which it was
            ended.set_result(number)

    numbers = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)
    before = {number: signal.getsignal(number) for number in numbers}
    heard = [number for number in numbers if before[number] != signal.SIG_IGN]
    for number in heard:
        loop.add_signal_handler(number, end, number)
    try:
        yield ended
    finally:
        for number in heard:
            loop.remove_signal_handler(number)
            signal.signal(number, before[number])

"""A page on this computer's loopback that shows the same; it can only be read.

Events are pushed down one open answer a reader (server-sent events, HTML Living Standard 9.2).
"""

import json
import queue
import threading
from http import HTTPStatus
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from importlib import resources
from typing import Any

from ..errors import KnownError
from .view import Facts

HOST = "127.0.0.1"
READERS_MOST = 8
KEEP_ALIVE_S = 15.0
_POLICY = "default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline'; "
_POLICY += "connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"


class Page:
    """Serves the page and the events from threads of its own.

    Raises:
        KnownError: the port is taken.
    """

    def __init__(self, port: int) -> None:
        self._lock = threading.Lock()
        self._readers: list[queue.Queue[str | None]] = []
        self._last = ""
        handler = type("Handler", (_Handler,), {"page": self})
        try:
            self._server = ThreadingHTTPServer((HOST, port), handler)
        except OSError as error:
            raise KnownError(f"--web-port: {port}: {error.strerror or error}") from None
        self._server.daemon_threads = True
        self.port = int(self._server.server_address[1])
        threading.Thread(target=self._server.serve_forever, daemon=True).start()

    def show(self, shown: Facts) -> None:
        """Give every reader the newest facts; a reader that does not keep up loses old ones."""
        text = json.dumps(shown.as_json())
        with self._lock:
            self._last = text
            for reader in self._readers:
                if reader.full():
                    reader.get_nowait()
                reader.put_nowait(text)

    def close(self) -> None:
        """Send the readers away and stop serving."""
        with self._lock:
            for reader in self._readers:
                if reader.full():
                    reader.get_nowait()
                reader.put_nowait(None)
        self._server.shutdown()
        self._server.server_close()

    def join(self) -> "queue.Queue[str | None] | None":
        """Return a new reader's queue, None if there are enough of them."""
        with self._lock:
            if len(self._readers) >= READERS_MOST:
                return None
            reader: queue.Queue[str | None] = queue.Queue(maxsize=4)
            if self._last:
                reader.put_nowait(self._last)
            self._readers.append(reader)
            return reader

    def leave(self, reader: "queue.Queue[str | None]") -> None:
        """Forget a reader."""
        with self._lock:
            self._readers.remove(reader)


class _Handler(BaseHTTPRequestHandler):
    page: Page
    timeout = 10

    def do_GET(self) -> None:
        """Answer the page or the stream of events, nothing else."""
        # A page elsewhere could point a name of its own at the loopback: only ours are answered.
        host = self.headers.get("Host", "").rsplit(":", 1)[0]
        if host not in (HOST, "localhost"):
            self.send_error(HTTPStatus.FORBIDDEN)
        elif self.path == "/":
            body = resources.files(__package__).joinpath("page.html").read_bytes()
            self._head("text/html; charset=utf-8", len(body))
            self.wfile.write(body)
        elif self.path == "/events":
            self._events()
        else:
            self.send_error(HTTPStatus.NOT_FOUND)

    def _head(self, kind: str, length: int | None) -> None:
        self.send_response(HTTPStatus.OK)
        self.send_header("Content-Type", kind)
        self.send_header("Content-Security-Policy", _POLICY)
        self.send_header("Cache-Control", "no-store")
        if length is not None:
            self.send_header("Content-Length", str(length))
        self.end_headers()

    def _events(self) -> None:
        reader = self.page.join()
        if reader is None:
            self.send_error(HTTPStatus.SERVICE_UNAVAILABLE)
            return
        try:
            self._head("text/event-stream", None)
            while True:
                try:
                    text = reader.get(timeout=KEEP_ALIVE_S)
                except queue.Empty:
                    self.wfile.write(b": still here\n\n")
                    continue
                if text is None:
                    return
                self.wfile.write(f"data: {text}\n\n".encode())
        except OSError:
            return  # the reader has gone
        finally:
            self.page.leave(reader)
            self.close_connection = True

    def log_message(self, *_: Any) -> None:
        """Keep the terminal for the records."""

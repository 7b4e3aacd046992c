"""Types of the part of `simple.py` that is used."""

from typing import Protocol

class Wire(Protocol):
    def write(self, data: bytes | bytearray | str, count: int = -1, /) -> object: ...

class MQTTClient:
    sock: Wire | None
    client_id: str
    user: str | None
    pswd: str | None
    keepalive: int
    def __init__(
        self,
        client_id: str,
        server: str,
        port: int = 0,
        user: str | None = None,
        password: str | None = None,
        keepalive: int = 0,
    ) -> None: ...
    def _send_str(self, s: str | bytes) -> None: ...
    def ping(self) -> None: ...
    def publish(self, topic: str, msg: str, retain: bool = False, qos: int = 0) -> None: ...

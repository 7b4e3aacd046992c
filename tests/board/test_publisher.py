"""The publisher against scripted brokers: every packet by the standard, every silence bounded.

Standard: MQTT 3.1.1 (OASIS, 29 October 2014), from memory of its section numbers.
"""

import json
import socket
import time
from contextlib import closing
from itertools import pairwise
from pathlib import Path

import pytest
from net_rig import NetRig
from springhouse.boards import pico_w

UP_S = 66
PING, PING_ANSWER = b"\xc0\x00", b"\xd0\x00"
WELCOME = b"\x20\x02\x00\x00"
SETTLE_S = 0.005  # the loopback itself takes real time


class Scripted:
    """A broker that says what a test tells it to."""

    def __init__(self) -> None:
        self.server = socket.create_server(("127.0.0.1", 0))
        self.port = self.server.getsockname()[1]
        self.board: socket.socket | None = None

    def take(self) -> None:
        """Accept the board's connection."""
        if self.board is not None:
            self.board.close()
        self.board, _ = self.server.accept()

    def read(self) -> bytes:
        """What the board has sent since."""
        self.board.setblocking(False)
        try:
            return self.board.recv(65536)
        except BlockingIOError:
            return b""

    def left(self) -> bool:
        """Whether the board has hung up."""
        self.board.setblocking(False)
        try:
            while self.board.recv(65536):
                pass
        except BlockingIOError:
            return False
        except ConnectionResetError:
            pass
        return True

    def tried(self) -> bool:
        """Whether the board has come again; takes it."""
        self.server.setblocking(False)
        try:
            self.take()
        except BlockingIOError:
            return False
        return True

    def close(self) -> None:
        if self.board is not None:
            self.board.close()
        self.server.close()


@pytest.fixture
def broker():
    with closing(Scripted()) as made:
        yield made


def start(folder: Path, broker: Scripted, **config: object) -> NetRig:
    made = NetRig(folder, broker="127.0.0.1", broker_port=broker.port, page_port=0, **config)
    made.power().run(UP_S)
    broker.take()
    return made


@pytest.fixture
def rig(tmp_path: Path, broker: Scripted):
    with closing(start(tmp_path, broker, every_s=20)) as made:
        yield made


def packets(data: bytes) -> list[tuple[int, bytes]]:
    """First byte and body of each control packet; remaining length by section 2.2.3."""
    found = []
    while data:
        length = shift = 0
        at = 1
        while True:
            length |= (data[at] & 0x7F) << shift
            shift += 7
            at += 1
            if not data[at - 1] & 0x80:
                break
        assert len(data) >= at + length
        found.append((data[0], data[at : at + length]))
        data = data[at + length :]
    return found


def texts(body: bytes) -> list[bytes]:
    """Length-prefixed strings, section 1.5.3."""
    found = []
    while body:
        length = int.from_bytes(body[:2], "big")
        found.append(body[2 : 2 + length])
        body = body[2 + length :]
    return found


def published(data: bytes, kind: str) -> list[dict]:
    """Messages under a topic, section 3.3."""
    found = []
    for first, body in packets(data):
        if first == 0x30:
            size = int.from_bytes(body[:2], "big")
            if body[2 : 2 + size] == b"springhouse/" + kind.encode():
                found.append(json.loads(body[2 + size :]))
    return found


@pytest.mark.parametrize("login", [(), ("board", "warm winter"), ("u" * 64, "p" * 64)])
def test_greeting(tmp_path: Path, broker: Scripted, login: tuple[str, ...]) -> None:
    names = dict(zip(("broker_user", "broker_password"), login, strict=False))
    with closing(start(tmp_path, broker, **names)) as made:
        made.run(1)
        [(kind, body)] = packets(broker.read())
    assert kind == 0x10  # CONNECT, section 3.1
    assert body[:7] == b"\x00\x04MQTT\x04"
    assert body[7] == (0xC2 if login else 0x02)  # clean session; user name and password
    assert int.from_bytes(body[8:10], "big") == 60
    name, *rest = texts(body[10:])
    assert rest == [text.encode() for text in login]
    # Section 3.1.3.1: every broker takes 1 to 23 letters and digits.
    assert 1 <= len(name) <= 23
    assert name.isalnum()


def test_records_pings_and_nothing_else(rig: NetRig, broker: Scripted) -> None:
    rig.run(1)
    assert [kind for kind, _ in packets(broker.read())] == [0x10]
    broker.board.sendall(WELCOME)
    begun_s = rig.board.now_ms // 1000
    sent = b""
    for _ in range(125):
        rig.run(1)
        time.sleep(SETTLE_S)
        new = broker.read()
        sent += new
        if PING in new:
            broker.board.sendall(PING_ANSWER)
            time.sleep(SETTLE_S)
    kinds = [kind for kind, _ in packets(sent)]
    assert set(kinds) == {0x30, 0xC0}  # PUBLISH at quality 0, not retained, 3.3; PINGREQ, 3.12
    assert kinds.count(0xC0) in (3, 4)
    own = {r["up"]: r for r in rig.records()}
    every = published(sent, "record")
    assert all(record == own[record["up"]] for record in every)
    assert [round(r["up"] - every[0]["up"], -1) for r in every] == list(range(0, 125, 20))
    assert every[0]["up"] - begun_s <= 0, "the first one at once"


def test_no_answer_to_the_greeting_ends_it(rig: NetRig, broker: Scripted) -> None:
    rig.run(3)
    assert not broker.left()
    rig.run(8)
    assert broker.left()
    assert not broker.tried()
    rig.run(6)
    assert broker.tried(), "after a pause of five seconds"


@pytest.mark.parametrize(
    "answer",
    [
        b"\x20\x02\x00\x05",  # not authorized, section 3.2.2.3
        b"\x20\x02\x00\x01",
        b"HTTP",
        b"\xd0\x00\x00\x00",
        b"\x00\x00\x00\x00",
    ],
)
def test_other_answers_to_the_greeting_end_it(rig: NetRig, broker: Scripted, answer: bytes) -> None:
    rig.run(1)
    broker.read()
    broker.board.sendall(answer)
    rig.run(1)
    assert broker.left()
    assert rig.net() == "127.0.0.1"


@pytest.mark.parametrize(
    "unasked",
    [
        b"\x30\x0f\x00\x05topic{\"cmd\":1}",  # a message nobody subscribed to
        b"\xd0\x00",  # an answer to no ping
        b"\x90\x03\x00\x01\x00",
        b"\xff" * 5000,
    ],
)  # fmt: skip
def test_whatever_a_broker_sends_unasked_ends_it(
    rig: NetRig, broker: Scripted, unasked: bytes
) -> None:
    rig.run(1)
    broker.read()
    broker.board.sendall(WELCOME)
    rig.run(1)
    assert rig.net() == "127.0.0.1, broker"
    broker.board.sendall(unasked)
    rig.run(1)
    assert rig.net() == "127.0.0.1"
    assert rig.resets == []


def test_broker_that_stops_answering_is_left(rig: NetRig, broker: Scripted) -> None:
    rig.run(1)
    broker.board.sendall(WELCOME)
    rig.run(25)
    assert rig.net() == "127.0.0.1, broker"
    rig.run(20)
    assert rig.net() == "127.0.0.1", "a ping each 30 s, 10 s to answer it"


def test_pauses_double_up_to_five_minutes(rig: NetRig, broker: Scripted) -> None:
    tried_s = []
    broker.board.close()
    while rig.board.now_ms < 720_000:
        rig.run(1)
        if broker.tried():
            broker.board.close()
            tried_s.append(rig.board.now_ms // 1000)
    pauses = [b - a for a, b in pairwise(tried_s)]
    assert pauses[:6] == pytest.approx([10, 20, 40, 80, 160, 300], abs=2)
    assert max(pauses) <= 302


def changes(rig: NetRig) -> list[int]:
    """Uptimes at which outputs, states or latches were new."""
    return [
        b["up"]
        for a, b in pairwise(rig.records())
        if any(a[key] != b[key] for key in ("out", "st", "lat"))
    ]


def test_the_latest_eight_changes_wait_for_the_broker(rig: NetRig, broker: Scripted) -> None:
    broker.board.close()
    broker.server.close()
    for _ in range(8):  # a latched fault and its acknowledgement: two changes each
        for pin, level, seconds in (
            (pico_w.LEVEL, 1, 3),
            (pico_w.LEVEL, 0, 3),
            (pico_w.BUTTON, 0, 1),
        ):
            rig.board.inputs.level(pin, level)
            rig.run(seconds)
        rig.board.inputs.level(pico_w.BUTTON, 1)
    assert len(changes(rig)) >= 16
    broker.server = socket.create_server(("127.0.0.1", broker.port))
    while not broker.tried():
        rig.run(1)
    rig.run(1)
    broker.read()
    known = changes(rig)
    broker.board.sendall(WELCOME)
    rig.run(3)
    time.sleep(0.3)  # small packets wait for an acknowledgement, in real time
    events = [event["up"] for event in published(broker.read(), "event")]
    assert events[:8] == known[-8:]

"""The page on the virtual board: what is served, what is refused, and scans as without it.

Sockets are real ones on the loopback; time is virtual, and a call that waits takes it.
"""

import contextlib
import json
import random
import socket
from contextlib import closing, suppress
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from net_rig import GET, RUN_S, UP_S, NetRig, free_port, lived, rest, running, status
from springhouse import latch
from springhouse.boards import pico_w
from springhouse.net import server
from springhouse_host.flashing import build

GET_JSON = b"GET /state.json HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n"


@pytest.fixture
def rig(tmp_path: Path):
    with closing(running(tmp_path)) as made:
        yield made


@pytest.fixture(scope="module")
def shared(tmp_path_factory):
    """A rig for tests of one request after the other, each of which frees its slot again."""
    with closing(running(tmp_path_factory.mktemp("shared"))) as made:
        yield made


def test_page_and_record_while_the_board_scans_as_without_them(rig: NetRig, alone) -> None:
    while rig.board.now_ms < RUN_S * 1000:
        page = rig.ask(GET, 3)
        record = rig.ask(GET_JSON, 3)
    assert status(page) == status(record) == 200
    assert page.endswith(b"</html>")
    assert b"Running: compressor, pump, fan" in page
    assert json.loads(record.partition(b"\r\n\r\n")[2]).keys() == rig.last().keys()
    scans, changes = lived(rig)
    assert (scans[: len(alone[0])], [c for c in changes if c[0] <= RUN_S * 1000]) == alone
    assert rig.resets == []


def test_state_json_is_the_record_of_the_link(shared: NetRig) -> None:
    got = json.loads(shared.ask(GET_JSON, 1).partition(b"\r\n\r\n")[2])
    assert got in shared.records()


@pytest.mark.parametrize(
    ("request_bytes", "wanted"),
    [
        (b"POST / HTTP/1.1\r\nContent-Length: 13\r\n\r\n{\"cmd\":\"ack\"}", 405),
        (b"PUT /state.json HTTP/1.1\r\n\r\n", 405),
        (b"get / HTTP/1.1\r\n\r\n", 405),
        (b"GET /ack HTTP/1.1\r\n\r\n", 404),
        (b"GET /?mode=2 HTTP/1.1\r\n\r\n", 404),
        (b"GET /../wiring.json HTTP/1.1\r\n\r\n", 404),
        (b"GET /network.json HTTP/1.1\r\n\r\n", 404),
        (b"GET / HTTP/2\r\n\r\n", 505),
        (b"GET /\r\n\r\n", 400),
        (b'{"cmd":"ack"}\r\n\r\n', 400),
        (b"GET /" + b"a" * 400, 414),
        (b"GET / HTTP/1.1\r\n" + b"X: y\r\n" * 500, 431),
        (b"GET / HTTP/1.1\n\n", 200),  # bare line ends may be taken, RFC 9112 section 2.2
    ],
)  # fmt: skip
def test_only_get_of_two_paths(shared: NetRig, request_bytes: bytes, wanted: int) -> None:
    # Status codes: RFC 9110 section 15, RFC 6585 section 5 (431).
    response = shared.ask(request_bytes, 3)
    assert status(response) == wanted
    assert (b"Allow: GET" in response) == (wanted == 405)
    head, _, body = response.partition(b"\r\n\r\n")
    assert f"Content-Length: {len(body)}".encode() in head
    shared.run(6)
    assert status(shared.ask(GET)) == 200, "the slot is free again"


def test_longest_request_line(shared: NetRig) -> None:
    fits = b"GET /" + b"a" * (server.LINE_MOST - 15) + b" HTTP/1.1\r"
    assert len(fits) == server.LINE_MOST
    assert status(shared.ask(fits + b"\n\r\n")) == 404
    assert status(shared.ask(fits.replace(b"/", b"/a", 1) + b"\n\r\n")) == 414


def test_third_client_is_refused(shared: NetRig) -> None:
    with closing(shared.client(b"GET /")) as one, closing(shared.client(b"GET /")) as two:
        shared.run(1)
        assert status(shared.ask(GET)) == 503
        for waiting in (one, two):
            waiting.sendall(b" HTTP/1.1\r\n\r\n")
        shared.run(2)
        assert status(rest(one)) == status(rest(two)) == 200
    assert status(shared.ask(GET)) == 200


def test_slow_clients_are_dropped_after_five_seconds(shared: NetRig) -> None:
    with closing(shared.client()) as slow, closing(shared.client()) as silent:
        begun_ms = shared.board.now_ms
        sent = 0
        with suppress(OSError):  # the board has hung up
            while sent < 60:
                slow.sendall(GET[sent % len(GET) :][:1])
                sent += 1
                shared.board.run_slice(200)
                slow.setblocking(False)
                with suppress(BlockingIOError):
                    if not slow.recv(100):
                        break
                slow.setblocking(True)
        lasted_ms = shared.board.now_ms - begun_ms
        assert server.LIMIT_MS <= lasted_ms <= server.LIMIT_MS + 600
        assert silent.recv(1) == b"", "the silent one as well"
    assert status(shared.ask(GET)) == 200


def noise(rng: random.Random) -> bytes:
    """A request of one of several bad kinds."""
    kind = rng.randrange(4)
    if kind == 0:
        return rng.randbytes(rng.randrange(1, 3000))
    if kind == 1:
        return GET[: rng.randrange(len(GET))]
    if kind == 2:
        at = rng.randrange(len(GET))
        return GET[:at] + bytes([rng.randrange(256)]) + GET[at + 1 :]
    return b"POST / HTTP/1.1\r\n\r\n" + b'{"cmd":"service"}\n{"cmd":"mode","mode":1,"minutes":9}\n'


@pytest.mark.requirement("ROW-45")
def test_hostile_clients_change_no_output_and_hold_no_memory(rig: NetRig) -> None:
    rng = random.Random(3)
    rig.run(640)
    assert all(rig.motors())
    free = []
    before = len(rig.history)
    for n in range(160):
        with suppress(ConnectionError):
            held = [rig.client(noise(rng)) for _ in range(rng.randrange(1, 4))]
            rig.run(1)
            for made in held:
                made.close()
        if n % 32 == 31:
            rig.net()
            free.append(next(r for r in reversed(rig.records()) if "free" in r)["free"])
    assert [c for c in rig.history[before:] if c[1] != pico_w.LIGHT] == []
    assert rig.last()["lat"] & ~latch.TRAY == 0
    assert rig.last()["md"] == [0, 0]
    assert rig.resets == []
    assert free[0] - free[-1] < 2048, free
    scans = lived(rig)[0]
    assert {b - a for a, b in pairwise(scans)} == {1000}
    rig.run(6)
    assert status(rig.ask(GET)) == 200


def test_the_built_files_serve_the_page(tmp_path: Path) -> None:
    """The .mpy files themselves, those of the network included."""
    made = NetRig(tmp_path)
    manifest = json.loads((tmp_path / build.MANIFEST).read_text())["files"]
    assert "springhouse/net/online.mpy" in manifest
    assert not list((tmp_path / "springhouse").rglob("*.py"))
    made.power().run(UP_S)
    try:
        assert status(made.ask(GET)) == 200
    finally:
        made.close()


@pytest.mark.slow
@pytest.mark.requirement("ROW-44")
def test_memory_stays_flat_through_hours_of_a_bad_network(tmp_path: Path) -> None:
    """Access point and broker come and go, visitors ask and make noise: four hours."""
    rng = random.Random(8)
    port = free_port()
    made = NetRig(tmp_path, broker="127.0.0.1", broker_port=port, every_s=10)
    made.power().run(700)
    free = []
    served = 0
    with contextlib.ExitStack() as stack:
        stack.callback(made.close)
        mute = None
        while made.board.now_ms < 4 * 3_600_000:
            made.board.inputs.wifi(rng.random() < 0.8)
            if mute is not None:
                mute.close()
            mute = socket.create_server(("127.0.0.1", port)) if rng.random() < 0.5 else None
            for _ in range(rng.randrange(30)):
                with suppress(ConnectionError, TimeoutError):
                    request = rng.choice((GET, GET_JSON, noise(rng)))
                    served += b" 200 OK" in made.ask(request, rng.randrange(1, 8))
            made.run(rng.randrange(60, 300))
            made.net()
            free.append(next(r for r in reversed(made.records()) if "free" in r)["free"])
            del made.board.lines[:-20]
            made.history.clear()
        if mute is not None:
            mute.close()
    slope = float(np.polyfit(range(len(free)), free, 1)[0])
    print(f"{served} served; free {free[0]} to {free[-1]}, slope {slope:.1f} bytes a look")
    assert made.resets == []
    assert served > 100
    assert free[len(free) // 4] - free[-1] < 2048

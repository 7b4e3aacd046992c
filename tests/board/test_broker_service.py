"""The publisher on the virtual board against a real Mosquitto broker; see `make test-services`.

The board lives faster than the broker: a second of its own takes PACE_S and its computing time.
"""

import json
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from mosquitto import Listener, Mosquitto, program, wait_for
from net_rig import RUN_S, NetRig, free_port, lived, print_scans
from rig import Rig

pytestmark = pytest.mark.services
PACE_S = 0.02
UP_S = 75  # a minute, then join, connect and the first record


def live(rig: Rig, seconds: int) -> None:
    for _ in range(seconds):
        rig.run(1)
        time.sleep(PACE_S)


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Mosquitto]:
    made = Mosquitto(tmp_path, free_port()).start()
    yield made
    made.stop()


@pytest.fixture
def listener(tmp_path: Path, broker: Mosquitto) -> Iterator[Listener]:
    made = Listener(tmp_path, broker.port)
    wait_for(lambda: "Received SUBSCRIBE" in broker.log(), "the listener does not subscribe")
    yield made
    made.close()


@pytest.fixture
def rig(tmp_path: Path, broker: Mosquitto) -> Iterator[NetRig]:
    folder = tmp_path / "flash"
    folder.mkdir()
    made = NetRig(folder, broker="127.0.0.1", broker_port=broker.port, every_s=20)
    print_scans(made)
    made.power()
    yield made
    made.close()


def records(listener: Listener, kind: str) -> list[dict]:
    return [json.loads(text) for topic, text in listener.heard() if topic == "springhouse/" + kind]


def test_records_and_events_arrive_and_nothing_is_asked_for(
    rig: NetRig, broker: Mosquitto, listener: Listener
) -> None:
    live(rig, UP_S)
    assert rig.net() == "127.0.0.1, broker"
    live(rig, 330 - rig.board.now_ms // 1000)
    own = {r["up"]: r for r in rig.records() if "up" in r}
    wait_for(lambda: len(records(listener, "record")) >= 12, "a record each 20 s")
    for sent in records(listener, "record") + records(listener, "event"):
        assert sent == own[sent["up"]]
    starts = [r["up"] for r in records(listener, "event") if r["out"] & 1]
    assert starts[0] == min(up for up, r in own.items() if r["out"] & 1)
    log = broker.log()
    published = [line for line in log.splitlines() if "Received PUBLISH from springhouse" in line]
    assert len(published) >= 12
    assert all("(d0, q0, r0," in line for line in published), "quality of service 0, not retained"
    assert "Received SUBSCRIBE from springhouse" not in log


def test_what_others_publish_changes_nothing(
    rig: NetRig, broker: Mosquitto, listener: Listener
) -> None:
    live(rig, UP_S)
    say = [program("mosquitto_pub"), "-h", "127.0.0.1", "-p", str(broker.port), "-r"]
    for topic in ("springhouse/set", "springhouse/record", "springhouse/event"):
        subprocess.run(
            [*say, "-t", topic, "-m", '{"cmd":"mode","mode":1,"minutes":60}'], check=True
        )
    live(rig, 30)
    assert rig.last()["md"] == [0, 0]
    assert rig.net() == "127.0.0.1, broker"
    assert "Sending PUBLISH to springhouse" not in broker.log()


def test_broker_stopped_and_started_mid_run(
    rig: NetRig, broker: Mosquitto, listener: Listener, alone
) -> None:
    """Scans and outputs are those without a network; what changed meanwhile is sent afterwards."""
    live(rig, UP_S)
    broker.stop()
    live(rig, 340 - rig.board.now_ms // 1000)  # the compressor starts with nobody listening
    assert rig.net() == "127.0.0.1"
    before = len(records(listener, "record"))
    broker.start()
    wait_for(lambda: broker.log().count("Received SUBSCRIBE") == 2, "the listener is back")
    live(rig, RUN_S - rig.board.now_ms // 1000)
    assert rig.net() == "127.0.0.1, broker"
    assert len(records(listener, "record")) > before
    assert any(r["out"] & 1 for r in records(listener, "event") if r["up"] < 340)
    scans, changes = lived(rig)
    assert (scans[: len(alone[0])], [c for c in changes if c[0] <= RUN_S * 1000]) == alone
    assert rig.resets == []


def test_quiet_connection_is_kept_alive(tmp_path: Path, broker: Mosquitto) -> None:
    made = NetRig(tmp_path, broker="127.0.0.1", broker_port=broker.port, every_s=3600)
    made.power()
    try:
        live(made, UP_S + 150)
        assert made.net() == "127.0.0.1, broker"
    finally:
        made.close()
    assert broker.log().count("Received PINGREQ from springhouse") >= 4
    assert broker.log().count("New client connected") == 1


@pytest.mark.parametrize(("password", "up"), [("warm winter", True), ("cold summer", False)])
def test_login(tmp_path: Path, password: str, up: bool) -> None:
    broker = Mosquitto(tmp_path, free_port(), ("board", "warm winter")).start()
    made = NetRig(
        tmp_path,
        broker="127.0.0.1",
        broker_port=broker.port,
        broker_user="board",
        broker_password=password,
    )
    made.power()
    try:
        live(made, UP_S + 40)
        assert made.net() == ("127.0.0.1, broker" if up else "127.0.0.1")
        tries = broker.log().count("New connection")
        assert tries == 1 if up else 2 <= tries <= 4, "with pauses of 5, 10, 20 s"
    finally:
        made.close()
        broker.stop()

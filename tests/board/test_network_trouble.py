"""A network that is missing, mute, hanging or broken: the board scans and drives as without it."""

import socket
from contextlib import closing, suppress
from pathlib import Path

import pytest
from net_rig import GET, RUN_S, UP_S, NetRig, free_port, lived, print_scans, running, status
from rig import Rig
from springhouse.boards import pico_w


@pytest.fixture
def rig(tmp_path: Path):
    with closing(running(tmp_path)) as made:
        yield made


def test_no_access_point_changes_nothing(tmp_path: Path, alone) -> None:
    made = NetRig(tmp_path, broker="127.0.0.1", broker_port=free_port())
    print_scans(made)
    made.power()
    made.board.inputs.wifi(False)
    try:
        made.run(RUN_S)
        assert lived(made) == alone
        with pytest.raises(ConnectionRefusedError):
            made.client()
        assert made.net() == "joining"
        made.board.inputs.wifi(True)
        made.run(500)
        assert made.net() == "127.0.0.1", "joined by itself once it could"
    finally:
        made.close()


def test_broker_that_never_answers_changes_nothing(tmp_path: Path, alone) -> None:
    with closing(socket.create_server(("127.0.0.1", 0), backlog=20)) as mute:
        made = NetRig(tmp_path, broker="127.0.0.1", broker_port=mute.getsockname()[1])
        print_scans(made)
        made.power()
        try:
            made.run(RUN_S)
            assert lived(made) == alone
            assert made.net() == "127.0.0.1"
        finally:
            made.close()


@pytest.mark.parametrize("place", ["radio", "join", "connect"])
def test_driver_that_hangs_costs_one_reset_and_then_a_day_off(tmp_path: Path, place: str) -> None:
    made = NetRig(tmp_path, broker="127.0.0.1", broker_port=free_port())
    made.edit("net/online.py", "_AFTER_RESET_S = 86_400", "_AFTER_RESET_S = 700")  # a short day
    made.power()
    try:
        if place == "connect":
            made.board.inputs.wifi(False)
            made.run(330)
            assert made.out(pico_w.RELAY) == 1
            made.board.inputs.wifi(True)
        made.board.inputs.trouble(place, "hang")
        while not made.resets and made.board.now_ms < 900_000:
            made.run(1)
        assert [reset.watchdog for reset in made.resets] == [True]
        assert made.motors() == (0, 0, 0)
        made.run(3)
        made.run(650)
        assert made.net() == "off: a day off after a reset"
        with pytest.raises(ConnectionRefusedError):
            made.client()
        assert all(made.motors()), "the store is looked after without a network"
        made.run(60)
        assert made.net() == "127.0.0.1"
        assert len(made.resets) == 1
    finally:
        made.close()


@pytest.mark.parametrize("what", ["slow", "OSError", "MemoryError"])
def test_network_trouble_is_the_networks_own(tmp_path: Path, what: str) -> None:
    """In one life, place after place; after each the network is lost for a moment and joined."""
    made = NetRig(tmp_path, broker="127.0.0.1", broker_port=free_port())
    made.power()
    try:
        for place in ("radio", "join", "connect", "send"):
            made.board.inputs.trouble(place, what)
            made.board.inputs.wifi(False)
            made.run(5)
            made.board.inputs.wifi(True)
            with suppress(ConnectionError):
                made.run(UP_S)
                made.ask(GET, 3)
            made.run(70)
            assert status(made.ask(GET)) == 200, f"it came back after {place}"
            made.net()
            gap_ms = next(r for r in reversed(made.records()) if "gap" in r)["gap"]
            assert (gap_ms > 2000) == (what == "slow"), f"visited: {place}"
        assert made.out(pico_w.RELAY) == 1
        assert made.resets == []
        assert not any("fault" in r for r in made.records())
    finally:
        made.close()


def test_a_reset_that_was_asked_for_keeps_the_network(rig: NetRig) -> None:
    rig.board.send('{"cmd":"reset"}\n')
    rig.run(10 + UP_S)
    assert len(rig.resets) == 1
    assert status(rig.ask(GET)) == 200


@pytest.mark.parametrize("text", ["{}", "nonsense", '{"ssid":"attic","broker":"broker.example"}'])
def test_a_bad_file_leaves_the_network_off_and_the_board_on(tmp_path: Path, text: str) -> None:
    made = Rig(tmp_path)
    (tmp_path / "network.json").write_text(text)
    made.power()
    try:
        made.run(330)
        assert made.out(pico_w.RELAY) == 1
        made.board.send('{"cmd":"get-state"}\n')
        made.run(2)
        assert next(r for r in made.records() if "net" in r)["net"].startswith("off: ")
    finally:
        made.close()


def test_a_port_that_is_taken_is_tried_again(tmp_path: Path) -> None:
    made = NetRig(tmp_path)
    with socket.create_server(("127.0.0.1", made.port)):
        made.power().run(UP_S)
        assert made.net().startswith("off: OSError")
        made.run(300)
        assert made.out(pico_w.RELAY) == 1
    made.run(70)
    assert status(made.ask(GET)) == 200
    assert made.resets == []
    made.close()


@pytest.mark.parametrize("what", ["files missing", "cannot be closed"])
def test_a_broken_network_part_stops_itself_only(tmp_path: Path, what: str) -> None:
    made = NetRig(tmp_path)
    head = "    def _hang_up(self) -> None:\n"
    made.edit("net/online.py", head, head + "        self._nothing.close()\n")
    if what == "files missing":
        (tmp_path / "springhouse" / "net" / "online.mpy").unlink()
    made.power()
    made.board.inputs.trouble("join", "OSError")
    made.run(340)
    assert made.net() == ("failed" if what == "files missing" else "off: not yet")
    assert made.out(pico_w.RELAY) == 1
    assert made.resets == []
    made.close()


def test_too_little_memory_gives_the_network_up(tmp_path: Path) -> None:
    made = NetRig(tmp_path)
    made.power().run(UP_S)
    assert status(made.ask(GET)) == 200
    made.close()
    made.edit("net/online.py", "FREE_LEAST = 6000  ", "FREE_LEAST = 10_000_000  ")
    made.power().run(340)
    try:
        assert made.net() == "off: too little memory"
        with pytest.raises(ConnectionRefusedError):
            made.client()
        assert made.out(pico_w.RELAY) == 1
    finally:
        made.close()


def test_another_address_moves_the_page(tmp_path: Path) -> None:
    made = NetRig(tmp_path)
    other = '("127.0.0.2" if now > 120_000 else "127.0.0.1")'
    made.edit("net/station.py", "wlan.ifconfig()[0]", other)
    made.power().run(UP_S)
    try:
        assert status(made.ask(GET)) == 200
        made.run(130)
        assert made.net() == "127.0.0.2"
        with pytest.raises(ConnectionRefusedError):
            made.client()
    finally:
        made.close()


def test_no_network_in_safe_mode(rig: NetRig) -> None:
    rig.board.send('{"cmd":"service"}\n')
    rig.run(10 + UP_S)
    assert rig.records()[-1]["safe"] == "service"
    assert rig.net() == ""
    assert not any("secret" in line for line in rig.board.lines), "the password"
    with pytest.raises(ConnectionRefusedError):
        rig.client()


def test_network_task_that_only_waits_is_called_silent_and_nothing_else(tmp_path: Path) -> None:
    made = NetRig(tmp_path)
    made.edit("net/online.py", "asyncio.sleep_ms(STEP_MS)", "asyncio.sleep_ms(100000000)")
    made.power().run(340)
    try:
        assert made.net() == "silent"
        assert made.out(pico_w.RELAY) == 1
        assert made.resets == []
    finally:
        made.close()

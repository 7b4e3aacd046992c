"""What `flash` asks before it copies, and how it gets to the prompt of a board that is busy."""

import dataclasses
import json
import os
import pty
import select
import threading
import tty
from collections.abc import Callable, Iterator
from pathlib import Path

import built
import pytest
from rig import WIRING, record
from springhouse import fitted as fitted_bits
from springhouse import setting
from springhouse_host.errors import KnownError
from springhouse_host.flashing import board_facts, build, entering, flash
from springhouse_host.flashing.copying import CopyError, Prompt
from springhouse_sim.virtual_board.chip import PICO_W, Chip
from springhouse_sim.virtual_board.terminal import TerminalBoard
from test_flash import healthy, put

GOOD = board_facts.BoardFacts(
    machine="Raspberry Pi Pico W with RP2040",
    platform="rp2",
    release="1.24.1",
    mpy=6,
    heap=190_000,
    block=4096,
    room=700_000,
    idle=0,
    counter=False,
    missing=(),
)
ESP = dataclasses.replace(
    GOOD, machine="Generic ESP32 module with ESP32", release="1.26.0", counter=True
)


@pytest.fixture(scope="module")
def image() -> build.Image:
    return built.image().trimmed(network=False, display=False)


@pytest.fixture
def load(tmp_path: Path) -> flash.Load:
    path = tmp_path / "wiring.json"
    path.write_text(json.dumps(WIRING))
    return flash.make_load(record().settings, path, None, built.image())


def test_nothing_speaks_against_a_good_board(image: build.Image) -> None:
    assert board_facts.refusal(GOOD, image, network=True) == ""
    assert board_facts.refusal(ESP, dataclasses.replace(image, board="esp32"), network=True) == ""
    preview = dataclasses.replace(ESP, release="1.26.0-preview.12.gabc")
    assert (
        board_facts.refusal(preview, dataclasses.replace(image, board="esp32"), network=False) == ""
    )


@pytest.mark.parametrize(
    ("board", "facts", "said"),
    [
        ("pico_2w", GOOD, "it is Raspberry Pi Pico W with RP2040; this image is for RP2350"),
        ("esp32", dataclasses.replace(ESP, machine="Board with ESP32S3"), "image is for ESP32"),
        ("pico_w", dataclasses.replace(GOOD, machine="", platform="unix"), "it is unix"),
        ("pico_w", dataclasses.replace(GOOD, release="1.20.0"), "1.20.0 is too old"),
        ("esp32", dataclasses.replace(ESP, release="1.25.0"), "needs 1.26"),
        ("esp32", dataclasses.replace(ESP, counter=False), "no machine.Counter"),
        ("pico_w", dataclasses.replace(GOOD, release="nightly"), "too old"),
        ("pico_w", dataclasses.replace(GOOD, mpy=5), "bytecode of version 5"),
        ("pico_w", dataclasses.replace(GOOD, missing=("onewire",)), "has no onewire"),
        ("pico_w", dataclasses.replace(GOOD, heap=110 * 1024), "heap 110 kB, needed 112 kB"),
        ("pico_w", dataclasses.replace(GOOD, room=100_000), "file system lacks"),
    ],
)
def test_what_cannot_work_is_refused(
    image, board: str, facts: board_facts.BoardFacts, said: str
) -> None:
    why = board_facts.refusal(facts, dataclasses.replace(image, board=board), network=False)
    assert said in why
    assert "\n" not in why


def test_a_network_needs_more_heap(image) -> None:
    small = dataclasses.replace(GOOD, heap=120 * 1024)
    assert board_facts.refusal(small, image, network=False) == ""
    assert "with a network 140 kB" in board_facts.refusal(small, image, network=True)


def test_what_the_idle_folder_holds_counts_as_room(image) -> None:
    tight = dataclasses.replace(GOOD, room=40_000)
    assert "lacks" in board_facts.refusal(tight, image, network=False)
    idle = board_facts.needs(map(len, image.code.values()), 4096)
    assert board_facts.refusal(dataclasses.replace(tight, idle=idle), image, network=False) == ""


@pytest.mark.parametrize("said", [{}, {"block": 0}, {"heap": "x"}, {"missing": 3}])
def test_an_account_that_is_none_is_refused(said: dict) -> None:
    whole = {**dataclasses.asdict(GOOD), "missing": []}
    assert board_facts.facts(whole).heap == GOOD.heap
    with pytest.raises(ValueError, match="cannot be read"):
        board_facts.facts({**whole, **said} if said else {})


@pytest.mark.parametrize(
    ("wiring", "fitted", "said"),
    [
        ({}, fitted_bits.COIL_IN | fitted_bits.ROOM, "probes: coil_in"),
        ({"flow_pulses_l": 0}, fitted_bits.FLOW, "flow_pulses_l"),
        ({}, fitted_bits.FAN_TACH, "fan_pulses_rev"),
        ({}, fitted_bits.BATTERY | fitted_bits.COIL_AIR, "probes: coil_air; battery_ratio_pm"),
    ],
)
def test_a_fitted_sensor_that_is_not_wired_is_refused(
    tmp_path: Path, wiring: dict, fitted: int, said: str
) -> None:
    path = tmp_path / "wiring.json"
    path.write_text(json.dumps({**WIRING, **wiring}))
    settings = record().settings

    settings[setting.FITTED] |= fitted
    with pytest.raises(KnownError) as caught:
        flash.make_load(settings, path, None, built.image())
    assert caught.value.lines == [f"{path}: the site has it fitted, but it is not wired: {said}"]


def files(folder: Path) -> dict[str, bytes]:
    return {str(p): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


@pytest.fixture
def bench(tmp_path: Path, quick: None) -> Iterator[Callable[..., tuple[TerminalBoard, Path]]]:
    boards = []

    def make(chip: Chip = PICO_W, heap_kib: int = 176) -> tuple[TerminalBoard, Path]:
        folder = tmp_path / "flash"
        folder.mkdir()
        for name in ("boot.py", "main.py"):
            (folder / name).write_text("")
        boards.append(TerminalBoard(folder, before=healthy, chip=chip, heap_kib=heap_kib))
        return boards[-1], folder

    yield make
    for board in boards:
        board.close()


@pytest.mark.parametrize(
    ("chip", "heap_kib", "said"),
    [
        (Chip(machine="Raspberry Pi Pico 2 W with RP2350"), 176, "this image is for RP2040"),
        (Chip(release="1.19.1"), 176, "too old"),
        (Chip(flash_kib=128), 176, "file system lacks"),
        (PICO_W, 60, "heap"),
    ],
)
def test_a_bare_board_that_cannot_run_it_is_left_as_it_is(
    bench, load: flash.Load, chip: Chip, heap_kib: int, said: str
) -> None:
    board, folder = bench(chip, heap_kib)
    before = files(folder)
    with pytest.raises(KnownError) as caught:
        put(board, load)
    assert not isinstance(caught.value, flash.BoardFailure), "exit code 2"
    assert said in str(caught.value)
    assert str(caught.value).endswith(f"{flash.UNTOUCHED}, it is at its prompt")
    assert files(folder) == before


def test_a_refused_board_runs_its_old_version_again_and_a_full_one_can_be_flashed_later(
    bench, load: flash.Load, monkeypatch
) -> None:
    board, folder = bench()
    put(board, load)
    before = files(folder / "a")
    monkeypatch.setattr(board_facts, "HEAP_BYTES", 1 << 30)
    with pytest.raises(KnownError) as caught:
        put(board, load)
    assert str(caught.value).endswith(f"{flash.UNTOUCHED}, it runs its program")
    monkeypatch.undo()

    real = entering.SerialTransport.fs_writefile

    def full(self, dest, data, chunk_size=256, progress_callback=None):
        real(self, dest, data, chunk_size)
        if dest.endswith("manifest.json"):
            raise entering.TransportError("OSError: [Errno 28] ENOSPC")

    monkeypatch.setattr(entering.SerialTransport, "fs_writefile", full)
    with pytest.raises(flash.BoardFailure) as failed:
        put(board, load)
    assert flash.OFF_OLD in str(failed.value)
    assert not (folder / "b").exists(), "what is half there takes no room"
    monkeypatch.undo()
    assert put(board, load)["firmware"] == load.image.firmware[:16]
    assert files(folder / "a") == before

    other = dataclasses.replace(load, image=dataclasses.replace(load.image, board="pico_2w"))
    with pytest.raises(KnownError) as caught:
        put(board, other)
    assert "it is a pico_w; the image is for pico_2w" in str(caught.value)
    assert not isinstance(caught.value, flash.BoardFailure)


class Scripted:
    """The far end of a line that acts by what it is sent, not by the clock."""

    def __init__(self, act: Callable[["Scripted", bytes], None]) -> None:
        self._ours, self._theirs = pty.openpty()
        tty.setraw(self._theirs)
        self.port = os.ttyname(self._theirs)
        self.asked = 0  # times the raw prompt was asked for
        self.interrupts = 0
        self.printing = False
        self.line = b'{"up":1}\r\n'
        self._act = act
        self._ended = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def _run(self) -> None:
        while not self._ended.is_set():
            if self.printing:
                self.say(self.line)
            if not select.select([self._ours], [], [], 0.01)[0]:
                continue
            for byte in os.read(self._ours, 1024):
                self.asked += byte == 1
                self.interrupts += byte == 3
                self._act(self, bytes([byte]))

    def say(self, data: bytes) -> None:
        if select.select([], [self._ours], [], 0)[1]:
            os.write(self._ours, data)

    def close(self) -> None:
        self._ended.set()
        self._thread.join(5)
        os.close(self._ours)
        os.close(self._theirs)


def prompt_after(asked: int, late: bool = False, prints: bool = False):
    """Gives its prompt at the n-th time of asking; `late`: with all the banners owed."""
    typed = bytearray()

    def act(board: Scripted, byte: bytes) -> None:
        if prints and board.interrupts < asked:
            board.printing = True
            return
        board.printing = False
        if byte == b"\x01" and board.asked >= asked:
            owed = board.asked if late and board.asked == asked else 1
            board.say(b"\r\n>>> \r\n" + entering.BANNER * owed)
        elif byte == b"\x04":
            word = bytes(typed).split(b"'")[1] if b"'" in typed else b""
            board.say(b"OK" + word + b"\x04\x04>")
            typed.clear()
        elif byte in b"\r\x03\x01":
            typed.clear()
        else:
            typed.extend(byte)

    return act


QUICK = entering.Patience(first_s=0.1, most_s=0.3, overall_s=60.0)


@pytest.mark.parametrize(
    "act",
    [
        prompt_after(1),
        prompt_after(4),
        prompt_after(3, late=True),
        prompt_after(3, prints=True),
    ],
    ids=["ready", "in mid-boot or silent", "slow to be read", "prints"],
)
def test_the_prompt_is_reached(act) -> None:
    board = Scripted(act)
    try:
        transport = entering.enter(board.port, QUICK)
        assert transport.in_raw_repl
        assert transport.serial.read(1) == b">", "in step: the next command is answered"
        entering.let_go(transport)
    finally:
        board.close()


def test_a_board_that_never_answers_costs_a_bounded_time_and_no_port() -> None:
    board = Scripted(lambda _board, _byte: None)
    board.printing = True
    try:
        with pytest.raises(CopyError, match="no answer in"):
            Prompt(board.port, entering.Patience(0.05, 0.1, 0.4))
        with flash.Line(board.port) as line:  # exclusive: it would be refused
            assert line.wait(lambda m: "up" in m, 20) == {"up": 1}
    finally:
        board.close()


def test_a_port_that_is_gone_is_told() -> None:
    with pytest.raises(CopyError, match="failed to access"):
        Prompt("/dev/no-such-port", entering.Patience(0.01, 0.02, 0.05))


@pytest.mark.parametrize(
    ("says", "stands"),
    [
        (b'{"up":1}\n', "it runs its program"),
        (b'{"safe":"button","up":3}\n', "it is in safe mode (button)"),
        (b'{"fault":"x"}\n', "its outputs are off"),
        (b"\n", "it says nothing"),
    ],
)
def test_how_a_board_stands_is_asked_and_never_guessed(says: bytes, stands: str) -> None:
    board = Scripted(lambda _board, _byte: None)
    try:
        board.line, board.printing = says, True
        assert stands in flash.how_it_stands(board.port, 20.0 if says.strip() else 0.3)
    finally:
        board.close()

"""The status page's text, and the reading of requests, on their own."""

from array import array
from html.parser import HTMLParser
from types import SimpleNamespace

import built
import pytest
from hypothesis import given
from hypothesis import strategies as st
from rig import FITTED
from springhouse import (
    cause,
    controller,
    mode,
    reading,
    reason,
    reasons,
    setting,
    timekeeping,
    why,
    words,
)
from springhouse import memory as cell
from springhouse.net import page, server
from springhouse.scan import Scanner
from springhouse_host.flashing import build


class Reader(HTMLParser):
    """Collects tags and text; every tag that is opened must be closed where it has to be."""

    VOID = ("meta", "br")

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.open: list[str] = []
        self.text = ""

    def handle_starttag(self, tag: str, attrs) -> None:
        self.tags.append(tag)
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.text += data + "\n"


def shown(memory: "array[int]", readings: "array[int]", proven: bool = True, up_s: int = 0):
    settings = array("i", [0] * setting.SIZE)
    setting.fill_defaults(settings)
    settings[setting.FITTED] = FITTED
    scanner = SimpleNamespace(memory=memory, readings=readings, settings=settings)
    scanner.why = lambda: Scanner.why(scanner)
    reader = Reader()
    reader.feed("".join(page.html(scanner, proven, up_s, cause.POWER, 0)))
    reader.close()
    assert reader.open == []
    assert not {"form", "input", "button", "script", "img", "iframe"} & set(reader.tags)
    return reader.text


@pytest.fixture(autouse=True)
def words_on_flash(monkeypatch, tmp_path_factory) -> None:
    """The file of reasons as an image has it."""
    path = tmp_path_factory.mktemp("words") / "reasons.txt"
    path.write_bytes(built.image().code[build.REASONS])
    monkeypatch.setattr(reasons, "_FILE", str(path))


def test_the_file_of_reasons_says_what_the_table_says() -> None:
    for n in (*range(reason.SIZE), 0, 5):
        for ms in (-1, 0, 431_001):
            assert reasons.text(n, ms) == why.text(n, ms)


def fresh() -> "tuple[array[int], array[int]]":
    memory = array("i", [0] * cell.SIZE)
    controller.power_up(memory)
    return memory, array("i", [0] * reading.SIZE)


@given(
    st.integers(0, len(words.STORE_STATES) - 1),
    st.integers(0, len(words.ROOM_STATES) - 1),
    st.integers(0, 31),
    st.integers(0, 127),
    st.integers(0, mode.SIZE - 1),
    st.integers(-60_000, 130_000),
    st.integers(0, len(words.FAULTS) - 1),
)
def test_page_says_what_is(store, room, out, latch, asked, mc, fault) -> None:
    memory, readings = fresh()
    memory[cell.STORE_STATE], memory[cell.ROOM_STATE] = store, room
    memory[cell.OUT], memory[cell.LATCH], memory[cell.MODE] = out, latch, asked
    memory[cell.ROOM_GOOD] = 3
    readings[reading.ROOM_MC] = mc
    readings[reading.STORE_LOW_FAULT] = fault
    text = shown(memory, readings)
    settings = array("i", [0] * setting.SIZE)
    setting.fill_defaults(settings)
    settings[setting.FITTED] = FITTED
    records = (memory, settings, readings)
    store_why = why.text(*reason.store_reason(*records))
    room_why = why.text(*reason.room_reason(*records))
    assert f"Store side: {words.STORE_STATES[store]} ({store_why})." in text
    assert f"Room side: {words.ROOM_STATES[room]} ({room_why})." in text
    for n, name in enumerate(words.OUTPUTS[:3]):
        assert (name in text.split("Running: ")[1].split("\n")[0]) == bool(out >> n & 1) or (
            name == "fan" and out & 8
        )
    for n, name in enumerate(words.LATCHES):
        assert (name in text.partition("Waiting for")[2].split("\n")[0]) == bool(latch >> n & 1)
    assert ("not trusted: " + words.FAULTS[fault] if fault else "gaining trust") in text
    said = float(text.split("room probe\n")[1].split(" °C")[0])
    assert abs(said - mc / 1000) <= 0.05 + 1e-9
    assert "unproven" not in text


def test_a_probe_without_trust_says_why() -> None:
    memory, readings = fresh()
    said = "store probe low\n"
    assert said + "gaining trust" in shown(memory, readings)
    readings[reading.STORE_LOW_FAULT] = 2
    assert said + "not trusted: " + words.FAULTS[2] in shown(memory, readings)
    readings[reading.STORE_LOW_FAULT] = 0
    readings[reading.STORE_LOW_MC] = 85_000
    assert said + "not trusted: out of range" in shown(memory, readings)
    readings[reading.STORE_LOW_MC] = 4000
    memory[cell.STORE_LOW_GOOD], memory[cell.STORE_LOW_STUCK_T] = 3, timekeeping.DUE
    assert said + "not trusted: does not move" in shown(memory, readings)


def test_no_reason_stops_the_page_or_the_record(monkeypatch, tmp_path) -> None:
    """What tells why may be wrong, its words may be missing: the board goes on and says none."""
    broken = SimpleNamespace(memory=[], settings=[], readings=[])
    assert Scanner.why(broken) == (-1, -1, -1, -1)
    assert reasons.text(-1, -1) == ""
    monkeypatch.setattr(reasons, "_FILE", str(tmp_path / "none"))
    monkeypatch.setattr(reasons, "_found", {})
    assert reasons.text(3, -1) == ""
    (tmp_path / "none").write_text("off|service\n")
    assert reasons.text(3, -1) == "", "a file that ends too soon"


def test_page_says_unproven_and_how_long_it_is_up() -> None:
    text = shown(*fresh(), proven=False, up_s=90_061)
    assert "unproven" in text
    assert "Up for 25 h 1 min; started by: power-on." in text
    assert "Self-test: not yet." in text
    assert "Running: nothing." in text
    assert "Read only" in text


class Client:
    """A socket that gives bytes piece by piece and takes what it is told to take."""

    def __init__(self, data: bytes, piece: int, room: int) -> None:
        self.data = data
        self.piece = piece
        self.room = room
        self.got = b""
        self.closed = False

    def readinto(self, buffer: bytearray) -> int | None:
        count = min(len(buffer), self.piece, len(self.data))
        buffer[:count] = self.data[:count]
        self.data = self.data[count:]
        return count or None

    def write(self, data: memoryview) -> int | None:
        taken = bytes(data[: self.room])
        self.got += taken
        return len(taken) or None

    def close(self) -> None:
        self.closed = True


REQUESTS = st.one_of(
    st.binary(max_size=6000),
    st.lists(
        st.sampled_from([b"GET ", b"POST ", b"/", b" HTTP/1.1", b"\r\n", b"\n", b"a" * 90]),
        max_size=60,
    ).map(b"".join),
    st.lists(st.sampled_from([b"a: b", b"\r", b"\n", b"c" * 700]), max_size=20).map(
        lambda lines: b"GET / HTTP/1.1\r\n" + b"".join(lines)
    ),
)


def served(data: bytes, piece: int) -> bytes:
    """What a client gets that sends so many bytes at a time and has all the time it wants."""
    slot = server.Slot({b"/": ("text/plain", lambda: "here")})
    client = Client(data, piece, 1000)
    slot.begin(client, 0)
    while client.data and not slot.free():
        slot.step(0)
    return client.got


@given(REQUESTS, st.integers(1, 300))
def test_how_a_request_is_cut_up_does_not_matter(data: bytes, piece: int) -> None:
    got = served(data, piece)
    assert got == served(data, 256)
    line, _, headers = data.partition(b"\n")
    whole = (
        b"\r\n" in headers[:2]
        or headers[:1] == b"\n"
        or b"\n\r\n" in headers
        or (b"\n\n" in headers)
    )
    if len(line) > server.LINE_MOST:
        assert b" 414 " in got
    elif got and b" 431 " not in got:
        assert whole
    elif len(headers) < server.HEAD_MOST:
        assert not whole


@given(REQUESTS, st.integers(1, 300), st.integers(0, 700))
def test_any_bytes_end_in_one_answer_or_silence_within_five_seconds(data, piece, room) -> None:
    asked = []
    answers = {b"/": ("text/html", lambda: asked.append(1) or "x" * 1500)}
    slot = server.Slot(answers)
    client = Client(data, piece, room)
    slot.begin(client, 0)
    for now in range(0, server.LIMIT_MS + 200, 100):
        slot.step(now)
    assert slot.free()
    assert client.closed
    assert len(asked) <= 1
    if client.got:
        assert client.got.startswith(b"HTTP/1.1 "[: len(client.got)])
        assert client.got.count(b"HTTP/1.1 ") <= 1
        assert len(client.got) <= 1500 + 200
    if asked:
        assert data.lstrip().startswith(b"GET /")

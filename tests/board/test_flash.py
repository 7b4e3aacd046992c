"""Flashing with the real mpremote package to a virtual board behind a pseudo-terminal."""

import dataclasses
import grp
import hashlib
import json
import os
import pty
import time
from collections.abc import Iterator
from functools import partial
from pathlib import Path

import built
import made_verdict
import pytest
from rig import LOOPS, ROLES, WIRING, record
from springhouse_host import cli
from springhouse_host.errors import KnownError
from springhouse_host.flashing import build, copying, entering, flash, ports
from springhouse_host.proof.checking import CHANGED
from springhouse_host.site.hashes import settings_sha256
from springhouse_sim import board_files
from springhouse_sim.virtual_board.flash_folder import make_flash
from springhouse_sim.virtual_board.inputs import scratchpad, serial
from springhouse_sim.virtual_board.process import BoardProcess
from springhouse_sim.virtual_board.terminal import TerminalBoard

TEMPERATURES = {"store_low": 12.0, "store_high": 12.3, "room": 27.0}


def healthy(process: BoardProcess) -> None:
    for pin in LOOPS:
        process.inputs.level(pin, 0)
    for role, celsius in TEMPERATURES.items():
        process.inputs.pad(serial(ROLES.index(role) + 1), scratchpad(celsius))


@pytest.fixture(scope="module")
def image() -> build.Image:
    return built.image()


@pytest.fixture
def wiring(tmp_path: Path) -> Path:
    path = tmp_path / "wiring.json"
    path.write_text(json.dumps(WIRING))
    return path


@pytest.fixture
def demo_wiring(tmp_path: Path) -> Path:
    """All that the demo has fitted."""
    probes = {role: serial(n + 1).hex() for n, role in enumerate(ROLES)}
    path = tmp_path / "demo-wiring.json"
    path.write_text(json.dumps({**WIRING, "probes": probes, "battery_ratio_pm": 5700}))
    return path


@pytest.fixture
def proof(tmp_path: Path, image: build.Image) -> flash.ProofFile:
    """A verdict in the form `prove --json` writes, for the rig's settings."""
    hashes = {
        "settings_sha256": settings_sha256(record().settings),
        "firmware_sha256": image.firmware,
    }
    return flash.ProofFile(made_verdict.write(tmp_path / "verdict.json", **hashes), {})


@pytest.fixture
def load(wiring: Path, proof: flash.ProofFile, image: build.Image) -> flash.Load:
    return flash.make_load(record().settings, wiring, proof, image)


class Cutter:
    """Lets bytes through to the board until it is told to cut after so many more."""

    def __init__(self) -> None:
        self.left: int | None = None
        self.seen = b""  # all that has come

    def __call__(self, data: bytes) -> bytes:
        self.seen += data
        if self.left is None:
            return data
        data = data[: self.left]
        self.left -= len(data)
        return data


@pytest.fixture
def bare(tmp_path: Path, quick: None) -> Iterator[tuple[TerminalBoard, Path, Cutter]]:
    """A board with an interpreter and nothing else: empty boot.py and main.py."""
    folder = tmp_path / "flash"
    folder.mkdir()
    for name in ("boot.py", "main.py"):
        (folder / name).write_text("")
    cutter = Cutter()
    board = TerminalBoard(folder, before=healthy, on_bytes=cutter)
    yield board, folder, cutter
    board.close()


def put(board: TerminalBoard, load: flash.Load) -> dict:
    return flash.flash(board.port, load, flash.Steps())


def test_bare_board_then_update_and_back(bare, load: flash.Load, wiring, image) -> None:
    board, folder, line = bare
    answer = put(board, load)
    after = line.seen.rpartition(b"machine.reset()\x04")[2]
    assert after.startswith(b'{"cmd":"get-state"}\n'), "nothing spoils the program's first line"
    assert (folder / "current").read_text() == "a"
    assert answer["unproven"] == 0
    assert answer["firmware"] == load.image.firmware[:16]
    assert answer["safe"] == ""
    with flash.Line(board.port) as line:
        running = line.wait(lambda m: "utc" in m, 5)
        assert running["utc"] >= int(time.time()) // 60 - 1, "the clock was set"
    files = {p.relative_to(folder / "a").as_posix() for p in (folder / "a").rglob("*.*")}
    assert files == set(load.image.code)

    changed = record()
    changed.settings[20] = changed.settings[20] + 50
    unproven = flash.make_load(changed.settings, wiring, None, image)
    answer = put(board, unproven)
    assert (folder / "tried").read_text() == "b"
    assert answer["trial"] > 0
    assert answer["unproven"] == 1
    assert answer["settings"] == unproven.settings_hash != load.settings_hash
    answer = put(board, load)
    assert (answer["unproven"], answer["settings"]) == (0, load.settings_hash)
    assert (folder / "tried").read_text() == "b", "a flash ends the trial: the same folder again"
    assert (folder / "current").read_text() == "a"


@pytest.mark.parametrize("longest", [300, pytest.param(10**6, marks=pytest.mark.slow)])
def test_copy_interrupted_at_each_file(bare, load: flash.Load, monkeypatch, longest: int) -> None:
    """The line goes dead in the middle of each file in turn; the old version still runs.

    Every day with the small files only.
    """
    board, folder, _ = bare
    put(board, load)
    monkeypatch.setattr(copying, "CHUNK", 4096)
    small = {k: v for k, v in load.image.code.items() if len(v) < longest or k == "manifest.json"}
    part = flash.Load(
        build.Image(load.image.board, load.image.firmware, load.image.root, small),
        load.settings_hash,
        load.proven,
    )
    names = list(small)
    for n in range(len(names)):
        transport_error(monkeypatch, n)
        with pytest.raises(flash.BoardFailure) as caught:
            flash.copy(board.port, part, flash.Steps())
        assert f"b/{names[n]}" in str(caught.value)
        assert flash.OFF_OLD in str(caught.value)
        assert (folder / "current").read_text() == "a"
    monkeypatch.undo()
    prompt = copying.Prompt(board.port)
    prompt.reset()
    prompt.close()
    assert flash.first_record(board.port, load)["unproven"] == 0


def transport_error(monkeypatch, nth: int) -> None:
    """Make the nth file's transfer fail as a pulled plug does: mid-way, with a transport error."""
    real = entering.SerialTransport.fs_writefile
    count = [0]

    def failing(self, dest, data, chunk_size=256, progress_callback=None):
        count[0] += 1
        if count[0] - 1 == nth:
            real(self, dest, data[: len(data) // 2], chunk_size)
            raise copying.TransportError("device disconnected")
        return real(self, dest, data, chunk_size, progress_callback)

    monkeypatch.setattr(entering.SerialTransport, "fs_writefile", failing)


def test_line_goes_dead_during_the_copy(bare, load: flash.Load, monkeypatch) -> None:
    board, folder, cutter = bare
    put(board, load)
    opened = []
    real = entering._open
    monkeypatch.setattr(entering, "_open", lambda port: opened.append(real(port)) or opened[-1])

    def steps_say(text: str) -> None:
        if text.startswith("copying"):
            cutter.left = 3000
            # A dead line keeps everything back: no need to wait long for it, over and over.
            opened[-1].serial.timeout = 1.0
            opened[-1].exec_raw = partial(opened[-1].exec_raw, timeout=1.0)

    with pytest.raises(flash.BoardFailure) as caught:
        flash.flash(board.port, load, flash.Steps(say=steps_say))
    assert flash.OFF_OLD in str(caught.value)
    assert (folder / "current").read_text() == "a"


def test_a_file_that_reads_back_differently_stops_the_copy(bare, load, monkeypatch) -> None:
    board, folder, _ = bare
    real = entering.SerialTransport.fs_writefile

    def worn(self, dest, data, chunk_size=256, progress_callback=None):
        return real(self, dest, data[:-1] + b"\0", chunk_size, progress_callback)

    monkeypatch.setattr(entering.SerialTransport, "fs_writefile", worn)
    with pytest.raises(flash.BoardFailure) as caught:
        put(board, load)
    assert "reads back differently" in str(caught.value)
    assert flash.OFF_NONE in str(caught.value)
    assert not (folder / "current").exists()


def test_a_tampered_file_is_one_line_and_the_old_version_stays(
    bare, load, demo_wiring, monkeypatch, capsys
) -> None:
    """The whole command, with a plug that changes a byte of the last file."""
    board, folder, _ = bare
    put(board, load)
    old = hashes(folder / "a")
    real = entering.SerialTransport.fs_writefile

    def tampered(self, dest, data, chunk_size=256, progress_callback=None):
        if dest.endswith("wiring.json"):
            data = data.replace(b"450", b"451")
        return real(self, dest, data, chunk_size, progress_callback)

    monkeypatch.setattr(entering.SerialTransport, "fs_writefile", tampered)
    site = ["flash", "demo", "--wiring", str(demo_wiring), "--unproven", "--yes"]
    site += ["--port", board.port]
    assert cli.run(site) == 3
    said = capsys.readouterr().err
    assert said == f"springhouse: copy: b/wiring.json: reads back differently; {flash.OFF_OLD}\n"
    assert (folder / "current").read_text() == "a"
    assert hashes(folder / "a") == old
    monkeypatch.undo()
    prompt = copying.Prompt(board.port)
    prompt.reset()
    prompt.close()
    assert flash.first_record(board.port, load)["firmware"] == load.image.firmware[:16]


def hashes(folder: Path) -> dict[str, str]:
    files = [p for p in folder.rglob("*.*") if p.is_file()]
    return {str(p): hashlib.sha256(p.read_bytes()).hexdigest() for p in files}


def test_a_board_that_runs_something_else_is_told_apart(bare, load) -> None:
    board, _, _ = bare
    put(board, load)
    image = load.image
    for other in (
        dataclasses.replace(load, settings_hash="0" * 16),
        dataclasses.replace(load, image=dataclasses.replace(image, firmware="0" * 64)),
        dataclasses.replace(load, proven=False),
    ):
        with pytest.raises(flash.BoardFailure) as caught:
            flash.first_record(board.port, other)
        assert len(caught.value.lines) == 1
        assert "reports other settings or firmware" in caught.value.lines[0]


def test_firmware_tampered_with_after_the_proof_is_refused(
    tmp_path, wiring, proof, monkeypatch, capsys
) -> None:
    edited = tmp_path / "week.py"
    sources = board_files.sources()
    edited.write_text(sources["springhouse/week.py"].read_text() + "\nSPARE = 1\n")
    monkeypatch.setattr(board_files, "sources", lambda: {**sources, "springhouse/week.py": edited})
    with pytest.raises(KnownError) as caught:
        flash.make_load(record().settings, wiring, proof)
    assert caught.value.lines == [
        f"{proof.path}: stale: the firmware has changed since: prove again"
    ]


def test_damaged_code_never_drives_an_output(bare, load: flash.Load) -> None:
    board, _, _ = bare
    spoiled = dict(load.image.code)
    spoiled["springhouse/week.mpy"] = spoiled["springhouse/week.mpy"][:-1] + b"\0"
    bad = flash.Load(
        build.Image(load.image.board, load.image.firmware, load.image.root, spoiled),
        load.settings_hash,
        load.proven,
    )
    with pytest.raises(flash.BoardFailure) as caught:
        put(board, bad)
    assert "week.mpy damaged" in str(caught.value)
    assert not any(board.process.outputs.get(pin) for pin in (16, 17, 18))


def test_silent_board(tmp_path: Path, load: flash.Load, monkeypatch) -> None:
    monkeypatch.setattr(flash, "LISTEN_S", 0.3)
    monkeypatch.setattr(flash, "ANSWER_S", 0.6)
    ours, theirs = pty.openpty()
    try:
        with pytest.raises(KnownError) as caught:
            flash.into_safe_mode(os.ttyname(theirs))
        assert "nothing answers" in str(caught.value)
        assert flash.UNTOUCHED in str(caught.value)
        assert not isinstance(caught.value, flash.BoardFailure)
    finally:
        os.close(ours)
        os.close(theirs)


def test_messages_that_arrive_together_are_all_heard() -> None:
    ours, theirs = pty.openpty()
    try:
        with flash.Line(os.ttyname(theirs)) as line:
            os.write(ours, b'{"up":1}\n{"done":"set"}\nno json\n{"up":2}\n')
            assert line.wait(lambda m: "up" in m, 5) == {"up": 1}
            assert line.wait(lambda m: "done" in m, 5) == {"done": "set"}
            assert line.wait(lambda m: "up" in m, 5) == {"up": 2}
            assert line.other == "no json"
            assert line.wait(lambda m: "up" in m, 0.2) is None
    finally:
        os.close(ours)
        os.close(theirs)


def test_port_without_permission(monkeypatch) -> None:
    """One line that names port and group; for root another real user asks."""
    ours, theirs = pty.openpty()
    port = os.ttyname(theirs)
    os.chmod(port, 0)
    me = os.getuid()
    try:
        if me == 0:
            os.setreuid(65534, 0)
        said = []
        for _ in range(2):
            with pytest.raises(KnownError) as caught:
                ports.choose(port)
            said += caught.value.lines
            monkeypatch.setattr(Path, "group", nameless)
    finally:
        if me == 0:
            os.setreuid(0, 0)
        group = os.fstat(theirs).st_gid
        os.close(ours)
        os.close(theirs)
    told = f"port: no permission for {port}: join the group %s and log in again"
    assert said == [told % grp.getgrgid(group).gr_name, told % group]


def nameless(_path: Path) -> str:
    raise KeyError


@pytest.mark.parametrize(
    ("given", "found", "said"),
    [
        (None, [], "no board found"),
        (None, ["/dev/ttyACM0", "/dev/ttyACM1"], "several boards"),
        ("/dev/no-such-port", [], "does not exist"),
        (__file__, [], "not a serial port"),
    ],
)
def test_ports(given: str | None, found: list[str], said: str) -> None:
    with pytest.raises(KnownError) as caught:
        ports.choose(given, found)
    assert said in str(caught.value)
    assert len(caught.value.lines) == 1


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"settings_sha256": "0" * 64}, "stale: the settings"),
        ({"firmware_sha256": "0" * 64}, "stale: the firmware"),
        ({"kept": False}, "not kept"),
    ],
)
def test_stale_or_broken_proofs_are_refused(
    wiring: Path, proof: flash.ProofFile, image: build.Image, changes: dict, said: str
) -> None:
    whole = json.loads(proof.path.read_text())
    made_verdict.write(proof.path, **{name: whole[name] for name in CHANGED} | changes)
    with pytest.raises(KnownError) as caught:
        flash.make_load(record().settings, wiring, proof, image)
    assert said in str(caught.value)


def test_missing_or_foreign_files_are_named(tmp_path: Path, wiring, proof, image) -> None:
    for path, text in ((tmp_path / "none.json", None), (tmp_path / "odd.json", "[1]")):
        if text is not None:
            path.write_text(text)
        with pytest.raises(KnownError) as caught:
            flash.make_load(record().settings, wiring, flash.ProofFile(path, {}), image)
        assert str(path) in str(caught.value)
    wiring.write_text('{"board": "pico_w", "pumps": 2}')
    with pytest.raises(KnownError) as caught:
        flash.make_load(record().settings, wiring, proof, image)
    assert "unknown key pumps" in str(caught.value)


def test_command_leaves_with_2_untouched_and_3_touched(
    tmp_path, demo_wiring, monkeypatch, capsys, quick
) -> None:
    wiring = demo_wiring
    base = ["flash", "demo", "--wiring", str(wiring), "--unproven", "--yes"]
    assert cli.run([*base, "--port", "/dev/no-such-port"]) == 2
    assert "does not exist" in capsys.readouterr().err
    assert cli.run(["flash", "demo", "--wiring", str(wiring), "--port", __file__]) == 2
    assert "verdict.json" in capsys.readouterr().err, "without a proof record nothing is touched"

    def fail(*_: object) -> None:
        raise flash.BoardFailure("copy: a/boot.py: device disconnected", flash.OFF_OLD)

    monkeypatch.setattr(flash, "flash", fail)
    monkeypatch.setattr(ports, "choose", lambda _given: "/dev/null")
    assert cli.run([*base, "--port", "/dev/null"]) == 3
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert flash.OFF_OLD in said


def test_an_interrupt_while_the_interpreter_starts_leaves_a_prompt(tmp_path) -> None:
    """Whatever was pressed before its first scan: the next flash of such a board finds a prompt."""
    make_flash(tmp_path, WIRING, record().encode(), built.folder())
    board = TerminalBoard(tmp_path, before=healthy)
    try:
        board.process.interrupt()
        entering.let_go(entering.enter(board.port))
    finally:
        board.close()

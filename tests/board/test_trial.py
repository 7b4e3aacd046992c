"""A new version runs on trial: whatever ends it early, the old one comes back by itself."""

import contextlib
import hashlib
import itertools
import json
import os
import random
import shutil
from pathlib import Path

import built
import pytest
from rig import LOOPS, WIRING, record
from springhouse import blackbox, code
from springhouse.storage import pack
from springhouse_host.flashing import build, copying, flash
from springhouse_host.flashing.copying import Prompt
from springhouse_host.watching import board_record
from springhouse_sim.virtual_board.process import BoardProcess
from torn_files import PowerCut

TARGET = 20  # slot: a setting that tells the versions apart


def version(change_mk: int) -> flash.Load:
    """Code and settings of one version, without network and display."""
    image = built.image().trimmed(network=False, display=False)
    wiring = json.dumps(WIRING).encode()
    made = record()
    made.settings[TARGET] += change_mk
    image = image.with_file("wiring.json", wiring)
    files = {**image.code, "settings.0": pack(1, made.encode())}
    return flash.Load(build.Image(image.board, image.firmware, image.root, files), "", False)


def lay(root: Path, folder: str, load: flash.Load) -> None:
    for name, data in load.image.code.items():
        path = root / folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)


class Two:
    """A board with an old version in `a` and a new one in `b`, on trial."""

    def __init__(self, root: Path) -> None:
        self.root = root
        lay(root, "a", version(0))
        lay(root, "b", version(50))
        for name, data in version(0).image.root.items():
            (root / name).write_bytes(data)
        (root / "current").write_text("a")
        (root / "trial").write_text("b")
        self.board: BoardProcess | None = None
        self.resets = 0

    def power(self) -> "Two":
        self.board = BoardProcess(self.root)
        for pin in LOOPS:
            self.board.inputs.level(pin, 0)
        return self

    def run(self, seconds: int) -> None:
        for _ in range(seconds):
            self.resets += len(self.board.run_slice(1000))

    def folder(self) -> str:
        """Which version runs, by its settings."""
        self.board.lines.clear()
        self.board.send('{"cmd":"get-settings"}\n')
        self.run(3)
        parts = [json.loads(line) for line in self.board.lines if '"from"' in line]
        values = [v for part in sorted(parts, key=lambda p: p["from"]) for v in part["settings"]]
        return {0: "a", 50: "b"}[values[TARGET] - record().settings[TARGET]]

    def trial(self) -> int:
        """What the latest record says of it, read as `watch` reads it."""
        self.run(2)
        lines = [board_record.parse(line, 0.0) for line in self.board.lines]
        latest = [line for line in lines if line is not None][-1]
        said = " ".join(word for word, _ in board_record.alarms(latest))
        assert ("on trial" in said) == (latest.line.trial > 0)
        assert ("failed its trial" in said) == (latest.line.trial < 0)
        return latest.line.trial

    def noted(self) -> list[int]:
        """Details of the black box's records of trials."""
        self.run(600 - self.up() % 600 + 5)
        self.board.lines.clear()
        self.board.send('{"cmd":"get-log"}\n')
        self.run(30)
        hexes = [json.loads(line).get("log") for line in self.board.lines if '"log"' in line]
        found = [blackbox.fields(bytes.fromhex(text), 0) for text in hexes if text]
        return [entry[2] for entry in found if entry[0] == blackbox.TRIAL]

    def up(self) -> int:
        self.run(2)
        return [json.loads(line)["up"] for line in self.board.lines if '"st"' in line][-1]

    def names(self) -> set[str]:
        return {n for n in ("current", "trial", "tried", "failed") if (self.root / n).exists()}


@pytest.fixture
def two(tmp_path: Path):
    made = Two(tmp_path)
    yield made
    made.board.close()


def test_a_version_that_runs_for_its_time_is_kept(two: Two) -> None:
    two.power().run(5)
    assert two.folder() == "b"
    assert 580 < two.trial() < 600
    assert two.names() == {"current", "tried"}
    two.run(580)
    assert (two.root / "current").read_text() == "a", "not a second earlier"
    two.run(30)
    assert two.trial() == 0
    assert two.names() == {"current"}
    assert (two.root / "current").read_text() == "b"
    assert two.noted() == [blackbox.BEGUN, blackbox.KEPT]
    two.board.power_cut()
    two.run(5)
    assert two.folder() == "b"


def cut(two: Two) -> None:
    two.run(300)
    two.board.power_cut()
    two.run(15)


def hang(two: Two) -> None:
    two.run(300)
    two.board.inputs.trouble("idle", "hang")
    two.run(25)
    assert two.resets == 1


def crash(two: Two) -> None:
    two.run(300)
    two.board.inputs.trouble("pin", "RuntimeError")
    two.run(15)
    assert two.resets == 1


@pytest.mark.parametrize("end", [cut, hang, crash])
def test_whatever_ends_a_trial_brings_the_old_version_back(two: Two, end) -> None:
    two.power()
    end(two)
    assert two.folder() == "a"
    assert two.trial() == -1
    assert two.names() == {"current", "failed"}
    assert two.noted()[-1] == blackbox.FAILED


@pytest.mark.parametrize("file", ["springhouse/app.mpy", "springhouse/week.mpy", "wiring.json"])
def test_a_damaged_new_version_never_reaches_safe_mode(two: Two, file: str) -> None:
    path = two.root / "b" / file
    path.write_bytes(path.read_bytes()[:-1] + b"\0")
    two.power().run(8)
    assert two.resets == 1
    assert two.folder() == "a"
    assert two.trial() == -1


def load_folder():
    """The loader's function, taken out of main.py."""
    source = (built.folder() / "main.py").read_text().split("where = folder()")[0]
    names: dict = {}
    exec(source.replace("gc.threshold(4096)", ""), names)
    return names["folder"]


def test_the_loader_finds_a_version_whatever_files_there_are(tmp_path, monkeypatch) -> None:
    monkeypatch.chdir(tmp_path)
    folder = load_folder()
    marks = ("trial", "tried", "failed")
    for current, *held in itertools.product("ab", *[["", "a", "b", "\0\0"]] * 3):
        for name, text in zip(("current", *marks), (current, *held), strict=True):
            Path(name).unlink(missing_ok=True)
            if text:
                Path(name).write_text(text)
        starts = [folder() for _ in range(4)]
        other = "b" if current == "a" else "a"
        assert starts.count(other) <= 1, "a trial is run once"
        assert starts.count(current) >= 3
        assert starts[-2:] == [current] * 2
        assert other not in starts or Path("failed").exists()


class Board:
    """The transport's calls on a folder; power goes after so many bytes and steps."""

    def __init__(self, budget: int | None) -> None:
        self.budget = budget
        self.spent = 0
        self.boundaries: list[int] = []
        self.dead = False

    def spend(self, most: int = 1) -> int:
        """How many of `most` still happen."""
        if self.dead:
            raise PowerCut
        left = most if self.budget is None else min(most, self.budget - self.spent)
        self.spent += left
        if left < most:
            self.dead = True
        return left

    def step(self) -> None:
        if not self.spend():
            raise PowerCut

    def fs_exists(self, name: str) -> bool:
        return Path(name).exists()

    def fs_readfile(self, name: str) -> bytes:
        return Path(name).read_bytes()

    def fs_hashfile(self, name: str, _algorithm: str) -> bytes:
        return hashlib.sha256(Path(name).read_bytes()).digest()

    def fs_mkdir(self, name: str) -> None:
        self.step()
        Path(name).mkdir()

    def fs_rmfile(self, name: str) -> None:
        self.step()
        Path(name).unlink()

    def fs_writefile(self, name: str, data: bytes, chunk_size: int) -> None:
        self.step()
        written = self.spend(len(data))
        Path(name).write_bytes(data[:written])
        self.boundaries.append(self.spent)
        if written < len(data):
            raise PowerCut

    def exec(self, text: str) -> bytes:
        exec(text.replace("import os", ""), {"os": self})
        return b""

    def ilistdir(self, path: str):
        for entry in sorted(Path(path).iterdir()):
            yield entry.name, 0x4000 if entry.is_dir() else 0x8000
        if not Path(path).exists():
            raise OSError(2)

    def remove(self, name: str) -> None:
        self.fs_rmfile(name)

    def rmdir(self, name: str) -> None:
        self.step()
        Path(name).rmdir()

    def rename(self, old: str, new: str) -> None:
        self.step()
        os.replace(old, new)


def update(board: Board, load: flash.Load) -> None:
    """What `flash.copy` does to the files, by the same calls."""
    prompt = Prompt.__new__(Prompt)
    prompt._transport = board
    old = prompt.running_folder()
    idle = "b" if old == "a" else "a"
    prompt.fill(idle, load.image.code, lambda _done, _total: None)
    for name, data in load.image.root.items():
        prompt.replace(name, data)
    prompt.switch(idle, trial=True)


def fresh(root: Path) -> None:
    shutil.rmtree(root, ignore_errors=True)
    root.mkdir()
    lay(root, "a", version(0))
    lay(root, "b", version(10))  # the one before
    (root / "failed").write_text("b")
    (root / "current").write_text("a")
    (root / "boot.py").write_text("")
    (root / "main.py").write_text("")


@pytest.mark.parametrize("count", [40, pytest.param(500, marks=pytest.mark.slow)])
def test_cut_anywhere_the_board_ends_on_a_version_that_is_whole(
    tmp_path, monkeypatch, count: int
) -> None:
    """At random bytes and at every file's end, and again one byte before; then two more starts."""
    root = tmp_path / "flash"
    new = version(50)
    fresh(root)
    monkeypatch.chdir(root)
    whole = Board(None)
    update(whole, new)
    boundaries = whole.boundaries if count > 100 else whole.boundaries[::4]
    cuts = set(random.Random(count).sample(range(whole.spent), count))
    cuts |= set(boundaries) | {b - 1 for b in boundaries}
    folder = load_folder()
    ran = set()
    for budget in sorted(cuts):
        os.chdir(tmp_path)
        fresh(root)
        os.chdir(root)
        with contextlib.suppress(PowerCut):
            update(Board(budget), new)
        for _ in range(3):
            running = folder()
            _, fault = code.verify(running)
            assert fault == "", (budget, running)
            assert (Path(running) / "settings.0").exists()
            ran.add(running)
        assert running == "a", "cut twice during the trial"
    print(f"{len(cuts)} cuts in {whole.spent} bytes and steps, {len(boundaries)} at ends of files")
    assert ran == ({"a", "b"} if whole.spent in cuts else {"a"})


def test_the_files_are_those_that_the_loader_knows() -> None:
    main = (built.folder() / "main.py").read_text()
    for name in (copying.POINTER, copying.TRIAL, copying.FAILED):
        assert f'"{name}"' in main

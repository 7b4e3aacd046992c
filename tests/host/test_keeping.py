"""A base through its disk's troubles: locked, full, read-only, removed, damaged, another's."""

import os
import random
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest
from base_case import damaged, first_version, made, record, text
from springhouse_host.cli import run
from springhouse_host.errors import KnownError
from springhouse_host.watching import keeping
from springhouse_host.watching.base import Base, Damage
from springhouse_host.watching.keeping import Keeper


class Clock:
    """Seconds that pass when told to."""

    def __init__(self) -> None:
        self.now_s = 0.0

    def __call__(self) -> float:
        return self.now_s


def ups(path: Path, whose: str | None = "site:A") -> list[int]:
    with Base(path, read_only=True) as base:
        return [r.line.up for r in base.records(whose=whose)]


def put(keeper: Keeper, *numbers: int) -> None:
    for up in numbers:
        keeper.keep(record(up, 1.7e9 + up), text(up))


def test_a_locked_base_is_written_when_it_is_free(tmp_path: Path) -> None:
    path, clock = tmp_path / "b.sqlite", Clock()
    with Keeper(path, "site:A", clock) as keeper:
        put(keeper, 0)
        other = sqlite3.connect(path)
        other.execute("begin immediate")
        put(keeper, 1, 2)
        assert keeper.waiting == 2
        assert "2 wait to be kept" in keeper.note
        assert "locked" in keeper.note
        other.rollback()
        other.close()
        put(keeper, 3)
        assert keeper.waiting == 3, "not yet tried again"
        clock.now_s = 1.5
        put(keeper, 4)
        assert (keeper.waiting, keeper.kept, keeper.lost, keeper.note) == (0, 5, 0, "")
        assert len(keeper.told) == 2
    assert ups(path) == [0, 1, 2, 3, 4]


def test_a_full_disk(tmp_path: Path) -> None:
    """SQLite's own limit of pages is refused as a full disk is."""
    path, clock = tmp_path / "b.sqlite", Clock()
    with Keeper(path, "site:A", clock) as keeper:
        put(keeper, 0)
        full = keeper._base
        assert full is not None
        assert full._data is not None
        pages = full._data.execute("pragma page_count").fetchone()[0]
        full._data.execute(f"pragma max_page_count = {pages}")
        put(keeper, *range(1, 100))
        assert "full" in keeper.note
        assert keeper.waiting > 50
        clock.now_s = 100.0
        put(keeper, 100)  # opened anew, without the limit
        assert keeper.waiting == 0
    assert ups(path) == list(range(101))


def test_a_base_that_is_removed_is_begun_anew(tmp_path: Path) -> None:
    path, clock = tmp_path / "b.sqlite", Clock()
    with Keeper(path, "site:A", clock) as keeper:
        put(keeper, 0, 1)
        path.rename(tmp_path / "gone.sqlite")
        for tail in ("-wal", "-shm"):
            Path(f"{path}{tail}").rename(tmp_path / f"gone.sqlite{tail}")
        put(keeper, 2, 3)
        assert keeper.lost == 0
    assert ups(path) == [2, 3]
    assert ups(tmp_path / "gone.sqlite") == [0, 1]


def test_a_folder_that_comes_back(tmp_path: Path) -> None:
    folder, clock = tmp_path / "disk", Clock()
    folder.mkdir()
    path = folder / "b.sqlite"
    with Keeper(path, "site:A", clock, most=4) as keeper:
        put(keeper, 0)
        folder.rename(tmp_path / "away")
        put(keeper, *range(1, 7))
        assert (keeper.waiting, keeper.lost) == (4, 2), "the oldest give way"
        assert "2 are lost" in keeper.note
        (tmp_path / "away").rename(folder)
        clock.now_s = 9.0
        keeper.flush()
        assert keeper.waiting == 0
    assert ups(path) == [0, 3, 4, 5, 6]


def test_a_second_watcher_is_told(tmp_path: Path) -> None:
    path = tmp_path / "b.sqlite"
    with Keeper(path, "site:A"):
        with pytest.raises(KnownError, match=rf"process {os.getpid()}\): one base, one writer"):
            Keeper(path, "site:A")
        code = (
            "import sys; from springhouse_host.cli import main; "
            f"main(['watch', '--replay', {str(path)!r}, '--base', {str(path)!r}])"
        )
        done = subprocess.run([sys.executable, "-c", code], capture_output=True, check=False)
        assert done.returncode == 2
        assert done.stderr.count(b"\n") == 1
        assert b"another springhouse watch" in done.stderr
    with Keeper(path, "site:A") as keeper:  # free again
        put(keeper, 0)
    assert not Path(f"{path}.lock").exists()


def test_a_lock_that_cannot_be_made_stops_nobody(tmp_path: Path, monkeypatch) -> None:
    monkeypatch.setattr(keeping.os, "open", lambda *_: (_ for _ in ()).throw(OSError(30, "read")))
    with Keeper(tmp_path / "b.sqlite", "site:A") as keeper:
        put(keeper, 0)
        assert keeper.kept == 1


def test_no_folder_is_refused_at_once(tmp_path: Path) -> None:
    with pytest.raises(KnownError, match="there is no such folder"):
        Keeper(tmp_path / "none" / "b.sqlite", None)


def test_the_first_version_is_brought_up_without_loss(tmp_path: Path) -> None:
    path = tmp_path / "b.sqlite"
    first_version(path, 500)
    assert ups(path, None) == [10 * n for n in range(500)], "read as it is"
    with Keeper(path, "site:A") as keeper:
        put(keeper, 7)
    assert ups(path, None) == [10 * n for n in range(500)]
    assert ups(path) == [7]
    with Base(path, read_only=True) as base:
        assert base.meter_readings() == [(1.7e9, 5.5)]
        assert base.meter_readings("site:A") == []
        assert base.damage == Damage()


def test_installations_do_not_mix(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "b.sqlite"
    first_version(path, 300)
    demo = "The demo store"
    with Base(path) as base:
        for whose, up in (("site:My store", 1), ("simulated:My store", 2), ("board:E66", 3)):
            base.add([(record(up, 1.7e9), text(up))], whose)
    assert run(["history", str(path)]) == 2
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    for words in (
        '"before" (300 records)',
        '"My store" (1',
        '"My store, simulated"',
        '"board E66"',
    ):
        assert words in said
    assert run(["history", str(path), "--site", "demo"]) == 2
    said = capsys.readouterr().err
    assert "no records of" in said
    assert "--adopt" in said
    assert demo not in said
    for name in ("before", "My store", "My store, simulated", "board E66"):
        assert run(["history", str(path), "--installation", name]) == 0
        assert ("records of:" in capsys.readouterr().out) == (name != "My store")
    assert run(["history", str(path), "--site", "demo", "--adopt"]) == 0
    assert "300 records are now those of" in capsys.readouterr().out
    assert run(["history", str(path), "--installation", "before"]) == 2


def test_damage_is_told_and_the_rest_is_read(tmp_path: Path) -> None:
    path = tmp_path / "b.sqlite"
    made(path, 2000)
    whole = path.read_bytes()
    at = whole.index(b'{"up":9000,')
    path.write_bytes(whole[: at + 60] + b"#" + whole[at + 61 :])
    with Base(path, read_only=True) as base:
        found = [r.line.up for r in base.records(whose="site:A")]
        assert base.damage == Damage(0, 1)
        assert "1 could not be read" in base.damage.words(path)
    assert found == [10 * n for n in range(2000) if n != 900]
    path.write_bytes(b"\0" * 4096 + whole[4096:])  # the page that leads to all others
    with Base(path, read_only=True) as base:
        assert [r.line.up for r in base.records(whose="site:A")] == [10 * n for n in range(2000)]
        assert base.damage == Damage(2000, 0)


def test_a_damaged_base_is_set_aside_and_its_records_taken_over(tmp_path: Path) -> None:
    path = tmp_path / "b.sqlite"
    made(path, 2000)
    whole = path.read_bytes()
    bad = whole[:8192] + b"\xff" * 4096 + whole[12288:]
    path.write_bytes(bad)
    with Keeper(path, "site:A") as keeper:
        put(keeper, 99_999)
        (told,) = keeper.told
    assert "damaged, kept as b.sqlite.damaged-1" in told
    assert (tmp_path / "b.sqlite.damaged-1").read_bytes() == bad
    found = ups(path)
    assert found[-1] == 99_999
    assert 1950 < len(found) <= 2001


@pytest.mark.parametrize("seed", range(40))
def test_whatever_is_damaged_the_rest_is_read(tmp_path: Path, seed: int) -> None:
    """No row is invented, none whose bytes are whole is lost, and nothing but a line is said."""
    path, chance = tmp_path / "b.sqlite", random.Random(seed)
    made(path, 400)
    data, what = damaged(path.read_bytes(), chance)
    path.write_bytes(data)
    whole = [10 * n for n in range(400) if text(10 * n).encode() in data]
    try:
        found = ups(path)
    except KnownError as error:
        found = []
        assert len(error.lines) == 1
    assert set(found) <= {10 * n for n in range(400)}
    # A row whose text is whole may have a wrong byte in its head; a patch reaches two of them.
    assert len(set(whole) - set(found)) <= 2, what

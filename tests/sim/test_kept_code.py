"""Compiled code is of the text on disk or it is made again, whatever became of what was kept.

A small package of two modules stands for the core: it is compiled and kept by the same mechanism.
"""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from patience import HANG_S
from springhouse_sim import compiled, kept_file
from springhouse_sim.cache_folder import CACHE_VARIABLE

DOORS: compiled.Doors = (("standin.loop", "run"),)
LOOP = """from . import limits

def run(n):
    total = 0
    for i in range(n):
        if i < limits.LIMIT:
            total += i
    return total
"""
OF_3, OF_5 = 3, 10  # sums below 3 and below 5


@pytest.fixture
def package(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv(CACHE_VARIABLE, str(tmp_path / "cache"))
    folder = tmp_path / "standin"
    folder.mkdir()
    (folder / "__init__.py").write_text("")
    (folder / "loop.py").write_text(LOOP)
    (folder / "limits.py").write_text("LIMIT = 3\n")
    return folder


def load(package: Path) -> compiled.Code:
    return compiled.compile_from({"standin": package}, DOORS)


def result(code: compiled.Code) -> int:
    return int(code.modules["standin.loop"].run(9))


def kept_files(code: compiled.Code) -> list[Path]:
    assert code.cache_dir is not None
    return sorted(code.cache_dir.iterdir())


def hits(code: compiled.Code) -> int:
    return sum(code.modules["standin.loop"].run.stats.cache_hits.values())


def test_kept_code_is_found_again_and_an_edit_elsewhere_is_seen(package: Path) -> None:
    assert result(load(package)) == OF_3
    again = load(package)
    assert (result(again), hits(again)) == (OF_3, 1)
    (package / "limits.py").write_text("LIMIT = 5\n")
    assert again.edited() == [package / "limits.py"]
    after = load(package)
    assert (result(after), hits(after), after.edited()) == (OF_5, 0, [])


def test_code_of_another_text_under_the_right_name_is_refused(package: Path) -> None:
    """The file itself says of what text it is, should a folder ever bear the wrong name."""
    before = load(package)
    assert result(before) == OF_3
    (package / "limits.py").write_text("LIMIT = 5\n")
    after = load(package)
    assert before.cache_dir is not None
    assert after.cache_dir is not None
    shutil.copytree(before.cache_dir, after.cache_dir)
    assert (result(after), hits(after)) == (OF_5, 0)


def test_an_edit_that_bytecode_does_not_see_is_seen(package: Path) -> None:
    """Same length, same second: the interpreter's own import would run the old text."""
    limits = package / "limits.py"
    import_ = [sys.executable, "-c", "import standin.limits; print(standin.limits.LIMIT)"]
    environment = dict(os.environ, PYTHONPATH=str(package.parent))
    environment.pop("PYTHONDONTWRITEBYTECODE", None)
    seen = []
    times = limits.stat()
    for value in (3, 5):
        limits.write_text(f"LIMIT = {value}\n")
        os.utime(limits, ns=(times.st_atime_ns, times.st_mtime_ns))
        done = subprocess.run(
            import_, env=environment, capture_output=True, text=True, check=True, timeout=60
        )
        seen.append(int(done.stdout))
    assert seen == [3, 3]
    assert result(load(package)) == OF_5


def test_a_place_that_cannot_be_written_is_replaced_by_a_private_one(
    package: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """Nothing is kept beside the sources; root may write anywhere, but in no file's inside."""
    chosen = package.parent / "file" / "cache"
    chosen.parent.write_text("")
    monkeypatch.setenv(CACHE_VARIABLE, str(chosen))
    monkeypatch.setattr("tempfile.tempdir", str(package.parent))
    for limit, wanted in ((3, OF_3), (5, OF_5)):
        (package / "limits.py").write_text(f"LIMIT = {limit}\n")
        code = load(package)
        assert result(code) == wanted
    private = kept_files(code)[0].parent.parent
    assert private.parent == package.parent
    assert private.stat().st_mode & 0o777 == 0o700
    assert not [p for p in package.rglob("*") if p.suffix in (".nbi", ".nbc", ".code")]
    assert [r.getMessage() for r in caplog.records] == [
        f"{chosen}: cannot be written: Not a directory: compiled code is kept in {private} instead"
    ]


def test_a_link_in_the_private_place_is_not_followed(
    package: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (package.parent / "file").write_text("")
    monkeypatch.setenv(CACHE_VARIABLE, str(package.parent / "file" / "cache"))
    monkeypatch.setattr("tempfile.tempdir", str(package.parent))
    elsewhere = package.parent / "elsewhere"
    elsewhere.mkdir(mode=0o700)
    (package.parent / f"springhouse-{os.getuid()}").symlink_to(elsewhere)
    assert result(load(package)) == OF_3
    assert list(elsewhere.iterdir()) == []


@pytest.mark.parametrize("damage", ["emptied", "truncated", "garbage", "flipped", "no pickle"])
def test_damaged_code_is_thrown_away_and_made_again(
    damage: str, package: Path, caplog: pytest.LogCaptureFixture
) -> None:
    code = load(package)
    assert result(code) == OF_3
    (path,) = kept_files(code)
    data = path.read_bytes()
    made_from = data[len(kept_file.MAGIC) + kept_file.HASH_BYTES :].partition(b"\n")[0].decode()
    middle = len(data) // 2
    spoilt = {
        "emptied": b"",
        "truncated": data[:middle],
        "garbage": os.urandom(len(data)),
        "flipped": data[:middle] + bytes([data[middle] ^ 1]) + data[middle + 1 :],
        "no pickle": kept_file.pack(made_from, b"no pickle"),
    }[damage]
    path.write_bytes(spoilt)
    again = load(package)
    assert (result(again), hits(again)) == (OF_3, 0)
    (line,) = [r.getMessage() for r in caplog.records]
    assert line.startswith(f"{code.cache_dir}: compiled code is ")
    assert line.endswith("thrown away and made again")
    assert [p.parent for p in kept_files(again)] == [code.cache_dir]
    assert [p.name for p in (package.parent / "cache").iterdir()] == [str(code.cache_dir.name)]
    last = load(package)
    assert (result(last), hits(last)) == (OF_3, 1)


FULL = """
import resource, sys
from pathlib import Path
from springhouse_sim import compiled
resource.setrlimit(resource.RLIMIT_FSIZE, (8192, 8192))
code = compiled.compile_from({"standin": Path(sys.argv[1])}, (("standin.loop", "run"),))
print(code.modules["standin.loop"].run(9))
"""


def test_a_disk_that_fills_while_it_is_written_names_the_folder(package: Path) -> None:
    """A limit of 8 kB for a file stands for it: the write fails in its middle."""
    done = subprocess.run(
        [sys.executable, "-c", FULL, str(package)],
        env=dict(os.environ, PYTHONPATH=os.pathsep.join(sys.path)),
        capture_output=True,
        text=True,
        check=True,
        timeout=HANG_S,
    )
    (folder,) = (package.parent / "cache").iterdir()
    assert done.stdout == f"{OF_3}\n"
    assert done.stderr == (
        f"{folder}: cannot be written: File too large: what is kept there is made again\n"
    )
    assert list(folder.iterdir()) == []

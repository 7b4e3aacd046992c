"""What a proof keeps of the firmware's own checks: found again only for the very same sources."""

import os
import shutil
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import pytest
from springhouse_host.induction import whole
from springhouse_host.induction.prove import ClaimResult
from springhouse_host.proof import abstract, complete, exploring, firmware_alone, random_inputs
from springhouse_host.proof import prove as prove_module
from springhouse_host.proof.firmware_alone import Alone, kept, make, stamp
from springhouse_host.site import load_site
from springhouse_sim import compiled, kept_file
from springhouse_sim.cache_folder import CACHE_VARIABLE, cache_root

EXPLORED = abstract.Explored("a slice", 3, 40, 5, 0b11, 0b1, 7, 0, ())
FOUND = Alone(
    complete.Complete(13, 100, 200, ()),
    random_inputs.RandomRun(80, (1, 2), (0, 0), (3, 4)),
    abstract.Checked((EXPLORED, replace(EXPLORED, name="another", dead_end=None)), ()),
    whole.Induction((ClaimResult("step", "a query", 1, "folds", True),)),
)


@pytest.fixture(autouse=True)
def sources(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> dict[str, Path]:
    """A copy of the packages to edit, a folder of our own to keep results in, quick checks."""
    folders = {name: tmp_path / name for name in compiled.package_folders()}
    for name, folder in compiled.package_folders().items():
        shutil.copytree(folder, folders[name], ignore=shutil.ignore_patterns("__pycache__"))
    monkeypatch.setattr(compiled, "package_folders", lambda: folders)
    monkeypatch.setenv(CACHE_VARIABLE, str(tmp_path / "cache"))
    monkeypatch.setattr(firmware_alone, "Workers", ThreadPoolExecutor)
    monkeypatch.setattr(complete, "check", lambda: FOUND.complete)
    monkeypatch.setattr(random_inputs, "drive", lambda: FOUND.random)
    monkeypatch.setattr(exploring, "compile_only", lambda: None)
    monkeypatch.setattr(exploring, "check", lambda each: FOUND.machine)
    monkeypatch.setattr(whole, "check", lambda each: FOUND.induction)
    return folders


def test_what_was_found_is_found_again_and_says_when() -> None:
    assert kept(stamp()) is None
    assert make(stamp(), 1) == FOUND
    again = kept(stamp())
    assert again is not None
    assert again.kept_since.endswith("UTC")
    assert replace(again, kept_since="") == FOUND


@pytest.mark.parametrize(
    "edited",
    ["springhouse/conditions.py", "springhouse_sim/watch/observe.py", "springhouse/new.py"],
)
def test_any_edit_is_another_question(edited: str, sources: dict[str, Path]) -> None:
    """Also one that leaves length and time of the file as they were."""
    make(stamp(), 1)
    package, _, name = edited.partition("/")
    path = sources[package] / name
    if not path.exists():
        path.write_text("")
        assert kept(stamp()) is None
        return
    text, times = path.read_text("utf-8"), path.stat()
    digit = next(c for c in text if c in "12345678")
    path.write_text(text.replace(digit, "9", 1), "utf-8")
    os.utime(path, ns=(times.st_atime_ns, times.st_mtime_ns))
    assert kept(stamp()) is None
    path.write_text(text, "utf-8")
    assert kept(stamp()) is not None


def test_other_tools_are_another_question(monkeypatch: pytest.MonkeyPatch) -> None:
    make(stamp(), 1)
    monkeypatch.setenv("NUMBA_OPT", "1")
    assert kept(stamp()) is None


def test_sources_edited_and_put_back_meanwhile_leave_nothing(sources: dict[str, Path]) -> None:
    before = stamp()
    path = sources["springhouse"] / "week.py"
    text = path.read_text("utf-8")
    path.write_text("other", "utf-8")
    path.write_text(text, "utf-8")
    assert stamp().digest == before.digest
    make(before, 1)
    assert kept(stamp()) is None


def test_only_a_clean_result_is_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    broken = replace(FOUND.random, violations=(0, 1))
    monkeypatch.setattr(random_inputs, "drive", lambda: broken)
    assert make(stamp(), 1).random == broken
    assert kept(stamp()) is None


def test_what_is_not_proven_by_induction_is_not_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    open_one = whole.Induction((ClaimResult("step", "a query", 4, "a query of its own", False),))
    monkeypatch.setattr(whole, "check", lambda each: open_one)
    assert not make(stamp(), 1).clean
    assert kept(stamp()) is None
    assert open_one.broken(4) == 1
    assert open_one.violations == ("step: a query [undecided]",)


def test_a_result_under_another_name_is_not_believed(tmp_path: Path) -> None:
    """What was found for other sources, put where these look: the file says what it is of."""
    make(stamp(), 1)
    (path,) = (tmp_path / "cache" / firmware_alone.FOLDER).iterdir()
    other = replace(stamp(), digest="0" * 64)
    shutil.copy(path, path.with_name(other.digest))
    assert kept(stamp()) is not None
    assert kept(other) is None


def test_fresh_asks_anew(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[bool] = []

    def judged(*arguments: object) -> None:
        alone = arguments[2].result()  # type: ignore[attr-defined]
        asked.append(alone.kept_since == "")

    monkeypatch.setattr(prove_module, "_judged", judged)
    monkeypatch.setattr(prove_module, "_tell_size", lambda verdict: None)
    monkeypatch.setattr(prove_module, "Workers", lambda n, anew=False: ThreadPoolExecutor(n))
    for fresh in (False, False, True):
        prove_module.prove(load_site("demo"), fresh=fresh)
    assert asked == [True, False, True]
    (path,) = (cache_root() / firmware_alone.FOLDER).iterdir()
    assert kept_file.read(path, stamp().digest) is not None

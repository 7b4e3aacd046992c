"""Kept cycles are those that CoolProp gives, and nothing else is believed."""

from dataclasses import astuple
from pathlib import Path

import pytest
from springhouse_sim.cache_folder import CACHE_VARIABLE
from springhouse_sim.plant import refrigerant
from springhouse_sim.plant.kept_cycles import KeptCycles

ASKED = ("R600a", -23.3, 54.4, 32.2, 32.2)


ROW = (1.0, 2.0, 3.0, 4.0, 5.0, 6.0)


@pytest.fixture
def source(tmp_path: Path) -> Path:
    path = tmp_path / "text.py"
    path.write_text("what asks")
    return path


@pytest.fixture
def kept(source: Path, monkeypatch: pytest.MonkeyPatch) -> KeptCycles:
    monkeypatch.setenv(CACHE_VARIABLE, str(source.parent / "cache"))
    return KeptCycles(source)


def test_a_kept_cycle_is_bit_for_bit_the_one_that_was_solved(
    kept: KeptCycles, source: Path
) -> None:
    solved = astuple(refrigerant._solved(*ASKED))
    kept.add("rated", solved)
    kept.write()
    again = KeptCycles(source)
    assert again("rated") == solved
    assert again("another") is None
    assert astuple(refrigerant.ideal_cycle(*ASKED)) == solved


def test_another_text_asks_anew(kept: KeptCycles, source: Path) -> None:
    """Nor is what the old text solved kept under the new one, edited while it ran."""
    kept.add("rated", ROW)
    kept.write()
    source.write_text("what asks otherwise")
    kept.add("another", ROW)
    kept.write()
    assert KeptCycles(source)("another") is None
    assert KeptCycles(source)("rated") is None


def test_one_changed_digit_is_not_believed(kept: KeptCycles, source: Path) -> None:
    """A row that is still a row, and the file is solved anew and kept again."""
    kept.add("rated", ROW)
    kept.write()
    data = kept._path().read_bytes()
    assert b"4.0" in data
    kept._path().write_bytes(data.replace(b"4.0", b"4.1"))
    again = KeptCycles(source)
    assert again("rated") is None
    again.add("rated", ROW)
    again.write()
    assert KeptCycles(source)("rated") == ROW


def test_what_cannot_be_written_leaves_nothing_behind(kept: KeptCycles) -> None:
    """A folder stands where the file belongs: no crash, and no half file beside it."""
    kept._path().mkdir(parents=True)
    kept.add("rated", ROW)
    kept.write()
    assert list(kept._path().parent.iterdir()) == [kept._path()]
    assert kept("rated") == ROW

"""Kept cycles are those that CoolProp gives, and nothing else is believed."""

import json
from dataclasses import astuple
from pathlib import Path

import pytest
from springhouse_sim.cache_folder import CACHE_VARIABLE
from springhouse_sim.plant import refrigerant
from springhouse_sim.plant.kept_cycles import KeptCycles

ASKED = ("R600a", -23.3, 54.4, 32.2, 32.2)


@pytest.fixture
def kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> KeptCycles:
    monkeypatch.setenv(CACHE_VARIABLE, str(tmp_path / "cache"))
    source = tmp_path / "text.py"
    source.write_text("what asks")
    return KeptCycles(source)


def test_a_kept_cycle_is_bit_for_bit_the_one_that_was_solved(kept: KeptCycles) -> None:
    solved = astuple(refrigerant._solved(*ASKED))
    kept.add("rated", solved)
    kept.write()
    again = KeptCycles(kept._text_of)
    assert again("rated") == solved
    assert again("another") is None
    assert astuple(refrigerant.ideal_cycle(*ASKED)) == solved


def test_another_text_asks_anew(kept: KeptCycles) -> None:
    kept.add("rated", (1.0, 2.0, 3.0, 4.0, 5.0, 6.0))
    kept.write()
    kept._text_of.write_text("what asks otherwise")
    assert KeptCycles(kept._text_of)("rated") is None


@pytest.mark.parametrize("spoilt", ["", "[]", '{"rated": [1, 2]}', '{"rated": ["x"]}', "null"])
def test_a_spoilt_file_is_not_believed(spoilt: str, kept: KeptCycles) -> None:
    kept.add("rated", (1.0, 2.0, 3.0, 4.0, 5.0, 6.0))
    kept.write()
    assert json.loads(kept._path().read_text()) == {"rated": [1, 2, 3, 4, 5, 6]}
    kept._path().write_text(spoilt)
    assert KeptCycles(kept._text_of)("rated") is None

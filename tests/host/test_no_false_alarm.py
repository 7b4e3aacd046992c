"""A summer in which nothing breaks latches nothing, at any built-in installation."""

import pytest
from springhouse import words
from springhouse_host.proof import placing, running, scenarios
from springhouse_host.proof.catalogue import WELDED_ROW
from springhouse_host.site import BUILT_IN, load_site

SUMMERS = ("high reading of the labels", "300 W more where the freezer stands")


@pytest.mark.parametrize("word", BUILT_IN)
def test_a_summer_in_which_nothing_breaks_latches_nothing(word: str) -> None:
    site = load_site(word)
    whole = [s for s in scenarios.unbroken(site, scenarios.MIDDLE) if "92 summer days" in s.name]
    chosen = [s for s in whole if any(text in s.name for text in SUMMERS)]
    assert len(chosen) == len(SUMMERS)
    for scenario in chosen:
        assert running.run_one(word, scenario).latched == 0, scenario.name


def test_what_latched_in_a_run_is_told() -> None:
    welded = next(
        s
        for s in placing.standard(load_site("demo"), variants=scenarios.MIDDLE)
        if s.row == WELDED_ROW
    )
    stuck = words.LATCHES.index("compressor stuck on: unplug")
    assert running.run_one("demo", welded).latched >> stuck & 1

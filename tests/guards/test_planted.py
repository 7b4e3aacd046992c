"""Every planted bug is refuted by the fast test beside it; the table of all judges: planted.py."""

from __future__ import annotations

from pathlib import Path

import planted
import pytest

LISTED = [b for b in planted.bugs() if b.listed == "guards/core_bugs.toml"]
CORE = [b for b in LISTED if "equivalent" not in b.row]
OF_A_RESET = [b for b in CORE if b.row["file"] == "restart.py"]
SAMPLE = ("a tick sum passes the end of the ring", "two good frames are enough")


def test_each_line_is_there_once_and_each_test_exists() -> None:
    for bug in planted.bugs():
        assert (planted.ROOT / bug.file).read_text("utf-8").count(bug.row["old"]) == 1, bug.story
        if bug.test:
            file, *name = bug.test
            assert name[-1].split(" ")[0] in Path(file).read_text("utf-8"), bug.story
    assert len(CORE) > 40
    assert len({b.story for b in CORE}) == len(CORE)


@pytest.mark.parametrize("bug", [b for b in CORE if b.story in SAMPLE], ids=lambda b: b.story)
def test_a_sample_is_refuted(bug: planted.Bug, tmp_path: Path) -> None:
    assert planted.judge(bug, tmp_path / "copy", ["fast"])["fast"]


@pytest.mark.parametrize("bug", OF_A_RESET[::4], ids=lambda b: b.story)
def test_a_query_refutes_a_sample_of_what_a_reset_loses(bug: planted.Bug, tmp_path: Path) -> None:
    assert planted.judge(bug, tmp_path / "copy", ["induction"])["induction"]


@pytest.mark.slow
@pytest.mark.parametrize("bug", OF_A_RESET, ids=lambda b: b.story)
def test_a_query_refutes_all_that_a_reset_loses(bug: planted.Bug, tmp_path: Path) -> None:
    assert planted.judge(bug, tmp_path / "copy", ["induction"])["induction"]


@pytest.mark.slow
@pytest.mark.parametrize("bug", CORE, ids=lambda b: b.story)
def test_every_bug_of_the_core_is_refuted(bug: planted.Bug, tmp_path: Path) -> None:
    assert planted.judge(bug, tmp_path / "copy", ["fast"])["fast"]


def test_a_right_line_is_refuted_by_nothing(tmp_path: Path) -> None:
    right = next(b for b in CORE if b.story == SAMPLE[0])
    same = planted.Bug(right.listed, {**right.row, "new": right.row["old"]})
    assert not any(planted.judge(same, tmp_path / "copy", ["fast", "adversary"]).values())


def test_counts_say_who_refuted_what() -> None:
    none = dict.fromkeys(planted.JUDGES)
    rows = [{**none, "fast": True}, {**none, "fast": False, "adversary": True}, {**none}]
    assert planted.counts(rows) == (
        "3 bugs: 1 refuted by a fast test, 1 by what prove runs, 1 by nothing"
    )

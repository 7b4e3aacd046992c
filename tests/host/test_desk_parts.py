"""What the desk is made of: its fields, its numbers, its page's files, its proof's process."""

from __future__ import annotations

import re
import subprocess
import sys
from importlib import resources
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from patience import HANG_S
from springhouse_host.desk import choices, keeping, newest
from springhouse_host.errors import KnownError
from springhouse_host.site import load_site

DEMO = load_site("demo")
NUMBERS = [c for c in choices.CHOICES.values() if c.high > 0.0]


def test_the_page_loads_nothing_from_outside() -> None:
    for file in resources.files("springhouse_host.desk").joinpath("page").iterdir():
        text = file.read_text("utf-8")
        outside = set(re.findall(r"https?://[^'\"\s)]+", text)) - {"http://www.w3.org/2000/svg"}
        assert outside == set(), file.name
        assert not re.search(r"\sstyle=|\son[a-z]+=\"", text), f"{file.name}: the policy forbids it"


@given(st.sampled_from(NUMBERS), st.floats(0.0, 1.0))
def test_a_slider_in_us_units_says_the_same_as_in_si(choice: Any, share: float) -> None:
    """Conversions of NIST SP 811, Appendix B, by way of pint."""
    value = choice.low + share * (choice.high - choice.low)
    si = choice.kind.parse(_bare(choice, value))
    word = choices.US_WORDS.get(choice.unit, choice.unit)
    there = choices.convert(value, choice.unit, word, kind=choice.unit)
    us = choices.changes_of(DEMO, {choice.key: _bare(choice, there)}, True)[choice.key]
    assert choice.kind.parse(us) == pytest.approx(si, rel=1e-8, abs=1e-9)


def _bare(choice: Any, value: float) -> float:
    return round(value) if isinstance(choice.kind, choices.Whole) else value


def test_every_field_says_what_the_file_says_in_both_units() -> None:
    for us in (False, True):
        fields = [f for group in choices.described(DEMO, us) for f in group["fields"]]
        assert [f["key"] for f in fields] == list(choices.CHOICES)
        for field in fields:
            if "step" in field:
                assert field["low"] <= field["value"] <= field["high"], field
                steps = (field["high"] - field["low"]) / field["step"]
                assert 3 <= steps <= 500, field
    assert load_site("demo", _unchanged()).file == DEMO.file


def _unchanged() -> dict[str, Any]:
    fields = [f for group in choices.described(DEMO, False) for f in group["fields"]]
    changes = choices.changes_of(DEMO, {f["key"]: f["value"] for f in fields}, False)
    # A target that the file leaves to the controller's default is said here, and a price as well.
    return {k: v for k, v in changes.items() if v is not None}


def test_a_probe_that_is_left_out_is_not_called_checked() -> None:
    changes = choices.changes_of(DEMO, {"sensors.store_high": False}, False)
    assert changes == {
        "sensors.store_high": "absent",
        "sensors.ice_point_checked": ["store_low", "room"],
    }


@pytest.mark.parametrize("site", ["demo", "bedroom-night", "cold-cellar", "den-120v", "power-cut"])
def test_each_installation_can_lie_on_the_desk(site: str) -> None:
    assert choices.described(load_site(site), True)


def test_a_number_is_stale_once_a_newer_one_is_called(tmp_path: Path) -> None:
    newest.make(tmp_path / "newest")
    old, new = (newest.Ticket(str(tmp_path / "newest"), 3, n) for n in (1, 2))
    other = newest.Ticket(str(tmp_path / "newest"), 4, 1)
    old.call()
    old.check()
    new.call()
    with pytest.raises(newest.StaleError):
        old.check()
    new.check()
    other.check()


def test_nothing_kept_over_a_file(tmp_path: Path) -> None:
    path = tmp_path / "a.verdict.json"
    assert keeping.free(path) == path
    path.write_text("")
    assert keeping.free(path) == tmp_path / "a.verdict-2.json"
    with pytest.raises(KnownError, match="nothing is changed"):
        keeping.keep(DEMO, {})


def test_the_proof_s_process_ends_with_the_desk(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "springhouse_host.desk.proving", "demo"]
    command += [str(tmp_path / "v.json"), str(tmp_path / "r.html"), "si"]
    child = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE)
    assert child.stdin is not None
    child.stdin.close()
    assert child.wait(timeout=HANG_S) != 0
    assert child.stdout is not None
    child.stdout.close()
    assert list(tmp_path.iterdir()) == []


def test_a_bad_site_for_the_proof_is_told_as_lines(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "springhouse_host.desk.proving", "nowhere.toml"]
    command += [str(tmp_path / "v.json"), str(tmp_path / "r.html"), "si"]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as child:
        assert child.stdout is not None
        assert b'"refused": ["nowhere.toml' in child.stdout.read()
    assert child.returncode == 2

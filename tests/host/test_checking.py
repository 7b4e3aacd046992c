"""A verdict is read back with the rule that wrote it; what is not whole or not for this is refused.

The numbers are made up: that the rule holds for a real proof is asked in `test_prove.py`.
"""

import json
import os
from pathlib import Path
from typing import Any

import made_verdict
import pytest
from hypothesis import given
from hypothesis import strategies as st
from springhouse_host.errors import KnownError
from springhouse_host.proof import rule
from springhouse_host.proof.checking import CHANGED, MOST_BYTES, SEALS, check, sealed
from springhouse_host.proof.responses import Response
from springhouse_host.proof.sources import wanted
from springhouse_host.site import load_site

ZEROS = dict.fromkeys(CHANGED, "0" * 64)


def refusal(path: Path, hashes: dict[str, str] = ZEROS) -> str:
    with pytest.raises(KnownError) as caught:
        check(path, hashes)
    (line,) = caught.value.lines
    assert "\n" not in line
    assert line.startswith(f"{path}: ")
    return line.removeprefix(f"{path}: ")


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return made_verdict.write(tmp_path / "verdict.json")


def test_a_kept_verdict_passes_in_any_layout_of_its_file(path: Path) -> None:
    check(path, ZEROS)
    record = json.loads(path.read_text("utf-8"))
    path.write_text(json.dumps(dict(reversed(record.items()))), "utf-8")
    check(path, ZEROS)


@pytest.mark.parametrize("name", CHANGED)
def test_another_hash_is_told_by_what_changed(name: str, path: Path) -> None:
    said = refusal(path, {**ZEROS, name: "1" * 64})
    assert said == f"stale: {CHANGED[name]} since: prove again"


def test_weather_and_prices_are_told_before_the_site_that_holds_them(path: Path) -> None:
    other = {name: "1" * 64 for name in ("site_sha256", "weather_sha256")}
    assert refusal(path, ZEROS | other).startswith("stale: the weather has changed")


FLIP = st.tuples(st.integers(0, 10**6), st.integers(0, 7))


@given(flip=FLIP)
def test_one_changed_bit_is_refused_or_changes_nothing(
    flip: tuple[int, int], tmp_path_factory: pytest.TempPathFactory
) -> None:
    """Nothing is said only where the file still holds the very same record."""
    folder = tmp_path_factory.mktemp("flip")
    path = made_verdict.write(folder / "verdict.json")
    data = bytearray(path.read_bytes())
    whole = json.loads(data)
    data[flip[0] % len(data)] ^= 1 << flip[1]
    path.write_bytes(data)
    try:
        same = json.loads(bytes(data)) == whole
    except ValueError:
        same = False
    if same:
        check(path, ZEROS)
    else:
        refusal(path)


@pytest.mark.parametrize("part", sorted(made_verdict.found()))
def test_each_part_is_missed_and_each_change_is_told_by_its_name(part: str, path: Path) -> None:
    record = json.loads(path.read_text("utf-8"))
    for spoilt in ({k: v for k, v in record.items() if k != part}, {**record, part: "changed"}):
        path.write_text(json.dumps(spoilt), "utf-8")
        assert refusal(path).startswith(part)


def test_what_was_added_is_told(path: Path) -> None:
    record = json.loads(path.read_text("utf-8"))
    path.write_text(json.dumps({**record, "unguarded": []}), "utf-8")
    assert refusal(path) == "unguarded: was added after the proof: prove again"


ROWS = made_verdict.found()
PROMISE, INVARIANTS, RESPONSE = ROWS["promises"][0], ROWS["invariants"], ROWS["responses"][0]
BROKEN: dict[str, tuple[dict[str, Any], str]] = {
    "a promise broken": (
        {"promises": [{**PROMISE, "worst": 2.09, "kept": False}]},
        "promise: ice in the store: 2.09 kg",
    ),
    "a promise said to be kept": (
        {"promises": [{**PROMISE, "worst": 2.09}]},
        "promise: ice in the store: 2.09 kg",
    ),
    "a bound moved": ({"promises": [{**PROMISE, "limit": 0.2}]}, "promise: ice in the store"),
    "a violation": (
        {"invariants": [{**INVARIANTS[0], "violations": 3}, *INVARIANTS[1:]]},
        "INV-01: 3 violations",
    ),
    "nothing tried": ({"invariants": [{**INVARIANTS[0], "cases": 0}, *INVARIANTS[1:]]}, "no cases"),
    "an invariant left out": ({"invariants": INVARIANTS[1:]}, "INV-01: not tried"),
    "too late": ({"responses": [{**RESPONSE, "value": 93.0, "kept": False}]}, "fault: tray fills"),
    "never": ({"responses": [{**RESPONSE, "value": None, "kept": False}]}, "too late or never"),
    "on again": (
        {"responses": [{**RESPONSE, "why_not": "on again 7 s after", "kept": False}]},
        "on again 7 s after",
    ),
    "nothing to answer": (
        {"responses": [{**RESPONSE, "met": False, "kept": False}]},
        "tray fills: off: pump and fan: not shown",
    ),
    "a number of what was never tried": (
        {"responses": [{**RESPONSE, "never": "never charges", "kept": True}]},
        "fault: tray fills",
    ),
    "what could not be tried": (
        {"responses": [{**RESPONSE, "value": None, "never": "never charges", "kept": False}]},
        "tray fills: off: pump and fan: not shown: never charges",
    ),
    "a state not served": (
        {"complete_check": {**ROWS["complete_check"], "violations": ["state 3"]}},
        "complete_check: violations",
    ),
    "nothing explored": (
        {"abstract_machine": {**ROWS["abstract_machine"], "slices": 0}},
        "abstract_machine: no slices",
    ),
    "a claim not proven": (
        {"induction": {**ROWS["induction"], "violations": ["step: a claim [undecided]"]}},
        "induction: violations",
    ),
    "nothing proven": ({"induction": {**ROWS["induction"], "queries": 0}}, "induction: no queries"),
    "random inputs": ({"random_inputs": {"scans": 9, "violations": 1}}, "random_inputs"),
    "nothing run": ({"false_alarms": {"runs": 0, "latched": {}}}, "false alarms: no runs"),
    "a latch where nothing broke": (
        {"false_alarms": {"runs": 6, "latched": {"a hot week": "relay welded"}}},
        "false alarm: relay welded: a hot week",
    ),
    "two codes": ({"replay": {"ticks": 4, "differing": 1}}, "replay: differs at 1 ticks"),
}


@pytest.mark.parametrize("case", BROKEN)
@pytest.mark.parametrize("says", [True, False])
def test_kept_is_recomputed_from_what_was_found(case: str, says: bool, tmp_path: Path) -> None:
    """A whole and sealed record that contradicts itself, or that says itself that it failed."""
    changes, said = BROKEN[case]
    assert not rule.kept(made_verdict.found(**changes))
    path = made_verdict.write(tmp_path / "v.json", **changes, kept=says)
    line = refusal(path)
    assert said in line
    assert line.startswith("kept: says true, but " if says else "not kept (")


@pytest.mark.parametrize("empty", ["promises", "invariants", "complete_check", "replay"])
def test_a_sealed_record_without_what_it_rests_on_is_refused(empty: str, tmp_path: Path) -> None:
    for nothing in ([], {}, None, 3, "x"):
        line = refusal(made_verdict.write(tmp_path / "v.json", **{empty: nothing}))
        assert "is no whole verdict" in line or "not tried" in line


@pytest.mark.parametrize(
    "text",
    ["", "[1]", "{", "null", "{}", '{"kept": true, "settings_sha256": "", "firmware_sha256": ""}',
     '{"seals": {}}', '{"seals": {"schema": 1}, "schema": 2}', "[" * 100_000, '{"seals": 3}',
     '{"schema": NaN, "seals": {}}'],
)  # fmt: skip
def test_what_is_no_verdict_is_one_line(text: str, tmp_path: Path) -> None:
    path = tmp_path / "v.json"
    path.write_text(text)
    refusal(path)


def test_no_file_a_pipe_and_one_without_end_are_one_line(tmp_path: Path) -> None:
    assert refusal(tmp_path / "none.json").startswith("no verdict: No such file")
    os.mkfifo(tmp_path / "pipe")
    assert refusal(tmp_path / "pipe").startswith("is no file")
    big = tmp_path / "big.json"
    with big.open("wb") as file:
        file.truncate(MOST_BYTES + 1)
    assert refusal(big).startswith("is no verdict: over")


def test_another_installation_is_another_one(tmp_path: Path) -> None:
    """More people in the room change no setting of the controller, but what was proven."""
    demo = load_site("demo")
    other = load_site("demo", {"room.people": 5, "room.equipment_w": 800})
    assert demo.settings_sha256 == other.settings_sha256
    path = made_verdict.write(tmp_path / "v.json", **wanted(demo))
    check(path, wanted(demo))
    assert refusal(path, wanted(other)) == "stale: the site has changed since: prove again"


def test_the_rule_of_a_response_is_the_one_of_the_record() -> None:
    for value, why, met in ((5.0, "", True), (7.0, "", True), (None, "", True), (5.0, "x", True),
                            (None, "", False)):  # fmt: skip
        response = Response(1, "off", 6.0, value, "s", why, met)
        assert response.kept is rule.response_kept(vars(response))


def test_seals_are_of_the_parts_only() -> None:
    record = sealed(made_verdict.found())
    assert record[SEALS].keys() == made_verdict.found().keys()

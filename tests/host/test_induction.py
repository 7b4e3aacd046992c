"""The proof by induction: the translation is the source, it holds, and it can fail."""

import json
import os
import random
import shutil
import subprocess
import sys
import tomllib
from array import array
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from springhouse import controller, events, reading, setting, timekeeping
from springhouse import memory as cell
from springhouse_host.induction import scene as scenes
from springhouse_host.induction import whole
from springhouse_host.induction.claim import Claim
from springhouse_host.induction.program import SlotRecord
from springhouse_host.induction.prove import InductiveProof, Question
from springhouse_host.induction.story import replay, tell, write_test
from springhouse_host.induction.term import Bits, value_of
from springhouse_host.induction.terms import Terms
from springhouse_host.induction.tick_origin import depends_on_origin
from springhouse_host.induction.translate import Run
from springhouse_host.proof import firmware_alone, invariants

ROOT = Path(__file__).parents[2]
BUGS = tomllib.loads((Path(__file__).parent / "induction_bugs.toml").read_text(encoding="utf-8"))
ADVERSARY = tomllib.loads((ROOT / "tests/sim/planted_bugs.toml").read_text(encoding="utf-8"))


class Translated:
    """`step` in real ticks, translated once."""

    def __init__(self) -> None:
        t = Terms()
        self.slots: dict[str, Any] = {
            "memory": scenes.free_memory(t, real_ticks=True),
            "settings": scenes.free_settings(t),
            "readings": scenes.free_readings(t),
        }
        self.symbols = {name: list(slots) for name, slots in self.slots.items()}
        run = Run(t, {events.plan: scenes.any_plan(t)})
        records = [SlotRecord("memory"), SlotRecord("settings"), SlotRecord("readings")]
        self.out = run.call(controller.step, records, self.slots)


@pytest.fixture(scope="module")
def translated() -> Translated:
    return Translated()


def _draw(rng: random.Random, ranges: list[tuple[int, int]]) -> "array[int]":
    def one(low: int, high: int) -> int:
        edges = [low, high, 0, 1, -1, -2, 3]
        picks = [rng.randint(low, high), *(e for e in edges if low <= e <= high)]
        return rng.choice(picks)

    return array("i", (one(low, high) for low, high in ranges))


def _symbol_values(symbols: list[Any], record: "array[int]") -> dict[str, int]:
    found: dict[str, int] = {}
    for symbol, value in zip(symbols, record, strict=True):
        if isinstance(symbol, Bits):
            found.update({b.args[0]: value >> n & 1 for n, b in enumerate(symbol.bits)})  # type: ignore[union-attr,misc]
        elif not isinstance(symbol, int):
            found[symbol.args[0]] = value
    return found


def _memory_ranges() -> list[tuple[int, int]]:
    ranges = []
    for slot in range(cell.SIZE):
        if slot in scenes.WORDS:
            ranges.append((0, (1 << scenes.WORDS[slot]) - 1))
        elif slot >= cell.TIMERS:
            ranges.append((timekeeping.DUE, timekeeping.LAST))
        else:
            ranges.append(scenes.RANGES[slot])
    return ranges


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 2**32))
def test_translation_and_source_do_the_same(translated: Translated, seed: int) -> None:
    rng = random.Random(seed)
    memory = _draw(rng, _memory_ranges())
    memory[cell.FLAGS] &= ~cell.FLAG_INVALID
    record = _draw(rng, [setting.row(n)[1:3] for n in range(setting.SIZE)])
    readings = _draw(rng, [scenes.READINGS[n] for n in range(reading.SIZE)])
    now = readings[reading.NOW_MS]
    for slot in range(cell.TIMERS, cell.SIZE):  # a running timer is at most LONGEST_MS ahead
        if memory[slot] >= 0:
            memory[slot] = timekeeping.ticks_add(now, rng.randint(0, timekeeping.LONGEST_MS))
    for i in range(reading.PROBES):
        if rng.random() < 0.7:  # most frames are fresh
            readings[reading.STORE_LOW_AT_MS + i] = (now - rng.randint(0, 12000)) % (
                timekeeping.LAST + 1
            )
            readings[reading.STORE_LOW_MC + i] = rng.randint(-6000, 46000)
            readings[reading.STORE_LOW_FAULT + i] = rng.choice([0, 0, 0, 1])
    symbols = {
        **_symbol_values(translated.symbols["memory"], memory),
        **_symbol_values(translated.symbols["settings"], record),
        **_symbol_values(translated.symbols["readings"], readings),
    }
    out = controller.step(memory, record, readings)
    symbols.update({f"any.plan.{n}": memory[cell.PLAN] >> n & 1 for n in range(4)})
    symbols["any.since"] = memory[cell.PLAN_SINCE_MIN]
    symbols["any.length"] = memory[cell.PLAN_LENGTH_MIN]
    assert value_of(translated.out, symbols) == out
    for slot in range(cell.SIZE):
        said = value_of(translated.slots["memory"][slot], symbols)
        assert said == memory[slot], scenes.NAMES[slot]


def test_every_query_is_proven() -> None:
    """Taken from what a proof of these very sources has kept, else asked now."""
    kept = firmware_alone.kept(firmware_alone.stamp())
    found = kept.induction if kept else whole.check()
    assert len(found.results) > 400
    assert found.violations == ()
    about = set(found.invariants())
    by_other_means = {26}  # that service resumes: see guards.md
    assert about == set(invariants.TEXTS) - by_other_means


def test_what_is_kept_is_found_again() -> None:
    few = whole.Induction(tuple(InductiveProof("lemma").results(only="ticks")))
    assert len(few.results) == 2
    assert whole.from_kept(whole.as_kept(few)) == few


def test_the_origin_of_ticks_is_seen_where_it_matters() -> None:
    t = Terms()
    one = scenes.scan(t)
    assert depends_on_origin(one) == ""
    now = one.readings[reading.NOW_MS]
    for slot, spoiled in (
        (cell.MODE, now),
        (cell.STORE_LOW_SEEN_MS, 0),
        (cell.TIMERS, t.add(now, 1)),
    ):
        after = [*one.after[:slot], spoiled, *one.after[slot + 1 :]]
        assert depends_on_origin(replace(one, after=after))


def judge(tmp_path: Path, bug: dict[str, Any]) -> list[dict[str, Any]]:
    """Results for a copy of the firmware with one text replaced."""
    shutil.copytree(ROOT / "firmware" / "springhouse", tmp_path / "springhouse")
    path = tmp_path / "springhouse" / bug["file"]
    text = path.read_text(encoding="utf-8")
    assert text.count(bug["old"]) == 1, "the text to spoil stands there once"
    path.write_text(text.replace(bug["old"], bug["new"]), encoding="utf-8")
    paths = os.pathsep.join([str(tmp_path), str(ROOT / "sim"), str(ROOT / "hostlib")])
    command = [sys.executable, "-m", "springhouse_host.induction", *bug.get("parts", ["step"])]
    done = subprocess.run(
        [*command, "--json", "--only", bug["only"]],
        env={**os.environ, "PYTHONPATH": paths},
        capture_output=True,
        text=True,
        check=False,
    )
    assert not done.stderr, done.stderr
    return [json.loads(line) for line in done.stdout.splitlines()]


def bugs() -> list[Any]:
    """Each planted bug; those that take the solver longer run with the slow tests."""
    by_story = {b["story"]: b for b in ADVERSARY["bug"]}
    known = [
        {**by_story[story], "only": topic, "parts": ["lemma" if topic == "expire" else "step"]}
        for story, topic in BUGS["adversary"].items()
    ]
    return [
        pytest.param(b, id=b["story"], marks=[] if b.get("fast") else [pytest.mark.slow])
        for b in (*BUGS["bug"], *known)
    ]


@pytest.mark.parametrize("bug", bugs())
def test_a_planted_bug_is_refuted(tmp_path: Path, bug: dict[str, Any]) -> None:
    results = judge(tmp_path, bug)
    refuted = [r for r in results if not r["proven"]]
    assert refuted, "nothing asked" if not results else "not seen"
    assert any(r["example"] for r in refuted), "a counterexample, not a solver that gave up"


def test_a_counterexample_is_told_and_kept_as_a_test(tmp_path: Path) -> None:
    """A claim too strong to hold: the compressor never starts."""
    proof = InductiveProof("step")
    assert proof.scene is not None
    never = Claim("the compressor never starts", 4, proof.terms.no(proof.scene.starts(1)))
    proof.questions = [Question("a topic", never)]
    (result,) = proof.results()
    assert result.ended == "false"
    told = replay(result)
    assert told.out & 1
    assert not told.memory[cell.OUT] & 1
    story = tell(result)
    assert story[0] == "step: the compressor never starts [false]"
    assert any("compressor" in line for line in story if "ms later" in line)
    assert any(line.startswith("  ON_T: idle -> ") for line in story)
    path = write_test(result, tmp_path)
    names: dict[str, Any] = {}
    exec(compile(path.read_text("utf-8"), path.name, "exec"), names)
    (test,) = [v for n, v in names.items() if n.startswith("test_")]
    with pytest.raises(AssertionError):
        test()

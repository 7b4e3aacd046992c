"""Wrong texts of `decisions` are caught by what the skip then leaves.

Short and without weather: nothing but the text under test wakes the controller before its ten
minutes are over. The right text leaves what stepping at every tick does. Each mutant is run on the
story that needs what it lacks, interpreted, and must leave other events than the right text.
"""

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from functools import cache
from pathlib import Path
from types import ModuleType
from typing import Any, TypeAlias

import pytest
from bench_rig import bench, plant, settings
from springhouse import condition, horizon, near
from springhouse import memory as cell
from springhouse_sim import sense, skip_scan, ticks
from springhouse_sim.bench import Bench, Pace
from springhouse_sim.plant import given
from springhouse_sim.plant.battery import Battery
from springhouse_sim.world.faults import Fault
from springhouse_sim.world.outage import Outage

QUIET = sense.Sensors(noise_mk=0)
NIGHT = datetime(2025, 7, 7, 22, 7)
NOON = datetime(2025, 7, 7, 13, 33)


def night(
    store_c: float = 6.0, hours: float = 2.0, **changes: int
) -> Callable[..., tuple[Bench, float]]:
    """Charging at night; the waits are no multiples of ten minutes."""

    def make(**options: Any) -> tuple[Bench, float]:
        chosen = settings(MIN_OFF_S=433, **changes)
        run = bench(plant=plant(store_c, 22.0), settings=chosen, start=NIGHT, **options)
        return run, hours / 24.0

    return make


def noon(
    *what: Any, store_c: float = 3.0, room_c: float = 26.0, hours: float = 2.0, **changes: int
) -> Callable[..., tuple[Bench, float]]:
    """Delivery in the afternoon."""

    def make(**options: Any) -> tuple[Bench, float]:
        chosen = settings(**changes)
        house = replace(plant(store_c, room_c), battery=SMALL)
        heat = {given.EQUIPMENT_W: 700.0}
        run = bench(*what, plant=house, settings=chosen, start=NOON, given_slots=heat, **options)
        return run, hours / 24.0

    return make


SMALL = Battery(kind="lifepo4", usable_wh=12.0, charger_w=40.0)
STORIES: dict[str, Callable[..., tuple[Bench, float]]] = {
    "charge": night(),
    "full": night(DEEP_MC=4800, SHALLOW_MC=4800, BAND_MK=300),
    "freeze": night(5.5, FREEZE_MC=3000, FREEZE_CLEAR_MK=600, hours=4.0),
    "no progress": night(PROGRESS_MIN=60, PROGRESS_MK=600),
    "warming": noon(
        ROOM_TARGET_MC=22_000, DEEP_MC=2000, SHALLOW_MC=2600, BAND_MK=700, TARIFF_OVERRIDE=0
    ),
    "delivery": noon(ROOM_TARGET_MC=25_000, ROOM_BAND_MK=300),
    "fans": noon(ROOM_TARGET_MC=25_000, FAN_BOOST_MK=900),
    "useful": noon(
        store_c=14.0, room_c=20.0, ROOM_TARGET_MC=18_000, USEFUL_MK=12_000, SHALLOW_MC=16_000
    ),
    "warm store": noon(store_c=11.0, ROOM_TARGET_MC=20_000, WARM_FILL_MC=14_100, SHALLOW_MC=13_000),
    "hot": noon(
        store_c=15.0,
        room_c=22.0,
        ROOM_TARGET_MC=22_000,
        ROOM_LIMIT_MC=27_000,
        USEFUL_MK=18_000,
        SHALLOW_MC=16_000,
        TARIFF_OVERRIDE=1,
    ),
    "dry": noon(Fault("prime_lost", 3701), ROOM_TARGET_MC=22_000),
    "tray": noon(Fault("tray_filled", 1801, value=0.002), ROOM_TARGET_MC=22_000),
    "cold air": noon(Fault("probe_drift", 2001, probe="coil_air", value=-20_000, over_s=3000)),
    "outage": noon(Outage(2001, 5000), ROOM_TARGET_MC=22_000),
    "stuck": night(STUCK_MIN=30, PROGRESS_MIN=720, hours=3.0),
}

# What a text of `horizon` leaves out: (name, text, its replacement, story).
KEPT = "if why == 0 or why & kept or stuck:"
ROWS = "if failing & ~near_bits == 0 and failing & kept == 0:"


def without(name: str, lost: str, story: str) -> tuple[str, str, str, str]:
    """The notes for which an expression is true are lost."""
    return name, KEPT, f"if (why == 0 or why & kept or stuck) and not ({lost}):", story


MUTANTS = (
    (
        "deadlines",
        "nearest_ms(memory, readings[reading.NOW_MS])",
        "timekeeping.LONGEST_MS",
        "charge",
    ),
    ("plan", "min(last, week.WEEK_MIN - 1)", "FAR", "charge"),
    ("rows of the store", "kept = _holding(STORE_ROWS", "kept = 0 * _holding(STORE_ROWS", "full"),
    (
        "rows of the room",
        "kept |= _holding(ROOM_ROWS",
        "kept |= 0 * _holding(ROOM_ROWS",
        "delivery",
    ),
    ("rows of another state", "if start & 1 << state:", "if start & 2 << state:", "delivery"),
    ("no row is held", ROWS, "if failing == 0:", "full"),
    (
        "fans",
        "if statechart.ROOM_OUTPUTS[memory[cell.ROOM_STATE]] & output.FAN_FULL:",
        "if False:",
        "fans",
    ),
    without("start", f"why == {condition.STORE_WARM}", "delivery"),
    without("stop", f"why == {condition.STORE_FULL}", "full"),
    without("store, memory", "why == 0 and slot <= reading.STORE_HIGH_MC", "freeze"),
    without("progress", "why == 0 and slot <= reading.STORE_HIGH_MC", "no progress"),
    without("room start", f"why == {condition.ROOM_WARM * near.ROOM}", "delivery"),
    without("room target", f"why == {condition.ROOM_COOL * near.ROOM}", "delivery"),
    without("full fan", f"why == {near.FAN_CAP}", "fans"),
    without("useful", f"why == {condition.USEFUL * near.ROOM}", "useful"),
    without("spent", f"why == {condition.USEFUL * near.ROOM}", "warm store"),
    without("hot", "why == 0 and slot == reading.ROOM_MC", "hot"),
    without("flow", "slot == reading.FLOW_ML_MIN", "dry"),
    without("coil air", "slot == reading.COIL_AIR_MC", "cold air"),
    without("cut-off", "slot == reading.BATTERY_MV", "outage"),
)


Left: TypeAlias = tuple[list[list[int]], list[int]]


def left_by(story: str, pace: Pace, *, compile_ticks: bool = False) -> Left:
    """Return events and memory at the end, the words aside."""
    run, days = STORIES[story](sensors=QUIET, pace=pace, compile_ticks=compile_ticks)
    events = run.run(days).events.tolist()
    words = (cell.STORE_WORD, cell.ROOM_WORD, cell.LOCK_WORD)
    return events, [int(v) for slot, v in enumerate(run.board[0]) if slot not in words]


@cache
def right(story: str) -> Left:
    """Return what the right text leaves; to be asked before a wrong one takes its place."""
    return left_by(story, Pace.SKIP)


def mutated(text: str, replacement: str) -> ModuleType:
    assert horizon.__file__ is not None
    source = Path(horizon.__file__).read_text()
    assert text in source
    module = ModuleType("horizon_mutant")
    exec(compile(source.replace(text, replacement), "horizon_mutant", "exec"), vars(module))
    return module


@pytest.mark.parametrize("story", sorted({m[3] for m in MUTANTS} | {"stuck", "tray", "warming"}))
def test_the_right_text_leaves_the_oracle(story: str) -> None:
    """Compiled, for the oracle is slow: both paces share one grid of steps in either form."""
    oracle = left_by(story, Pace.EVERY_TICK, compile_ticks=True)
    assert left_by(story, Pace.SKIP, compile_ticks=True) == oracle
    driven = slice(ticks.STORE_STATE, ticks.EVENT_KEYS)
    assert [row[driven] for row in right(story)[0]] == [row[driven] for row in oracle[0]]
    assert len(oracle[0]) > 2


@pytest.mark.parametrize("mutant", MUTANTS, ids=[m[0] for m in MUTANTS])
def test_a_wrong_text_is_caught(
    mutant: tuple[str, str, str, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    _, text, replacement, story = mutant
    expected = right(story)
    monkeypatch.setattr(skip_scan, "horizon", mutated(text, replacement))
    assert left_by(story, Pace.SKIP) != expected


@pytest.mark.parametrize("lost", ["_tray", "_flow", "_volts"])
def test_a_lost_watch_is_caught(lost: str, monkeypatch: pytest.MonkeyPatch) -> None:
    story = {"_tray": "tray", "_flow": "dry", "_volts": "outage"}[lost]
    expected = right(story)
    monkeypatch.setattr(skip_scan, lost, lambda *_: False)
    assert left_by(story, Pace.SKIP) != expected

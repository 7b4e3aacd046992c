"""The adversary in the plant: any faults at any time, and physical truth must hold.

A few lives run with every change; `make adversary` runs thousands. ADVERSARY_LIVES says how many.
"""

from __future__ import annotations

import os
from dataclasses import replace
from datetime import datetime

import plant_life
import plant_truths
import pytest
from hypothesis import HealthCheck, example, given, settings
from plant_life import DAYS, Life
from springhouse_sim.bench import Pace
from springhouse_sim.trace import Trace
from springhouse_sim.world.faults import Fault
from springhouse_sim.world.outage import Outage

LIVES = int(os.environ.get("ADVERSARY_LIVES", "24"))
SCANS_A_LIFE = DAYS * 86_400
CALM = Life(datetime(2001, 7, 10), 4.0, "mid", 0, 1, (), (), ())
_RUN = {"lives": 0, "every second": 0}


def run(life: Life, pace: Pace = Pace.SKIP) -> Trace:
    return plant_life.bench(life, pace).run(DAYS)


@pytest.fixture(scope="module", autouse=True)
def count() -> object:
    yield
    lives, stepped = _RUN["lives"], _RUN["every second"]
    print(f"\n{lives} lives, {DAYS * lives} plant-days; controller steps", end=" ")
    print(f"one by one: {stepped * SCANS_A_LIFE:,}, by jumps: {(lives - stepped) * SCANS_A_LIFE:,}")


@pytest.mark.requirement("INV-04", "INV-07", "INV-09", "ROW-10", "ROW-15")
@settings(
    max_examples=LIVES,
    derandomize="ADVERSARY_LIVES" not in os.environ,
    suppress_health_check=list(HealthCheck),
)
@example(CALM)
@given(plant_life.life)
def test_physical_truth_under_any_faults(life: Life) -> None:
    """Each life at its own pace: most by jumps, each eighth with the controller every second."""
    one_by_one = life.seed % 8 == 1
    trace = run(life, Pace.EVERY_TICK if one_by_one else Pace.SKIP)
    _RUN["lives"] += 1
    _RUN["every second"] += int(one_by_one)
    wrong = plant_truths.broken(life, trace)
    assert not wrong, f"{wrong} in {life.words()}"


# Each truth can break: the same measure, in a life that takes away what it rests on.

NOON_S = 12 * 3600 + 1800  # the first delivery begins
FRAGILE = {
    "ice": replace(CALM, faults=(Fault("relay_welded", 0),)),
    "ice standing": replace(CALM, faults=(Fault("relay_welded", 0), Fault("floor_wet", 60))),
    "spilled": replace(
        CALM,
        faults=(Fault("tray_float_stuck", 0), Fault("tray_filled", NOON_S, 3600, value=0.01)),
    ),
    "dry running": replace(
        CALM, faults=(Fault("flow_jammed", NOON_S + 30), Fault("prime_lost", NOON_S + 60))
    ),
    "off before a start (negative)": replace(
        CALM,
        store_start_c=16.0,
        faults=(Fault("mains_sense_stuck", 0),),
        outages=(Outage(7200, 30),),
    ),
    "starts in an hour": replace(
        CALM,
        store_start_c=16.0,
        faults=(Fault("mains_sense_stuck", 0),),
        outages=tuple(Outage(7200 + 300 * n, 30) for n in range(6)),
    ),
}


@pytest.mark.parametrize("name", FRAGILE)
def test_a_truth_breaks_without_what_it_rests_on(name: str) -> None:
    life = FRAGILE[name]
    truth = next(t for t in plant_truths.TRUTHS if t.name == name)
    assert not truth.holds_for(life)
    assert truth.value(run(life)) > truth.limit()


def test_the_winding_is_measured() -> None:
    """Its bound is the protector's work in the plant; here only that it is not an idle figure."""
    hot = run(replace(CALM, store_start_c=21.0, faults=(Fault("lid_open", 0, value=20.0),)))
    winding = next(t for t in plant_truths.TRUTHS if t.name == "winding")
    assert 70.0 < winding.value(hot) < winding.limit()


def test_a_planted_wrong_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    life = replace(FRAGILE["ice"], faults=(Fault("relay_welded", 0), Fault("floor_wet", 60)))
    honest = plant_truths.TRUTHS
    blind = tuple(replace(t, holds_for=lambda _: True) for t in honest)
    trace = run(life)
    assert not any(line.startswith("ice") for line in plant_truths.broken(life, trace))
    monkeypatch.setattr(plant_truths, "TRUTHS", blind)
    assert any(line.startswith("ice: ") for line in plant_truths.broken(life, trace))

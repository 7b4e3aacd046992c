"""The quiet skip leaves what stepping the controller at every tick of the same steps leaves."""

from dataclasses import replace
from datetime import datetime

import numpy as np
import pytest
import skip_cases
from bench_rig import bench, plant, settings
from springhouse import memory as cell
from springhouse import statechart
from springhouse_sim import gauge, skip_step, skip_tick, ticks
from springhouse_sim.bench import Bench, Pace
from springhouse_sim.plant import given as given_slot
from springhouse_sim.plant import state
from springhouse_sim.plant.battery import Battery
from springhouse_sim.trace import Trace
from springhouse_sim.world.outage import Outage

AFTERNOON = datetime(2025, 7, 7, 14)
# Made afresh at every step, read by nobody.
WORDS = (cell.STORE_WORD, cell.ROOM_WORD, cell.LOCK_WORD)


def remembered(run: Bench) -> list[int]:
    return [int(v) for slot, v in enumerate(run.board.memory) if slot not in WORDS]


def assert_same(make: object, days: float) -> Trace:
    """Run both paces and compare all they leave; return the trace of the skip."""
    assert callable(make)
    runs: dict[Pace, tuple[Bench, Trace]] = {}
    for pace in (Pace.SKIP, Pace.EVERY_TICK):
        run = make(pace=pace)
        runs[pace] = (run, run.run(days))
    (jumped, some), (stepped, every) = runs[Pace.SKIP], runs[Pace.EVERY_TICK]
    assert some.events.tolist() == every.events.tolist()
    assert remembered(jumped) == remembered(stepped)
    assert np.array_equal(some.ended, every.ended)
    # The last columns of a sample are state and outputs; the rest is the plant.
    assert np.array_equal(some.samples, every.samples)
    assert some.counts.tolist() == every.counts.tolist()
    assert some.peaks.tolist() == every.peaks.tolist()
    assert (some.violations > 0).tolist() == (every.violations > 0).tolist()
    assert jumped.skip.own[skip_tick.SCANS] < stepped.skip.own[skip_tick.SCANS]
    return some


@pytest.mark.parametrize("cases", [40, pytest.param(200, marks=pytest.mark.slow)])
def test_random_cases_that_visit_every_state(cases: int) -> None:
    visits = np.zeros(statechart.STORE_STATES + statechart.ROOM_STATES, np.int64)
    for case in range(cases):
        trace = assert_same(
            lambda pace, case=case: skip_cases.make(case, pace=pace, compile_ticks=True), 1.0
        )
        store, room = trace.state_seconds()
        visits += np.concatenate([store > 0, room > 0])
    assert visits.min() >= 3, dict(enumerate(visits.tolist()))


def test_interpreted_and_compiled_skip_agree() -> None:
    """The same text: the same changes at the same ticks.

    The grid is another after a while, for rounding decides which steps are taken; so the states
    agree only as well as the integration is exact.
    """
    plain, fast = (skip_cases.make(2, pace=Pace.SKIP, compile_ticks=c) for c in (False, True))
    one, two = plain.run(0.1), fast.run(0.1)
    assert one.events.tolist() == two.events.tolist()
    warm = slice(state.WATER_C, state.WATER_C + state.LAYERS)
    assert np.allclose(one.ended[warm], two.ended[warm], rtol=0.0, atol=0.02)
    assert one.ended[state.ROOM_AIR_C] == pytest.approx(two.ended[state.ROOM_AIR_C], abs=0.005)


def test_the_adaptive_grid_agrees_with_fixed_steps() -> None:
    """Another integrator, a fixed second: same spells, starts and gaps, temperatures to 5 mK."""

    def run(pace: Pace) -> Trace:
        return bench(
            plant=plant(5.0, 27.0),
            settings=settings(MIN_OFF_S=500),
            pace=pace,
            compile_ticks=True,
        ).run(1.0)

    skipped, fixed = run(Pace.SKIP), run(Pace.PLAIN)
    for count in (gauge.STARTS, gauge.STARTS_PER_HOUR_MAX, gauge.DRY_MAX_S, gauge.ICE_MAX_S):
        assert skipped.counts[count] == fixed.counts[count]
    assert (
        abs(int(skipped.counts[gauge.OFF_GAP_MIN_S]) - int(fixed.counts[gauge.OFF_GAP_MIN_S])) <= 2
    )
    for slot in (
        state.WATER_C,
        state.WATER_C + state.LAYERS - 1,
        state.ROOM_AIR_C,
        state.ROOM_MASS_C,
    ):
        assert skipped.ended[slot] == pytest.approx(fixed.ended[slot], abs=0.005)
    assert skipped.total(state.MAINS_J) == pytest.approx(fixed.total(state.MAINS_J), rel=0.005)


def test_a_battery_that_runs_empty_in_the_middle_of_a_step() -> None:
    """Twenty hours without mains: both paces lose the board at the same tick."""
    small = Battery(kind="lifepo4", usable_wh=12.0, charger_w=40.0)
    house = replace(plant(), battery=small)
    trace = assert_same(
        lambda pace: bench(Outage(3600, 72_000), plant=house, pace=pace, compile_ticks=True), 1.0
    )
    assert 0 in trace.events[1:, ticks.ALIVE]
    assert trace.counts[gauge.BOOTS] == 2


def test_on_battery_the_quiet_ticks_are_skipped() -> None:
    """Six hours without mains: 21,600 ticks, of which less than a tenth wake the controller.

    Most of those are two probes that dither about the difference that is judged.
    """
    run = bench(Outage(3600, 21_600), pace=Pace.SKIP, compile_ticks=True, start=AFTERNOON)
    run.run(0.35)
    assert int(run.skip.own[skip_tick.SCANS]) < 2160


def test_a_battery_lasts_as_long_as_with_fixed_steps() -> None:
    """40 min, the last half hour under so little load that a mWh is seconds; to 2 s."""
    house = replace(plant(), battery=Battery(kind="lifepo4", usable_wh=2.0, charger_w=40.0))
    ends = []
    for pace in (Pace.PLAIN, Pace.SKIP):
        run = bench(Outage(600, 7200), plant=house, pace=pace, compile_ticks=True, start=AFTERNOON)
        events = run.run(0.04).events
        ends.append(int(events[events[:, ticks.ALIVE] == 0][0, ticks.AT_MS]) / 1000)
    assert 2500.0 < ends[0] < 3400.0
    assert ends[1] == pytest.approx(ends[0], abs=2.0)


def test_a_sample_at_the_tick_at_which_a_battery_cuts_out() -> None:
    """A power bank a minute after the outage: as with fixed steps, no tap left from before."""
    bank = Battery(
        kind="power_bank", usable_wh=60.0, charger_w=10.0, min_load_w=3.0, min_load_wait_s=60.0
    )
    house = replace(plant(), battery=bank)
    fixed, skipped = (
        bench(Outage(600, 600), plant=house, pace=pace).run(0.01)
        for pace in (Pace.PLAIN, Pace.SKIP)
    )
    assert 660_000 in skipped.events[:, ticks.AT_MS]
    assert skipped.samples[11] == pytest.approx(fixed.samples[11], rel=0.005, abs=0.02)


def test_a_protector_that_trips_in_the_middle_of_a_step() -> None:
    """Locked out by its winding in a hot place, again and again, at the same ticks."""
    given = {given_slot.PLACE_GAIN_W: 1600.0}
    trace = assert_same(
        lambda pace: bench(
            plant=plant(16.0), settings=settings(), given_slots=given, pace=pace, compile_ticks=True
        ),
        1.0,
    )
    trips = trace.column("winding_c")
    assert trips.max() > 100.0
    assert trace.ended[state.COMPRESSOR_STARTS] > trace.counts[gauge.STARTS]


def test_memory_stays_flat() -> None:
    """The skip's own records do not grow with the run; steps are few."""
    run = bench(weather=True, pace=Pace.SKIP, compile_ticks=True)
    sizes = [len(r) for r in (*run.pilot.ends, run.pilot.curve, *run.skip)]
    run.run(3.0)
    assert sizes == [len(r) for r in (*run.pilot.ends, run.pilot.curve, *run.skip)]
    assert run.pilot.marks[skip_step.STEPS] < 3 * 86_400 / 20

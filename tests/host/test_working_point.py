"""`size`, `run` and `prove` mean the same working point: random installations, both paces of a run.

The run is the one that `run` and `prove` make (`proof.running.bench`), with controller, sensors and
weather; the sheet's solver then starts from what that run ended with, store and room held. First
and second law (energy balance, air not beyond the water) are the outside check; both numbers come
from the same equations, so what is compared is two ways of solving them: time steps and rest.

Every change must pass the installations of SEEDS, drawn the same each time; WORKING_POINTS=n draws
more of them, by further seeds. A refused draw shows nothing, so few may be refused.
"""

import os
from collections import Counter
from datetime import datetime
from itertools import islice

import numpy as np
import pytest
import small_coils
from hypothesis import event, given, seed, settings
from hypothesis import strategies as st
from springhouse_host.errors import SiteError
from springhouse_host.proof import running
from springhouse_host.proof.scenarios import Scenario
from springhouse_host.sheet import sizing, steady
from springhouse_host.site import load_site
from springhouse_sim.bench import Pace
from springhouse_sim.plant import given as given_slot
from springhouse_sim.plant import state, tap
from springhouse_sim.world.days import hottest

A_SEED = 100  # installations of one seed
SEEDS = range(max(3, -(-int(os.environ.get("WORKING_POINTS", "300")) // A_SEED)))
MOST_REFUSED = 0.5
LEAST_SETTLED = 0.5  # of the runs, or nothing was compared
AGREE = 0.01
LEAST_L_MIN = 0.01
HOT_DAY = datetime(2001, 7, 9, 14)
HOURS = 1.5  # coil and loop rest in minutes, the machine in an hour
SETTLED_S = 1800.0
QUIET_S = 600.0  # since anything switched

INSTALLATIONS = st.fixed_dictionaries(
    {
        "coil.kind": st.sampled_from(["finned-tube", "flat-tube"]),
        "coil.face_width_m": st.floats(0.06, 0.80),
        "coil.face_height_m": st.floats(0.06, 0.80),
        "coil.rows": st.integers(1, 12),
        "coil.tube_bore_mm": st.floats(4.0, 12.7),
        "coil.circuits": st.integers(1, 4),
        "coil.arrangement": st.sampled_from(["cross", "counter"]),
        "coil.fans": st.integers(1, 4),
        "coil.fan_m3_h": st.floats(30.0, 600.0),
        "coil.fans_in_series": st.booleans(),
        "loop.tube_bore_mm": st.floats(5.0, 19.0),
        "loop.tube_length_m": st.floats(1.0, 60.0),
        "loop.insulation_mm": st.floats(0.0, 30.0),
        "loop.pump_head_m": st.floats(1.2, 8.0),
        "loop.pump_free_l_min": st.floats(2.0, 20.0),
        "store.start_c": st.floats(2.6, 17.0),
        "room.start_c": st.floats(27.0, 34.0),
    }
)
# Round the clock; much water and a heavy room, for what is compared is a place of rest.
ALWAYS = {
    "freezer.cabinet_litres": 1000.0,
    "freezer.inner_length_m": None,
    "freezer.inner_width_m": None,
    "freezer.inner_depth_m": None,
    "store.water_litres": 800.0,
    "store.return_m": None,
    "store.probe_high_m": None,
    "room.heat_capacity_kj_k": 5e5,
    "schedule.wanted": [],
    "schedule.charging": [],
    "schedule.no_start": [],
    "schedule.full_by": None,
    "settings.deep_target_c": 2.5,
    "settings.shallow_target_c": 3.0,
    "settings.room_target_c": 20.0,
}


def site_of(changes, seen):
    """The demo with another coil, loop and store; None where the site file refuses it."""
    seen["drawn"] += 1
    try:
        site = load_site("demo", ALWAYS | changes)
        site.plant()
    except SiteError as error:
        seen[error.lines[0].split(": ")[1]] += 1
        seen["refused"] += 1
        event("refused")
        return None
    return site


def ended(site, pace):
    """State, given record and parameters after a run from a hot afternoon."""
    bench = running.bench(site, Scenario("working point", "nominal", HOT_DAY, 1), pace=pace)
    trace = bench.run(HOURS / 24.0)
    changes = trace.transitions()
    quiet_s = (trace.end_ms - changes["ms"].iloc[-1]) / 1000.0 if len(changes) else 0.0
    return tuple(np.array(bench.tank[n]) for n in (0, 1, 2)), quiet_s


def figures(found):
    """Heat taken from the air while water flows, flow and capacity.

    Not the heat that reaches the water: a coil that holds 8 L keeps 5 W of 230 for itself while its
    store warms by half a kelvin an hour, and at rest there is no such hour. A coil without flow
    warms up for hours; no heat of it reaches the water.
    """
    x, dx, t = found
    flows = x[state.FLOW_L_MIN] > LEAST_L_MIN
    heat_w = t[tap.COIL_SENSIBLE_W] + t[tap.COIL_LATENT_W] if flows else t[tap.COIL_TO_WATER_W]
    return np.array([heat_w, x[state.FLOW_L_MIN], dx[state.EVAPORATOR_J]])


def at_once(x, u, p):
    """State, rates and taps as they are."""
    dx, t = np.zeros(state.SIZE), np.zeros(tap.SIZE)
    steady.compiled.load(True, steady.DOORS).sim("plant.rates").rates(x, u, p, dx, t)
    return x, dx, t


@pytest.mark.parametrize("number", SEEDS)
def test_a_run_rests_where_the_sheet_says(number) -> None:
    seen: Counter[str] = Counter()

    @seed(number)
    @settings(max_examples=A_SEED, derandomize=False)
    @given(changes=INSTALLATIONS, pace=st.sampled_from([Pace.SKIP, Pace.PLAIN]))
    def each(changes, pace) -> None:
        site = site_of(changes, seen)
        if site is None:
            return
        (x, u, p), quiet_s = ended(site, pace)
        if quiet_s < QUIET_S:
            event("an output has just changed")
            return
        in_run = at_once(x, u, p)
        free = list(steady.LOOP)
        runs = x[state.COMPRESSOR_RUN_S] >= SETTLED_S and u[given_slot.COMPRESSOR_RELAY] > 0.5
        if runs:
            free += list(steady.MACHINE)
        event(f"delivers {u[given_slot.PUMP_DUTY] > 0.0}, charges {runs}")
        at_rest = steady.settle(x, u, p, free)  # raises where a law is broken
        slack = np.array([0.5, 0.005, 0.5])
        off = np.abs(figures(in_run) - figures(at_rest))
        assert np.all(off <= AGREE * figures(at_rest) + slack)
        seen["delivers"] += u[given_slot.PUMP_DUTY] > 0.0
        seen["charges"] += runs

    each()
    assert seen["refused"] <= MOST_REFUSED * seen["drawn"], seen
    assert seen["delivers"] >= LEAST_SETTLED * seen["drawn"], seen
    assert seen["charges"] >= 0.25 * seen["drawn"], seen


def test_the_sheet_of_any_installation_keeps_to_both_laws() -> None:
    """Air off not below water in, cooling not above what that water could take at most."""
    seen: Counter[str] = Counter()

    @settings(max_examples=len(SEEDS) * A_SEED // 10)
    @given(changes=INSTALLATIONS)
    def each(changes) -> None:
        site = site_of(changes, seen)
        if site is None:
            return
        weather = site.read_weather()
        case = sizing.case_for(site, "mid", site.plant(), weather, hottest(weather, 1))
        u = sizing.on_duty(case)
        for store_c in (case.deep_c, 12.0):
            x, dx, t = case.steady(u, store_c, 0.011)
            assert x[state.SUPPLY_C] - steady.BALANCE_K <= t[tap.AIR_OFF_C] <= case.room_c
            most_w = 4220.0 / 60.0 * x[state.FLOW_L_MIN] * (case.room_c - x[state.SUPPLY_C])
            assert t[tap.COIL_TO_WATER_W] <= most_w + 0.01
            assert steady.fault(x, dx, t, case.p) is None

    each()
    assert seen["refused"] <= MOST_REFUSED * seen["drawn"], seen


def test_a_small_coil_is_not_unstable() -> None:
    """0.12 m face, two rows, 90 m3/h: what a 1 s march rests at, not a coil colder than its water.

    Time steps of 5 s left such a coil at -4 °C beside water of 5 °C.
    """
    small = {
        "coil.face_width_m": 0.12,
        "coil.face_height_m": 0.12,
        "coil.rows": 2,
        "coil.fans": 1,
        "coil.fan_m3_h": 90.0,
    }
    found = sizing.size(load_site("demo", small)).sheets
    for sheet in found.values():
        assert sheet.air_off_c > 10.0
        assert sheet.cold_stored_kwh > 0.0
        assert sheet.discharge_h < sizing.LONGEST_H


def test_of_small_coils_some_are_impossible_in_steps_of_5_s_and_none_at_rest() -> None:
    """The three smallest faces with most air and warm water; all 450 by the command."""
    found, said = small_coils.counts(islice(small_coils.cases(), 9, 150, 10))
    assert found["cases"] == 15
    assert found["5 s steps"] > 0
    assert found["1 s steps"] == found["rest"] == 0, said


def test_what_breaks_a_law_is_told() -> None:
    """Each side of the balance and the second law, made wrong by hand."""
    site = load_site("demo")
    weather = site.read_weather()
    case = sizing.case_for(site, "mid", site.plant(), weather, hottest(weather, 1))
    u = sizing.on_duty(case)
    x, dx, t = case.steady(u, 5.0, 0.011)
    assert steady.fault(x, dx, t, case.p) is None
    for change, word in (
        ((tap.COIL_SENSIBLE_W, 5.0), "air against metal"),
        ((tap.COIL_TO_WATER_W, 0.0), "air against metal"),
        ((tap.DRAW_C, 5.5), "metal against water"),
        ((tap.AIR_OFF_C, 3.0), "air off the coil at 3.00 °C"),
        ((tap.AIR_OFF_C, 40.0), "air off the coil"),
        ((tap.AIR_OFF_C, float("nan")), "no number"),
    ):
        wrong = t.copy()
        wrong[change[0]] = change[1]
        assert word in str(steady.fault(x, dx, wrong, case.p)), word
    off = dx.copy()
    off[state.PLACE_C] = 1e-4
    assert "place" in str(steady.fault(x, off, t, case.p))
    off = dx.copy()
    off[state.EVAPORATOR_J] += 20.0
    assert "machine" in str(steady.fault(x, off, t, case.p))


def test_what_does_not_come_to_rest_is_refused(monkeypatch) -> None:
    site = load_site("demo")
    weather = site.read_weather()
    case = sizing.case_for(site, "mid", site.plant(), weather, hottest(weather, 1))
    monkeypatch.setattr(steady, "by_steps", lambda *_: None)
    monkeypatch.setattr(steady, "MOST_RATES", 20)
    with pytest.raises(
        SiteError, match=r"^demo: \[coil\], .*: no working point .* does not come to rest$"
    ):
        case.steady(sizing.on_duty(case), 5.0, 0.011)


def test_growing_steps_come_to_rest_where_time_does(monkeypatch) -> None:
    """Against LSODA (ODEPACK), which integrates the whole way: flows, temperatures, machine."""
    compared = 0
    for name, changes in (("demo", {}), ("bedroom-night", {}), ("den-120v", {"coil.rows": 1})):
        site = load_site(name, changes)
        weather = site.read_weather()
        case = sizing.case_for(site, "mid", site.plant(), weather, hottest(weather, 1))
        u = sizing.on_duty(case)
        for store_c, humidity in ((4.0, 0.008), (9.0, 0.012), (17.0, 0.016)):
            stepped, _, _ = case.steady(u, store_c, humidity)
            with monkeypatch.context() as patched:
                patched.setattr(steady, "by_steps", lambda *_: None)
                timed, _, _ = case.steady(u, store_c, humidity)
            assert stepped == pytest.approx(timed, rel=1e-5, abs=1e-6)
            compared += 1
    assert compared == 9


def test_growing_steps_stop_at_no_rest_that_a_breath_would_end() -> None:
    """y' = y (1 - y): rests at 0, which it leaves, and at 1, which it comes back to."""

    def logistic(y: steady.Array) -> steady.Array:
        return y * (1.0 - y)

    def slope(y: steady.Array, _: steady.Array) -> steady.Array:
        return np.array([1.0 - 2.0 * y])

    assert steady.by_steps(logistic, slope, np.array([0.0])) is None
    assert steady.by_steps(logistic, slope, np.array([0.5])) == pytest.approx([1.0])
    assert steady.by_time(logistic, np.array([0.5])) == pytest.approx([1.0], rel=1e-5)
    assert (
        steady.by_steps(lambda y: np.ones_like(y), lambda *_: np.zeros((1, 1)), np.array([0.0]))
        is None
    )


def test_slopes_are_differences_of_rates_and_leave_the_state_as_it_was() -> None:
    site = load_site("demo")
    weather = site.read_weather()
    case = sizing.case_for(site, "mid", site.plant(), weather, hottest(weather, 1))
    u = sizing.on_duty(case)
    x, dx, t = case.steady(u, 8.0, 0.011)
    slots = np.array(steady.FREE, np.int64)
    before, r, slope = x.copy(), dx[slots], np.empty((len(slots), len(slots)))
    sim = steady.compiled.load(True, steady.DOORS).sim
    sim("plant.slopes").slopes(x, u, case.p, slots, r, steady.TILT, dx, t, slope)
    assert np.array_equal(x, before)
    for k, slot in enumerate(slots):
        tilted = x.copy()
        tilted[slot] += steady.TILT * max(1.0, abs(float(x[slot])))
        steady.compiled_rates()(tilted, u, case.p, dx, t)
        assert np.array_equal(slope[:, k], (dx[slots] - r) / (tilted[slot] - x[slot]))
    assert np.count_nonzero(slope) > len(slots)

"""A quick step against scipy's, its curve, and the two kinds of steps on the real plant."""

import numpy as np
import plant_parts as parts
import pytest
from hypothesis import given as drawn
from hypothesis import strategies as st
from scipy.integrate import RK45
from springhouse_sim import skip_dense, skip_quick, skip_step
from springhouse_sim.plant import given, state
from springhouse_sim.plant.rates import rates, switch

H_S = 3.0


def discharging() -> parts.Run:
    """Return a plant whose pump and fans have just been switched on."""
    run = parts.Run()
    run.u[given.PUMP_DUTY] = run.u[given.FAN_DUTY] = 1.0
    switch(run.x, run.u, run.p, run.t)
    return run


def test_a_quick_step_is_that_of_scipy() -> None:
    """scipy.integrate.RK45, which is Dormand and Prince's pair with Shampine's dense output."""
    run = discharging()
    dx = np.zeros(state.SIZE)

    def slope(_: float, x: parts.Array) -> parts.Array:
        rates(x, run.u, run.p, dx, run.t)
        return dx.copy()

    loose = RK45(slope, 0.0, run.x, H_S, rtol=1e3, atol=1e9, first_step=H_S)
    loose.step()
    assert loose.t == H_S
    f0, x1, f1, amid = (
        slope(0.0, run.x),
        np.zeros(state.SIZE),
        np.zeros(state.SIZE),
        np.zeros(state.SIZE),
    )
    quick = tuple(np.zeros(state.SIZE) for _ in range(6))
    skip_quick.attempt(run.x, f0, x1, run.u, run.p, quick, run.t, H_S)  # type: ignore[arg-type]
    f1[:] = slope(0.0, x1)
    unit = (1.0,) * state.TOTALS
    error = skip_quick.finish(run.x, f0, f1, quick, amid, unit, H_S)  # type: ignore[arg-type]
    assert x1 == pytest.approx(loose.y, rel=1e-11, abs=1e-12)
    assert amid == pytest.approx(loose.dense_output()(H_S / 2.0), rel=1e-9, abs=1e-11)
    theirs = H_S * loose.K.T @ RK45.E
    assert error == pytest.approx(np.abs(theirs[: state.TOTALS]).max(), rel=1e-6)
    # It was no idle step: water and coil are on their way.
    assert x1[state.FLOW_L_MIN] > 0.5
    assert error > 1e-4


def test_the_bent_curve_goes_through_what_it_was_made_of() -> None:
    rng = np.random.default_rng(7)
    x0, f0, x1, f1, amid = rng.normal(size=(5, state.SIZE))
    curve = np.zeros(skip_dense.SIZE)
    skip_dense.fit(curve, x0, f0, x1, f1, 5000, 9000)
    skip_dense.bend(curve, amid)
    for share, wanted in ((0.0, x0), (0.5, amid), (1.0, x1)):
        assert [skip_dense.value(curve, s, share) for s in range(state.SIZE)] == pytest.approx(
            wanted
        )
    tiny = 1e-6
    for share, slope in ((0.0, f0), (1.0 - tiny, f1)):
        rise = skip_dense.value(curve, 3, share + tiny - 1e-12) - skip_dense.value(curve, 3, share)
        assert rise / tiny == pytest.approx(4.0 * slope[3], rel=1e-4)


@drawn(st.lists(st.floats(-50.0, 50.0), min_size=5, max_size=5))
def test_the_hull_holds_the_whole_curve(numbers: list[float]) -> None:
    """Any quartic, looked at in 101 places; where it is called monotone it is."""
    begin, slope_0, end, slope_1, middle = numbers
    curve = np.zeros(skip_dense.SIZE)
    full = [np.full(state.SIZE, v) for v in (begin, slope_0, end, slope_1, middle)]
    skip_dense.fit(curve, full[0], full[1], full[2], full[3], 0, 1000)
    skip_dense.bend(curve, full[4])
    low, high = skip_dense.hull(curve, 0)
    seen = np.array([skip_dense.value(curve, 0, share) for share in np.linspace(0.0, 1.0, 101)])
    assert low - 1e-9 <= seen.min()
    assert seen.max() <= high + 1e-9
    if skip_dense.monotone(curve, 0):
        steps = np.diff(seen)
        assert (steps >= -1e-9).all() or (steps <= 1e-9).all()


def test_long_steps_follow_when_the_quick_has_died_away() -> None:
    """Quick steps after switching, long ones within some minutes, and none over its stability."""
    run = discharging()
    pilot = new_pilot()
    pilot.ends.begin[:] = run.x
    rates(pilot.ends.begin, run.u, run.p, pilot.ends.begin_rates, pilot.taps_begin)
    kinds, now = [], 0
    while now < 600_000:
        kinds.append(pilot.marks[skip_step.QUICK])
        end = skip_step.step(pilot, run.u, run.p, now, 600_000)
        if kinds[-1]:
            radius = skip_step.radius_of(pilot, run.u, run.p, skip_step.mode_of(run.u))
            assert (end - now) * 0.001 <= skip_quick.MOST_H_RADIUS / radius + 1.0
        now = end
        x0, f0, x1, f1 = pilot.ends
        x0[:], f0[:] = x1, f1
        pilot.taps_begin[:] = pilot.taps_end
    assert kinds[0] == 1
    assert kinds[-1] == 0
    assert kinds == sorted(kinds, reverse=True)
    skip_step.restart(pilot)
    assert pilot.marks[skip_step.QUICK] == 1
    assert pilot.numbers[skip_step.H_S] <= skip_step.RESTART_S


def new_pilot() -> skip_step.Pilot:
    """Return a pilot that is ready."""
    states = [np.zeros(state.SIZE) for _ in range(13)]
    taps = [np.zeros(parts.tap.SIZE) for _ in range(3)]
    pilot = skip_step.Pilot(
        skip_step.Ends(states[0], states[1], states[2], states[3]),
        skip_step.Scratch(states[4], states[5], states[6], taps[2]),
        taps[0],
        taps[1],
        np.zeros(skip_step.MODES * state.SIZE),
        np.zeros(skip_dense.SIZE),
        np.zeros(skip_step.NUMBERS),
        np.zeros(skip_step.MARKS, np.int64),  # type: ignore[arg-type]
        (states[7], states[8], states[9], states[10], states[11], states[12]),
    )
    skip_step.prepare(pilot)
    return pilot

"""A quick step against scipy's, its curve, and the two kinds of steps on the real plant."""

import numpy as np
import plant_parts as parts
import pytest
from hypothesis import given as drawn
from hypothesis import strategies as st
from scipy.integrate import RK45
from springhouse_sim import skip_dense as D
from springhouse_sim import skip_quick as Q
from springhouse_sim import skip_step as H
from springhouse_sim.plant import given as U
from springhouse_sim.plant import state as X
from springhouse_sim.plant.rates import rates, switch

H_S = 3.0


def discharging() -> parts.Run:
    """Return a plant whose pump and fans have just been switched on."""
    run = parts.Run()
    run.u[U.PUMP_DUTY] = run.u[U.FAN_DUTY] = 1.0
    switch(run.x, run.u, run.p, run.t)
    return run


def test_a_quick_step_is_that_of_scipy() -> None:
    """scipy.integrate.RK45, which is Dormand and Prince's pair with Shampine's dense output."""
    run = discharging()
    dx = np.zeros(X.SIZE)

    def slope(_: float, x: parts.Array) -> parts.Array:
        rates(x, run.u, run.p, dx, run.t)
        return dx.copy()

    loose = RK45(slope, 0.0, run.x, H_S, rtol=1e3, atol=1e9, first_step=H_S)
    loose.step()
    assert loose.t == H_S
    f0, x1, f1, amid = slope(0.0, run.x), np.zeros(X.SIZE), np.zeros(X.SIZE), np.zeros(X.SIZE)
    quick = tuple(np.zeros(X.SIZE) for _ in range(6))
    Q.attempt(run.x, f0, x1, run.u, run.p, quick, run.t, H_S)  # type: ignore[arg-type]
    f1[:] = slope(0.0, x1)
    unit = (1.0,) * X.TOTALS
    error = Q.finish(run.x, f0, f1, quick, amid, unit, H_S)  # type: ignore[arg-type]
    assert x1 == pytest.approx(loose.y, rel=1e-11, abs=1e-12)
    assert amid == pytest.approx(loose.dense_output()(H_S / 2.0), rel=1e-9, abs=1e-11)
    theirs = H_S * loose.K.T @ RK45.E
    assert error == pytest.approx(np.abs(theirs[: X.TOTALS]).max(), rel=1e-6)
    # It was no idle step: water and coil are on their way.
    assert x1[X.FLOW_L_MIN] > 0.5
    assert error > 1e-4


def test_the_bent_curve_goes_through_what_it_was_made_of() -> None:
    rng = np.random.default_rng(7)
    x0, f0, x1, f1, amid = rng.normal(size=(5, X.SIZE))
    curve = np.zeros(D.SIZE)
    D.fit(curve, x0, f0, x1, f1, 5000, 9000)
    D.bend(curve, amid)
    for share, wanted in ((0.0, x0), (0.5, amid), (1.0, x1)):
        assert [D.value(curve, s, share) for s in range(X.SIZE)] == pytest.approx(wanted)
    tiny = 1e-6
    for share, slope in ((0.0, f0), (1.0 - tiny, f1)):
        rise = D.value(curve, 3, share + tiny - 1e-12) - D.value(curve, 3, share)
        assert rise / tiny == pytest.approx(4.0 * slope[3], rel=1e-4)


@drawn(st.lists(st.floats(-50.0, 50.0), min_size=5, max_size=5))
def test_the_hull_holds_the_whole_curve(numbers: list[float]) -> None:
    """Any quartic, looked at in 101 places; where it is called monotone it is."""
    begin, slope_0, end, slope_1, middle = numbers
    curve = np.zeros(D.SIZE)
    full = [np.full(X.SIZE, v) for v in (begin, slope_0, end, slope_1, middle)]
    D.fit(curve, full[0], full[1], full[2], full[3], 0, 1000)
    D.bend(curve, full[4])
    low, high = D.hull(curve, 0)
    seen = np.array([D.value(curve, 0, share) for share in np.linspace(0.0, 1.0, 101)])
    assert low - 1e-9 <= seen.min()
    assert seen.max() <= high + 1e-9
    if D.monotone(curve, 0):
        steps = np.diff(seen)
        assert (steps >= -1e-9).all() or (steps <= 1e-9).all()


def test_long_steps_follow_when_the_quick_has_died_away() -> None:
    """Quick steps after switching, long ones within some minutes, and none over its stability."""
    run = discharging()
    pilot = new_pilot()
    pilot[0][0][:] = run.x
    rates(pilot[0][0], run.u, run.p, pilot[0][1], pilot[2])
    kinds, now = [], 0
    while now < 600_000:
        kinds.append(pilot[7][H.QUICK])
        end = H.step(pilot, run.u, run.p, now, 600_000)
        if kinds[-1]:
            radius = H.radius_of(pilot, run.u, run.p, H.mode_of(run.u))
            assert (end - now) * 0.001 <= Q.MOST_H_RADIUS / radius + 1.0
        now = end
        x0, f0, x1, f1 = pilot[0]
        x0[:], f0[:] = x1, f1
        pilot[2][:] = pilot[3]
    assert kinds[0] == 1
    assert kinds[-1] == 0
    assert kinds == sorted(kinds, reverse=True)
    H.restart(pilot)
    assert pilot[7][H.QUICK] == 1
    assert pilot[6][H.H_S] <= H.RESTART_S


def new_pilot() -> H.Pilot:
    """Return a pilot that is ready."""
    states = [np.zeros(X.SIZE) for _ in range(13)]
    taps = [np.zeros(parts.T.SIZE) for _ in range(3)]
    pilot: H.Pilot = (
        (states[0], states[1], states[2], states[3]),
        (states[4], states[5], states[6], taps[2]),
        taps[0],
        taps[1],
        np.zeros(H.MODES * X.SIZE),
        np.zeros(D.SIZE),
        np.zeros(H.NUMBERS),
        np.zeros(H.MARKS, np.int64),  # type: ignore[arg-type]
        (states[7], states[8], states[9], states[10], states[11], states[12]),
    )
    H.prepare(pilot)
    return pilot

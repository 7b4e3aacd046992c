"""The fixed-step integrator against an independent one, and against itself at half the step."""

import numpy as np
import plant_parts as parts
import pytest
from scipy.integrate import solve_ivp
from springhouse_sim.plant import given, state, tap
from springhouse_sim.plant.rates import TRACES, rates, switch

TEMPERATURES = [
    *range(state.WATER_C, state.WATER_C + state.LAYERS),
    state.EVAPORATOR_C,
    state.CONDENSER_C,
    state.SHELL_C,
    state.PLACE_C,
    state.SUPPLY_C,
    state.RETURN_C,
    state.COIL_C,
    state.ROOM_AIR_C,
    state.ROOM_MASS_C,
]


def start(ice_kg: float = 0.0, water_c: float = 5.0) -> parts.Run:
    """Return a run in a warm place."""
    run = parts.Run(parts.with_store(initial_c=water_c, initial_ice_kg=ice_kg), dt_s=1.0)
    run.u[given.OUTDOOR_C] = 28.0
    run.u[given.OUTDOOR_HUMIDITY_RATIO] = 0.013
    return run


@pytest.mark.parametrize(
    ("relay", "duty", "ice_kg", "water_c"),
    [(1.0, 0.0, 0.0, 3.0), (0.0, 1.0, 3.0, 0.5), (1.0, 1.0, 0.0, 9.0)],
    ids=["charge into ice", "discharge out of ice", "both"],
)
def test_against_scipy(relay: float, duty: float, ice_kg: float, water_c: float) -> None:
    """scipy's DOP853 at rtol 1e-9 on the same right-hand side: 0.05 K and 1 % of the ice.

    Two hours with one set of commands, the discrete states settled at the start.
    """
    run = start(ice_kg, water_c)
    run.u[given.COMPRESSOR_RELAY] = relay
    run.u[given.PUMP_DUTY] = duty
    run.u[given.FAN_DUTY] = duty
    switch(run.x, run.u, run.p, run.t)
    dx = np.zeros(state.SIZE)

    def slope(_: float, x: parts.Array) -> parts.Array:
        rates(x, run.u, run.p, dx, run.t)
        return dx.copy()

    other = solve_ivp(
        slope, (0.0, 7200.0), run.x.copy(), method="DOP853", rtol=1e-9, atol=1e-6, max_step=60.0
    )
    assert other.success
    run.advance(7200.0)
    error_k = np.abs(run.x[TEMPERATURES] - other.y[TEMPERATURES, -1])
    assert error_k.max() < 0.05
    ours, theirs = parts.ice_kg(run.x), parts.ice_kg(other.y[:, -1])
    if relay == 1.0 and duty == 0.0:
        assert theirs > 0.0
    assert ours == pytest.approx(theirs, rel=0.01, abs=1e-3)


def test_five_second_steps_are_stable_and_close() -> None:
    """Twelve hours of a busy day at 5 s against 1 s: 0.02 K in the slow temperatures."""
    fine = parts.Run(dt_s=1.0)
    coarse = parts.Run(dt_s=5.0)
    parts.play(fine, parts.busy_day, 6 * 3600.0)
    parts.play(coarse, parts.busy_day, 6 * 3600.0)
    slow = [
        *range(state.WATER_C, state.WATER_C + state.LAYERS),
        state.PLACE_C,
        state.ROOM_AIR_C,
        state.ROOM_MASS_C,
    ]
    assert np.abs(fine.x[slow] - coarse.x[slow]).max() < 0.02
    assert parts.ice_kg(coarse.x) == pytest.approx(parts.ice_kg(fine.x), rel=0.02, abs=1e-3)


def test_five_second_steps_survive_every_command() -> None:
    """Commands flipped every minute for two hours: nothing leaves its physical range."""
    run = parts.Run(dt_s=5.0)
    rng = np.random.default_rng(7)
    for _ in range(120):
        run.u[given.COMPRESSOR_RELAY] = float(rng.integers(2))
        run.u[given.PUMP_DUTY] = rng.choice([0.0, 0.4, 1.0])
        run.u[given.FAN_DUTY] = rng.choice([0.0, 0.4, 1.0])
        run.u[given.MAINS] = float(rng.random() > 0.1)
        run.u[given.AIR_IN_LOOP] = float(rng.random() < 0.1)
        run.advance(60.0)
        assert np.all(np.isfinite(run.x))
        assert run.x[state.WATER_C : state.WATER_C + state.LAYERS].min() >= -0.01
        assert run.x[TEMPERATURES].max() < 125.0
        assert 0.0 <= run.x[state.LOOP_AIR] <= 1.0 + 1e-9
        assert run.x[state.FLOW_L_MIN] >= -1e-9
        assert np.all(np.isfinite(run.t))
    assert run.t[tap.LEVEL_M] > 0.4


def test_what_dies_away_ends_at_nothing() -> None:
    """Pump off for three hours: the flow is no denormal number, on which a step takes three times
    as long, and neither is the ice that has melted or the head of a compressor long at rest."""
    run = start(ice_kg=0.01, water_c=8.0)
    run.u[given.PUMP_DUTY] = 1.0
    run.u[given.COMPRESSOR_RELAY] = 1.0
    run.advance(300.0)
    run.u[given.PUMP_DUTY] = run.u[given.COMPRESSOR_RELAY] = 0.0
    run.advance(3 * 3600.0)
    traces = run.x[list(TRACES)]
    assert not np.any((traces != 0.0) & (np.abs(traces) < np.finfo(float).tiny))
    assert run.x[state.FLOW_L_MIN] == 0.0
    assert parts.ice_kg(run.x) == 0.0

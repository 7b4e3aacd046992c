"""Energy and water over a varied day: what came in less what went out is what is held.

First law, no tolerance of its own: relative to the turnover (the sum of the magnitudes of all
flows across the boundary) the residual has to stay under 1e-6.
"""

import numpy as np
import plant_parts as parts
import pytest
from springhouse_sim.plant import balance, given, param, state, tap

ENERGY = (
    state.MAINS_J,
    state.OUTDOOR_TO_PLACE_J,
    state.GROUND_TO_PLACE_J,
    state.OUTDOOR_TO_ROOM_J,
    state.INFILTRATION_SENSIBLE_J,
    state.INFILTRATION_LATENT_J,
    state.SUN_J,
    state.PEOPLE_SENSIBLE_J,
    state.PEOPLE_LATENT_J,
    state.EQUIPMENT_J,
    state.PLACE_GAIN_J,
    state.LEAK_J,
)


def troubled_day(u: parts.Array, now_s: float) -> None:
    """The busy day with a leak, water poured into and carried from the tray, and lost prime."""
    parts.busy_day(u, now_s)
    hour = now_s / 3600.0 % 24.0
    u[given.LEAK_L_S] = 0.002 if 10.0 <= hour < 12.0 else 0.0
    u[given.TRAY_FILL_L_S] = 0.002 if 8.0 <= hour < 9.0 else 0.0
    u[given.TRAY_EMPTY_L_S] = 0.01 if 16.0 <= hour < 16.2 else 0.0
    u[given.AIR_IN_LOOP] = 1.0 if 13.5 <= hour < 13.7 else 0.0


def check(script: parts.Script, run: parts.Run) -> None:
    """Play a day and compare both balances."""
    energy_j = balance.stored_energy_j(run.x, run.p)
    water_kg = balance.stored_water_kg(run.x, run.p)
    parts.play(run, script, 86400.0)
    assert np.all(np.isfinite(run.x))
    turnover = sum(abs(run.x[slot]) for slot in ENERGY)
    assert turnover > 1e6
    gained_j = balance.stored_energy_j(run.x, run.p) - energy_j
    assert abs(gained_j - balance.energy_in_j(run.x)) < 1e-6 * turnover
    gained_kg = balance.stored_water_kg(run.x, run.p) - water_kg
    turned_kg = run.x[state.PEOPLE_MOISTURE_KG] + abs(run.x[state.INFILTRATION_MOISTURE_KG])
    assert turned_kg > 0.05
    assert abs(gained_kg - balance.water_in_kg(run.x)) < 1e-6 * turned_kg


def test_balances_of_a_busy_day() -> None:
    run = parts.Run()
    check(parts.busy_day, run)
    # The day did exercise what it claims to.
    assert run.x[state.COMPRESSOR_STARTS] >= 2
    assert run.x[state.CONDENSATE_KG] > 0.05
    assert run.x[state.EVAPORATOR_J] > 1e6
    assert run.x[state.COIL_TO_WATER_J] > 1e6
    assert run.x[state.BATTERY_LOSS_J] > 1e3


def test_balances_of_a_day_with_ice_and_faults() -> None:
    """At 5 s the melting and the leak alone leave 2e-6; the error falls with the step squared."""
    run = parts.Run(parts.with_store(initial_c=0.5, initial_ice_kg=6.0), dt_s=2.0)
    check(troubled_day, run)
    assert run.x[state.LEAKED_KG] > 10.0
    assert run.x[state.SPILL_L] > 1.0
    assert run.x[state.TRAY_EMPTIED_KG] > 1.0


def test_internal_flows_match_what_each_part_gained() -> None:
    """Part by part: store, coil and electricity close on their own totals."""
    run = parts.Run(dt_s=1.0)
    run.u[given.COMPRESSOR_RELAY] = 1.0
    run.u[given.PUMP_DUTY] = 1.0
    run.u[given.FAN_DUTY] = 1.0
    run.advance(1800.0)
    x = run.x
    consumers = (
        x[state.FREEZER_J]
        + x[state.PUMP_J]
        + x[state.FAN_J]
        + x[state.BOARD_J]
        + x[state.BATTERY_LOSS_J]
    )
    charged = 3600.0 * (x[state.BATTERY_WH] - 120.0)
    assert x[state.MAINS_J] == pytest.approx(consumers + charged, rel=1e-9)
    coil = (
        x[state.ROOM_TO_COIL_SENSIBLE_J] + x[state.ROOM_TO_COIL_LATENT_J] - x[state.COIL_TO_WATER_J]
    )
    assert coil == pytest.approx(run.p[param.COIL_J_K] * (x[state.COIL_C] - 22.0), rel=1e-6)
    assert run.t[tap.COIL_TO_WATER_W] > 100.0

"""Ice that does not start at 0 °C, that comes loose, that blocks, that is banked.

I5: nucleation in mains water at -4 to -7 °C (a study of nucleation in a domestic
supply, abstract seen, author not noted); I6: arithmetic on the latent
heat W3; W8, W9: expansion.
"""

import sys
from pathlib import Path

import numpy as np
import pytest
from springhouse_sim.plant import balance, layers, param, state, tap, water

sys.path.insert(0, str(Path(__file__).parents[1] / "sim"))
import plant_parts as parts
from test_store import Bath, small_store


def test_i5_supercooled_water_reads_below_zero_without_ice() -> None:
    """I5: with 5 K of supercooling the wall passes -4 °C before the first ice; the water follows.

    So a reading below 0 °C in liquid is possible, and a first ice is not a matter of 0 °C.
    """
    bath = Bath(small_store(initial_c=1.0, supercooling_k=5.0), 22.0)
    bath.run(10.0, evaporator_c=-4.5)
    assert bath.t[tap.ICE_KG] == 0.0
    assert bath.t[tap.STORE_MIN_C] < -1.0
    bath.run(0.5, evaporator_c=-9.0)
    assert bath.t[tap.ICE_KG] > 0.5
    plain = Bath(small_store(initial_c=1.0), 22.0)
    plain.run(10.0, evaporator_c=-4.5)
    assert plain.t[tap.ICE_KG] > 0.5
    assert plain.t[tap.STORE_MIN_C] > -0.02


def test_i6_share_that_freezes_from_minus_five() -> None:
    """I6: 6.3 % of the mass turns to ice (cp dT / L) and the rest stands at 0 °C."""
    bath = Bath(small_store(supercooling_k=5.0, evaporator_j_k=1000.0), 0.0)
    bath.x[state.WATER_C : state.WATER_C + state.LAYERS] = -5.0
    bath.x[state.EVAPORATOR_C] = -5.0
    before_j = balance.stored_energy_j(bath.x, bath.p)
    bath.run(0.2, dt_s=1.0, evaporator_c=None)
    share = bath.t[tap.ICE_KG] / bath.x[state.STORE_KG]
    assert share == pytest.approx(0.063, abs=0.001)
    assert bath.t[tap.STORE_MIN_C] == pytest.approx(0.0, abs=0.02)
    # What came in meanwhile is the cabinet's 0.8 W/K over 5 K for minutes.
    gained_j = balance.stored_energy_j(bath.x, bath.p) - before_j
    assert abs(gained_j) < 0.8 * 5.0 * 720.0


def test_loose_ice_melts_from_both_sides() -> None:
    """A wall above 0 °C lets go: the ring floats free and twice its area meets the water."""
    p = np.zeros(param.SIZE)
    small_store().put(p)
    held = layers.wall_flows(p, -1e-9, 4.0, 5.0, 0.8, 1.0, 1.0)
    loose = layers.wall_flows(p, 1.0, 4.0, 5.0, 0.8, 1.0, 1.0)
    assert held[2] < 0.0
    assert loose[2] == pytest.approx(2.0 * held[2], rel=0.02)
    # Energy: what the water gives is what the ice and the evaporator take.
    for taken_w, wall_w, growth, _ in (held, loose):
        assert taken_w == pytest.approx(wall_w - growth * water.LATENT_FUSION_J_KG, rel=1e-9)


def test_ice_around_the_draw_ends_the_flow() -> None:
    run = parts.Run(parts.with_store(initial_c=0.0, water_l=99.0, draw_m=0.3), dt_s=1.0)
    layer_kg = run.x[state.STORE_KG] / state.LAYERS
    flows = []
    for share in (0.0, 0.5, 0.75, 0.95):
        run.x[state.ICE_KG : state.ICE_KG + state.LAYERS] = share * layer_kg
        run.x[state.LOOP_AIR] = 0.0
        run.u[:] = parts.given.neutral_given()
        run.u[parts.given.PUMP_DUTY] = 1.0
        run.advance(60.0)
        flows.append(run.x[state.FLOW_L_MIN])
    assert flows[1] == pytest.approx(flows[0], rel=0.02)
    assert 0.3 * flows[0] < flows[2] < 0.7 * flows[0]
    assert flows[3] < 0.01


def test_w8_w9_headroom_of_an_ice_bank() -> None:
    """W8, W9: 9 kg of wall ice raise the level by 0.816 L over the plan area."""
    run = parts.Run(parts.with_store(initial_c=0.0))
    layers.measure(run.x, run.p, run.t)
    level_m = run.t[tap.LEVEL_M]
    run.x[state.ICE_KG : state.ICE_KG + state.LAYERS] = 1.5
    layers.measure(run.x, run.p, run.t)
    rise_m = run.t[tap.LEVEL_M] - level_m
    assert rise_m * run.p[param.STORE_AREA_M2] == pytest.approx(0.816e-3, rel=0.005)


def cycle_until(run: parts.Run, done: object, hours: float) -> float:
    """Advance by minutes until ``done(run)``; return the hours it took."""
    begun_s = run.now_s
    while not done(run) and run.now_s - begun_s < hours * 3600.0:  # type: ignore[operator]
        run.advance(60.0)
    return (run.now_s - begun_s) / 3600.0


def test_an_ice_bank_grows_to_its_limit_and_melts_back() -> None:
    """9 kg limit: grown by the compressor in 8 to 16 h, melted by the room within 12 h.

    The heat that melts it is E11's arithmetic: 9 kg x 333.43 kJ/kg = 3.00 MJ, 92.6 Wh a kg (W15).
    """
    run = parts.Run(parts.with_store(initial_c=2.0))
    run.u[parts.given.OUTDOOR_C] = 22.0
    run.u[parts.given.COMPRESSOR_RELAY] = 1.0
    grown_h = cycle_until(run, lambda r: parts.ice_kg(r.x) >= 9.0, 24.0)
    assert 8.0 < grown_h < 16.0
    # Headroom: the surface has risen but is still inside the box.
    assert run.t[tap.LEVEL_M] < parts.PLANT.store.depth_m
    assert run.t[tap.LEVEL_M] > 0.5 + 0.8 * 0.816e-3 / run.p[param.STORE_AREA_M2]
    run.u[parts.given.COMPRESSOR_RELAY] = 0.0
    run.u[parts.given.PUMP_DUTY] = 1.0
    run.u[parts.given.FAN_DUTY] = 0.3
    in_j = sum(run.x[slot] for slot in INTO_STORE)
    melted_h = cycle_until(run, lambda r: parts.ice_kg(r.x) < 0.05, 24.0)
    heat_wh = (sum(run.x[slot] for slot in INTO_STORE) - in_j) / 3600.0
    assert melted_h < 12.0
    assert heat_wh > 8.95 * 92.6


INTO_STORE = (
    state.COIL_TO_WATER_J,
    state.PUMP_TO_WATER_J,
    state.PLACE_TO_TUBE_J,
    state.ROOM_TO_TUBE_J,
    state.CABINET_TO_STORE_J,
    state.LID_TO_STORE_J,
)


def test_plain_single_probe_thermostat_makes_ice() -> None:
    """A plug-in thermostat with one probe near the bottom: off at 0 °C, on at 7 °C.

    Its two settings are an example of ours. The water below stays near 4 °C while ice grows above
    it (W2), so the probe never comes to 0 °C and the compressor is never stopped. What freezes is
    held to the latent heat, 92.6 Wh a kilogram (W3), of what the evaporator took in those hours;
    the hours and kilograms themselves are this plant's own, kept so that a change of it shows.
    """
    run = parts.Run(parts.with_store(initial_c=12.0), dt_s=10.0)
    run.u[parts.given.OUTDOOR_C] = 22.0
    run.u[parts.given.COMPRESSOR_RELAY] = 1.0
    ice_kg, probe_c, taken_wh = [], [], []
    for _ in range(24):
        for _ in range(12):
            if run.x[state.STORE_LOW_PROBE_C] <= 0.0:
                run.u[parts.given.COMPRESSOR_RELAY] = 0.0
            elif run.x[state.STORE_LOW_PROBE_C] >= 7.0:
                run.u[parts.given.COMPRESSOR_RELAY] = 1.0
            run.advance(300.0)
        ice_kg.append(parts.ice_kg(run.x))
        probe_c.append(run.x[state.STORE_LOW_PROBE_C])
        taken_wh.append((run.x[state.EVAPORATOR_J] - sum(run.x[s] for s in INTO_STORE)) / 3600.0)
    assert ice_kg[8] < 0.01
    assert ice_kg[11] == pytest.approx(1.4, abs=0.3)
    assert ice_kg[23] == pytest.approx(14.7, abs=1.0)
    assert probe_c[23] == pytest.approx(2.4, abs=0.3)
    assert min(probe_c) > 0.0
    assert run.u[parts.given.COMPRESSOR_RELAY] == 1.0
    frozen_wh = 92.6 * (ice_kg[23] - ice_kg[11])
    assert frozen_wh == pytest.approx(taken_wh[23] - taken_wh[11], rel=0.1)

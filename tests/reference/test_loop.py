"""Loop against hydraulics tables and radial-conduction arithmetic.

H5..H10 water at 5 °C in 10 m of 6.00 mm bore, roughness 1.5 um; tolerance 2 % outside the
transition.  E2..E5 heat gain of a 4 mm outer-radius tube, water 5 °C, air 25 °C, film 9.
"""

import itertools
import math

import fluids
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq
from springhouse_sim.plant import hydraulics, loop, param


def drop_kpa(l_min: float, bore_mm: float = 6.0, t_c: float = 5.0) -> float:
    """Return the drop over 10 m [kPa]."""
    return hydraulics.tube_drop_pa(l_min, bore_mm / 1e3, 10.0, 1.5e-6, t_c) / 1e3


def test_h1_laminar_is_hagen_poiseuille() -> None:
    """H1: dp = 128 mu L Q / (pi D4), f = 64 / Re; 0.01 % (mu 1518.2 uPa s within 1 % apart)."""
    from springhouse_sim.plant import water

    q_m3_s = 0.5 / 60000.0
    expected = 128.0 * water.viscosity_pa_s(5.0) * 10.0 * q_m3_s / (math.pi * 0.006**4)
    assert drop_kpa(0.5) * 1e3 == pytest.approx(expected, rel=1e-4)
    assert hydraulics.darcy_friction(1000.0, 0.0) == pytest.approx(0.064, rel=1e-12)


@pytest.mark.parametrize(
    ("re", "rough", "f"),
    [
        (4000.0, 0.0, 0.03991),
        (1e4, 0.0, 0.03088),
        (1e5, 0.0, 0.01799),
        (1e5, 1e-4, 0.01851),
        (1e5, 1e-3, 0.02218),
        (1e6, 1e-4, 0.01344),
        (1e4, 1e-2, 0.04313),
    ],
)
def test_h2_h3_colebrook(re: float, rough: float, f: float) -> None:
    """H2: 0.1 %; and the equation itself, and H3 Haaland within 1.4 %, neither from a library."""
    got = hydraulics.darcy_friction(re, rough)
    assert got == pytest.approx(f, rel=1e-3)
    residual = 1.0 / math.sqrt(got) + 2.0 * math.log10(rough / 3.7 + 2.51 / (re * math.sqrt(got)))
    assert abs(residual) < 2e-3
    haaland = (-1.8 * math.log10((rough / 3.7) ** 1.11 + 6.9 / re)) ** -2
    assert got == pytest.approx(haaland, rel=0.015)


@pytest.mark.parametrize(
    ("ident", "l_min", "kpa", "re", "tolerance"),
    [
        ("H5", 0.5, 3.977, 1165, 0.02),
        ("H6", 0.8, 6.364, 1864, 0.02),
        ("H8", 1.5, 27.22, 3494, 0.10),
        ("H9", 2.0, 44.51, 4659, 0.02),
        ("H10", 3.0, 89.51, 6989, 0.02),
    ],
)
def test_h5_to_h10_six_millimetre_tube(
    ident: str, l_min: float, kpa: float, re: float, tolerance: float
) -> None:
    assert drop_kpa(l_min) == pytest.approx(kpa, rel=tolerance), ident
    assert hydraulics.reynolds(l_min, 0.006, 5.0) == pytest.approx(re, rel=0.01)


def test_h9_h10_blasius() -> None:
    """H9, H10: Blasius gives 44.35 and 90.18 kPa; 2 %."""
    assert drop_kpa(2.0) == pytest.approx(44.35, rel=0.02)
    assert drop_kpa(3.0) == pytest.approx(90.18, rel=0.02)


def test_h7_transition_lies_between_the_laws_and_rises() -> None:
    """H7: at 1 L/min anything from 7.955 to 13.694 kPa, monotonic in flow."""
    assert 7.955 <= drop_kpa(1.0) <= 13.694
    drops = [drop_kpa(0.6 + 0.01 * n) for n in range(150)]
    assert all(a < b for a, b in itertools.pairwise(drops))
    # and without a jump
    assert max(b / a for a, b in itertools.pairwise(drops)) < 1.06


@pytest.mark.parametrize(("l_min", "kpa"), [(1.0, 2.52), (2.0, 11.47), (3.0, 22.95)])
def test_h11_eight_millimetre_tube(l_min: float, kpa: float) -> None:
    """H11; 2 L/min is Re 3494, where the turbulent law holds again: 10 % there, 2 % elsewhere."""
    assert drop_kpa(l_min, 8.0) == pytest.approx(kpa, rel=0.10 if l_min == 2.0 else 0.02)


@pytest.mark.parametrize(("t_c", "kpa"), [(1.0, 46.22), (5.0, 44.51), (20.0, 39.62)])
def test_h13_colder_water_costs_more(t_c: float, kpa: float) -> None:
    """H13: 2 L/min, 6 mm, 10 m; 2 %."""
    assert drop_kpa(2.0, 6.0, t_c) == pytest.approx(kpa, rel=0.02)


def test_h15_velocity_head() -> None:
    """H15: 173.7 Pa at 1 L/min, 1563.5 Pa at 3 L/min."""
    assert hydraulics.velocity_head_pa(1.0, 0.006, 5.0) == pytest.approx(173.7, rel=0.001)
    assert hydraulics.velocity_head_pa(3.0, 0.006, 5.0) == pytest.approx(1563.5, rel=0.001)


def per_metre_w(insulation_mm: float) -> float:
    """Return the gain of a metre [W] in the conditions of E2; the wall of the tube left out."""
    ua = hydraulics.tube_gain_w_m_k(0.003, 0.004, 1e9, insulation_mm / 1e3, 0.036, 9.0)
    return ua * 20.0


@pytest.mark.parametrize(
    ("ident", "mm", "w_m"),
    [("E2", 13.0, 2.689), ("E3", 9.0, 3.044), ("E3", 19.0, 2.352), ("E4", 0.0, 4.524)],
)
def test_e2_to_e4_heat_gain_per_metre(ident: str, mm: float, w_m: float) -> None:
    """E2, E3, E4: series resistances, 0.1 %."""
    assert per_metre_w(mm) == pytest.approx(w_m, rel=1e-3), ident


def test_e2_outer_surface_stays_dry() -> None:
    """E2, E6: foam surface 22.2 °C, above the dew point of P4 (13.86 °C)."""
    surface = 25.0 - per_metre_w(13.0) / (9.0 * 2.0 * math.pi * 0.017)
    assert surface == pytest.approx(22.2, abs=0.05)
    assert surface > 13.86


def test_e5_at_the_critical_radius_any_foam_helps() -> None:
    """E5: critical radius k/h = 4.0 mm equals this tube's, so the gain falls from zero up."""
    gains = [per_metre_w(mm) for mm in np.linspace(0.0, 10.0, 21)]
    assert all(a > b for a, b in itertools.pairwise(gains))


def test_e13_laminar_inner_film() -> None:
    """E13, laminar flow (Incropera, from memory): Nu 3.66; 346 W/(m2 K) in 6 mm at 5 °C."""
    assert hydraulics.water_film_w_m2_k(0.5, 0.006, 5.0) == pytest.approx(346.0, rel=0.01)


def demo_loop(**change: object) -> loop.Loop:
    """Return a loop, changed as asked."""
    given: dict[str, object] = {
        "tube_bore_mm": 6.0,
        "tube_wall_mm": 1.0,
        "tube_length_m": 10.0,
        "tube_in_place_fraction": 0.5,
        "insulation_mm": 13.0,
        "insulation_w_m_k": 0.036,
        "fittings_k": 0.0,
        "static_lift_m": 0.6,
        "pump_head_m": 5.0,
        "pump_free_l_min": 6.0,
        "pump_power_w": 10.0,
        "pump_to_water_fraction": 0.7,
        "coil_bore_mm": 6.0,
        "coil_length_m": 0.1,
        "prime_air_ml": 300.0,
    }
    return loop.Loop(**{**given, **change})  # type: ignore[arg-type]


def test_operating_point_lies_on_both_curves() -> None:
    """With H9's tube alone the 4.54 m at 2.0 L/min fix a pump: 5.107 m, 6 L/min parabola."""
    head_m = 4.54 / (1.0 - (2.0 / 6.0) ** 2)
    assert demo_loop(pump_head_m=head_m).operating_l_min(5.0, 1.0) == pytest.approx(2.0, rel=0.01)


@given(
    head_m=st.floats(0.3, 20.0),
    free_l_min=st.floats(0.5, 40.0),
    bore_mm=st.floats(3.0, 20.0),
    t_c=st.floats(0.0, 40.0),
)
def test_operating_points_are_those_of_a_solver(
    head_m: float, free_l_min: float, bore_mm: float, t_c: float
) -> None:
    """Many at once against scipy's brentq, one at a time, through the kinks of the friction."""
    part = demo_loop(pump_head_m=head_m, pump_free_l_min=free_l_min, tube_bore_mm=bore_mm)

    def surplus_m(flow: float, duty: float) -> float:
        head = hydraulics.pump_head_m(flow, head_m, free_l_min, duty)
        return float(head - part.loss_m(flow, t_c))

    duties = np.array([0.0, 0.05, 0.3, 0.62, 1.0])
    expected = [brentq(surplus_m, 0.0, d * free_l_min, args=(d,), xtol=1e-9) for d in duties[1:]]
    found = part.operating_l_min(t_c, duties)
    assert found[0] == 0.0
    assert found[1:] == pytest.approx(expected, abs=2.0 * loop.ROOT_L_MIN)


@pytest.mark.parametrize("rough", [0.0, 1e-5, 1e-3, 2e-2])
def test_colebrook_is_that_of_fluids(rough: float) -> None:
    reynolds = np.geomspace(2040.0, 1e8, 40)
    expected = [fluids.friction.Clamond(float(re), rough) for re in reynolds]
    assert hydraulics.colebrook(reynolds, rough) == pytest.approx(expected, rel=1e-12)


def test_e2_of_both_runs_split_between_place_and_room() -> None:
    """E2 over 10 m: 26.89 W at 20 K, half of it on each run, 30 % of that in the place."""
    part = demo_loop(tube_w_m_k=400.0, tube_in_place_fraction=0.3)
    assert part.tube_ua_w_k() * 20.0 == pytest.approx(26.89, rel=2e-3)
    p = np.zeros(param.SIZE)
    part.put(p)
    assert p[param.TUBE_PLACE_UA_W_K] * 20.0 == pytest.approx(26.89 * 0.5 * 0.3, rel=2e-3)
    assert p[param.TUBE_ROOM_UA_W_K] * 20.0 == pytest.approx(26.89 * 0.5 * 0.7, rel=2e-3)


def test_table_follows_the_operating_point() -> None:
    part = demo_loop()
    p = np.zeros(param.SIZE)
    part.put(p)
    for t_c, duty in ((2.5, 1.0), (7.0, 0.62), (18.0, 0.33)):
        expected = part.operating_l_min(t_c, duty)
        assert loop.steady_l_min(p, t_c, duty) == pytest.approx(expected, rel=0.02)
    assert loop.steady_l_min(p, 5.0, 0.0) == 0.0


def test_no_siphon_no_flow_below_the_lift() -> None:
    """Affinity law: at duty d the pump lifts d2 H0; 0.6 m of 5 m need 34.6 % duty."""
    p = np.zeros(param.SIZE)
    demo_loop().put(p)
    assert loop.lift_factor(p, 0.34, 1.0) == 0.0
    assert loop.lift_factor(p, 0.36, 1.0) > 0.0
    assert loop.lift_factor(p, 0.34, 0.0) == 1.0


@pytest.mark.parametrize(
    ("change", "named"),
    [
        ({"tube_bore_mm": 0.0}, "Loop.tube_bore_mm"),
        ({"pump_head_m": 0.0}, "Loop.pump_head_m"),
        ({"tube_in_place_fraction": 1.4}, "Loop.tube_in_place_fraction"),
        ({"insulation_w_m_k": -0.03}, "Loop.insulation_w_m_k"),
    ],
)
def test_refusals(change: dict[str, object], named: str) -> None:
    with pytest.raises(ValueError, match=named):
        demo_loop(**change)


def test_h4_laminar_limit_lies_where_the_libraries_and_books_put_it() -> None:
    """H4: fluids takes Re 2040, textbooks about 2300; the friction factor is laminar up to it."""
    assert 2000.0 <= hydraulics.LAMINAR_END_RE <= 2300.0
    just_under = hydraulics.darcy_friction(hydraulics.LAMINAR_END_RE - 1e-6, 0.0)
    assert just_under == pytest.approx(64.0 / hydraulics.LAMINAR_END_RE, rel=1e-6)
    assert hydraulics.darcy_friction(3500.0, 0.0) > 1.5 * 64.0 / 3500.0


def test_h14_h16_minor_losses() -> None:
    """H14, handbook tables, 30 %: entrance 0.5, exit 1.0, threaded elbow 0.9 to 1.5.

    H16: enlargement 6 to 10 mm is 0.4096 exactly; its limits are the exit's 1.0 and none at all.
    """
    from springhouse_host.site import loop_part

    assert pytest.approx(0.5, rel=0.3) == loop_part.ENTRANCE_K
    assert pytest.approx(1.0, rel=0.3) == loop_part.EXIT_K
    assert 0.9 <= loop_part.ELBOW_K <= 1.5
    assert hydraulics.enlargement_k(0.006, 0.010) == pytest.approx(0.4096, rel=1e-12)
    assert hydraulics.enlargement_k(0.006, 1e3) == pytest.approx(1.0, rel=1e-9)
    assert hydraulics.enlargement_k(0.010, 0.006) == 0.0
    assert hydraulics.contraction_k(1e3, 0.006) == pytest.approx(0.5, rel=1e-9)
    assert hydraulics.contraction_k(0.006, 0.010) == 0.0


def test_h16_the_coils_bore_costs_its_enlargement() -> None:
    """Same bore: nothing; another: K of both ends on the velocity heads (H15 scaled by D**-4)."""
    assert demo_loop(coil_bore_mm=6.0, tube_bore_mm=6.0).coil_ends_pa(1.0, 5.0) == 0.0
    part = demo_loop(coil_bore_mm=10.0, tube_bore_mm=6.0)
    head_6 = 173.7
    expected = 0.4096 * head_6 + 0.5 * (1.0 - 0.36) * head_6
    assert part.coil_ends_pa(1.0, 5.0) == pytest.approx(expected, rel=0.005)

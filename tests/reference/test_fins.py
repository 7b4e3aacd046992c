"""Both sides of a fin coil: fins, tubes, and the two in series.

From memory: Gardner 1945 (exact annular fin), Wang, Chi and Chang 2000 (plain fins), Shah and
London 1978 (Graetz problem), trade tables of fin coils (bypass factors by rows). Run here:
Bessel functions of scipy, Petukhov's form in ``ht``.
"""

import math
from collections.abc import Mapping
from typing import Any

import ht
import numpy as np
import pytest
from scipy.special import i0, i1, k0, k1
from springhouse_host import load_site
from springhouse_host.site import Site, coil_sides
from springhouse_sim.plant import coil as coil_part
from springhouse_sim.plant import fins, hydraulics, param

# Graetz problem, round tube, wall at one temperature: eigenvalues and constants.
GRAETZ = ((2.7043644, 0.7487746), (6.6790315, 0.5438280), (10.6733795, 0.4628611),
          (14.6710785, 0.4154184), (18.6698719, 0.3829192), (22.6691434, 0.3586856))  # fmt: skip


def table(**change: object) -> Any:
    """Return the coil of a site file, the demo's but for what is changed."""
    return load_site("demo", {f"coil.{key}": value for key, value in change.items()}).file.coil


def gardner(m: float, inner_m: float, outer_m: float) -> float:
    """Return the exact efficiency of an annular fin of even thickness, its edge adiabatic."""
    a, b = m * inner_m, m * outer_m
    top = k1(a) * i1(b) - i1(a) * k1(b)
    return float(2.0 * a / (b * b - a * a) * top / (k0(a) * i1(b) + i0(a) * k1(b)))


@pytest.mark.parametrize("ratio", [1.5, 2.0, 3.0])
@pytest.mark.parametrize("film", [15.0, 40.0, 120.0])
def test_fin_efficiency_against_bessel_functions(ratio: float, film: float) -> None:
    """Schmidt's approximation within 2 % of the exact fin, dry or wet."""
    m = math.sqrt(2.0 * film / (fins.FIN_W_M_K * 1.5e-4))
    known = gardner(m, 5e-3, ratio * 5e-3)
    got = fins.efficiency(fins.fin_parameter(film, 5e-3, ratio * 5e-3, 1.5e-4))
    assert got == pytest.approx(known, rel=0.02)


@pytest.mark.parametrize(("pitch_m", "depth_m"), [(0.025, 0.022), (0.0254, 0.022), (0.025, 0.0217)])
def test_round_fin_is_as_large_as_a_tubes_share(pitch_m: float, depth_m: float) -> None:
    """The sector method's radius is near that of the circle of the same area; 4 %."""
    same_m = math.sqrt(pitch_m * depth_m / math.pi)
    assert fins.annulus_m(pitch_m, depth_m) == pytest.approx(same_m, rel=0.04)


def wang_j(re: float, rows: int, gap_m: float, fin_m: float, collar_m: float) -> float:
    """Return the Colburn factor of Wang, Chi and Chang 2000 for two rows and more."""
    pitch, depth, fin_pitch = 0.025, 0.022, gap_m + fin_m
    open_m2 = (1.0 - collar_m / pitch) * gap_m / fin_pitch * pitch * depth
    cell = 2.0 * (pitch * depth - math.pi / 4.0 * collar_m**2) + math.pi * collar_m * gap_m
    hydraulic_m = 4.0 * open_m2 / (cell / fin_pitch)
    log = math.log(re)
    p3 = -0.361 - 0.042 * rows / log + 0.158 * math.log(rows * (fin_pitch / collar_m) ** 0.41)
    p4 = -1.224 - 0.076 * (depth / hydraulic_m) ** 1.42 / log
    p5 = -0.083 + 0.058 * rows / log
    p6 = -5.735 + 1.21 * math.log(re / rows)
    j = 0.086 * re**p3 * rows**p4 * (fin_pitch / collar_m) ** p5
    return j * (fin_pitch / hydraulic_m) ** p6 * (fin_pitch / pitch) ** -0.93


@pytest.mark.parametrize("rows", [2, 3, 4])
@pytest.mark.parametrize("reynolds", [600.0, 1500.0, 4000.0])
def test_air_side_against_another_correlation(rows: int, reynolds: float) -> None:
    """Wang, Chi and Chang 2000 lie above by no more than the range of the site allows: 40 %."""
    ours = fins.colburn_j(reynolds, rows, 0.025, 0.022, 0.0018 / 0.0098)
    theirs = wang_j(reynolds, rows, 0.0018, 1.5e-4, 0.0098)
    assert coil_sides.AIR_SIDE[0] < theirs / ours < coil_sides.AIR_SIDE[2]


@pytest.mark.parametrize(("rows", "low", "high"), [(2, 0.42, 0.55), (4, 0.19, 0.30)])
def test_bypass_factors_of_trade_tables(rows: int, low: float, high: float) -> None:
    """Two and four rows at 2.5 m/s over the face, tables of plain fin coils, from memory."""
    coil = table(face_width_m=0.5, face_height_m=0.5, rows=rows, tube_bore_mm=9.5)
    air_m3_h = 2.5 * 0.25 * 3600.0
    air_w_k = air_m3_h / 3600.0 * fins.AIR_KG_M3 * fins.AIR_J_KG_K
    _, middle, _ = coil_sides.air_side_w_k(coil, air_m3_h)
    assert low < math.exp(-middle / air_w_k) < high


@pytest.mark.parametrize("graetz", [5.0, 20.0, 100.0, 500.0])
def test_laminar_tube_against_the_graetz_series(graetz: float) -> None:
    """Mean Nusselt number from eigenvalues (Shah and London 1978), Hausen's form within 8 %.

    Six terms are enough below Gz 1000.
    """
    left = 8.0 * sum(g / e**2 * math.exp(-2.0 * e**2 / graetz) for e, g in GRAETZ)
    exact = -math.log(left) * graetz / 4.0
    got = hydraulics.tube_nusselt(1000.0, 10.0, 1e4 / graetz)
    assert got == pytest.approx(exact, rel=0.08)


@pytest.mark.parametrize("reynolds", [1e4, 3e4])
def test_turbulent_tube_against_petukhov(reynolds: float) -> None:
    """Petukhov and Kirillov in ``ht`` at Pr 9: within 10 % from Re 10,000."""
    fd = (0.790 * math.log(reynolds) - 1.64) ** -2
    known = ht.conv_internal.turbulent_Petukhov_Kirillov_Popov(Re=reynolds, Pr=9.0, fd=fd)
    got = hydraulics.tube_nusselt(reynolds, 9.0, math.inf)
    assert got == pytest.approx(known, rel=0.10)


@pytest.mark.parametrize("length", [30.0, 200.0, math.inf])
def test_tube_rises_through_transition_without_a_jump(length: float) -> None:
    """Gnielinski 2013: laminar to Re 2300, a straight line to 4000."""
    reynolds = np.linspace(500.0, 6000.0, 200)
    nusselt = np.array([hydraulics.tube_nusselt(float(re), 10.0, length) for re in reynolds])
    steps = np.diff(nusselt)
    assert (steps >= 0.0).all()
    assert steps.max() < 0.06 * nusselt.max()


@pytest.mark.parametrize("change", [{}, {"circuits": 3}, {"rows": 6}, {"tube_bore_mm": 6.0}])
def test_both_sides_in_series_are_the_coil(change: Mapping[str, object]) -> None:
    """1/UA = 1/air + 1/water, and the plant gets the two back from UA."""
    coil = table(**change)
    site = load_site("demo", {f"coil.{key}": value for key, value in change.items()})
    ua, air_m3_h = site.known["coil.ua_w_k"], site.known["coil.air_m3_h"].mid
    air, water_ = coil_sides.air_side_w_k(coil, air_m3_h), coil_sides.water_side_w_k(coil)
    assert ua.mid == pytest.approx(1.0 / (1.0 / air[1] + 1.0 / water_[1]))
    assert ua.low < ua.mid < ua.high < min(air[2], water_[2])
    plant = site.plant("mid")
    p = plant.params()
    assert p[param.COIL_AIR_W_K] == pytest.approx(air[1])
    assert p[param.COIL_WATER_W_K] == pytest.approx(water_[1])
    rated = coil_part.water_side_w_k(p, coil.rated_l_min)
    assert rated == pytest.approx(water_[1], rel=1e-3)


def test_wet_fins_hold_back_more() -> None:
    """The film times total over sensible heat in Schmidt's form; a dry coil is not touched."""
    p = load_site("demo").plant("mid").params()
    air = p[param.RATED_AIR_M3_H]
    x = p[param.FIN_PARAMETER]
    assert 0.2 < x < 1.0
    assert coil_part.wet_fins(p, air, 1.0) == 1.0
    known = fins.efficiency(x * math.sqrt(2.5)) / fins.efficiency(x)
    assert coil_part.wet_fins(p, air, 2.5) == pytest.approx(known)
    assert known < 0.95


def test_laminar_tubes_of_any_bore_pass_alike() -> None:
    """Heat by length alone, Nu k / D times pi D L: the bore cancels."""
    wide, narrow = (table(tube_bore_mm=bore, rated_l_min=0.3) for bore in (9.0, 7.0))
    assert coil_sides.water_side_w_k(wide)[1] == pytest.approx(
        coil_sides.water_side_w_k(narrow)[1], rel=0.02
    )


def measured(ua_w_k: float) -> Site:
    """Return the demo with a coil that was measured."""
    return load_site("demo", {"coil.ua_w_k": {"value": ua_w_k, "grade": "measured"}})


@pytest.mark.parametrize("ua_w_k", [20.0, 60.0, 90.0, 150.0])
def test_a_measured_conductance_stands_and_the_fins_take_the_rest(ua_w_k: float) -> None:
    site = measured(ua_w_k)
    p = site.plant("mid").params()
    water = coil_part.water_side_w_k(p, site.file.coil.rated_l_min)
    assert 1.0 / (1.0 / p[param.COIL_AIR_W_K] + 1.0 / water) == pytest.approx(ua_w_k, rel=1e-3)
    least, _, most = coil_sides.water_side_w_k(site.file.coil)
    assert 0.999 * least <= water <= 1.001 * most
    assert site.contradictions() == []


def test_more_than_the_tubes_let_through_is_told() -> None:
    """In one line with both numbers and the keys, in the units asked for."""
    (line,) = measured(600.0).contradictions()
    assert line.startswith("coil.ua_w_k: 600 W/K is more than the ")
    for key in ("coil.rated_l_min", "tube_bore_mm", "circuits", "rows"):
        assert key in line
    (us,) = measured(600.0).contradictions(us=True)
    assert "BTU/h/°F" in us
    assert "US gal/min" in us
    assert measured(600.0).plant("mid").coil.ua_w_k == 600.0

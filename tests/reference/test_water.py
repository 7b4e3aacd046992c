"""Water and ice against IAPWS figures.

Table and ids W1..W16: IAPWS-95 for the liquid and R10-06 for ice Ih at 101 325 Pa, recomputed
with two independent libraries that agree in every digit printed.
"""

import iapws
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from springhouse_sim.plant import water

# t °C, density kg/m3, cp J/(kg K), k W/(m K), viscosity uPa s, h kJ/kg, Pr
IAPWS = [
    (0.01, 999.844, 4219.4, 0.5557, 1791.1, 0.10, 13.60),
    (2, 999.943, 4213.0, 0.5607, 1673.5, 8.49, 12.58),
    (4, 999.975, 4207.5, 0.5655, 1567.3, 16.91, 11.66),
    (5, 999.967, 4205.0, 0.5678, 1518.2, 21.12, 11.24),
    (7, 999.904, 4200.6, 0.5723, 1427.0, 29.53, 10.47),
    (8, 999.851, 4198.7, 0.5745, 1384.7, 33.73, 10.12),
    (10, 999.702, 4195.2, 0.5788, 1305.9, 42.12, 9.47),
    (15, 999.103, 4188.5, 0.5888, 1137.6, 63.08, 8.09),
    (20, 998.207, 4184.1, 0.5980, 1001.6, 84.01, 7.01),
    (25, 997.048, 4181.3, 0.6065, 890.0, 104.92, 6.14),
]


@pytest.mark.parametrize("row", IAPWS, ids=lambda row: f"{row[0]}C")
def test_liquid_properties(row: tuple[float, ...]) -> None:
    t_c, rho, cp, k, mu, h, pr = row
    assert water.density_kg_m3(t_c) == pytest.approx(rho, abs=0.02)
    assert water.heat_capacity_j_kg_k(t_c) == pytest.approx(cp, rel=0.002)
    assert water.conductivity_w_m_k(t_c) == pytest.approx(k, rel=0.01)
    assert water.viscosity_pa_s(t_c) == pytest.approx(mu * 1e-6, rel=0.01)
    # The table's enthalpy is zero at the triple point and carries 0.06 kJ/kg of pressure and
    # of the first hundredth of a degree; ours is zero at 0 °C.
    assert water.enthalpy_j_kg(t_c) / 1e3 == pytest.approx(h - 0.06, abs=0.02)
    assert water.prandtl(t_c) == pytest.approx(pr, rel=0.015)


@given(t_c=st.floats(0.05, 45.0))
def test_liquid_at_any_temperature(t_c: float) -> None:
    """IAPWS-95 and the transport releases by the library iapws, run here, at 101 325 Pa."""
    liquid = iapws.IAPWS95(T=t_c + 273.15, P=0.101325)
    assert water.density_kg_m3(t_c) == pytest.approx(liquid.rho, abs=0.02)
    assert water.heat_capacity_j_kg_k(t_c) == pytest.approx(liquid.cp * 1e3, rel=0.002)
    assert water.conductivity_w_m_k(t_c) == pytest.approx(liquid.k, rel=0.01)
    assert water.viscosity_pa_s(t_c) == pytest.approx(liquid.mu, rel=0.01)


def test_w1_density_is_greatest_just_below_four_degrees() -> None:
    """W1, IAPWS-95: 3.978 °C, 999.975 kg/m3."""
    densest_c = max(np.linspace(3.0, 5.0, 2001), key=water.density_kg_m3)
    assert densest_c == pytest.approx(3.978, abs=0.02)
    assert water.density_kg_m3(densest_c) == pytest.approx(999.975, abs=0.02)


def test_w2_water_at_freezing_floats_on_water_at_four_and_equals_eight() -> None:
    """W2, IAPWS-95: rho(0.01) < rho(4) > rho(8) and rho(0.01) - rho(8) = -0.007 kg/m3."""
    freezing = water.density_kg_m3(0.01)
    assert freezing < water.density_kg_m3(4.0)
    assert water.density_kg_m3(8.0) < water.density_kg_m3(4.0)
    assert freezing - water.density_kg_m3(8.0) == pytest.approx(-0.007, abs=0.003)


def test_w3_w4_latent_heat_of_fusion() -> None:
    """W3, IAPWS-95 and R10-06: 333.43 kJ/kg; W4, handbook, from memory: 333.55."""
    assert pytest.approx(333.43e3, abs=200.0) == water.LATENT_FUSION_J_KG
    assert pytest.approx(333.55e3, rel=1e-3) == water.LATENT_FUSION_J_KG


def test_w5_w7_ice() -> None:
    """W5, R10-06: 916.72 kg/m3 at 0 °C; W7: 2.24 W/(m K), 2.22 as common.

    W7 is a printed table of ice at 0 °C, seen, author not noted.
    """
    assert pytest.approx(916.72, abs=0.3) == water.ICE_KG_M3
    assert pytest.approx(2.24, abs=0.1) == water.ICE_W_M_K


def test_w8_w9_ice_takes_more_room_than_its_water() -> None:
    """W8: 90.7 mL more per kg; W9: 0.816 L for 9.0 kg."""
    more_l_kg = 1000.0 / water.ICE_KG_M3 - 1000.0 / water.density_kg_m3(0.0)
    assert more_l_kg * 1000.0 == pytest.approx(90.7, abs=0.3)
    assert 9.0 * more_l_kg == pytest.approx(0.816, rel=0.004)


def test_w13_w14_cooling_and_warming_ninety_litres() -> None:
    """W13: 90 L (89.99 kg) 7 to 0 °C 735.5 Wh; W14: 0 to 8 °C 840.5 Wh; 0.5 %, IAPWS-95."""
    kg = 0.090 * water.density_kg_m3(7.0)
    assert kg == pytest.approx(89.99, abs=0.01)
    assert kg * water.enthalpy_j_kg(7.0) / 3600.0 == pytest.approx(735.5, rel=0.005)
    assert kg * water.enthalpy_j_kg(8.0) / 3600.0 == pytest.approx(840.5, rel=0.005)


def test_w15_melting_a_kilogram() -> None:
    """W15: 92.6 Wh."""
    assert pytest.approx(92.6, abs=0.1) == water.LATENT_FUSION_J_KG / 3600.0


def test_w16_heat_carried_by_flow() -> None:
    """W16: 70.08 W per (L/min K) at 5 °C, 280.3 W for 1 L/min and 4 K; 0.3 %."""
    kg_s = water.density_kg_m3(5.0) / 60000.0
    assert kg_s * water.heat_capacity_j_kg_k(5.0) == pytest.approx(70.08, rel=0.003)
    across = water.enthalpy_j_kg(7.0) - water.enthalpy_j_kg(3.0)
    assert kg_s * across == pytest.approx(280.3, rel=0.003)

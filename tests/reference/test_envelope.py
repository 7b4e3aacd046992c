"""Cabinet walls against series resistances; foam conductivities against their published ranges.

E1, E7: insulation foams; E8, E9: arithmetic on them.
"""

import math

import pytest
from springhouse_host.site.tables import LoopTable
from springhouse_sim.plant import envelope


@pytest.mark.parametrize(
    ("mm", "with_films", "bare"), [(50, 0.396, 0.440), (60, 0.336, 0.367), (70, 0.291, 0.314)]
)
def test_e8_wall(mm: float, with_films: float, bare: float) -> None:
    """E8: k 0.022, both films 8 W/(m2 K); 0.1 % and the rounding of the third digit."""
    assert envelope.wall_w_m2_k(mm / 1000.0) == pytest.approx(with_films, rel=1e-3, abs=5e-4)
    no_films = envelope.wall_w_m2_k(mm / 1000.0, film_w_m2_k=math.inf)
    assert no_films == pytest.approx(bare, rel=1e-3, abs=5e-4)


def test_e9_box_of_140_litres() -> None:
    """E9: 0.45 x 0.40 x 0.78 m inside, 60 mm: 0.761 W/K, 16.7 W at 22 K, foam alone.

    Our films take 8 % off that, inside the 15 % that edges and lid seal are given.
    """
    foam_w_k = envelope.box_w_k(0.45, 0.40, 0.78, 0.060, film_w_m2_k=math.inf)
    assert foam_w_k == pytest.approx(0.761, rel=2e-3)
    assert foam_w_k * 22.0 == pytest.approx(16.7, abs=0.06)
    assert envelope.box_w_k(0.45, 0.40, 0.78, 0.060) == pytest.approx(0.761, rel=0.15)


def test_e7_foam_conductivity() -> None:
    """E7: 0.020 to 0.024 fresh, from memory; air-filled 0.0333 to 0.0345 (Wu et al. 1999)."""
    assert 0.020 <= envelope.FOAM_W_M_K <= 0.024
    assert 0.0333 <= envelope.AGED_FOAM_W_M_K <= 0.0345
    aged = envelope.box_w_k(0.45, 0.40, 0.78, 0.060, envelope.AGED_FOAM_W_M_K)
    assert 1.3 < aged / envelope.box_w_k(0.45, 0.40, 0.78, 0.060) < 1.6


def test_e1_tube_insulation_default() -> None:
    """E1: 0.033 to 0.040 W/(m K), from memory; at most 0.050 by the scope of EN 14304."""
    default = LoopTable.model_fields["insulation_w_m_k"].default
    assert 0.033 <= default <= 0.040 < 0.050

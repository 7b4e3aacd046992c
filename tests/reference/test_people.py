"""Heat of people against published metabolic rates.

L1, L3, L4: ASHRAE Fundamentals (SI) 2009 and 2013, ch. 18 table 1; L5: ISO 7730 as restated; L6:
ASHRAE 55, from memory; L7: Du Bois.
"""

import pytest
from springhouse_sim.world import people


def test_l1_l3_l4_table_of_the_handbook() -> None:
    """L1: 70 + 45 W seated at 24 °C; L3: 75 + 55 W office; L4: 56 + 59 W at 27 °C."""
    assert people.heat_of_person_w("seated", 24.0) == pytest.approx((70.0, 45.0))
    assert people.heat_of_person_w("office", 24.0) == pytest.approx((75.0, 55.0))
    assert people.heat_of_person_w("seated", 27.0) == pytest.approx((56.0, 59.0), abs=0.5)


@pytest.mark.parametrize(
    ("word", "w_m2"), [("seated", 58.0), ("sedentary", 70.0), ("reclining", 46.0)]
)
def test_l5_metabolic_rates(word: str, w_m2: float) -> None:
    """L5: 1 met is 58.15 W/m2; 1.0, 1.2 and 0.8 met are 58, 70 and 46 W/m2 (rounded)."""
    assert people.metabolic_w(people.METS[word], 1.0) == pytest.approx(w_m2, abs=0.55)


def test_l6_asleep() -> None:
    """L6: 0.7 met, 40 W/m2, about 73 W at 1.8 m2."""
    assert people.metabolic_w(people.METS["asleep"], 1.0) == pytest.approx(40.0, abs=0.8)
    assert sum(people.heat_of_person_w("asleep", 24.0)) == pytest.approx(73.0, abs=0.5)


def test_l7_skin_area() -> None:
    """L7: 70 kg and 1.73 m are 1.829 m2, 0.001."""
    assert people.du_bois_m2(70.0, 1.73) == pytest.approx(1.829, abs=0.001)

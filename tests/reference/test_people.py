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


def test_l6_asleep() -> None:
    """L6: 0.7 met, 40 W/m2, about 73 W at 1.8 m2."""
    assert sum(people.heat_of_person_w("asleep", 24.0)) == pytest.approx(73.0, abs=0.5)

"""What the four experiments find must follow from heat and time, not from what was observed once.

The observed figures judge nothing here; the arithmetic is E10, E11, W13 and W15.
"""

import pytest
from springhouse_host import experiments
from springhouse_host.site import VARIANTS, load_site
from springhouse_sim.plant import param

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def rows() -> dict[str, experiments.Row]:
    return {row.name: row for row in experiments.experiments()}


def wall_w_k(variant: str) -> float:
    """Conductance of the cabinet and its lid [W/K]."""
    p = experiments.Bath(variant, 0.0).p  # type: ignore[arg-type]
    parts = (
        param.CABINET_BAND_UA_W_K,
        param.CABINET_SIDE_UA_W_K,
        param.CABINET_FLOOR_UA_W_K,
        param.LID_UA_W_K,
    )
    return float(sum(p[part] for part in parts))


def test_nothing_is_measured_that_nobody_measured() -> None:
    """Every number that a label leaves open has a range: the grade of each is a label's."""
    from importlib import resources

    import springhouse_host

    with resources.as_file(resources.files(springhouse_host) / "sites/small-chest.toml") as path:
        site = load_site(path)
    assert {known.grade for known in site.known.values()} == {"label"}
    for key in ("coil.ua_w_k", "coil.air_m3_h", "freezer.capacity_w", "loop.pump_head_m"):
        known = site.known[key]
        assert known.low <= known.mid <= known.high
        assert known.low < known.high


def test_heat_of_water_and_ice() -> None:
    """W13, W15: 90 kg from 0 to 7 °C 735.5 Wh; 9 kg of ice 833 Wh."""
    assert experiments.water_wh(90.0, 0.0, 7.0) == pytest.approx(735.5, abs=1.5)
    assert experiments.melt_wh(9.0) == pytest.approx(833.0, abs=2.0)


@pytest.mark.parametrize("variant", VARIANTS)
def test_a_hold_is_its_heat_over_the_walls_loss(rows, variant: str) -> None:
    """E11, E12, W15: hours times conductance times 22 K is the ice's heat and some of the water's.

    Until the mean of the liquid is at 1 °C at most 1.5 K of it has warmed: it lies in layers.
    """
    ice_wh = experiments.melt_wh(experiments.FULL_ICE_KG)
    hours = rows[f"hold under 1 °C, {experiments.FULL_ICE_KG:g} kg of ice"].ours[variant]
    assert (
        ice_wh < hours * wall_w_k(variant) * 22.0 < ice_wh + experiments.water_wh(100.0, 0.0, 1.5)
    )
    # E10: 90 L pass from 0 to 1 °C in 6.11 h and from 1 to 4.5 °C in 23.93 h at 0.8 W/K in 22 °C.
    scale = 0.8 / wall_w_k(variant) * 100.0 / 90.0
    bare = rows["hold under 1 °C, no ice"].ours[variant]
    assert bare == pytest.approx(6.11 * scale, rel=0.08)
    then = rows["then under 4.5 °C"].ours[variant]
    assert then == pytest.approx(23.93 * scale, rel=0.08)


def test_ice_lengthens_a_discharge_by_its_heat(rows) -> None:
    """The same coil at the same water: hours with ice over hours without, within moisture's part.

    While ice melts the water stays colder than on the way to 7 °C, so the power is higher: the
    ratio lies between half and all of the ratio of the heats.
    """
    heats = (
        experiments.water_wh(100.0, 0.0, 7.0) + experiments.melt_wh(experiments.FULL_ICE_KG)
    ) / experiments.water_wh(100.0, 0.0, 7.0)
    for variant in VARIANTS:
        with_ice = rows[f"discharge from {experiments.FULL_ICE_KG:g} kg of ice"].ours[variant]
        without = rows["discharge without ice"].ours[variant]
        assert 0.5 * heats < with_ice / without < heats


def test_moisture_costs_cold() -> None:
    """In air too dry to condense the same charge lasts longer."""
    dry, humid = (
        experiments.discharge_h("mid", experiments.FULL_ICE_KG, humidity) for humidity in (0.2, 0.5)
    )
    assert dry > 1.1 * humid

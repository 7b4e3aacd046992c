"""A freezer in a cellar: what the site file says of the ground reaches plant, sheet and runs."""

from datetime import datetime

import pytest
from site_text import edited, lines_of, site_of
from springhouse_host.proof import running as proof_running
from springhouse_host.proof.scenarios import Scenario
from springhouse_host.sheet import advice, running, sizing
from springhouse_host.site import load_site
from springhouse_sim.plant import given
from springhouse_sim.world.days import hottest

CELLAR = {"place.ground": "sand", "place.vented": "closed"}


def at_work(site):
    weather = site.read_weather()
    case = sizing.case_for(site, "mid", site.plant(), weather, hottest(weather, 1))
    return case, running.charging(case, 8.0, site.file.schedule.charging)


def test_the_place_is_where_outdoors_ground_and_freezer_balance() -> None:
    """First law by hand: (UAo To + UAg Tg + rejected - gains) / (UAo + UAg)."""
    site = load_site("demo", CELLAR)
    case, work = at_work(site)
    place, u = site.plant().place, case.given(3.0)
    assert place.ground_ua_w_k > 10.0
    moments = case.day_given(site.file.schedule.charging)
    outdoor_c = float(moments[:, given.OUTDOOR_C].mean())
    ground_c = float(moments[:, given.GROUND_C].mean())
    assert ground_c == pytest.approx(float(u[given.GROUND_C]), abs=0.1)
    heat_w = place.ua_w_k * outdoor_c + place.ground_ua_w_k * ground_c
    heat_w += work.rejected_w - work.gains_w + site.file.battery.board_w
    # The supply of board and pump adds a few watts of its own.
    assert work.place_mean_c == pytest.approx(
        heat_w / (place.ua_w_k + place.ground_ua_w_k), abs=0.3
    )
    without, warm = at_work(load_site("demo", {"place.vented": "closed"}))
    assert without.site.ground is None
    assert work.place_hottest_c < warm.place_hottest_c - 3.0


def test_a_run_of_the_cellar_has_the_ground_of_its_day() -> None:
    site = load_site("demo", CELLAR)
    day = datetime(2001, 7, 9)
    scenario = Scenario("ground", "nominal", day, 1)
    bench = proof_running.bench(site, scenario, compile_ticks=False)
    bench.run(0.001)
    assert site.ground is not None
    assert bench.tank.given[given.GROUND_C] == pytest.approx(site.ground.at_c(day), abs=0.01)
    assert 12.0 < site.ground.at_c(day) < 24.0


def test_a_measured_ground_is_taken_as_it_is() -> None:
    site = load_site("demo", CELLAR | {"place.ground_c": 11.0})
    assert site.ground is not None
    assert site.ground.at_c(datetime(2001, 1, 9)) == site.ground.at_c(datetime(2001, 7, 9)) == 11.0


def test_a_cellar_too_cold_for_its_class_is_said_so() -> None:
    """Lower class limits as in summaries of EN 62552, from memory: SN 10, N, ST and T 16 °C."""
    assert [running.lowest_c(c) for c in ("SN", "N", "SN-T", "N-ST")] == [10.0, 16.0, 10.0, 16.0]
    cold = CELLAR | {"place.ground_c": 5.0, "place.ground_ua_w_k": 400.0}
    _, work = at_work(load_site("demo", cold))
    assert work.place_coldest_c < 16.0
    mean = running.Continuous("mean", 5.0, 9.0, 8.0, 300.0, 200.0, 0.0)
    assert any("BELOW the 16 °C of class N" in line
               for line in advice.standing(False, work, "N", mean, 300.0))  # fmt: skip
    assert not any("BELOW" in line for line in advice.standing(False, work, "SN", mean, 300.0)) or (
        work.place_coldest_c < 10.0
    )


@pytest.mark.parametrize(
    ("changes", "line"),
    [
        ((("place.ground", '"mud"'),), 'place.ground: "mud": one of none, clay, sand, rock'),
        (
            (("place.ground_c", "12"),),
            'place.ground_c: 12: nothing while place.ground = "none"',
        ),
        (
            (("place.ground", '"clay"'), ("place.is_cooled_room", "true")),
            'place.ground: "clay": none while place.is_cooled_room = true',
        ),
    ],
)
def test_what_is_refused(tmp_path, changes, line: str) -> None:
    assert f"site.toml: {line}" in lines_of(tmp_path, edited(*changes))


def test_weather_without_a_year_needs_a_measured_ground(tmp_path) -> None:
    changes = (
        ("place.ground", '"clay"'),
        ("weather.source", ""),
        ("weather.design_highest_c", "32"),
        ("weather.design_dew_point_c", "15"),
        ("weather.latitude_degrees", "36"),
        ("weather.longitude_degrees", "-80"),
        ("weather.utc_offset_h", "-5"),
    )
    site = site_of(tmp_path, edited(*changes))
    with pytest.raises(Exception, match=r"place\.ground_c: missing: from -10 to 30 °C"):
        _ = site.ground

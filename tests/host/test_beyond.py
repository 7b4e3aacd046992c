"""Heat waves and a forgotten shade: told, counted for safety, not for comfort."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from site_text import edited, site_of
from springhouse_host.proof import beyond, placing, running, scenarios
from springhouse_host.proof.limits import Shortfall
from springhouse_host.proof.measures import MEASURES, SAFETY
from springhouse_host.proof.running import Result
from springhouse_host.proof.scenarios import Scenario
from springhouse_host.proof.verdict import judge
from springhouse_host.site import VARIANTS, load_site
from springhouse_host.site.derive_room import SHADE
from springhouse_sim.world.weather import HOUR_S

DEMO = load_site("demo")
WAVE_K = 4.0


@pytest.fixture
def runs(monkeypatch: pytest.MonkeyPatch) -> list[Scenario]:
    monkeypatch.setattr(placing, "placed", lambda *args, **kwargs: ([], []))
    return placing.standard(DEMO)


def test_the_hottest_week_of_every_reading(runs: list[Scenario]) -> None:
    found = [s for s in runs if s.group == "beyond"]
    hottest = next(s for s in runs if "hottest" in s.name)
    assert {(s.warmer_k, s.shade_open, s.variant) for s in found} == {
        (by_k, shade, variant)
        for by_k, shade in ((2.0, False), (4.0, False), (0.0, True))
        for variant in VARIANTS
    }
    assert {(s.start, s.days) for s in found} == {(hottest.start, hottest.days)}
    assert len({s.name for s in runs}) == len(runs)


@pytest.mark.parametrize(
    "change", [("room.window_shade", '"none"'), ("room.window_side", '"none"')]
)
def test_no_shade_is_forgotten_where_there_is_none(tmp_path: Path, change: tuple[str, str]) -> None:
    changes = [change]
    if change[0] == "room.window_side":
        changes += [("room.window_area_m2", "0")]
    site = site_of(tmp_path, edited(*changes))
    week = Scenario("", "beyond", DEMO_START, 7)
    assert not any(s.shade_open for s in scenarios.beyond(site, week))


DEMO_START = scenarios.single(DEMO, None, 1).start


def test_warmer_air_is_as_moist_as_it_was() -> None:
    weather = DEMO.read_weather()
    wave = weather.warmer(WAVE_K)
    np.testing.assert_allclose(wave.temp_air_c - weather.temp_air_c, WAVE_K)
    for name in ("dew_point_c", "pressure_pa", "ghi_w_m2", "dni_w_m2", "dhi_w_m2"):
        assert (getattr(wave, name) == getattr(weather, name)).all()
    assert weather.warmer(50.0).temp_air_c.max() == 60.0  # the hottest that a file may hold


def test_the_plant_gets_the_wave_and_the_open_window() -> None:
    """Sun in proportion: what the shade let in over its factor; by hand."""
    plain = Scenario("x", "nominal", DEMO_START, 1)
    outdoors, wave, bright = (
        running._outdoors(DEMO, s)
        for s in (plain, replace(plain, warmer_k=WAVE_K), replace(plain, shade_open=True))
    )
    second = round((outdoors.weather.hour_of(DEMO_START) + 14.0) * HOUR_S)
    was, now, opened = (out._line(second) for out in (outdoors, wave, bright))
    temperature, humidity, sun = range(3)
    assert now[temperature] == pytest.approx(was[temperature] + WAVE_K)
    assert now[humidity:3] == was[humidity:3]
    assert opened[sun] == pytest.approx(was[sun] / SHADE[DEMO.file.room.window_shade])
    assert opened[:sun] == was[:sun]


def result(scenario: Scenario, share: float, ice_kg: float) -> Result:
    summary: dict[str, Any] = {
        "wanted_share_within": share,
        "max_ice_kg": ice_kg,
        "longest_ice_h": 0.0,
        "spill_l": 0.0,
        "dry_seconds_max": 2,
        "starts_per_hour_max": 1,
        "off_gap_min_s": 600.0,
        "cost": 1.0,
        "days": scenario.days,
    }
    spent = Shortfall(9, "store", "9 min over the limit: the store was spent")
    return Result(scenario, summary, (1,), (0,), spent)


def test_comfort_is_told_and_safety_counts(runs: list[Scenario]) -> None:
    week = next(s for s in runs if "hottest" in s.name and s.variant == "mid")
    wave = next(s for s in runs if s.warmer_k == WAVE_K and s.variant == "mid")
    assert wave.unbroken
    found = [result(week, 0.95, 0.1), result(wave, 0.06, 0.4)]
    told = {p.measure: judge(p, found) for p in DEMO.promises()}
    assert told["room_share_percent"].worst == pytest.approx(95.0)
    assert told["room_share_percent"].kept
    assert (told["ice_kg"].worst, told["ice_kg"].scenario) == (0.4, wave.name)
    assert not told["ice_kg"].kept
    for measure in SAFETY:
        assert MEASURES[measure](found[1]) is not None
    rows = beyond.rows(found)
    assert [row.name for row in rows] == [beyond.AS_IT_IS, "4 K warmer"]
    lines = list(beyond.lines(found))
    assert lines[2] == "  - 4 K warmer: 6 %; 9 min over the limit: the store was spent (middle)"
    assert "told and not counted" in lines[0]
    assert beyond.as_json(found)[1] == {
        "name": "4 K warmer",
        "reading": "mid",
        "share_percent": pytest.approx(6.0),
        "limited_by": "9 min over the limit: the store was spent",
    }
    assert list(beyond.lines(found[:1])) == []


def test_a_wave_warms_the_room() -> None:
    """Two days of the demo, weakest reading: less of the wanted hours is held, and not more ice."""
    plain = Scenario("x", "nominal", DEMO_START, 2, "low")
    runs = [running.run_one(DEMO.path, replace(plain, warmer_k=by_k)) for by_k in (0.0, WAVE_K)]
    shares = [r.summary["wanted_share_within"] for r in runs]
    assert shares[1] < shares[0] - 0.05
    assert [r.latched for r in runs] == [0, 0]

"""Doubtful numbers, plausible installations, and the verdict as a share."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import made_verdict
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm, qmc
from springhouse_host.errors import EXIT_BAD_INPUT
from springhouse_host.proof import next_measure, placing, plausible, rule, scenarios
from springhouse_host.proof.plausible import DrawnRow, Sample
from springhouse_host.proof.responses import Response
from springhouse_host.proof.verdict import Verdict
from springhouse_host.site import doubt, drawn, load_site
from springhouse_host.site.doubt import Doubt
from springhouse_sim.plant import param
from springhouse_sim.plant.wall_table import dry_wall_w_m2

DEMO = load_site("demo")
ENDS = st.floats(0.0, 1e6)


def entry(low: float, mid: float, high: float, unit: str = "W") -> Doubt:
    return Doubt("freezer.capacity_w", low, mid, high, unit, "a guess")


@pytest.mark.parametrize(
    ("ends", "unit", "said"),
    [
        ((2.0, 1.5, 1.0), "W", "low <= middle <= high"),
        ((-1.0, 1.0, 2.0), "W", "not below 0"),
        ((50.0, 80.0, 101.0), "%", "from 0 to 100"),
        ((float("nan"), 1.0, 2.0), "W", "low <= middle <= high"),
    ],
)
def test_a_bad_distribution_is_one_line(
    ends: tuple[float, float, float], unit: str, said: str
) -> None:
    with pytest.raises(ValueError, match=said) as error:
        entry(*ends, unit)
    assert "\n" not in str(error.value)
    assert str(error.value).startswith("freezer.capacity_w: ")


@given(st.lists(ENDS, min_size=3, max_size=3), st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_quantiles_rise_between_the_ends(ends: list[float], a: float, b: float) -> None:
    doubted = entry(*sorted(ends))
    low, high = sorted((a, b))
    slack = 1e-9 * doubted.high
    assert doubted.at(low) <= doubted.at(high) + slack
    assert doubted.low - slack <= doubted.at(a) <= doubted.high + slack
    assert doubted.at(0.5) == pytest.approx(doubted.mid)


def test_every_entry_says_where_it_comes_from_and_half_lie_below_the_middle() -> None:
    table = doubt.doubts(DEMO)
    points = drawn.draws(DEMO, 64, 20)
    assert len(points) == 64
    for number, doubted in enumerate(table):
        assert doubted.source
        assert doubted.by in ("", *doubt.NARROWED)
        values = np.array([draw[number][1] for draw in points])
        assert (values >= doubted.low).all()
        assert (values <= doubted.high).all()
        assert (values < doubted.mid).sum() == 32  # Sobol points fall evenly into both halves
    assert drawn.draws(DEMO, 64, 20) == points


def test_a_draw_is_in_the_plant_and_the_settings_stay() -> None:
    (draw,) = drawn.draws(DEMO, 1, 20)
    values = dict(draw)
    plant = drawn.plant(DEMO, draw)
    assert plant.freezer.capillary_factor == values[doubt.CAPILLARY]
    capacity_w, efficiency = values["freezer.capacity_w"], values[doubt.EFFICIENCY]
    assert plant.freezer.rated_capacity_w == capacity_w
    # 2.897: ideal cycle at the rating point; never more than the nameplate's 150 W.
    assert plant.freezer.rated_input_w == pytest.approx(min(150.0, capacity_w / 2.897 / efficiency))
    assert plant.store.film_factor == values[doubt.FILM]
    assert plant.room.house_c == values[doubt.NEXT_DOOR]
    assert plant.coil.ua_w_k == values["coil.ua_w_k"]
    window, wall = drawn.panes(DEMO, draw)
    assert window.g == pytest.approx(values["room.sun_share_percent"] / 100.0)
    assert wall.area_m2 == pytest.approx(8.0 - 1.2)
    # Sol-air: U over the outer film of what is absorbed; a light wall of 0.45 W/(m2 K).
    assert wall.g == pytest.approx(values[doubt.ABSORBED] * 0.45 / 23.0)


def test_who_says_how_warm_it_is_next_door_has_less_doubt() -> None:
    told = load_site("demo", {"room.house_c": 27.0, "room.inside_m2": 20.0})
    nobody = load_site(
        "demo", {"room.house_c": None, "room.inside_m2": 0, "room.inside_ua_w_k": None}
    )
    free = {d.key: d for d in doubt.doubts(nobody)}[doubt.NEXT_DOOR]
    known = {d.key: d for d in doubt.doubts(told)}[doubt.NEXT_DOOR]
    assert (known.low, known.high) == (26.0, 28.0)
    assert known.high - known.low < free.high - free.low
    read = {"value": 27.0, "grade": "measured"}
    site = load_site("demo", {"room.house_c": read, "freezer.capacity_w": {**read, "value": 160.0}})
    measured = {d.key: d for d in doubt.doubts(site)}
    assert measured[doubt.NEXT_DOOR].low == pytest.approx(26.7)
    assert measured[doubt.NEXT_DOOR].high == pytest.approx(27.3)
    before = {d.key: d for d in doubt.doubts(told)}[doubt.CAPILLARY]
    after = measured[doubt.CAPILLARY]
    assert before.low < after.low < after.high < before.high
    assert site.plant("low").room.house_c == site.plant("high").room.house_c == 27.0


def test_the_film_is_scaled_at_every_temperature() -> None:
    store = DEMO.plant("mid").store
    p, less_p = np.zeros(param.SIZE), np.zeros(param.SIZE)
    store.put(p)
    replace(store, film_factor=0.5 * store.film_factor).put(less_p)
    ice = slice(param.ICE_FILM_W_M2_K, param.ICE_FILM_W_M2_K + param.FILM_WATER_POINTS)
    assert less_p[ice] == pytest.approx(0.5 * p[ice])
    dry, less_dry = dry_wall_w_m2(70.0, 0.5), dry_wall_w_m2(70.0, 0.5, 0.5)
    # Water at 20 °C over evaporator at -20: less, but the wall itself is not scaled.
    assert 0.5 * dry[40, 20] < less_dry[40, 20] < dry[40, 20]


def test_corners_and_faults_on_every_reading(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(placing, "placed", lambda *args, **kwargs: ([], []))
    middle = placing.standard(DEMO, variants=scenarios.MIDDLE)
    every = placing.standard(DEMO)
    corners = [s for s in every if s.group == "corner"]
    assert len(corners) == 3 * sum(s.group == "corner" for s in middle)
    assert {s.variant for s in corners} == {"low", "mid", "high"}
    assert len({s.name for s in every}) == len(every)
    assert [s for s in every if s in middle] == middle


@pytest.fixture(scope="module")
def week() -> list[DrawnRow]:
    """Two draws through a typical day: what a proof does 64 times with a week."""
    first, second = plausible.drawn_scenarios(DEMO, 2)
    runs = [replace(s, days=1) for s in (first, second)]
    return plausible.run_some(DEMO.path, runs, DEMO.changed)


def test_a_draw_leaves_a_value_for_each_promise(week: list[DrawnRow]) -> None:
    for row in week:
        assert len(row.values) == len(DEMO.promises())
        assert row.violations == 0
        assert 15.0 < row.warmth_c < 40.0
    assert week[0].warmth_c != week[1].warmth_c


def linear_sample(count: int = 256) -> Sample:
    """Warmth = 27 - 3 a + b, both normal: nine tenths of the variance are a's."""
    doubts = (
        Doubt("freezer.capacity_w", 0.0, 1.0, 2.0, "W", "made up", "chill"),
        Doubt("coil.ua_w_k", 0.0, 1.0, 2.0, "W/K", "made up", "coil"),
    )
    points = norm.ppf(qmc.Sobol(2, seed=1).random(count))
    promise = DEMO.promises()[0]
    least = norm.ppf(0.05)
    rows = [DrawnRow((100.0 if a > least else 0.0,), 27.0 - 3.0 * a + b, 0) for a, b in points]
    draws = [(("freezer.capacity_w", float(a)), ("coil.ua_w_k", float(b))) for a, b in points]
    return Sample((promise,), doubts, tuple(draws), tuple(rows), (), 95.0)


def test_shares_of_a_linear_model_are_the_known_ones() -> None:
    """First-order indices of a sum are squares of its slopes over their sum (Saltelli et al. 2008,
    from memory): 0.9 and 0.1, of which a measurement leaves a quarter."""
    found = next_measure.measurements(linear_sample(), 28.0)
    assert [m.by for m in found] == ["chill", "coil"]
    assert found[0].taken_percent == pytest.approx(0.75 * 90.0, abs=1.5)
    assert found[1].taken_percent == pytest.approx(0.75 * 10.0, abs=1.5)
    assert found[0].settled_percent > found[1].settled_percent
    assert next_measure.fitted_percent(linear_sample()) > 97.0
    assert linear_sample().deciding()[0] == "the freezer's capacity"


def test_the_share_counts_draws_and_the_worst_is_the_warmest() -> None:
    sample = linear_sample()
    assert sample.share_percent == pytest.approx(95.0, abs=1.0)
    assert sample.rows[sample.worst].warmth_c == max(row.warmth_c for row in sample.rows)


def record(draws: list[list[Any]], wanted: float = 95.0, **changes: Any) -> dict[str, Any]:
    """A made-up verdict whose promises are ice, at most 0.3 kg, and hours, at least 90 %."""
    found = made_verdict.found()
    ice, hours = found["promises"]
    found["promises"] = [{**ice, "safety": True}, {**hours, "safety": False}]
    whole = {"wanted_percent": wanted, "draws": draws, "summers": [], "violations": 0}
    return {**found, "plausible": {**whole, **changes}}


GOOD, WARM, ICY = [0.1, 95.0], [0.1, 60.0], [0.4, 95.0]


@pytest.mark.parametrize(
    ("draws", "kept", "depends"),
    [
        ([GOOD] * 20, True, False),
        ([GOOD] * 19 + [WARM], True, False),
        ([GOOD] * 18 + [WARM] * 2, False, True),
        ([GOOD] * 10 + [WARM] * 10, False, True),
        ([GOOD] * 9 + [WARM] * 11, False, False),
        ([GOOD] * 199 + [ICY], False, False),  # safety holds in every draw
        ([GOOD] * 19 + [[None, 95.0]], True, False),
    ],
)
def test_the_rule_is_worked_out_from_the_draws(
    draws: list[list[Any]], kept: bool, depends: bool
) -> None:
    found = record(draws)
    assert rule.kept(found) is kept
    assert rule.depends(found) is depends


def test_summers_and_invariants_of_the_draws_count_too() -> None:
    assert not rule.kept(record([GOOD] * 20, summers=[{"draw": 3, "values": ICY}]))
    assert not rule.kept(record([GOOD] * 20, violations=1))
    assert rule.kept(record([GOOD] * 10 + [WARM] * 10, wanted=50.0))
    with pytest.raises(LookupError):
        rule.kept(record([GOOD] * 20, wanted=5.0))
    with pytest.raises(LookupError):
        rule.kept(record([]))


def test_too_few_draws_are_one_line(capsys: pytest.CaptureFixture[str]) -> None:
    from springhouse_host import cli

    assert cli.run(["prove", "demo", "--draws", "3"]) == EXIT_BAD_INPUT
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err == "--draws 3: at least 16\n"


def test_of_all_readings_the_answer_nearest_its_limit_is_shown() -> None:
    found = [
        ("tray fills", Response(3, "off: pump", 90.0, 60.0)),
        ("tray fills, low reading of the labels", Response(3, "off: pump", 90.0, 80.0)),
        ("tray fills, high reading of the labels", Response(3, "off: pump", 90.0, 10.0)),
        ("clock lost", Response(7, "off: fan", 90.0, None)),
        ("clock lost, high reading of the labels", Response(7, "off: fan", 90.0, 89.0)),
    ]
    verdict: Any = SimpleNamespace(responses=lambda: found)
    shown = Verdict.hardest(verdict)
    assert [name for name, _ in shown] == ["tray fills, low reading of the labels", "clock lost"]
    assert [r.value for _, r in shown] == [80.0, None]
    assert Verdict.not_shown(verdict) == []

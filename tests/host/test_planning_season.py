"""A season planned ahead: forecasts that err, prices, a few days and a summer."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

import numpy as np
import pytest
from springhouse_host import screen
from springhouse_host.commands.worth import _show_planned
from springhouse_host.planning import around, season
from springhouse_host.planning.room_response import RoomResponse
from springhouse_host.proof import scenarios
from springhouse_host.site import load_site
from springhouse_host.site.tables import PLAN_DECIDES
from springhouse_host.worth.ahead import PlannedRow, PlannedSummer, closed
from springhouse_sim.bench import parameters
from springhouse_sim.plant import state

ROOM = {"schedule.plan_decides": "charging and wanted hours"}
HOT = datetime(2001, 7, 16)


def surroundings(warmer_k: float = 0.0) -> around.Around:
    site = load_site("demo")
    weather = site.read_weather().warmer(warmer_k)
    return around.Around(weather, site.calendar(HOT), (site.people(),))


def test_a_room_in_other_weather_is_that_of_the_plant() -> None:
    """The whole plant, two days three kelvins warmer, against two nodes and the place."""
    site = load_site("demo")
    runs = [around.without_store(site, surroundings(k), 2.0) for k in (0.0, 3.0)]
    response = RoomResponse(parameters(site.plant()))
    air_k, mass_k, place_k = response.warmer(np.full(192, 3.0), np.zeros(192))
    for name, found in (("room_air_c", air_k[:-1]), ("room_mass_c", mass_k[:-1])):
        before, after = (run.column(name)[::15] for run in runs)
        assert np.abs((after - before) - found).max() < 0.12, name
        assert after[-1] - before[-1] > 0.3
    before, after = (run.column("place_c")[15::15] for run in runs)
    assert np.abs((after - before) - place_k[: len(before)]).max() < 0.35


@pytest.mark.parametrize("name", [season.BY_HOUR, season.BY_QUARTER])
def test_made_up_prices_are_always_the_same_and_some_are_negative(name: str) -> None:
    site = load_site("demo")
    week = replace(scenarios.whole_summer(site), days=92)
    prices = season.tariff_of(site, week, name)
    series = prices.price_kwh  # type: ignore[attr-defined]
    again = season.tariff_of(site, week, name).price_kwh  # type: ignore[attr-defined]
    assert np.array_equal(series, again)
    own = (0.34 * 16 + 0.21 * 8) / 24  # of the demo's two rates
    assert series.mean() == pytest.approx(own, rel=0.02)
    assert 0.02 < (series < 0.0).mean() < 0.12
    first = prices.first  # type: ignore[attr-defined]
    assert prices.rate(first).price_kwh == series[0]
    assert prices.minutes_to_change(first.replace(minute=7)) == (
        53 if name == season.BY_HOUR else 8
    )


def test_what_is_not_known_yet_is_not_used() -> None:
    """Beyond tomorrow's prices stand today's; the room errs from the start on, never before."""
    site = load_site("demo")
    free = around.without_store(site, surroundings(), 4.0)
    count = 4 * 96
    price = np.arange(count, dtype=np.float64)
    flags = np.ones(count, np.bool_)
    whole = season.of_trace(free, price, flags, flags)
    outdoor, sun = free.column("outdoor_c")[::15], free.column("sun_w")[::15]
    response = RoomResponse(parameters(site.plant()))
    for forecast in season.FORECASTS:
        known = season.KnownAhead(whole, outdoor, sun, response, forecast, surely=False)
        found = known.ahead(96 + 72, 96 + 72 + 120)
        assert found.quarters == 192
        assert found.air_c[0] == whole.air_c[168]
        if forecast == season.PERFECT:
            assert np.array_equal(found.price, price[168:360])
            assert np.array_equal(found.air_c, whole.air_c[168:361])
        else:
            assert np.array_equal(found.price[:120], price[168:288])
            assert np.array_equal(found.price[120:], price[168 + 24 : 264])
            assert np.abs(found.air_c - whole.air_c[168:361]).max() > 0.05
    changed = whole.with_price(np.where(np.arange(count) >= 288, -1.0, price))
    for forecast in (season.NOISE, season.PERSISTENCE):
        pair = [
            season.KnownAhead(w, outdoor, sun, response, forecast, surely=False).ahead(168, 288)
            for w in (whole, changed)
        ]
        assert np.array_equal(pair[0].price, pair[1].price)


def test_the_share_of_the_gap_that_is_closed() -> None:
    """By hand: of 20 to a bound of -5, 10 is two fifths of the way."""
    assert closed(20.0, 10.0, -5.0) == pytest.approx(0.4)
    assert closed(20.0, 22.0, 10.0) == pytest.approx(-0.2)
    assert closed(20.0, 10.0, None) is None
    assert closed(20.0, 20.0, 20.0) is None


def test_some_days_planned_ahead_cost_less_and_are_no_warmer() -> None:
    site = load_site("demo", ROOM)
    days = scenarios.Scenario("", "nominal", HOT, 6)
    fixed = season.run_fixed("demo", ROOM, days)[season.OWN]
    planned = season.planned(site, days, season.OWN, season.NOISE)
    assert planned.cost < 0.9 * fixed.cost
    assert planned.hours_over <= fixed.hours_over + 0.1
    assert planned.store_off_k is not None
    assert planned.store_off_k < 1.0


def test_invariants_hold_under_a_planned_season() -> None:
    site = load_site("demo", ROOM)
    days = scenarios.Scenario("", "nominal", HOT, 3)
    seen = []

    def keep(site, scenario, trace, prices, off_k=None):
        seen.append(trace)
        return season.Figures(0.0, 0.0, 0.0, None, 0)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(season, "figures", keep)
        season.planned(site, days, season.BY_QUARTER, season.PERFECT)
    assert not seen[0].violations.any()
    assert seen[0].cases[31] > 1000
    assert seen[0].ended[state.ICE_KG : state.ICE_KG + state.LAYERS].sum() == 0.0


def test_the_table_fits_a_narrow_screen(monkeypatch, capsys) -> None:
    monkeypatch.setattr(screen, "PIPED_WIDTH", 80)
    came = season.Figures(123.45, 1234.5, 123.4, 26.25, 123, 0.2)
    rows = [
        PlannedRow(tariff, word, forecast, came, 0.345)
        for tariff in season.TARIFFS
        for word in PLAN_DECIDES
        for forecast in season.FORECASTS
    ]
    found = PlannedSummer(tuple(rows), dict.fromkeys(season.TARIFFS, 2.5))
    _show_planned(found, load_site("demo"), True)
    shown = [line.rstrip() for line in capsys.readouterr().out.splitlines()]
    assert max(map(len, shown)) <= 80
    assert any(
        "34 %" in line and "charging+room, 2-5 °F off" in line and " 79.2 " in line
        for line in shown
    )


@pytest.mark.slow
def test_a_summer_planned_ahead_closes_part_of_the_gap() -> None:
    from springhouse_host.worth.ahead import least

    site = load_site("demo", ROOM)
    summer = scenarios.whole_summer(site)
    fixed = season.run_fixed("demo", ROOM, summer)[season.OWN]
    bound = least("demo", ROOM, summer, season.OWN, fixed.hours_over)
    assert bound is not None
    for forecast in (season.NOISE, season.PERFECT):
        came = season.planned(site, summer, season.OWN, forecast)
        assert bound <= came.cost
        assert (fixed.cost - came.cost) / (fixed.cost - bound) > 0.25
        assert came.hours_over <= fixed.hours_over + 1.0

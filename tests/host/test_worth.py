"""`springhouse worth`: the other ways, prices by the minute, break-even, words, refusals."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from springhouse import setting
from springhouse_host import cli
from springhouse_host.errors import KnownError
from springhouse_host.proof import running, scenarios
from springhouse_host.site import load_site, owner_prices
from springhouse_host.worth import verdict, ways
from springhouse_sim.plant import state
from springhouse_sim.world.night_air import NightAir
from springhouse_sim.world.stage import Calendar
from springhouse_sim.world.windows import Window

DEMO = load_site("demo")
THREE = scenarios.single(DEMO, None, 3)
LIMIT_C = running.room_limit_c(DEMO)


def flat_season(kw: np.ndarray, share: float = 1.0) -> ways.Season:
    """A week of made-up minutes from a Monday on, that takes twice its electricity as heat."""
    calendar = Calendar(THREE.start.replace(year=2001, month=7, day=2))
    wanted = np.ones(len(kw), bool)
    return ways.Season(kw, 2.0 * kw, wanted, calendar, 168.0 * (1 - share), share, 26.0)


def made_up(**share: float) -> dict[str, ways.Season]:
    """Seasons in which the store draws 1 kW at night and 0 by day; the rest draw nothing."""
    night = np.tile(np.arange(1440) < 7 * 60, 7) * 1.0
    found = {
        way: flat_season(0.0 * night, share.get(way.split()[-1], 0.0)) for way in ways.SIMULATED
    }
    return found | {ways.STORE: flat_season(night, share.get("store", 1.0))}


def test_prices_by_the_minute_cost_what_the_meter_counts() -> None:
    trace = running.bench(DEMO, THREE).run(3)
    found = ways.season_of(trace, LIMIT_C)
    assert found.kwh == pytest.approx(trace.energy_kwh()["mains"])
    assert verdict.cost(found, DEMO.tariff()) == pytest.approx(trace.cost, rel=2e-3)
    # one sample a minute against the running totals of the plant
    coil_j = trace.total(state.ROOM_TO_COIL_SENSIBLE_J) + trace.total(state.ROOM_TO_COIL_LATENT_J)
    sampled_w = trace.column("coil_sensible_w") + trace.column("coil_latent_w")
    assert sampled_w.clip(0.0).sum() * 60.0 == pytest.approx(coil_j, rel=0.01)
    taken_j = coil_j + trace.total(state.ROOM_TO_TUBE_J)
    assert taken_j > 1.02 * coil_j
    assert found.cold_kwh == pytest.approx(taken_j / 3.6e6)


def test_night_air_brings_the_cold_of_its_volume() -> None:
    """EN ISO 13790: air carries 1200 J/(m3 K), 0.33 Wh/(m3 K)."""
    air = NightAir(32.0, 6.0, (Window(0, 0),))
    scenario = scenarios.without_store(THREE)
    trace = running.bench(DEMO, scenario, kind=ways._aired(air)).run(1)
    rows = np.array(air.opened) // 60_000
    rows = rows[rows < 1440]
    assert 20 < len(rows) < 144
    warmer_k = trace.column("outdoor_c") - trace.column("room_air_c")
    changes = np.full(len(warmer_k), DEMO.plant().room.infiltration_ach)
    for row in rows:
        changes[row : row + 10] += 6.0
    expected_kwh = 1200.0 / 3.6e6 * 32.0 * float(changes @ warmer_k) / 60.0
    assert expected_kwh < -0.4
    # thinner air, 270 m up and warm, carries 4 % less
    assert trace.room_heat_kwh()["infiltration_sensible"] == pytest.approx(expected_kwh, rel=0.08)
    assert trace.column("room_air_c")[rows].min() > 19.5


def test_no_storage_chills_in_the_wanted_hours_only() -> None:
    direct = ways.season(DEMO, THREE, ways.DIRECT)
    resting_kw = direct.kw[~direct.wanted]
    assert direct.kw[direct.wanted].max() > 0.08
    # the least run of the compressor may go on for some minutes after they end, and once a night
    # the little water there is is held
    least_min = DEMO.settings()[setting.MIN_ON_S] / 60
    assert (resting_kw > 0.05).sum() <= THREE.days * (least_min + 1 + 10)
    assert direct.cold_kwh < ways.season(DEMO, THREE, ways.STORE).cold_kwh


def test_the_break_even_ratio_is_where_both_cost_the_same() -> None:
    """A kWh of cold costs cheap / e_store or dear / e_cooler: equal at dear/cheap = e_c / e_s."""
    site = load_site("demo", {"worth.cooler_w_per_w": 3.0})
    result = verdict.judge(site, made_up(), [])
    assert result.store_w_per_w == pytest.approx(2.0)
    (own,) = result.tariffs
    assert own.break_even == pytest.approx(1.5)
    day_cold = flat_season(np.tile(np.arange(1440) >= 12 * 60, 7) * 1.0)
    moved = made_up() | {ways.STORE: replace(made_up()[ways.STORE], cold_kw=day_cold.kw * 7 / 6)}
    for dear, cheaper in ((0.29, verdict.COOLER), (0.31, ways.STORE)):
        name, tariff = owner_prices.read_tariff(f"0.20/{dear}@00:00-07:00")
        line = verdict.on_tariff(name, tariff, verdict.with_cooler(moved, 3.0))
        assert line.break_even == pytest.approx(3.0 / 2.0)
        assert min((ways.STORE, verdict.COOLER), key=lambda way: line.costs[way]) == cheaper
        assert line.price_ratio == pytest.approx(dear / 0.20)


@pytest.mark.parametrize(
    ("share", "changes", "says"),
    [
        ({"store": 0.5}, {}, "NOT WORTH IT as it stands: 50 % of the wanted hours kept, 90 asked"),
        ({"nothing": 1.0}, {}, "NOT WORTH IT: the room keeps the promise by itself"),
        ({"ventilation": 1.0}, {}, "NOT WORTH IT: windows opened at night"),
        ({}, {"worth.cooler_price": 100}, "NOT WORTH IT for the money: room cooler costs"),
        ({}, {"worth.cooler_price": 5000}, "WORTH IT: it costs less a year"),
        ({}, {"worth.cooler_price": 400}, "NOT WORTH IT unless the parts cost"),
    ],
)
def test_it_says_when_it_is_not_worth_it(
    share: dict[str, float], changes: dict[str, float], says: str
) -> None:
    site = load_site("demo", changes)
    result = verdict.judge(site, made_up(**share), [])
    assert result.headline.startswith(says)
    assert result.worth == says.startswith("WORTH")


def test_parts_may_cost_just_so_much() -> None:
    result = verdict.judge(DEMO, made_up(), [])
    assert result.parts_at_most is not None
    changes = dict.fromkeys(("worth.parts_low", "worth.parts_mid", "worth.parts_high"))
    just = load_site("demo", changes | {key: result.parts_at_most - 0.01 for key in changes})
    over = load_site("demo", changes | {key: result.parts_at_most + 0.01 for key in changes})
    assert verdict.judge(just, made_up(), []).worth
    assert not verdict.judge(over, made_up(), []).worth


def test_prices_of_parts_change_no_proof() -> None:
    assert load_site("demo", {"worth.cooler_price": 9.0}).site_sha256 == DEMO.site_sha256


def test_table_and_record(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(scenarios, "whole_summer", lambda site: THREE)
    record = tmp_path / "w.json"
    arguments = ("worth", "demo", "--tariff", "0.30", "--with", "worth.parts_mid=300")
    assert cli.run([*arguments, "--json", str(record)]) == 0
    screen = capsys.readouterr().out
    for word in (*ways.SIMULATED, verdict.COOLER, "flat 0.3", "our own neutral defaults"):
        assert word in screen
    told = json.loads(record.read_text("utf-8"))
    by_way = {line["way"]: line for line in told["lines"]}
    assert by_way["doing nothing"]["hours_over"] > by_way["night ventilation"]["hours_over"]
    assert by_way["the store"]["buys"] == 300.0


@pytest.mark.parametrize(
    ("arguments", "line"),
    [
        (("--tariff", "cheap"), "--tariff cheap: 'cheap': a price a kWh from 0 to 10000"),
        (("--tariff", "0.1/0.3"), "expected PRICE, CHEAP/DEAR@HOURS"),
        (("--tariff", "0.1/0.3@nights"), "expected PRICE, CHEAP/DEAR@HOURS"),
        (("--tariff", "none.csv"), "--tariff none.csv: "),
        (("--with", "coil.fans=3"), "only worth.KEY and tariff.KEY"),
        (("--with", "worth.parts_low=9", "--with", "worth.parts_high=8"), "parts_low <= parts_mid"),
        (("--with", "worth.cooler_w_per_w=99"), "from 0.5 to 15"),
        (("--json", "nowhere/w.json"), "nowhere/w.json: cannot be written"),
    ],
)
def test_bad_input_is_one_line(
    arguments: tuple[str, ...], line: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.run(["worth", "demo", *arguments]) == 2
    out = capsys.readouterr()
    assert (out.out, len(out.err.splitlines())) == ("", 1)
    assert line in out.err


def test_chilling_at_need_takes_two_windows_for_each_wanted_one() -> None:
    many = [f"{h:02}:00-{h:02}:30" for h in range(7, 20)]
    site = load_site("demo", {"schedule.wanted": many, "schedule.no_start": []})
    with pytest.raises(KnownError, match="to compare with chilling at need"):
        ways.settings_at_need(site.settings())

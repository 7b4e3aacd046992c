"""What a site file may state instead of a label: pull-down, foam, coefficients, bank, prices.

E9: foam arithmetic; R9: compressor polynomial; B1: battery arithmetic. Power-bank shares are common
practice, no source.
"""

from datetime import datetime, timedelta

import numpy as np
import pytest
from site_text import edited, site_of
from springhouse_host.errors import SiteError
from springhouse_sim.plant import param
from springhouse_sim.world.people import heat_of_person_w
from springhouse_sim.world.prices import HourlyPrices

PULL_DOWN = (
    ("freezer.pull_down_h", "13"),
    ("freezer.pull_down_from_c", "20"),
    ("freezer.pull_down_to_c", "8"),
    ("freezer.pull_down_place_c", "24"),
)


def test_measured_pull_down_replaces_the_label(tmp_path) -> None:
    """Slower by a quarter means about a quarter less capacity, and the grade is measured."""
    slow = [(key, "16.25" if key.endswith("down_h") else value) for key, value in PULL_DOWN]
    found = [site_of(tmp_path, edited(*change)).known["freezer.capacity_w"]
             for change in (PULL_DOWN, slow)]  # fmt: skip
    assert all(known.grade == "measured" for known in found)
    assert found[1].mid / found[0].mid == pytest.approx(0.8, abs=0.06)
    assert found[0].low == pytest.approx(0.9 * found[0].mid)


def test_impossible_pull_down_is_one_line(tmp_path) -> None:
    fast = [(key, "0.3" if key.endswith("down_h") else value) for key, value in PULL_DOWN]
    with pytest.raises(SiteError) as refused:
        site_of(tmp_path, edited(*fast))
    assert len(refused.value.lines) == 1
    assert ": freezer.pull_down_h: 0.3: mid reading of it: 0.3 is outside" in refused.value.lines[0]
    assert refused.value.lines[0].count("site.toml") == 1


def test_foam_gives_the_cabinet(tmp_path) -> None:
    """E9: 0.45 x 0.40 x 0.78 m, 60 mm: 0.761 W/K, 15 % for films, edges and seal."""
    changes = [("freezer.foam_mm", "60"), ("freezer.cabinet_litres", "141"),
               ("store.water_litres", "90"), ("store.probe_high_m", "0.4")]  # fmt: skip
    sides = zip(("length", "width", "depth"), ("0.45", "0.40", "0.78"), strict=True)
    changes += [(f"freezer.inner_{side}_m", metres) for side, metres in sides]
    known = site_of(tmp_path, edited(*changes)).known["freezer.cabinet_ua_w_k"]
    assert known.mid == pytest.approx(0.761, rel=0.15)
    assert known.high > 1.4 * known.mid  # aged foam


def test_compressor_coefficients_of_the_standard(tmp_path) -> None:
    """R9: the polynomial is read back inside its envelope, capacity and input."""
    capacity = [300, 6, -1, *[0] * 7]
    power = [80, 1, 0.5, *[0] * 7]
    site = site_of(
        tmp_path,
        edited(
            ("freezer.capacity_coefficients", str(capacity)),
            ("freezer.input_coefficients", str(power)),
            ("freezer.evaporating_c", "[-35, -10]"),
            ("freezer.condensing_c", "[30, 60]"),
        ),
    )
    p = site.plant().params()
    i = int((-25.0 - param.CYCLE_EVAPORATING_FROM_C) / param.CYCLE_EVAPORATING_STEP_C)
    j = int((45.0 - param.CYCLE_CONDENSING_FROM_C) / param.CYCLE_CONDENSING_STEP_C)
    k = i * param.CYCLE_CONDENSING_POINTS + j
    assert p[param.INPUT_W + k] == pytest.approx(80 - 25 + 22.5, rel=1e-6)
    assert p[param.CAPACITY_W + k] == pytest.approx(300 - 150 - 45, rel=1e-6)
    assert p[param.RATED_EVAPORATING_HIGH_C] == -10.0


@pytest.mark.parametrize(
    ("word", "total_w"), [("seated", 115.0), ("office", 130.0), ("asleep", 73.0)]
)
def test_people_do_what_the_site_says(tmp_path, word: str, total_w: float) -> None:
    """L1, L3: 115 W seated and 130 W at office work; L6: about 73 W asleep."""
    site = site_of(tmp_path, edited(("room.people_activity", f'"{word}"')))
    (there,) = site.people().occupancy
    assert sum(heat_of_person_w(there.activity, 24.0)) == pytest.approx(total_w, abs=0.5)


def test_power_bank_counts_cell_mah(tmp_path) -> None:
    """B1's arithmetic: 20 000 mAh of 3.7 V cells are 74 Wh, of which 0.55 to 0.75 arrive."""
    site = site_of(
        tmp_path,
        edited(
            ("battery.kind", '"power_bank"'),
            ("battery.usable_wh", ""),
            ("battery.cell_mah", "20000"),
            ("battery.least_load_w", "1.2"),
            ("battery.drops_on_changeover", "true"),
        ),
    )
    known = site.known["battery.usable_wh"]
    assert (known.low, known.mid, known.high) == pytest.approx((40.7, 48.1, 55.5))
    battery = site.plant("low").battery
    assert battery.usable_wh == pytest.approx(40.7)
    assert battery.min_load_w == 1.2
    assert battery.drops_on_changeover
    assert any("ends without a warning" in line for line in site.unguarded())


def test_fans_in_series_share_the_free_air_of_one(tmp_path) -> None:
    """Two in series push against the coil with twice the pressure and move at most one's air."""
    side = site_of(tmp_path, edited()).plant().coil
    series = site_of(tmp_path, edited(("coil.fans_in_series", "true"))).plant().coil
    assert series.total_free_air_m3_h == side.total_free_air_m3_h / 2
    assert series.rated_air_m3_h < side.rated_air_m3_h
    assert series.rated_air_m3_h > 0.5 * side.rated_air_m3_h


def test_hourly_prices_and_standing_charge(tmp_path) -> None:
    first = datetime(2025, 7, 7)
    rows = [f"{first + timedelta(hours=i):%Y-%m-%dT%H:%M},{0.1 + i / 1000}" for i in range(168)]
    (tmp_path / "p.csv").write_text("time,price_per_kwh\n" + "\n".join(rows) + "\n", "utf-8")
    changes = [("tariff.price_per_kwh", ""), ("tariff.cheap_price_per_kwh", ""),
               ("tariff.cheap_hours", ""), ("tariff.prices_csv", '"p.csv"'),
               ("tariff.standing_per_day", "0.5")]  # fmt: skip
    site = site_of(tmp_path, edited(*changes))
    prices = site.tariff()
    assert isinstance(prices, HourlyPrices)
    assert prices.standing_per_day == 0.5
    assert prices.rate(datetime(2025, 7, 8, 3)).price_kwh == pytest.approx(0.127)
    before = site.site_sha256
    (tmp_path / "p.csv").write_text("time,price_per_kwh\n" + "\n".join(rows[:24]) + "\n", "utf-8")
    again = site_of(tmp_path, edited(*changes))
    assert again.site_sha256 != before
    (tmp_path / "p.csv").write_text("time,price_per_kwh\n" + "\n".join(rows[:30]) + "\n", "utf-8")
    with pytest.raises(SiteError, match=r"tariff\.prices_csv: .*30 hours of prices"):
        site_of(tmp_path, edited(*changes)).tariff()


def test_a_design_day_in_place_of_a_file(tmp_path) -> None:
    """Mean of a sinusoid: highest less half the range."""
    site = site_of(
        tmp_path,
        edited(
            ("weather.source", ""),
            ("weather.design_highest_c", "34"),
            ("weather.design_range_k", "10"),
            ("weather.design_dew_point_c", "20"),
            ("weather.latitude_degrees", "36"),
            ("weather.longitude_degrees", "-80"),
            ("weather.utc_offset_h", "-5"),
        ),
    )
    weather = site.read_weather()
    assert weather.temp_air_c.mean() == pytest.approx(29.0)
    assert np.all(weather.dew_point_c == 20.0)
    assert len(site.site_sha256) == 64


def test_no_check_valve_no_prime(tmp_path) -> None:
    assert site_of(tmp_path, edited()).plant().loop.check_valve
    assert not site_of(tmp_path, edited(("loop.valves", "0"))).plant().loop.check_valve

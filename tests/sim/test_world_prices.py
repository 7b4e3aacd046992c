"""Hourly prices and standing charges against sums by hand."""

from datetime import datetime, timedelta
from pathlib import Path

import bench_rig as rig
import pytest
from springhouse_sim.world import prices, tariff

MONDAY = datetime(2025, 7, 7)


def write(path: Path, hours: int, first: datetime = MONDAY, bad: tuple[int, str] = (0, "")) -> Path:
    """Write a price for each hour: its number in the file, in hundredths."""
    lines = ["time,price_per_kwh"]
    for i in range(hours):
        lines.append(f"{first + timedelta(hours=i):%Y-%m-%dT%H:%M},{i / 100.0}")
    if bad[0]:
        lines[bad[0] - 1] = bad[1]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def test_a_day_a_week_and_a_year(tmp_path: Path) -> None:
    day = prices.read_prices(write(tmp_path / "d.csv", 24))
    week = prices.read_prices(write(tmp_path / "w.csv", 168))
    year = prices.read_prices(write(tmp_path / "y.csv", 8760, datetime(2025, 1, 1)))
    tuesday = datetime(2025, 7, 8, 5, 30)
    assert day.rate(tuesday).price_kwh == pytest.approx(0.05)
    assert week.rate(tuesday).price_kwh == pytest.approx(0.29)
    hour_of_year = (datetime(2025, 7, 8) - datetime(2025, 1, 1)).days * 24 + 5
    assert year.rate(tuesday).price_kwh == pytest.approx(hour_of_year / 100.0)
    # A leap year's extra day costs what the day before did.
    assert year.rate(datetime(2024, 2, 29, 5)) == year.rate(datetime(2024, 2, 28, 5))
    assert day.minutes_to_change(tuesday) == 30
    assert day.mean_kwh() == pytest.approx(0.115)
    assert day.mean_kwh(set(range(60, 180))) == pytest.approx(0.015)


def test_cost_of_a_run_by_hourly_prices_and_standing_charge(tmp_path: Path) -> None:
    """A board of 1 W through a supply of 85 %, a day: 0.028 kWh at a mean of 0.115, plus 0.40."""
    day = prices.read_prices(write(tmp_path / "d.csv", 24), standing_per_day=0.40)
    trace = rig.bench(rates=day, with_controller=False, compile_ticks=True).run(1.0)
    kwh = trace.energy_kwh()["mains"]
    assert trace.kwh_by_rate[prices.NAME] == pytest.approx(kwh, rel=1e-9)
    assert trace.cost == pytest.approx(0.40 + 0.115 * kwh, rel=1e-6)


def test_standing_charge_of_a_plain_tariff() -> None:
    two = tariff.flat(0.30, standing_per_day=0.55)
    trace = rig.bench(rates=two, with_controller=False, compile_ticks=True).run(0.5)
    assert trace.cost == pytest.approx(0.275 + 0.30 * trace.energy_kwh()["mains"], rel=1e-9)
    with pytest.raises(ValueError, match=r"Tariff\.standing_per_day: -1 is below 0"):
        tariff.flat(0.30, -1.0)


@pytest.mark.parametrize(
    ("hours", "first", "bad", "message"),
    [
        (25, MONDAY, (0, ""), "25 hours of prices, needed are 24"),
        (24, MONDAY, (1, "time,price"), "line 1: the columns must be time,price_per_kwh"),
        (24, MONDAY, (4, "2025-07-07T09:00,1"), "line 4, column time: 2025-07-07 09:00:00 where"),
        (24, MONDAY, (5, "2025-07-07T03:00,cheap"), "line 5, column price_per_kwh: 'cheap' is no"),
        (24, MONDAY, (5, "2025-07-07T03:00,nan"), "line 5, column price_per_kwh: 'nan' is no"),
        (24, MONDAY, (5, "early,1"), "line 5, column time: 'early' is no ISO time"),
        (24, MONDAY.replace(hour=1), (0, ""), "must begin at 00:00"),
        (168, MONDAY + timedelta(days=1), (0, ""), "must begin on a Monday"),
        (8760, datetime(2025, 2, 1), (0, ""), "must begin on 1 January"),
    ],
)
def test_bad_prices_are_refused_in_one_line(
    tmp_path: Path, hours: int, first: datetime, bad: tuple[int, str], message: str
) -> None:
    with pytest.raises(ValueError, match=message) as caught:
        prices.read_prices(write(tmp_path / "p.csv", hours, first, bad))
    assert str(tmp_path / "p.csv") in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_leap_year_of_prices(tmp_path: Path) -> None:
    """The prices after 29 February stay on their days."""
    start = datetime(2024, 1, 1)
    rows = [f"{start + timedelta(hours=k):%Y-%m-%dT%H:%M},{k}" for k in range(8784)]
    path = tmp_path / "p.csv"
    path.write_text("time,price_per_kwh\n" + "\n".join(rows) + "\n")
    told = prices.read_prices(path)
    for at in (datetime(2024, 2, 28, 23), datetime(2024, 3, 1), datetime(2024, 12, 31, 23)):
        assert told.rate(at).price_kwh == (at - start).total_seconds() / 3600
    path.write_text("time,price_per_kwh\n" + "\n".join(rows[:8760]) + "\n")
    with pytest.raises(ValueError, match="a leap year has 8784"):
        prices.read_prices(path)

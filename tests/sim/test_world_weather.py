"""Weather files, their traps, the sun and the chosen days, against check-values section 12.

Figures there were computed from the files pvlib ships, independently of this project.
"""

from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from springhouse_sim.world import days, design_day, weather, weather_files
from springhouse_sim.world.sun import Glazing, through_window_w

GREENSBORO, MIAMI, SAND_POINT = "723170TYA.CSV", "12839.tm2", "703165TY.csv"


def load(name: str) -> weather.Weather:
    return weather_files.read(weather_files.shipped(name), 2025)


def of_month(w: weather.Weather, month: int) -> np.ndarray:
    """Rows of a month; the hour stamped 24:00 belongs to the day that ends."""
    return np.array([(s - timedelta(hours=1)).month == month for s in w.stamps])


@pytest.mark.parametrize(
    ("name", "mean_c"), [(GREENSBORO, 14.42), (MIAMI, 24.31), (SAND_POINT, 4.42)]
)
def test_annual_mean_dry_bulb(name: str, mean_c: float) -> None:
    """Section 12, check figures, +-0.01."""
    assert load(name).temp_air_c.mean() == pytest.approx(mean_c, abs=0.01)


@pytest.mark.parametrize(
    ("name", "air_max", "dew_max", "air_mean", "dew_mean"),
    [
        (GREENSBORO, (33.9, 35.6, 33.9), (22.8, 25.0, 24.4), (23.60, 25.43, 24.76),
         (18.81, 19.82, 19.56)),
        (MIAMI, (33.9, 32.2, 33.3), (26.1, 26.1, 25.6), (27.30, 27.96, 27.89),
         (21.54, 23.13, 22.61)),
    ],
)  # fmt: skip
def test_summer_months(
    name: str,
    air_max: tuple[float, ...],
    dew_max: tuple[float, ...],
    air_mean: tuple[float, ...],
    dew_mean: tuple[float, ...],
) -> None:
    """Section 12, summer column. Means +-0.03: the table's months begin an hour off ours."""
    w = load(name)
    for i, month in enumerate((6, 7, 8)):
        rows = of_month(w, month)
        assert w.temp_air_c[rows].max() == pytest.approx(air_max[i], abs=0.01)
        assert w.dew_point_c[rows].max() == pytest.approx(dew_max[i], abs=0.01)
        assert w.temp_air_c[rows].mean() == pytest.approx(air_mean[i], abs=0.03)
        assert w.dew_point_c[rows].mean() == pytest.approx(dew_mean[i], abs=0.03)


def test_hottest_week_of_greensboro() -> None:
    """Section 12: ends 14 July, mean 28.59, dew point 21.46, 22.2 to 35.6 °C.

    The table slides its week by hours (checked here first); whole days lie within 0.03 K.
    """
    w = load(GREENSBORO)
    means = np.convolve(w.temp_air_c, np.ones(168) / 168, "valid")
    begin = int(means.argmax())
    assert means[begin] == pytest.approx(28.59, abs=0.005)
    assert w.dew_point_c[begin : begin + 168].mean() == pytest.approx(21.46, abs=0.005)
    found = days.hottest(w)
    assert found.first == date(2025, 7, 8)
    assert found.count == 7
    assert found.mean_c == pytest.approx(28.59, abs=0.03)
    assert found.mean_dew_c == pytest.approx(21.46, abs=0.03)
    rows = [s.replace(tzinfo=None) > found.start for s in w.stamps]
    week = w.temp_air_c[rows.index(True) :][:168]
    assert (week.min(), week.max()) == (22.2, 35.6)


def test_typical_days_are_near_the_summer_mean() -> None:
    """Mean of June to August from the months of section 12: 24.61 °C, dew point 19.40 °C."""
    found = days.typical(load(GREENSBORO))
    assert found.count == 3
    assert found.first.month in (6, 7, 8)
    assert found.mean_c == pytest.approx(24.61, abs=0.5)
    assert found.mean_dew_c == pytest.approx(19.40, abs=0.5)


def test_summer_lies_in_winter_south_of_the_equator() -> None:
    w = load(GREENSBORO)
    south = replace(w, place=replace(w.place, latitude=-36.1))
    assert days.typical(south).first.month in (12, 1, 2)


@pytest.mark.parametrize("name", [GREENSBORO, MIAMI])
def test_irradiance_belongs_to_the_hour_before_its_stamp(name: str) -> None:
    """Over a year the middle of the day's sun is solar noon: 12 h + 4 min a degree of longitude.

    Afternoon clouds pull it forward by minutes; a stamp read an hour wrong moves it by an hour.
    """
    w = load(name)
    noon_h = 12.0 + w.place.utc_offset_h - w.place.longitude / 15.0
    middle_h = (np.arange(w.hours) + 0.5) % 24
    assert np.average(middle_h, weights=w.dni_w_m2) == pytest.approx(noon_h, abs=0.35)
    assert np.average(middle_h, weights=w.ghi_w_m2) == pytest.approx(noon_h, abs=0.35)


def test_hour_one_is_stamped_one_o_clock_in_both_formats() -> None:
    """Section 12: read_tmy2 stamps its hour 1 as 00:00, TMY3 as 01:00."""
    assert load(GREENSBORO).first == load(MIAMI).first == datetime(2025, 1, 1, 1)


def test_between_rows_and_round_the_year() -> None:
    w = load(GREENSBORO)
    assert w.between_rows(w.temp_air_c, 10.25) == pytest.approx(
        0.75 * w.temp_air_c[10] + 0.25 * w.temp_air_c[11]
    )
    assert w.hour_of(datetime(2025, 1, 1, 0, 30)) == -0.5
    assert w.between_rows(w.temp_air_c, -0.5) == pytest.approx(
        0.5 * (w.temp_air_c[-1] + w.temp_air_c[0])
    )


def test_window_under_an_overcast_sky() -> None:
    """No beam, isotropic sky: half the diffuse and half of what the ground throws back.

    By hand: area x g x (dhi / 2 + 0.2 ghi / 2), whatever the window looks at.
    """
    w = load(GREENSBORO)
    overcast = int(np.flatnonzero((w.dni_w_m2 == 0.0) & (w.ghi_w_m2 > 50.0))[0])
    by_hand = 1.5 * 0.6 * (w.dhi_w_m2[overcast] / 2 + 0.2 * w.ghi_w_m2[overcast] / 2)
    for azimuth in (0.0, 180.0, 270.0):
        got = through_window_w(w, Glazing(1.5, 0.6, azimuth, model="isotropic"))
        assert got[overcast] == pytest.approx(by_hand, rel=1e-6)
        assert got[0] == 0.0  # an hour after midnight


def test_west_window_gets_its_sun_in_the_afternoon() -> None:
    w = load(GREENSBORO)
    west = through_window_w(w, Glazing(1.0, 1.0, 270.0))
    east = through_window_w(w, Glazing(1.0, 1.0, 90.0))
    afternoon = np.arange(w.hours) % 24 >= 13
    assert west[afternoon].sum() > 2.0 * west[~afternoon].sum()
    assert east[~afternoon].sum() > 2.0 * east[afternoon].sum()


GOOD = ["2025-07-01T00:00,25,20,101325,0,0,0", "2025-07-01T01:00,24,20,101325,0,0,0"]
HEADER = "time,temp_air_c,dew_point_c,pressure_pa,ghi_w_m2,dni_w_m2,dhi_w_m2"
SITE = weather.Place(36.0, -80.0, 270.0, -5.0)


def write(folder: Path, *lines: str) -> Path:
    path = folder / "w.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def test_csv(tmp_path: Path) -> None:
    w = weather_files.read(write(tmp_path, HEADER, *GOOD), 2025, SITE)
    assert w.first == datetime(2025, 7, 1)
    assert list(w.temp_air_c) == [25.0, 24.0]
    with pytest.raises(ValueError, match=r"w\.csv: 2025-07-01 02:00:00 is outside"):
        w.hour_of(datetime(2025, 7, 1, 2))


@pytest.mark.parametrize(
    ("lines", "message"),
    [
        ([HEADER.replace("pressure_pa,", ""), *GOOD], "line 1: no column pressure_pa; needed:"),
        ([HEADER, GOOD[0]], "at least two hours are needed"),
        ([HEADER, GOOD[0], GOOD[1].replace("T01", "T02")],
         "line 3, column time: 2025-07-01 02:00:00 where 2025-07-01 01:00:00 is due"),
        ([HEADER, GOOD[0], GOOD[1].replace("T01:00", "T01:00-05:00")],
         "line 3, column time: '2025-07-01T01:00-05:00' must not carry an offset"),
        ([HEADER, GOOD[0], GOOD[1].replace("24", "")],
         "line 3, column temp_air_c: '' is no number"),
        ([HEADER, GOOD[0], GOOD[1].replace("24", "nan")],
         "line 3, column temp_air_c: 'nan' is no finite number"),
        ([HEADER, GOOD[0].replace(",25,20", ",77,68"), GOOD[1]],
         "line 2, column temp_air_c: 77 is outside -60 to 60 °C"),
        ([HEADER, GOOD[0].replace("101325", "1013.25"), GOOD[1]],
         "line 2, column pressure_pa: 1013.25 is outside 50000 to 110000 Pa"),
        ([HEADER, GOOD[0], GOOD[1].replace(",24,20", ",24,25")],
         "line 3, column dew_point_c: 25 is above the air's 24 °C"),
        ([HEADER, GOOD[0].replace("0,0,0", "0,0,-5"), GOOD[1]],
         "line 2, column dhi_w_m2: -5 is outside 0 to 1000 W/m2"),
    ],
)  # fmt: skip
def test_bad_csv_is_refused_in_one_line(tmp_path: Path, lines: list[str], message: str) -> None:
    path = write(tmp_path, *lines)
    with pytest.raises(ValueError, match=r"outside|column|needed|finite") as caught:
        weather_files.read(path, 2025, SITE)
    assert str(caught.value).startswith(f"{path}: {message}")
    assert "\n" not in str(caught.value)


def test_a_shortened_typical_year_is_refused(tmp_path: Path) -> None:
    lines = weather_files.shipped(GREENSBORO).read_text(encoding="utf-8").splitlines()
    path = tmp_path / "short.CSV"
    path.write_text("\n".join(lines[:2000]) + "\n", encoding="utf-8")
    with pytest.raises(ValueError, match=r"short\.CSV: 1998 rows, a typical year has 8760"):
        weather_files.read(path, 2025)


def test_something_else_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "else.csv"
    path.write_text("hello\nworld\n", encoding="utf-8")
    with pytest.raises(ValueError, match=r"else\.csv: not a TMY3 file"):
        weather_files.read(path, 2025)
    with pytest.raises(ValueError, match=r"none\.csv: cannot be read: No such file"):
        weather_files.read(tmp_path / "none.csv", 2025)


def test_humidity_column_of_a_csv(tmp_path: Path) -> None:
    """P4 (PsychroLib): 25 °C and 50 % have their dew point at 13.864 °C, 0.05 K."""
    header = HEADER.replace("dew_point_c", "relative_humidity_percent")
    rows = [row.replace(",20,101325", ",50,101325") for row in GOOD]
    w = weather_files.read(write(tmp_path, header, *rows), 2025, SITE)
    assert w.dew_point_c[0] == pytest.approx(13.864, abs=0.05)
    rows[1] = rows[1].replace(",50,", ",140,")
    with pytest.raises(ValueError, match=r"line 3, column relative_humidity_percent: 140 is outs"):
        weather_files.read(write(tmp_path, header, *rows), 2025, SITE)


DESIGN = design_day.DesignDay(7, 15, 34.0, 11.0, 21.0)


def test_design_day_is_a_sinusoid_with_its_top_at_three() -> None:
    """By construction: mean 28.5 °C, 34 to 23 °C, top at 15:00 solar time, dew point held."""
    w = design_day.weather(DESIGN, weather.Place(36.1, -80.0, 273.0, -5.333333), 2025)
    assert w.temp_air_c.mean() == pytest.approx(28.5, abs=1e-6)
    assert w.temp_air_c.max() == pytest.approx(34.0, abs=1e-6)
    assert w.temp_air_c.min() == pytest.approx(23.0, abs=1e-6)
    assert w.stamps[int(w.temp_air_c.argmax())].hour == 15
    assert set(w.dew_point_c) == {21.0}
    found = days.hottest(w)
    assert found.count == 7
    assert days.typical(w).mean_c == pytest.approx(28.5, abs=0.01)


def test_clear_sky_of_the_design_day_against_a_measured_clear_july() -> None:
    """Greensboro TMY3, the sunniest July days: total 8.0 to 8.5 kWh/m2 on the level; 10 %."""
    w = design_day.weather(DESIGN, weather.Place(36.10, -79.95, 273.0, -5.0), 2025)
    clear_kwh = w.ghi_w_m2[:24].sum() / 1000.0
    real = load(GREENSBORO)
    july = of_month(real, 7)
    best_kwh = real.ghi_w_m2[july].reshape(-1, 24).sum(axis=1).max() / 1000.0
    assert clear_kwh == pytest.approx(best_kwh, rel=0.10)


@pytest.mark.parametrize(
    ("change", "named"),
    [
        ({"highest_c": 80.0}, "DesignDay.highest_c: 80 is outside -10 to 55"),
        ({"range_k": -1.0}, "DesignDay.range_k"),
        ({"dew_point_c": 25.0}, "DesignDay.dew_point_c: 25 is above the coolest hour, 23 °C"),
        ({"month": 2, "day": 30}, "DesignDay: 2-30"),
    ],
)
def test_bad_design_days(change: dict[str, float], named: str) -> None:
    with pytest.raises(ValueError, match=named):
        replace(DESIGN, **change)

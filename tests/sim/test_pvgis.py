"""Files of PVGIS against the weather they were written from, clear skies of pvlib, and damage."""

from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pvgis_files import OFFSET_H, hourly_text, typical_text
from pvlib.location import Location
from springhouse_sim import outside
from springhouse_sim.world import days, pvgis, weather_files
from springhouse_sim.world.pvgis import Asked
from springhouse_sim.world.weather import RANGES, Weather
from test_world_weather import GREENSBORO, load

W = load(GREENSBORO)
MOISTURE = weather_files.shipped(GREENSBORO)
YEAR = typical_text(W)
SUN = ("ghi_w_m2", "dni_w_m2", "dhi_w_m2")
OFFSET = Asked(OFFSET_H)
ASKED = Asked(OFFSET_H, None, MOISTURE)


def written(folder: Path, text: str, name: str = "p.csv") -> Path:
    path = folder / name
    path.write_text(text, "utf-8", newline="")
    return path


def read(path: Path, asked: Asked = OFFSET) -> Weather:
    return weather_files.read(path, 2025, None, asked)


def refused(path: Path, asked: Asked = OFFSET) -> str:
    with pytest.raises(ValueError, match=r"^[^\n]+$") as caught:
        read(path, asked)
    return str(caught.value).removeprefix(f"{path}: ")


def daily(column: np.ndarray) -> np.ndarray:
    return column[: len(column) // 24 * 24].reshape(-1, 24).sum(axis=1)


def test_typical_year_is_the_one_it_was_written_from(tmp_path: Path) -> None:
    """Every hour's temperature, dew point and pressure; every day's sun, at the same hours."""
    got = read(written(tmp_path, YEAR))
    assert (got.first, got.cyclic, got.hours) == (W.first, True, W.hours)
    assert got.place.latitude == pytest.approx(W.place.latitude, abs=1e-3)
    np.testing.assert_allclose(got.temp_air_c, W.temp_air_c, atol=0.006)
    np.testing.assert_allclose(got.pressure_pa, W.pressure_pa, atol=0.6)
    dew_c = np.minimum(W.dew_point_c, W.temp_air_c)
    # Vapour over water below 0 °C on one side only: the sample's winter dew points are over ice.
    warm = dew_c > 0.5
    np.testing.assert_allclose(got.dew_point_c[warm], dew_c[warm], atol=0.01)
    for name in SUN:
        was, now = getattr(W, name), getattr(got, name)
        np.testing.assert_allclose(daily(now), daily(was), atol=0.2)
        middle = [np.average(np.arange(W.hours) % 24, weights=c) for c in (was, now)]
        assert middle[0] == pytest.approx(middle[1], abs=0.002)


def test_humidity_becomes_a_dew_point() -> None:
    """P4 (PsychroLib): 25 °C and 50 % have their dew point at 13.864 °C, 0.05 K."""
    got = pvgis.dew_points_c(np.array([25.0]), np.array([50.0]))
    assert got[0] == pytest.approx(13.864, abs=0.05)


@pytest.mark.parametrize("minute", [0, 10, 30, 48])
@pytest.mark.parametrize("offset_h", [-5.0, 1.0, 5.5])
def test_instants_become_means_of_the_hour_in_standard_time(minute: int, offset_h: float) -> None:
    """A clear July day at 36 °N from pvlib (Ineichen), against its own mean by the minute.

    Straight lines between instants an hour apart stay within 20 W/m2 of each hour's mean, most at
    sunrise.
    """
    place = Location(36.0, 15.0 * offset_h, altitude=270.0)
    begin = pd.Timestamp("2012-07-10", tz="UTC") - pd.Timedelta(hours=offset_h)
    fine = pd.date_range(begin - pd.Timedelta(hours=2), periods=28 * 60, freq="min")
    sky = place.get_clearsky(fine, model="ineichen", linke_turbidity=3.0)["ghi"]
    first = (begin - pd.Timedelta(hours=2)).ceil("h") + pd.Timedelta(minutes=minute)
    instants = pd.date_range(first, periods=26, freq="h")
    sampled = place.get_clearsky(instants, model="ineichen", linke_turbidity=3.0)["ghi"]
    at = (begin - first) / pd.Timedelta(hours=1) + np.arange(1.0, 24.0)
    means = pvgis.hour_means(sampled.to_numpy(), at)
    ends = [begin + pd.Timedelta(hours=h) for h in range(1, 24)]
    hour, minute_1 = pd.Timedelta(hours=1), pd.Timedelta(minutes=1)
    true = [sky[end - hour : end - minute_1].mean() for end in ends]
    assert max(true) > 900.0
    np.testing.assert_allclose(means, true, atol=20.0)


def test_hourly_series_of_real_hours(tmp_path: Path) -> None:
    """Two weeks written from the sample, at minute 30 of UTC, come back at their hours."""
    first = datetime(2003, 7, 1)
    got = read(written(tmp_path, hourly_text(W, first, 336)), ASKED)
    assert not got.cyclic
    assert got.first == datetime(2003, 6, 30, 21)  # 00:30 UTC is 19:30 there
    begin = round((got.first.replace(year=2025) - W.first) / timedelta(hours=1))
    rows = slice(begin, begin + got.hours)
    # The file's own temperatures are means of two hours, so peaks are shaved by fractions.
    np.testing.assert_allclose(got.temp_air_c, W.temp_air_c[rows], atol=2.5)
    assert got.temp_air_c.mean() == pytest.approx(W.temp_air_c[rows].mean(), abs=0.05)
    np.testing.assert_allclose(
        got.dew_point_c, np.minimum(W.dew_point_c[rows], got.temp_air_c), atol=1e-9
    )
    np.testing.assert_allclose(got.pressure_pa, W.pressure_pa[rows])
    days_of = got.hours // 24
    for name in ("dni_w_m2", "dhi_w_m2"):
        was = getattr(W, name)[rows][: days_of * 24]
        now = getattr(got, name)[: days_of * 24]
        assert now.sum() == pytest.approx(was.sum(), rel=0.03)


def test_a_series_without_components_is_split(tmp_path: Path) -> None:
    """By Erbs (1982): total as in the file, beam and diffuse of two weeks within a fifth."""
    text = hourly_text(W, datetime(2003, 7, 1), 336)
    split = hourly_text(W, datetime(2003, 7, 1), 336, components=False)
    whole, got = (
        read(written(tmp_path, each, f"{n}.csv"), ASKED) for n, each in enumerate((text, split))
    )
    np.testing.assert_allclose(got.ghi_w_m2, whole.ghi_w_m2, atol=0.1)
    for name in ("dni_w_m2", "dhi_w_m2"):
        assert getattr(got, name).sum() == pytest.approx(getattr(whole, name).sum(), rel=0.2)


@pytest.fixture(scope="module")
def several(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Hours of May 2002 to October 2004: 2003 is 3 K warmer."""
    text = hourly_text(W, datetime(2002, 5, 1), 24 * 900, warmer_k={2003: 3.0})
    return written(tmp_path_factory.mktemp("several"), text)


def test_the_hottest_real_year_is_taken(several: Path) -> None:
    got = read(several, ASKED)
    assert (got.first, got.stamps[-1]) == (datetime(2003, 1, 1), datetime(2004, 1, 1))
    one = days.hottest(got)
    assert (one.first.year, one.first.month) == (2003, 7)
    assert one.mean_c == pytest.approx(days.hottest(W).mean_c + 3.0, abs=0.05)
    other = read(several, Asked(OFFSET_H, 2004, MOISTURE))
    assert days.hottest(other).mean_c == pytest.approx(days.hottest(W).mean_c, abs=0.05)
    assert days.summer(other).first == datetime(2004, 6, 1).date()
    told = refused(several, Asked(OFFSET_H, 2005, MOISTURE))
    assert told == "weather.year: 2005: whole summers are of 2002, 2003, 2004"


def test_in_the_south_a_year_holds_one_summer() -> None:
    """July to June, named by the year in which the summer ends."""
    north = weather_files.read(MOISTURE, 2001)
    south = Weather(
        "s", type(north.place)(-36.0, -80.0, 0.0, -5.0), datetime(2001, 7, 1, 1), False,
        *(np.tile(getattr(north, name), 2) for name in RANGES),
    )  # fmt: skip
    assert days.real_year(south, 2002).first == datetime(2001, 7, 1, 1)
    got = days.real_year(south, 2003)
    assert (got.first, got.hours) == (datetime(2002, 7, 1), 8761)
    assert days.summer(got).count == 90


def test_one_summer_is_left_as_it_is(tmp_path: Path) -> None:
    got = read(written(tmp_path, hourly_text(W, datetime(2003, 4, 1), 24 * 200)), ASKED)
    assert got.hours > 24 * 199


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("Latitude (decimal degrees): 36.1", "Latitude (decimal degrees): 96.1",
         "line 1, latitude: 96.1 is outside -90 to 90"),
        ("Elevation (m): 273.0", "Elevation (m): nan", "line 3, elevation: nan is outside"),
        ("Offset (h): 0.5", "Offset (h): 7", "line 4, Irradiance Time Offset: 7 is outside -1 to"),
        ("3,2015", "3,2016", "line 1435, stamp: March 2015 where the head says 2016"),
        ("20120101:0500", "20121301:0500", "line 24, stamp: '20121301:0500,' is no time"),
        ("20120101:0500", "20120101:0400",
         "line 24, stamp: 01 January 04:00 where 01 January 05:00 is due: an hour twice"),
        ("20120101:0500,", "20120101:0500,99", "line 24, column T2m: 99"),
        ("20120101:0500,", "20120101:0500,x", "not a file of PVGIS: "),
        ("20120101:0500,", "\r\n20120101:0500,", "line 24: no row of the table"),
        ("time(UTC),T2m,RH", "time(UTC),T2m,XX",
         "no column RH of its own; needed: T2m, RH, SP, G(h)"),
    ],
)  # fmt: skip
def test_a_damaged_typical_year(tmp_path: Path, old: str, new: str, message: str) -> None:
    assert old in YEAR
    told = refused(written(tmp_path, YEAR.replace(old, new, 1)))
    assert told.startswith(message)


def test_years_that_are_too_short_or_long(tmp_path: Path) -> None:
    lines = YEAR.splitlines(keepends=True)
    last = 18 + 8760
    longer = "".join([*lines[:last], lines[last - 1].replace(":2300", ":2330"), *lines[last:]])
    assert refused(written(tmp_path, longer)) == "8761 rows, a typical year has 8760"
    shorter = "".join([*lines[: last - 5], *lines[last:]])
    assert refused(written(tmp_path, shorter)) == "8755 rows, a typical year has 8760"


FORTNIGHT = hourly_text(W, datetime(2003, 7, 1), 336)
THREE_DAYS = hourly_text(W, datetime(2003, 7, 1), 72)


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("Slope: 0 deg.", "Slope: 30 deg.",
         "Slope: 30 degrees: irradiance on a level plane is needed, 0"),
        ("Slope: 0 deg.", "x", "Slope: none: irradiance on a level plane is needed, 0"),
        ("20030703:0030", "20030703:0040",
         "line 58, stamp: 2003-07-03 00:40:00 where 2003-07-03 00:30:00 is due"),
        ("20030703:0030", "20030703:0130",
         "line 58, stamp: 2003-07-03 01:30:00 where 2003-07-03 00:30:00 is due: an hour is"),
        ("20030701:0030", "18990701:0030", "line 10, stamp: year 1899 is outside 1900 to 2200"),
        ("20030703:0030,", "20030703:0030,-7", "line 58, column Gb(i): -7"),
        ("20030703:0030", "\r\n20030703:0030", "line 58: no row of the table"),
        ("H_sun,T2m", "H_sun,T3m", "no column T2m of its own; needed: T2m, H_sun, Gb(i), Gd(i)"),
        ("H_sun,T2m", "T2m,T2m", "no column T2m of its own; needed: T2m, H_sun, Gb(i), Gd(i)"),
    ],
)  # fmt: skip
def test_a_damaged_hourly_series(tmp_path: Path, old: str, new: str, message: str) -> None:
    assert old in FORTNIGHT
    assert refused(written(tmp_path, FORTNIGHT.replace(old, new, 1)), ASKED).startswith(message)


def test_what_a_file_leaves_open_must_be_said(tmp_path: Path) -> None:
    year, fortnight = (
        written(tmp_path, text, name) for text, name in ((YEAR, "y.csv"), (FORTNIGHT, "f.csv"))
    )
    for path in (year, fortnight):
        assert refused(path, Asked()).startswith("stamps are UTC: weather.utc_offset_h: missing: a")
    told = refused(fortnight)
    assert told.startswith("an hourly series without humidity: weather.moisture_file: missing: a")
    told = refused(fortnight, Asked(OFFSET_H, None, fortnight))
    assert told == "an hourly series where a typical year is needed"
    told = refused(fortnight, Asked(OFFSET_H, None, weather_files.shipped("12839.tm2")))
    assert f"latitude 25.8 where 36.1 is due, that of {fortnight}, within 1 degree" in told
    told = refused(year, Asked(OFFSET_H, 2012))
    assert told == "weather.year: 2012: a typical year has but one"
    told = refused(year, ASKED)
    assert told == "weather.moisture_file: this file holds the humidity itself"
    with_tmy = read(fortnight, Asked(OFFSET_H, None, year))
    assert with_tmy.dew_point_c.mean() == pytest.approx(20.5, abs=2.0)


@given(data=st.data())
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_damage_ends_as_one_line_or_as_weather(tmp_path: Path, data: st.DataObject) -> None:
    """Bytes, cells and rows changed anywhere: a result inside its ranges, or one clear line."""
    raw = bytearray(THREE_DAYS.encode())
    lines = THREE_DAYS.splitlines(keepends=True)
    kind = data.draw(st.sampled_from(["bytes", "cell", "rows", "cut"]))
    row = data.draw(st.integers(0, len(lines) - 1))
    if kind == "bytes":
        at = data.draw(st.integers(0, len(raw) - 1))
        new = data.draw(st.binary(max_size=6))
        raw[at : at + data.draw(st.integers(0, 40))] = new
        content = bytes(raw)
    elif kind == "cell":
        cells = lines[row].split(",")
        worth = st.sampled_from(["", "nan", "inf", "-1e9", "1e400", "x", '"', "24:00", "\0", "é"])
        cells[data.draw(st.integers(0, len(cells) - 1))] = data.draw(worth)
        content = "".join([*lines[:row], ",".join(cells), *lines[row + 1 :]]).encode()
    elif kind == "rows":
        other = data.draw(st.integers(0, len(lines) - 1))
        lines[row], lines[other] = lines[other], lines[row]
        content = "".join(lines).encode()
    else:
        content = bytes(raw[: data.draw(st.integers(0, len(raw)))])
    path = tmp_path / "m.csv"
    path.write_bytes(content)
    text = outside.read_text(path, weather_files.LARGEST_BYTES, fallback="latin-1")
    try:
        got = pvgis.hourly(path, text, ASKED, W)
    except ValueError as error:
        assert str(error).startswith(f"{path}: ")
        assert "\n" not in str(error)
        return
    assert got.hours > 24

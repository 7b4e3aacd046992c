"""A site whose weather is a file of PVGIS: keys, refusals, hashes."""

import sys
from datetime import datetime
from pathlib import Path

import pytest
from site_text import edited, site_of
from springhouse_host.errors import SiteError
from springhouse_sim.world import weather_files

sys.path.insert(0, str(Path(__file__).parent.parent / "sim"))
from pvgis_files import hourly_text, typical_text

HOURLY = (
    ("weather.source", ""),
    ("weather.file", '"hours.csv"'),
    ("weather.moisture_file", '"year.csv"'),
    ("weather.utc_offset_h", "-5"),
)


@pytest.fixture(scope="module")
def files() -> tuple[str, str]:
    """A typical year, and hours of May 2002 to September 2003 of which 2002 is the hotter."""
    w = weather_files.read(weather_files.shipped("723170TYA.CSV"), 2001)
    return typical_text(w), hourly_text(w, datetime(2002, 5, 1), 24 * 500, warmer_k={2002: 2.0})


@pytest.fixture
def folder(tmp_path: Path, files: tuple[str, str]) -> Path:
    for name, text in zip(("year.csv", "hours.csv"), files, strict=True):
        (tmp_path / name).write_text(text, "utf-8", newline="")
    return tmp_path


def test_the_year_of_a_series_is_chosen(folder: Path) -> None:
    hottest = site_of(folder, edited(*HOURLY))
    assert hottest.read_weather().first.year == 2002
    said = site_of(folder, edited(*HOURLY, ("weather.year", '"hottest"')))
    assert said.weather_sha256 == hottest.weather_sha256
    other = site_of(folder, edited(*HOURLY, ("weather.year", "2003")))
    assert other.read_weather().first.year == 2003
    assert other.weather_sha256 != hottest.weather_sha256
    absent = site_of(folder, edited(*HOURLY, ("weather.year", "2001")))
    with pytest.raises(SiteError, match=r"weather\.year: 2001: whole summers are of 2002, 2003$"):
        absent.read_weather()


def test_hashes_see_both_files(folder: Path) -> None:
    site = site_of(folder, edited(*HOURLY))
    before = site.site_sha256, site.weather_sha256
    with (folder / "year.csv").open("a") as file:
        file.write("\n")
    assert all(
        now != was for now, was in zip((site.site_sha256, site.weather_sha256), before, strict=True)
    )


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ([("weather.year", "2003")], "weather.year: 2003: no year without weather.file or weather"),
        ([("weather.moisture_file", '"x.csv"')], 'weather.moisture_file: "x.csv": '),
        ([*HOURLY, ("weather.year", '"warmest"')], 'weather.year: "warmest": "hottest" or a year'),
        ([*HOURLY, ("weather.year", "20")], 'weather.year: 20: "hottest" or a year from 1900 to'),
        ([*HOURLY, ("weather.year", "true")], 'weather.year: true: "hottest" or a year from 1900'),
        ([*HOURLY, ("weather.moisture_file", '"no.csv"')],
         'weather.moisture_file: "no.csv": a typical year that can be read'),
    ],
)  # fmt: skip
def test_refused_in_one_line(folder: Path, changes: list[tuple[str, str]], message: str) -> None:
    with pytest.raises(SiteError) as caught:
        site_of(folder, edited(*changes))
    assert any(message in line for line in caught.value.lines)


def test_the_offset_is_asked_for(folder: Path) -> None:
    site = site_of(folder, edited(("weather.source", ""), ("weather.file", '"year.csv"')))
    with pytest.raises(SiteError, match=r"year\.csv: stamps are UTC: weather\.utc_offset_h: missi"):
        site.read_weather()


def test_a_file_is_read_once_for_every_change_of_a_site_and_again_when_it_was_written(
    folder: Path, files: tuple[str, str]
) -> None:
    first = site_of(folder, edited(*HOURLY)).read_weather()
    fewer = site_of(folder, edited(*HOURLY, ("store.water_litres", "140")))
    assert fewer.read_weather() is first
    other = site_of(folder, edited(*HOURLY, ("weather.year", "2003")))
    assert other.read_weather().first.year == 2003
    (folder / "hours.csv").write_text(files[1].replace("2002", "2004"), "utf-8", newline="")
    with pytest.raises(SiteError, match="weather"):
        site_of(folder, edited(*HOURLY)).read_weather()
    (folder / "hours.csv").write_text(files[1], "utf-8", newline="")
    again = site_of(folder, edited(*HOURLY)).read_weather()
    assert again is not first
    assert (again.temp_air_c == first.temp_air_c).all()
    (folder / "year.csv").unlink()  # what its humidity was taken from
    with pytest.raises(SiteError, match=r"year\.csv"):
        site_of(folder, edited(*HOURLY))

"""Weather that is kept is the one that was read, bit for bit, and nothing else is believed."""

from dataclasses import fields, replace
from datetime import datetime
from pathlib import Path

import numpy as np
import pvgis_files
import pytest
from springhouse_sim.cache_folder import CACHE_VARIABLE
from springhouse_sim.world import design_day, kept_weather, sun, weather_files
from springhouse_sim.world.pvgis import NOTHING, Asked
from springhouse_sim.world.weather import RANGES, Place, Weather

GREENSBORO = weather_files.shipped("723170TYA.CSV")
MIAMI = weather_files.shipped("12839.tm2")
PLACE = Place(50.0, 8.0, 200.0, 1.0)
HOT = design_day.DesignDay(7, 10, 36.0, 12.0, 18.0)
PANE = sun.Glazing(1.5, 0.5, 225.0)


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv(CACHE_VARIABLE, str(tmp_path / "cache"))
    return tmp_path / "cache" / kept_weather.FOLDER


def nothing_is_made(monkeypatch: pytest.MonkeyPatch) -> None:
    for module, name in ((weather_files, "read"), (design_day, "weather"), (sun, "_worked_out")):
        monkeypatch.setattr(module, name, lambda *_: pytest.fail("made again"))


def read(path: Path = GREENSBORO, asked: Asked = NOTHING, place: Place | None = None) -> Weather:
    return kept_weather.read(path, 2001, place, asked)


def assert_same(one: Weather, other: Weather) -> None:
    for field in fields(Weather):
        if field.name in RANGES:
            assert getattr(one, field.name).tobytes() == getattr(other, field.name).tobytes()
        else:
            assert getattr(one, field.name) == getattr(other, field.name)


@pytest.mark.parametrize("path", [GREENSBORO, MIAMI])
def test_a_kept_year_is_bit_for_bit_the_one_that_was_read(path: Path, monkeypatch) -> None:
    as_read = weather_files.read(path, 2001)
    assert_same(read(path), as_read)
    nothing_is_made(monkeypatch)
    again = read(path)
    assert_same(again, as_read)
    assert again.temp_air_c.flags.writeable  # as a year that was read: compiled code tells apart


def test_a_kept_hot_day_and_sun_are_those_worked_out(monkeypatch) -> None:
    day = design_day.weather(HOT, PLACE, 2001)
    made = kept_weather.of_design(HOT, PLACE, 2001)
    assert_same(made, day)
    plane = (PANE.tilt_deg, PANE.azimuth_deg, PANE.ground_albedo, PANE.model)
    through_w = sun._worked_out(day, *plane) * PANE.area_m2 * PANE.g
    assert np.array_equal(sun.through_window_w(made, PANE), through_w)
    nothing_is_made(monkeypatch)
    again = kept_weather.of_design(HOT, PLACE, 2001)  # itself, and equal to no other
    assert np.array_equal(sun.through_window_w(again, PANE), through_w)
    assert through_w.max() > 100.0


def test_another_sky_place_or_plane_is_another_sun(folder: Path) -> None:
    weather = kept_weather.of_design(HOT, PLACE, 2001)
    brighter = replace(weather, dni_w_m2=weather.dni_w_m2 * 1.01)
    north = replace(weather, place=Place(51.0, 8.0, 200.0, 1.0))
    turned = sun.Glazing(1.5, 0.5, 180.0)
    suns = [sun.through_window_w(w, PANE) for w in (weather, brighter, north)]
    suns.append(sun.through_window_w(weather, turned))
    assert len({found.tobytes() for found in suns}) == 4
    assert len(list(folder.iterdir())) == 5  # the day and four planes


def test_a_changed_byte_of_a_file_is_read_anew_and_what_is_asked_counts(tmp_path) -> None:
    path = tmp_path / "hours.csv"
    rows = [f"2025-07-07T{h:02d}:00,{20 + h % 9},12,100000,0,0,0\n" for h in range(24)]
    path.write_text("time," + ",".join(RANGES) + "\n" + "".join(rows))
    assert read(path, place=PLACE).temp_air_c[3] == 23.0
    path.write_text(path.read_text().replace("03:00,23,", "03:00,24,"))
    assert read(path, place=PLACE).temp_air_c[3] == 24.0
    assert read(path, place=Place(1.0, 2.0, 3.0, 0.0)).place.latitude == 1.0


def test_the_file_of_the_humidity_counts_too(tmp_path) -> None:
    """Of the hours one file holds the sun, another the pressure, which sinks to 950 mbar."""
    hours, moisture = tmp_path / "hours.csv", tmp_path / "year.csv"
    text = pvgis_files.hourly_text(weather_files.read(GREENSBORO, 2001), datetime(2003, 7, 1), 96)
    hours.write_text(text, "utf-8", newline="")
    lines = [line.split(",") for line in GREENSBORO.read_text("utf-8").splitlines()]
    column = lines[1].index("Pressure (mbar)")
    asked = Asked(pvgis_files.OFFSET_H, None, moisture)
    moisture.write_text("\n".join(",".join(line) for line in lines) + "\n")
    assert read(hours, asked).pressure_pa.min() > 96_000.0
    for line in lines[2:]:
        line[column] = "950"
    moisture.write_text("\n".join(",".join(line) for line in lines) + "\n")
    assert read(hours, asked).pressure_pa == pytest.approx(95_000.0)


def test_a_bad_file_is_refused_each_time_and_nothing_is_kept(tmp_path, folder: Path) -> None:
    path = tmp_path / "year.csv"
    path.write_text("no weather\n")
    for _ in range(2):
        with pytest.raises(ValueError, match=r"^\S+year\.csv: not a TMY3 file: "):
            read(path)
    assert not folder.exists() or not list(folder.iterdir())


def test_a_file_written_while_it_is_read_is_kept_under_neither_text(
    tmp_path, folder: Path, monkeypatch
) -> None:
    path = tmp_path / "year.csv"
    path.write_bytes(GREENSBORO.read_bytes())
    really = weather_files.read

    def meanwhile(*args: object) -> Weather:
        found = really(*args)  # type: ignore[arg-type]
        path.write_bytes(GREENSBORO.read_bytes() + b"\n")
        return found

    monkeypatch.setattr(weather_files, "read", meanwhile)
    read(path)
    assert not folder.exists() or not list(folder.iterdir())


@pytest.mark.parametrize("damage", [lambda b: b[:-1], lambda b: b[:-1] + b"?", lambda b: b""])
def test_what_is_damaged_is_thrown_away_and_made_again(folder: Path, damage, monkeypatch) -> None:
    as_read = read()
    (file,) = folder.iterdir()
    whole = file.read_bytes()
    file.write_bytes(damage(whole))
    assert_same(read(), as_read)
    assert file.read_bytes() == whole
    nothing_is_made(monkeypatch)
    assert_same(read(), as_read)


def test_a_folder_that_cannot_be_written_costs_time_only(folder: Path) -> None:
    folder.parent.mkdir()
    folder.write_text("a file stands where the folder belongs")
    assert_same(read(MIAMI), weather_files.read(MIAMI, 2001))
    assert folder.read_text().startswith("a file")


def test_other_text_or_libraries_read_anew(monkeypatch) -> None:
    names = {kept_weather._makers()}
    for name, other in (("version", lambda library: f"{library} 0"), ("_texts", list)):
        monkeypatch.setattr(kept_weather, name, other)
        kept_weather._makers.cache_clear()
        names.add(kept_weather._makers())
    kept_weather._makers.cache_clear()
    assert len(names) == 3


def test_the_oldest_go(folder: Path, monkeypatch) -> None:
    monkeypatch.setattr(kept_weather, "MOST_FILES", 3)
    for month in range(1, 7):
        design = design_day.DesignDay(month, 10, 36.0, 12.0, 18.0)
        kept_weather.of_design(design, PLACE, 2001)
    assert len(list(folder.iterdir())) == 3
    nothing_is_made(monkeypatch)
    kept_weather.of_design(design, PLACE, 2001)

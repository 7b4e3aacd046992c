"""Typical years whose hours are not where they belong: every kind of file, one line each."""

from collections.abc import Callable
from pathlib import Path

import pytest
from pvgis_files import HEAD_LINES, OFFSET_H, typical_text
from springhouse_sim.world import weather_files
from springhouse_sim.world.pvgis import Asked
from test_world_weather import GREENSBORO, MIAMI, load

Lines = list[str]
Change = Callable[[Lines], Lines]


def swapped(rows: Lines) -> Lines:
    return rows[4380:] + rows[:4380]


def without(hour: int) -> Change:
    return lambda rows: rows[:hour] + rows[hour + 1 :]


def doubled(hour: int) -> Change:
    return lambda rows: rows[:hour] + rows[hour - 1 : hour] + rows[hour:]


def summer_time(rows: Lines) -> Lines:
    """A clock put forward in March and back in October leaves the number of rows as it was."""
    return doubled(7200)(without(2100)(rows))


CHANGES: list[tuple[Change, int, str]] = [
    (swapped, 0, "02 July 1[23]:00 where 01 January 0[01]:00 is due"),
    (lambda rows: rows[::-1], 0, "is due"),
    (without(2100), 2100, "an hour is missing"),
    (doubled(2100), 2100, "an hour twice"),
    (summer_time, 2100, "an hour is missing; every hour stands once, by a clock without summer"),
]


@pytest.mark.parametrize("kind", ["tmy3", "tmy2", "pvgis"])
@pytest.mark.parametrize(("change", "row", "why"), CHANGES)
def test_hours_out_of_place(tmp_path: Path, kind: str, change: Change, row: int, why: str) -> None:
    name, header, suffix = {
        "tmy3": (GREENSBORO, 2, ".csv"),
        "tmy2": (MIAMI, 1, ".tm2"),
        "pvgis": ("", HEAD_LINES, ".csv"),
    }[kind]
    path = tmp_path / f"w{suffix}"
    if name:
        lines = weather_files.shipped(name).read_text("utf-8").splitlines()
    else:
        lines = typical_text(load(GREENSBORO)).splitlines()[: header + 8760]
    path.write_text("\n".join([*lines[:header], *change(lines[header:])]) + "\n", "utf-8")
    with pytest.raises(ValueError, match=rf"line {row + header + 1}, stamp: .*{why}"):
        weather_files.read(path, 2025, None, Asked(OFFSET_H))


def test_leap_day(tmp_path: Path) -> None:
    lines = weather_files.shipped(GREENSBORO).read_text("utf-8").splitlines()
    march = 2 + 59 * 24
    leap = [line.replace("02/28/", "02/29/", 1) for line in lines[march - 24 : march]]
    path = tmp_path / "w.csv"
    path.write_text("\n".join([*lines[:march], *leap, *lines[march:]]) + "\n", "utf-8")
    with pytest.raises(ValueError, match=rf"line {march + 1}: a leap day: a typical year has none"):
        weather_files.read(path, 2025)


@pytest.mark.parametrize(
    ("cell", "text", "message"),
    [
        (4, "95.0", r"line 1, latitude: 95 is outside -90 to 90"),
        (3, "nan", r"w\.csv: not a TMY3 file"),
        (6, "inf", r"line 1, altitude: inf is outside -450 to 6000"),
        (3, "1e300", r"w\.csv: not a TMY3 file|line 1, TZ"),
    ],
)
def test_a_place_that_is_nowhere(tmp_path: Path, cell: int, text: str, message: str) -> None:
    lines = weather_files.shipped(GREENSBORO).read_text("utf-8").splitlines()
    head = lines[0].split(",")
    head[cell] = text
    path = tmp_path / "w.csv"
    path.write_text("\n".join([",".join(head), *lines[1:]]) + "\n", "utf-8")
    with pytest.raises(ValueError, match=message):
        weather_files.read(path, 2025)

"""The owner's range: proven at its extreme points, one hash for all of it, refused in one line."""

from __future__ import annotations

from array import array
from pathlib import Path

import pytest
from springhouse import record, setting
from springhouse_host.errors import SiteError
from springhouse_host.proof import placing, running, scenarios
from springhouse_host.site import load_site

DEMO = (
    Path(__file__).parents[2] / "hostlib" / "springhouse_host" / "sites" / "demo.toml"
).read_text(encoding="utf-8")
TABLE = """
[owner_range]
room_target_lowest_c = 25
room_target_highest_c = 26.5
fan_quiet_lowest_percent = 50
wanted_move_min = 30
"""


def site(folder: Path, table: str) -> str:
    path = folder / "ranged.toml"
    path.write_text(DEMO + table, encoding="utf-8")
    return str(path)


def test_without_a_table_nothing_may_be_changed() -> None:
    demo = load_site("demo")
    assert demo.ranges() == []
    assert demo.extremes() == []
    plain = record.proven_sha256(demo.settings(), []).hex()
    assert demo.settings_sha256 == plain


def test_ranges_are_the_boards(tmp_path: Path) -> None:
    """The host's hash is the board's, and the same wherever inside the range the owner stands."""
    ranged = load_site(site(tmp_path, TABLE))
    ranges = ranged.ranges()
    assert (setting.ROOM_TARGET_MC, 25000, 26500) in ranges
    settings = ranged.settings()
    assert (setting.FAN_QUIET_PM, 500, settings[setting.FAN_QUIET_PM]) in ranges
    windows = [entry for entry in ranges if entry[0] >= setting.WINDOW_1_KIND]
    assert windows
    assert all(high - low == 60 for _, low, high in windows)
    assert ranged.settings_sha256 == record.proven_sha256(settings, ranges).hex()
    moved = array("i", settings)
    moved[setting.ROOM_TARGET_MC] = 25500
    assert ranged.settings_sha256 == record.proven_sha256(moved, ranges).hex()
    moved[setting.BAND_MK] += 1
    assert ranged.settings_sha256 != record.proven_sha256(moved, ranges).hex()


def test_the_board_takes_every_extreme_and_nothing_beyond(tmp_path: Path) -> None:
    ranged = load_site(site(tmp_path, TABLE))
    extremes = ranged.extremes()
    assert len(extremes) == 2 * 2 * 4
    for extreme in extremes:
        board = record.Record()
        board.settings, board.ranges = ranged.settings(), ranged.ranges()
        changes = [number for change in extreme.changes for number in change]
        assert board.try_change(changes) == "", extreme.name
    board = record.Record()
    board.settings, board.ranges = ranged.settings(), ranged.ranges()
    for slot, low, high in board.ranges:
        assert "prove" in board.try_change([slot, low - 1])
        assert "prove" in board.try_change([slot, high + 1])


def test_every_end_of_every_slot_is_at_some_extreme(tmp_path: Path) -> None:
    ranged = load_site(site(tmp_path, TABLE))
    met = {change for extreme in ranged.extremes() for change in extreme.changes}
    for slot, low, high in ranged.ranges():
        assert {(slot, low), (slot, high)} <= met


def test_the_proof_runs_the_extremes(tmp_path: Path) -> None:
    ranged = load_site(site(tmp_path, TABLE))
    run = [
        s
        for s in placing.standard(ranged, variants=scenarios.MIDDLE)
        if s.name.startswith("owner's range")
    ]
    assert len(run) == 16
    assert all(s.unbroken for s in run)
    by_name = {s.name: s for s in run}
    cool = next(s for n, s in by_name.items() if "target 25 °C" in n and "longest" in n)
    warm = next(s for n, s in by_name.items() if "target 26.5 °C" in n and "longest" in n)
    means = [running.run_one(ranged.path, s).summary["wanted_mean_c"] for s in (cool, warm)]
    assert means[0] < means[1], "the changed setting reaches the controller"


@pytest.mark.parametrize(
    ("table", "why"),
    [
        (
            "room_target_highest_c = 20",
            "room_target_highest_c: 20: at least the setting itself, 26",
        ),
        ("fan_quiet_lowest_percent = 99", "fan_quiet_lowest_percent: 99: at most the setting"),
        ("room_target_highest_c = 29", "contradicts another setting"),
        ("room_target_highest_c = 99", "from 15 to 35 °C"),
        ("fan_quiet_highest_percent = 100.5", "from 10 to 100 %"),
        ("wanted_move_min = 1.5", "a whole number from 0 to 180"),
        ("wanted_move = 30", "nearest valid key is wanted_move_min"),
        ("charging_move_min = 120", "of midnight"),
        ("wanted_move_min = 120", "a window of 240 min could vanish"),
    ],
)
def test_a_wrong_range_is_one_line(table: str, why: str, tmp_path: Path) -> None:
    with pytest.raises(SiteError) as raised:
        load_site(site(tmp_path, f"\n[owner_range]\n{table}\n"))
    assert len(raised.value.lines) == 1
    assert why in raised.value.lines[0]
    assert "owner_range" in raised.value.lines[0]

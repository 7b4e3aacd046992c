"""Days of kept records against sums done by hand."""

import json
import struct
from datetime import UTC
from pathlib import Path

import pandas as pd
import pytest
from springhouse import beats, blackbox, cause, output, setting
from springhouse_host.errors import KnownError
from springhouse_host.site import load_site
from springhouse_host.watching import changes
from springhouse_host.watching import days as world_days
from springhouse_host.watching.base import Base
from springhouse_host.watching.happened import happened
from test_watch import line, parse

DAY_S = 86400
MONDAY_S = 1_783_296_000  # 2026-07-06 00:00 UTC


def table(rows: list[tuple[int, dict[str, object]]]) -> pd.DataFrame:
    found = [parse(line(**keys), float(MONDAY_S + at)) for at, keys in rows]
    assert all(found)
    return world_days.table([r for r in found if r is not None], UTC)


def day_of(
    day: int, on_from: int, on_until: int, out: int = output.COMPRESSOR, **keys: object
) -> list[tuple[int, dict[str, object]]]:
    """A record a minute; outputs on between two minutes of the day."""
    return [
        (day * DAY_S + 60 * m, {"out": out if on_from <= m < on_until else 0, **keys})
        for m in range(1440)
    ]


def test_hours_and_starts() -> None:
    data = table([*day_of(0, 60, 180), *day_of(1, 0, 0)])
    days = world_days.daily(data)
    assert list(days["compressor_h"]) == pytest.approx([2.0, 0.0])
    assert list(days["compressor_starts"]) == [1, 0]
    assert list(days["watched_h"]) == pytest.approx([24.0, 24.0 - 1.0 / 60.0])


def test_a_gap_counts_for_nothing_and_what_runs_after_it_did_not_start_then() -> None:
    rows = [r for r in day_of(0, 0, 1440) if not 3600 <= r[0] < 7200]
    days = world_days.daily(table(rows))
    assert float(days["watched_h"].iloc[0]) == pytest.approx(23.0, abs=0.06)
    assert int(days["compressor_starts"].iloc[0]) == 0


def test_cost_by_hand() -> None:
    """Two hours at 150 W and all day 1 W of board, by the demo's two rates."""
    site = load_site("demo")
    data = table([*day_of(0, 60, 180), *day_of(1, 0, 0)])
    days = world_days.with_cost(world_days.daily(data), data, site)
    cheap_h, dear_h = 8.0, 16.0  # 23:00 to 07:00 is cheap
    expected = 0.150 * 2.0 * 0.21 + 0.001 * (cheap_h * 0.21 + dear_h * 0.34)
    assert float(days["label_cost"].iloc[0]) == pytest.approx(expected, rel=1e-6)
    assert float(days["label_kwh"].iloc[0]) == pytest.approx(0.3 + 0.024)


def test_falling_flow_and_more_starts_are_seen_and_steady_days_are_not() -> None:
    pump = output.PUMP | output.FAN
    steady = [r for d in range(10) for r in day_of(d, 0, 60, pump, ml=2000)]
    assert world_days.drifts(world_days.daily(table(steady))) == []
    slow = [r for d in range(10) for r in day_of(d, 0, 60, pump, ml=2000 if d < 7 else 1590)]
    found = world_days.drifts(world_days.daily(table(slow)))
    assert [d.what for d in found] == ["flow while pumping [L/min]"]
    assert (found[0].was, found[0].now) == (2.0, 1.59)
    busy = []
    for d in range(10):
        for at, keys in day_of(d, 0, 0):
            spell = 60 if d < 7 else 20
            busy.append(
                (at, {**keys, "out": output.COMPRESSOR if at // 60 % (2 * spell) < spell else 0})
            )
    assert [d.what for d in world_days.drifts(world_days.daily(table(busy)))] == [
        "compressor starts a day"
    ]


def test_meter_against_label() -> None:
    """0.36 kWh over two hours of running is 180 W, a fifth above a label of 150 W."""
    data = table(day_of(0, 60, 180))
    power_w = world_days.metered_w(
        data, [(float(MONDAY_S), 10.0), (float(MONDAY_S + DAY_S), 10.36)]
    )
    assert power_w == pytest.approx(180.0)
    days = world_days.daily(data)
    assert [d.now for d in world_days.drifts(days, 150.0, power_w)] == [pytest.approx(180.0)]
    assert world_days.drifts(days, 160.0, power_w) == []
    assert world_days.drifts(days, 150.0, float("nan")) == []


def test_meter_readings_only_rise(tmp_path: Path) -> None:
    with Base(tmp_path / "b.sqlite") as base:
        base.add_meter(100.0, 10.0)
        base.add_meter(200.0, 12.0)
        with pytest.raises(KnownError, match="below the reading before"):
            base.add_meter(300.0, 11.0)
        assert base.meter_readings() == [(100.0, 10.0), (200.0, 12.0)]


def change_line(utc_min: int, slot: int, old: int, new: int) -> str:
    """A line of the black box; the six numbers of another record are three long ones in it."""
    record = struct.pack(
        "<BBHIIhhhhhiiiBBBBBB", 6, 3, slot, utc_min, 77, *[0] * 5, old, new, 2**30 - 1, *[0] * 6
    )
    return json.dumps({"log": record.hex()})


def test_what_the_owner_changed_is_told_in_words(tmp_path: Path) -> None:
    path = tmp_path / "box.log"
    end = setting.WINDOW_1_KIND + setting.WINDOW_STRIDE + 3
    lines = [
        change_line(0, setting.FREEZE_MC, -1500, 500),
        change_line(MONDAY_S // 60, end, 1020, 1095),
        '{"log":""}',
    ]
    path.write_text("\n".join(lines))
    found = changes.changes(changes.read_records(path.read_text(), path))
    assert [c.tick for c in found] == [(1 << 30) - 1] * 2
    assert changes.words(found[0]) == (
        "boot 3, 77 s after power-up: freeze_guard_c changed from -1.5 °C to 0.5 °C"
    )
    assert changes.words(found[1]).endswith(": window 2 end changed from 17:00 to 18:15")
    path.write_text('{"up":1}\n')
    with pytest.raises(KnownError, match="no black-box record"):
        changes.read_records(path.read_text(), path)


def box_line(kind: int, detail: int, utc_min: int = 0) -> str:
    return json.dumps(
        {"log": struct.pack(blackbox._RECORD, kind, 3, detail, utc_min, 77, *[0] * 17).hex()}
    )


def test_starts_faults_and_trials_are_told_in_words(tmp_path: Path) -> None:
    lines = [
        box_line(blackbox.BOOT, cause.WATCHDOG << 8 | 2),
        box_line(blackbox.MINUTE, 7),
        box_line(blackbox.FAULT, blackbox.SILENT + beats.AIR),
        box_line(blackbox.TRIAL, blackbox.KEPT, MONDAY_S // 60),
        box_line(blackbox.BOOT, 200 << 8),
        box_line(blackbox.FAULT, 999),
    ]
    found = changes.read_records("\n".join(lines), tmp_path)
    said = happened(found)
    assert said[0].endswith(
        "77 s after power-up: started: watchdog, start 2 in a row that nobody asked for"
    )
    assert said[1].endswith("the task of the air chip fell silent")
    assert said[2].endswith(": the new version kept")
    assert said[2][:3] == "202"
    assert [text.rpartition(": ")[2] for text in said[3:]] == ["cause 200", "fault 999"]

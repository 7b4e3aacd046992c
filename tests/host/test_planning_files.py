"""Forecasts, prices and bookings from outside: read as meant, or refused in one line."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from springhouse_host.planning import clock, reading
from springhouse_host.planning.bookings import booked, read_bookings
from springhouse_sim.outside import OutsideError

MADRID = ZoneInfo("Europe/Madrid")
HOUR, QUARTER = timedelta(hours=1), timedelta(minutes=15)
# Clock changes of the European Union, directive 2000/84/EC: last Sundays of March and October,
# 01:00 UTC.
FORWARD, BACK = datetime(2026, 3, 29, 1, tzinfo=UTC), datetime(2026, 10, 25, 1, tzinfo=UTC)


def prices_file(path: Path, rows: list[tuple[str, str]]) -> Path:
    text = "".join(f"{stamp},{value}\n" for stamp, value in rows)
    path.write_text("time,price_per_kwh\n" + text, encoding="utf-8")
    return path


def rows(
    first: datetime, hours: int, how: str, step: timedelta = HOUR, value: str = "0.2"
) -> list[tuple[str, str]]:
    """Stamps from an instant on: wall (no offset), zone (its offset) or utc."""
    found = []
    for k in range(hours):
        t = (first + k * step).astimezone(UTC if how == "utc" else MADRID)
        text = t.replace(tzinfo=None).isoformat() if how == "wall" else t.isoformat()
        found.append((text, value))
    return found


@pytest.mark.parametrize("how", ["wall", "zone", "utc"])
@pytest.mark.parametrize("change", [FORWARD, BACK], ids=["23 hours", "25 hours"])
@pytest.mark.parametrize("step", [HOUR, QUARTER], ids=["hours", "quarters"])
def test_days_of_23_and_25_hours(tmp_path, how: str, change: datetime, step: timedelta) -> None:
    midnight = datetime(change.year, change.month, change.day, tzinfo=MADRID)
    after = (
        midnight.replace(day=midnight.day + 1) if change is FORWARD else midnight + 2 * HOUR * 12
    )
    hours = (after.astimezone(UTC) - midnight.astimezone(UTC)) // HOUR
    assert hours == (23 if change is FORWARD else 25)
    count = 48 * (HOUR // step)
    path = prices_file(tmp_path / "p.csv", rows(midnight.astimezone(UTC), count, how, step))
    found = reading.read_prices(path, MADRID, 0.2)
    assert found.first == midnight
    assert found.step == step
    assert len(found.price_kwh) == count


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (lambda r: r[:5] + r[6:], "line 7, column time: 2026-07-01T06:00+02:00: there is a gap"),
        (lambda r: r[:5] + r[4:], "line 7, column time: 2026-07-01T04:00+02:00: stands twice"),
        (lambda r: r[:9] + r[3:], "line 11, column time: 2026-07-01T03:00+02:00: overlaps"),
        (lambda r: [*r[:7], (r[7][0], "nan"), *r[8:]], "line 9, column price_per_kwh: 'nan' is no"),
        (lambda r: [*r[:7], (r[7][0], "cheap"), *r[8:]], "column price_per_kwh: 'cheap' is no num"),
        (lambda r: [*r[:7], (r[7][0], ""), *r[8:]], "column price_per_kwh: '' is no number"),
        (lambda r: [*r[:7], ("noon", "1"), *r[8:]], "line 9, column time: 'noon' is no ISO time"),
        (lambda r: [(t, "210") for t, _ in r], "a price a MWh, or in cents?"),
        (lambda r: r[:20], "20:00:00 of prices, at least a day"),
        (lambda r: [*r[:9], *rows(r_first() + 9 * HOUR, 39, "utc")], "two zones"),
        (
            lambda r: [(t.replace("+02:00", "+05:00"), v) for t, v in r],
            "two time zones, or another",
        ),
    ],
)
def test_bad_prices_are_one_line(tmp_path, spoil, said: str) -> None:
    good = rows(r_first(), 48, "zone")
    path = prices_file(tmp_path / "p.csv", spoil(good))
    with pytest.raises(OutsideError) as refused:
        reading.read_prices(path, MADRID, 0.2)
    assert said in str(refused.value)
    assert "\n" not in str(refused.value)


def r_first() -> datetime:
    return datetime(2026, 6, 30, 22, tzinfo=UTC)  # midnight in Madrid


def test_an_hour_that_the_clock_skips_is_refused(tmp_path) -> None:
    path = prices_file(tmp_path / "p.csv", [("2026-03-29T01:00", "1"), ("2026-03-29T02:00", "1")])
    with pytest.raises(OutsideError, match="does not exist in Europe/Madrid"):
        reading.read_prices(path, MADRID, 0.2)


def test_a_price_a_megawatt_hour_by_its_name(tmp_path) -> None:
    path = tmp_path / "p.csv"
    path.write_text("time,price_per_mwh\n", encoding="utf-8")
    with pytest.raises(OutsideError, match="no column price_per_kwh"):
        reading.read_prices(path, MADRID, 0.2)


@given(st.lists(st.floats(-5.0, 5.0), min_size=24, max_size=60), st.sampled_from([HOUR, QUARTER]))
def test_prices_come_back(tmp_path_factory, values: list[float], step: timedelta) -> None:
    values = values * (HOUR // step)
    stamps = rows(r_first(), len(values), "zone", step)
    stamped = [(t, repr(v)) for (t, _), v in zip(stamps, values, strict=True)]
    path = prices_file(tmp_path_factory.mktemp("p") / "p.csv", stamped)
    found = reading.read_prices(path, MADRID, 1e3)
    assert found.price_kwh.tolist() == values
    for k, value in enumerate(values):
        assert found.at(r_first() + k * step + step - timedelta(seconds=1)) == value
    assert found.at(r_first() - QUARTER) is None
    assert found.at(r_first() + len(values) * step) is None


@given(st.text(max_size=200))
def test_any_text_is_read_or_refused_in_one_line(tmp_path_factory, text: str) -> None:
    path = tmp_path_factory.mktemp("p") / "any"
    path.write_text(text, encoding="utf-8", errors="replace")
    for read in (
        lambda: reading.read_prices(path, MADRID, 0.2),
        lambda: reading.read_forecast(path, MADRID),
        lambda: read_bookings(path, r_first(), r_first() + 48 * HOUR, MADRID),
    ):
        try:
            read()
        except OutsideError as error:
            assert "\n" not in str(error)


def forecast_file(path: Path, header: str, *values: str) -> Path:
    text = "".join(f"{stamp},{','.join(values)}\n" for stamp, _ in rows(r_first(), 50, "zone"))
    path.write_text(f"time,{header}\n{text}", encoding="utf-8")
    return path


def test_a_forecast_by_its_columns(tmp_path) -> None:
    path = forecast_file(tmp_path / "f.csv", "temp_air_c,relative_humidity_percent", "25", "50")
    found = reading.read_forecast(path, MADRID)
    assert found.first == r_first()
    assert found.hours == 50
    # Dew point of 25 °C at 50 %: 13.9 °C, a psychrometric chart at sea level.
    assert np.allclose(found.columns["dew_point_c"], 13.9, atol=0.1)


@pytest.mark.parametrize(
    ("header", "values", "said"),
    [
        ("temp_air_c", ("77",), "line 2, column temp_air_c: 77 is outside -60 to 60 °C"),
        ("temp_air_c,ghi_w_m2", ("20", "1"), "ghi_w_m2, dni_w_m2, dhi_w_m2 go together"),
        ("temp_air_c,relative_humidity_percent", ("20", "0.5"), "0.5 is outside 1 to 100 %"),
        ("temp_air_f", ("77",), "no column temp_air_c"),
        ("temp_air_c,wind", ("20", "3"), "column 'wind': known, once each"),
    ],
)
def test_a_bad_forecast_is_one_line(tmp_path, header: str, values: tuple[str], said: str) -> None:
    path = forecast_file(tmp_path / "f.csv", header, *values)
    with pytest.raises(OutsideError) as refused:
        reading.read_forecast(path, MADRID)
    assert said in str(refused.value)


# By RFC 5545: a weekly rule with an exception (3.8.5), a day as a whole (3.3.4), a cancelled one
# (3.8.1.11), one that takes no time (3.8.2.7).
CALENDAR = """BEGIN:VCALENDAR
VERSION:2.0
PRODID:tests
BEGIN:VEVENT
UID:a
DTSTAMP:20260101T000000Z
DTSTART;TZID=Europe/Madrid:20261005T133000
DTEND;TZID=Europe/Madrid:20261005T153000
RRULE:FREQ=WEEKLY;BYDAY=MO,TU
EXDATE;TZID=Europe/Madrid:20261027T133000
END:VEVENT
BEGIN:VEVENT
UID:b
DTSTAMP:20260101T000000Z
DTSTART;VALUE=DATE:20261025
DTEND;VALUE=DATE:20261026
END:VEVENT
BEGIN:VEVENT
UID:c
DTSTAMP:20260101T000000Z
DTSTART:20261026T180000Z
DTEND:20261026T190000Z
STATUS:CANCELLED
END:VEVENT
BEGIN:VEVENT
UID:d
DTSTAMP:20260101T000000Z
DTSTART:20261026T200000Z
DTEND:20261026T210000Z
TRANSP:TRANSPARENT
END:VEVENT
END:VCALENDAR
"""


def test_bookings_of_a_week_with_a_clock_change(tmp_path) -> None:
    path = tmp_path / "room.ics"
    path.write_text(CALENDAR.replace("\n", "\r\n"), encoding="utf-8")
    begin = datetime(2026, 10, 24, tzinfo=MADRID).astimezone(UTC)
    spans = read_bookings(path, begin, begin + timedelta(days=5), MADRID)
    assert spans == [
        (datetime(2026, 10, 24, 22, tzinfo=UTC), datetime(2026, 10, 25, 23, tzinfo=UTC)),  # 25 h
        (datetime(2026, 10, 26, 12, 30, tzinfo=UTC), datetime(2026, 10, 26, 14, 30, tzinfo=UTC)),
    ]
    flags = booked(spans, begin, 5 * 96)
    assert sum(flags) == 100 + 8


@pytest.mark.parametrize("text", ["", "no calendar", "BEGIN:VCALENDAR\r\n", CALENDAR[:150]])
def test_no_calendar_is_one_line(tmp_path, text: str) -> None:
    path = tmp_path / "room.ics"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(OutsideError, match=r"room\.ics: no iCalendar file"):
        read_bookings(path, r_first(), r_first() + HOUR, MADRID)


def test_the_boards_clock_over_a_change() -> None:
    start = BACK - 6 * HOUR
    assert clock.changes_s(start, 96, MADRID) == [(6 * 3600, -3600)]
    assert clock.changes_s(FORWARD - HOUR, 96, MADRID) == [(3600, 3600)]
    assert clock.changes_s(datetime(2026, 7, 1, tzinfo=UTC), 192, MADRID) == []
    wall = clock.locals_of(start, 96, MADRID)
    assert [t.hour for t in wall].count(2) == 8  # the hour that comes twice

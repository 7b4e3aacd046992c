"""Calendar clock against the Python standard library's zone database."""

import random
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from springhouse import clock as board_clock
from springhouse.clock import Clock
from springhouse.wiring import Wiring
from springhouse_host.errors import KnownError
from springhouse_host.flashing import zone

ZONE = ZoneInfo("Europe/Madrid")
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def minute(moment: datetime) -> int:
    return int((moment - EPOCH).total_seconds() // 60)


def offset_min(utc_min: int) -> int:
    moment = (EPOCH + timedelta(minutes=utc_min)).astimezone(ZONE)
    return int(moment.utcoffset().total_seconds() // 60)


def changes(first: datetime, count: int) -> list[list[int]]:
    found, m = [[minute(first), offset_min(minute(first))]], minute(first)
    while len(found) < count:
        m += 60
        if offset_min(m) != found[-1][1]:
            found.append([m, offset_min(m)])
    return found


OFFSETS = changes(datetime(2026, 1, 1, tzinfo=UTC), 9)


def week_minute(utc_min: int) -> int:
    local = (EPOCH + timedelta(minutes=utc_min)).astimezone(ZONE)
    return local.weekday() * 1440 + local.hour * 60 + local.minute


def test_week_minute_agrees_with_the_zone_database() -> None:
    clock = Clock(OFFSETS, 60, True)
    rng = random.Random(3)
    points = [rng.randrange(OFFSETS[0][0], OFFSETS[-1][0]) for _ in range(2000)]
    points += [change + d for change, _ in OFFSETS[1:] for d in (-61, -60, -1, 0, 1, 59, 60, 61)]
    for m in points:
        assert clock.believe(m, 0)
        assert clock.week_min() == week_minute(m), m


def test_offsets_for_the_board_follow_the_european_rule() -> None:
    """Directive 2000/84/EC: last Sunday of March and October, 01:00 UTC."""
    now = datetime(2026, 1, 15, 9, 30, tzinfo=UTC)
    found, standard = zone.offset_changes("Europe/Madrid", now)
    assert standard == 60
    assert len(found) == 9
    for n, (at, east) in enumerate(found[1:]):
        moment = EPOCH + timedelta(minutes=at)
        assert (moment.month, east) == ((3, 120), (10, 60))[n % 2]
        assert (moment.weekday(), moment.hour, moment.minute) == (6, 1, 0)
        assert (moment + timedelta(days=7)).month != moment.month
    wired = Wiring(zone.with_zone(b'{"board": "pico_w"}', "Europe/Madrid", now).decode())
    assert wired.fault == ""
    assert wired.offsets == found
    with pytest.raises(KnownError, match="not a zone"):
        zone.offset_changes("Europe/Nowhere", now)
    assert zone.offset_changes("UTC", now) == ([[minute(now) - 30, 0]], 0)


def test_standard_tariff_clock_ignores_daylight_saving() -> None:
    clock = Clock(OFFSETS, 60, False)
    summer = minute(datetime(2026, 7, 6, 12, 0, tzinfo=UTC))  # a Monday
    clock.believe(summer, 0)
    assert clock.week_min() == 13 * 60


def test_unknown_until_set_and_unset_clocks_are_not_believed() -> None:
    clock = Clock([], 0, True)
    assert clock.week_min() == -1
    for epoch in (1970, 2000, 2021):  # what boards wake up with
        assert not clock.believe(minute(datetime(epoch, 1, 1, tzinfo=UTC)), 0)
    clock.advance(5000)
    assert clock.week_min() == -1


def test_advances_across_the_tick_wrap() -> None:
    start = minute(datetime(2026, 7, 6, tzinfo=UTC))
    clock = Clock([], 0, True)
    tick = (1 << 30) - 5000
    clock.advance(tick)
    clock.believe(start, 0)
    for _ in range(86400):
        tick = (tick + 1000) & ((1 << 30) - 1)
        clock.advance(tick)
    assert (clock.utc_min, clock.second) == (start + 1440, 0)


def test_steps() -> None:
    now = minute(datetime(2026, 7, 6, 12, 0, tzinfo=UTC))
    clock = Clock([], 0, True)
    assert clock.set(now, 0, False) == board_clock.SET
    assert clock.set(now + 4, 59, False) == board_clock.SET  # small steps are free
    assert clock.set(now + 64, 0, False) == board_clock.SET  # one slow step a day
    assert clock.set(now, 0, False) == board_clock.REFUSED_DAY
    assert clock.utc_min == now + 64
    assert clock.set(now + 3000, 0, False) == board_clock.REFUSED_FAR
    assert clock.set(now + 3000, 0, True) == board_clock.SET
    assert clock.set(now + 3000 + 60, 0, False) == board_clock.SET  # another day
    assert clock.set(5, 0, True) == board_clock.REFUSED_RANGE
    assert clock.set(1 << 29, 0, True) == board_clock.REFUSED_RANGE


def test_ticks_from_before_the_first_scan_are_no_time() -> None:
    """A soft reset leaves the ticks as they are, up to days."""
    clock = Clock([], 0, True)
    assert clock.believe(29_400_000, 7)
    clock.advance(400_000_000)
    assert (clock.utc_min, clock.second) == (29_400_000, 7)
    clock.advance(400_060_000)
    assert (clock.utc_min, clock.second) == (29_400_001, 7)

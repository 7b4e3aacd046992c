"""The week plan against a plan found minute by minute with the standard library's calendar."""

from __future__ import annotations

from array import array
from datetime import datetime, timedelta

from drive import setting, week
from hypothesis import given
from hypothesis import strategies as st
from story import WINDOW

MONDAY = datetime(2024, 1, 1)  # a Monday; naive on purpose: the week is the owner's local one
WINDOWS = st.lists(WINDOW, max_size=setting.WINDOWS)
MINUTE = st.integers(0, week.WEEK_MIN - 1)


def record(
    windows: list[tuple[int, int, int, int]], full_by: int = -1, lead: int = 480
) -> array[int]:
    settings = array("i", [0] * setting.SIZE)
    setting.fill_defaults(settings)
    settings[setting.FULL_BY_MIN], settings[setting.FULL_LEAD_MIN] = full_by, lead
    for n, window in enumerate(windows):
        base = setting.WINDOW_1_KIND + n * setting.WINDOW_STRIDE
        for k, value in enumerate(window):
            settings[base + k] = value
    return settings


def inside(windows: list[tuple[int, int, int, int]], kind: int, week_min: int) -> bool | None:
    """Whether the moment lies in a window of a kind; None if the site has none."""
    now = MONDAY + timedelta(minutes=week_min)
    mine = [w for w in windows if w[0] == kind]
    for _, days, start, end in mine:
        for back in range(-7, 8):  # windows that began on a day up to a week away
            day = MONDAY + timedelta(days=back)
            if days >> day.weekday() & 1:
                begins = day + timedelta(minutes=start)
                ends = day + timedelta(minutes=end)
                if ends <= begins:
                    ends += timedelta(days=1)
                if begins <= now < ends:
                    return True
    return False if mine else None


@given(WINDOWS, MINUTE)
def test_the_plan_holds_what_the_windows_say(
    windows: list[tuple[int, int, int, int]], week_min: int
) -> None:
    plan = week.plan_at(record(windows), week_min)
    assert bool(plan & week.PLAN_CHARGE) == (inside(windows, week.CHARGE, week_min) in (True, None))
    assert bool(plan & week.PLAN_WANTED) == (inside(windows, week.WANTED, week_min) in (True, None))
    assert bool(plan & week.PLAN_NO_START) == (inside(windows, week.NO_START, week_min) is True)


@given(st.integers(0, 1439), st.integers(0, 1440), MINUTE)
def test_the_lead_of_full_by_is_the_time_before_it(full_by: int, lead: int, week_min: int) -> None:
    plan = week.plan_at(record([], full_by, lead), week_min)
    to_go = (full_by - week_min - 1) % 1440 + 1  # 1 .. 1440 minutes until it is full-by time
    assert bool(plan & week.PLAN_LEAD) == (to_go <= lead)


@given(WINDOWS, st.integers(-1, 1439), MINUTE, st.data())
def test_the_plan_stays_as_long_as_promised(
    windows: list[tuple[int, int, int, int]], full_by: int, week_min: int, data: st.DataObject
) -> None:
    settings = record(windows, full_by)
    length = week.minutes_to_edge(settings, week_min)
    assert 1 <= length <= week.WEEK_MIN
    later = data.draw(st.integers(0, length - 1) | st.just(length - 1))
    plan = week.plan_at(settings, week_min)
    assert week.plan_at(settings, (week_min + later) % week.WEEK_MIN) == plan


def test_the_plan_changes_next_where_a_window_begins_or_ends() -> None:
    settings = record([(week.CHARGE, 1, 600, 660)], -1)
    ahead = {590: 10, 599: 1, 600: 60, 659: 1, 660: week.WEEK_MIN - 60}
    assert {now: week.minutes_to_edge(settings, now) for now in ahead} == ahead


def test_a_window_over_midnight_on_sunday_reaches_into_monday() -> None:
    settings = record([(week.CHARGE, 64, 1380, 420)])
    for week_min, charges in ((10079, True), (0, True), (419, True), (420, False), (1380, False)):
        assert bool(week.plan_at(settings, week_min) & week.PLAN_CHARGE) == charges

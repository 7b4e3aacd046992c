"""A plan's advice: it shifts charging and wanted hours, lapses, and moves no guard."""

from __future__ import annotations

from array import array

import pytest
from drive import (
    Drive,
    cell,
    condition,
    fitted,
    latch,
    mode,
    output,
    reading,
    setting,
    statechart,
    timekeeping,
    week,
)
from hypothesis import given
from hypothesis import strategies as st
from springhouse import advice, conditions, controller

NIGHT = (week.CHARGE, 127, 1380, 420)  # 23:00 to 07:00
QUIET = (week.NO_START, 127, 600, 840)  # 10:00 to 14:00
DEEP_MC, SHALLOW_MC = 3000, 6000  # the core's defaults


def ready(allowed: int = advice.CHARGING, week_min: int = 900, store_mc: int = 6500) -> Drive:
    """Off-time over at 15:00, store at rest inside its band."""
    settings = {"ADVISED": allowed, "WARM_FILL_MC": 25_000}
    d = Drive(settings=settings, WEEK_MIN=week_min)
    d.window(0, *NIGHT)
    d.store(store_mc)
    d.minutes(11)
    assert not d.compressor
    return d


def test_advice_to_charge_deepens_the_target_at_once_and_outside_the_windows() -> None:
    d = ready()
    d.advise(advice.CHARGE, 4500, 15)
    d.tick()
    assert d.compressor
    assert conditions.store_target_mc(d.memory, d.settings) == 4500


def test_advice_to_wait_keeps_the_compressor_off_inside_a_window_and_above_the_band() -> None:
    d = ready(week_min=1380 - 12)
    d.advise(advice.WAIT, SHALLOW_MC, 30)
    d.set(WEEK_MIN=1380)
    d.minutes(15)
    assert not d.compressor
    d.store(8500)  # above the shallow target's band
    d.minutes(5)
    assert not d.compressor
    d.minutes(12)  # the advice has lapsed, the week plan goes on
    assert d.compressor


@pytest.mark.parametrize("minutes", [1, 15, advice.LONGEST_MIN])
def test_advice_is_gone_at_the_scan_in_which_its_time_is_over(minutes: int) -> None:
    d = ready()
    d.advise(advice.WAIT, SHALLOW_MC, minutes)
    d.tick()
    d.tick(dt_ms=minutes * 60_000 - 1000)
    assert d.memory[cell.ADVICE] == advice.WAIT
    d.tick()
    assert d.memory[cell.ADVICE] == advice.NONE
    assert d.memory[cell.ADVICE_T] == timekeeping.IDLE


@pytest.mark.parametrize(
    ("what", "target_mc", "minutes"),
    [
        (advice.NONE, 4500, 15),
        (advice.SIZE, 4500, 15),
        (-1, 4500, 15),
        (advice.CHARGE, DEEP_MC - 1, 15),
        (advice.CHARGE, SHALLOW_MC + 1, 15),
        (advice.WAIT, 4500, 0),
        (advice.CHARGE, 4500, 0),
        (advice.CHARGE, 4500, -5),
        (advice.CHARGE, 4500, advice.LONGEST_MIN + 1),
    ],
)
def test_advice_that_cannot_be_meant_is_not_there_and_ends_the_one_before(
    what: int, target_mc: int, minutes: int
) -> None:
    d = ready()
    d.advise(advice.WAIT, SHALLOW_MC, 60)
    d.tick()
    d.advise(what, target_mc, minutes)
    d.tick()
    assert d.memory[cell.ADVICE] == advice.NONE
    assert not d.compressor


def test_no_plan_waits_till_only_a_first_pull_down_could_chill_the_store() -> None:
    """However often it says so: near the limit the week plan goes on, and the store is chilled."""
    d = ready()
    limit_mc = d.settings[setting.WARM_FILL_MC]
    began_mc = 0
    for store_mc in range(limit_mc - 3000, limit_mc - 100, 50):
        d.set(STORE_LOW_MC=store_mc, STORE_HIGH_MC=store_mc)
        d.advise(advice.WAIT, SHALLOW_MC, 15)
        d.minutes(15)
        if d.compressor:
            began_mc = store_mc
            break
        assert store_mc < limit_mc - advice.WARM_MK
    assert limit_mc - advice.WARM_MK <= began_mc < limit_mc
    d.set(STORE_LOW_MC=limit_mc - 1500, STORE_HIGH_MC=limit_mc - 1500)
    d.advise(advice.WAIT, SHALLOW_MC, 15)
    d.tick()
    assert d.memory[cell.ADVICE] == advice.WAIT  # what has begun goes on to the shallow target
    assert d.compressor


def test_an_owner_who_allows_no_plan_has_none() -> None:
    d = ready(allowed=advice.NOTHING)
    d.advise(advice.CHARGE, 4500, 15)
    d.tick()
    assert d.memory[cell.ADVICE] == advice.NONE
    assert not d.compressor


def test_a_range_that_is_narrowed_ends_advice_outside_it() -> None:
    d = ready()
    d.advise(advice.CHARGE, 4500, 60)
    d.tick()
    d.settings[setting.DEEP_MC] = 5000
    d.tick()
    assert d.memory[cell.ADVICE] == advice.NONE


def test_a_reset_forgets_advice_and_takes_none_from_before() -> None:
    d = ready()
    d.advise(advice.WAIT, SHALLOW_MC, 60)
    d.tick()
    d.reset()
    d.tick()
    assert d.memory[cell.ADVICE] == advice.NONE


@pytest.mark.parametrize(("allowed", "follows"), [(advice.CHARGING, 0), (2, 1)])
def test_wanted_hours_follow_a_plan_only_where_the_owner_allows_it(
    allowed: int, follows: int
) -> None:
    d = ready(allowed)
    d.window(1, week.WANTED, 127, 840, 1380)
    d.boot()
    d.set(ROOM_MC=26_000)
    d.minutes(11)
    assert d.room_state == statechart.DISCHARGE
    d.advise(advice.WAIT, SHALLOW_MC, 30, wanted=0)
    d.minutes(3)
    assert (d.room_state == statechart.WAITING) == bool(follows)
    d.advise(advice.WAIT, SHALLOW_MC, 30, wanted=1)
    d.set(WEEK_MIN=200)  # at night nobody wants it by the week plan
    d.minutes(3)
    assert (d.room_state == statechart.DISCHARGE) == bool(follows)


def test_no_advice_lifts_a_no_start_window_of_the_owner() -> None:
    d = ready(week_min=839)
    d.window(1, *QUIET)
    d.boot()
    d.minutes(11)
    d.advise(advice.CHARGE, DEEP_MC, 60)
    d.minutes(5)
    assert not d.compressor
    assert d.memory[cell.ADVICE] == advice.CHARGE
    d.tick(WEEK_MIN=840)
    assert d.compressor


def test_the_owners_own_charge_now_is_not_kept_waiting() -> None:
    d = ready()
    d.advise(advice.WAIT, SHALLOW_MC, 600)
    d.tick()
    d.ask(mode.CHARGE_NOW, 60)
    d.minutes(1)
    assert d.compressor


def test_a_room_over_its_limit_may_charge_where_the_owner_said_so() -> None:
    d = ready()
    d.settings[setting.TARIFF_OVERRIDE] = 1
    d.advise(advice.WAIT, SHALLOW_MC, 600)
    d.set(ROOM_MC=27_500)
    d.minutes(2)
    assert d.compressor


WORSE = st.lists(
    st.tuples(
        st.integers(0, 40),  # minutes to it
        st.integers(-1, advice.SIZE),
        st.integers(DEEP_MC - 2000, SHALLOW_MC + 2000),
        st.integers(-1, 60),
        st.integers(0, 1),
        st.integers(-400, 12_000),  # store
        st.integers(20_000, 34_000),  # room
        st.integers(0, 10_079),
    ),
    min_size=1,
    max_size=12,
)


@given(plan=WORSE, latched=st.sampled_from([0, latch.LEVEL, latch.DRY, latch.PROBES]))
def test_no_advice_moves_a_guard(plan: list[tuple[int, ...]], latched: int) -> None:
    """Freeze guard, off-time, latch and tray, whatever a plan says and when."""
    d = ready(allowed=advice.CHARGING_AND_ROOM)
    d.memory[cell.LATCH] |= latched
    off_since = 0
    for minutes, what, target_mc, held, wanted, store_mc, room_mc, week_min in plan:
        d.advise(what, target_mc, held, wanted)
        d.store(store_mc)
        d.set(ROOM_MC=room_mc, WEEK_MIN=week_min, TRAY_OK=week_min % 2)
        for n in range(2 + 2 * minutes):
            before = d.compressor
            d.tick(dt_ms=30_000)
            if d.compressor and not before:
                assert d.clock_ms - off_since >= d.settings[setting.MIN_OFF_S] * 1000
            if before and not d.compressor:
                off_since = d.clock_ms
            coldest = store_mc - d.settings[setting.STORE_LOW_ERR_MK]
            # A jump is not believed at once.
            cold = n > 0 and coldest <= d.settings[setting.FREEZE_MC]
            assert not (d.compressor and cold)
            assert not (d.compressor and latched & latch.STORE)
            assert not (d.out & output.PUMP and (latched & latch.ROOM or not week_min % 2))


def test_without_advice_a_controller_that_allows_plans_does_the_same() -> None:
    """A day in the dark: every bit of memory but the setting's own."""
    plain, open_to = ready(advice.NOTHING), ready(advice.CHARGING_AND_ROOM)
    for minute in range(0, 1440, 2):
        for d in (plain, open_to):
            d.store(3500 + 6000 * (minute % 300) // 300)
            d.tick(dt_ms=120_000, WEEK_MIN=minute, ROOM_MC=24_000 + minute * 3)
        assert plain.memory == open_to.memory


def test_a_settled_step_with_advice_in_force_changes_nothing() -> None:
    d = ready()
    d.advise(advice.CHARGE, 4500, 15)
    d.seconds(30)
    before = array("i", d.memory)
    controller.step(d.memory, d.settings, d.readings)
    assert d.memory == before
    assert fitted.STORE_LOW & d.settings[setting.FITTED]
    assert not d.memory[cell.STORE_WORD] & condition.BAR_START
    assert d.readings[reading.ADVICE_SEQ] == d.memory[cell.ADVICE_SEEN]

"""Each condition at its edge: the words of one scan, with everything else as it is at rest.

The edges are the defaults of tests/requirements.toml; error budgets are 0.5 K throughout.
"""

from __future__ import annotations

from collections.abc import Callable

import pytest
from condition_rig import CHARGING, memory, rested, untrusted
from drive import (
    EVERY_SENSOR,
    Drive,
    cell,
    fitted,
    latch,
    mode,
    output,
    setting,
    statechart,
    timekeeping,
    week,
)
from springhouse import condition, conditions

DEEP = CHARGING | week.PLAN_LEAD


def store(d: Drive) -> int:
    return conditions.store_word(d.memory, d.settings, d.readings)


def room(d: Drive) -> int:
    return conditions.room_word(d.memory, d.settings, d.readings)


def lock(d: Drive) -> int:
    return conditions.lock_word(d.memory, d.settings, d.readings)


AT_REST_STORE = condition.STORE_SEEN | condition.STORE_WARM | condition.MAY_START | condition.MAINS
AT_REST_ROOM = (
    condition.ROOM_SEEN
    | condition.ROOM_COOL
    | condition.USEFUL
    | condition.WANTED
    | condition.POWER
)


def test_at_rest() -> None:
    d = rested()
    assert store(d) == AT_REST_STORE
    assert room(d) == AT_REST_ROOM
    assert lock(d) == condition.LOCK_FAN_CAP


# Where the store counts as warm and as full: (plan, mode, flags, waived by heat?), full, warm.
@pytest.mark.parametrize(
    ("plan", "asked", "flags", "override", "full_mc", "warm_mc"),
    [
        (CHARGING, mode.AUTOMATIC, 0, 1, 6000, 6800),
        (DEEP, mode.AUTOMATIC, 0, 1, 3000, 3800),
        (week.PLAN_LEAD, mode.AUTOMATIC, 0, 1, 6000, 6800),
        (CHARGING, mode.AUTOMATIC, cell.FLAG_HOT, 1, 3000, 3800),
        (CHARGING, mode.AUTOMATIC, cell.FLAG_HOT, 0, 6000, 6800),
        (CHARGING, mode.COOL_NOW, 0, 1, 6000, 6800),
        (CHARGING, mode.CHARGE_NOW, 0, 0, 3000, 3200),
        (CHARGING, mode.FIRST_PULL_DOWN, 0, 0, 3000, 3200),
    ],
)
def test_where_the_store_is_full_and_where_warm(
    plan: int, asked: int, flags: int, override: int, full_mc: int, warm_mc: int
) -> None:
    d = rested(TARIFF_OVERRIDE=override)
    memory(PLAN=plan, MODE=asked, FLAGS=flags)(d)
    for mc, expected in (
        (full_mc, condition.STORE_FULL),
        (full_mc + 1, 0),
        (warm_mc - 1, 0),
        (warm_mc, condition.STORE_WARM),
    ):
        d.store(mc)
        assert store(d) & (condition.STORE_FULL | condition.STORE_WARM) == expected, mc


def test_too_warm_for_any_start_but_the_first() -> None:
    d = rested()
    for mc, barred in ((21999, 0), (22000, condition.BAR_START)):
        d.store(mc)
        memory(MODE=mode.AUTOMATIC)(d)
        assert store(d) & condition.BAR_START == barred
        memory(MODE=mode.FIRST_PULL_DOWN)(d)
        assert not store(d) & condition.BAR_START


STORE_EDGES: list[tuple[Callable[[Drive], None], int, int]] = [
    (untrusted("STORE_LOW"), 0, 0),
    (untrusted("STORE_HIGH"), 0, 0),
    (untrusted("STORE_LOW", "STORE_HIGH"), 0, condition.STORE_SEEN | condition.STORE_WARM),
    (memory(ICE_T=timekeeping.DUE), condition.STORE_FULL, 0),
    (memory(ICE_T=5), 0, 0),
    (memory(FLAGS=cell.FLAG_FREEZE), condition.FREEZE, 0),
    (memory(FLAGS=~cell.FLAG_FREEZE & 0xFF), 0, 0),
    (memory(OFF_T=0), 0, condition.MAY_START),
    (memory(OFF_T=timekeeping.DUE), 0, 0),
    (memory(START_1_T=0, START_2_T=0, START_3_T=0), 0, 0),
    (memory(START_1_T=0, START_2_T=0, START_4_T=0), 0, 0),
    (memory(START_1_T=0, START_3_T=0, START_4_T=0), 0, 0),
    (memory(START_2_T=0, START_3_T=0, START_4_T=0), 0, 0),
    (memory(START_1_T=0, START_2_T=0, START_3_T=0, START_4_T=0), 0, condition.MAY_START),
    (memory(ON_T=0), condition.MUST_RUN, 0),
    (memory(ON_T=timekeeping.DUE), 0, 0),
    (lambda d: d.set(MAINS_OK=0), 0, condition.MAINS),
    (memory(REST_T=0), condition.BAR_RUN, 0),
    (memory(REST_T=timekeeping.DUE), 0, 0),
    (memory(OUT=output.COMPRESSOR), condition.RUNNING, 0),
    (memory(OUT=31 & ~output.COMPRESSOR), 0, 0),
    (memory(PLAN=CHARGING | week.PLAN_NO_START), condition.BAR_START, 0),
    (memory(PLAN=week.PLAN_NO_START), condition.BAR_START, 0),
    (memory(PLAN=0), 0, 0),
    (memory(PLAN=CHARGING | week.PLAN_NO_START, MODE=mode.CHARGE_NOW), 0, 0),
    (memory(PLAN=CHARGING | week.PLAN_NO_START, FLAGS=cell.FLAG_HOT), 0, 0),
]


@pytest.mark.parametrize(("change", "gained", "lost"), STORE_EDGES)
def test_one_change_of_the_store_side(
    change: Callable[[Drive], None], gained: int, lost: int
) -> None:
    d = rested()
    change(d)
    assert store(d) == (AT_REST_STORE | gained) & ~lost


# What an owner's mode asks of each side.
MODES = {
    mode.AUTOMATIC: (0, 0),
    mode.OFF: (condition.BAR_RUN, condition.BAR_ROOM),
    mode.CHARGE_NOW: (0, 0),
    mode.COOL_NOW: (0, 0),
    mode.QUIET: (condition.BAR_START, 0),
    mode.SERVICE: (condition.BAR_RUN, condition.BAR_ROOM),
    mode.PURGE: (condition.BAR_START, condition.PURGE_ASKED),
    mode.FIRST_PULL_DOWN: (0, 0),
}


@pytest.mark.parametrize("asked", MODES)
def test_what_a_mode_bars(asked: int) -> None:
    d = rested()
    d.memory[cell.MODE] = asked
    d.memory[cell.PLAN] |= week.PLAN_WANTED
    for_store, for_room = MODES[asked]
    assert store(d) == AT_REST_STORE | for_store
    assert room(d) == AT_REST_ROOM | for_room
    everything = condition.LOCK_ALL if asked in (mode.OFF, mode.SERVICE) else 0
    capped = 0 if asked == mode.COOL_NOW else condition.LOCK_FAN_CAP
    assert lock(d) == everything | capped
    d.memory[cell.PLAN] = 0
    assert room(d) & condition.WANTED == (condition.WANTED if asked == mode.COOL_NOW else 0)


FLOOD = (latch.LEVEL, latch.FLOOR)
STORE_LATCHES = (*FLOOD, latch.NO_COOLING, latch.PROBES, latch.WELDED)
ROOM_LATCHES = (*FLOOD, latch.DRY, latch.TRAY, latch.STILL)


@pytest.mark.parametrize("bit", sorted({*STORE_LATCHES, *ROOM_LATCHES}))
def test_a_latch_locks_its_own_side(bit: int) -> None:
    d = rested()
    for latched in (bit, bit | latch.TRAY | latch.PROBES):
        d.memory[cell.LATCH] = latched
        for_store = any(latched & b for b in STORE_LATCHES)
        for_room = any(latched & b for b in ROOM_LATCHES)
        assert (
            bool(store(d) & condition.STORE_LOCK)
            == bool(lock(d) & condition.LOCK_STORE)
            == for_store
        )
        assert (
            bool(room(d) & condition.ROOM_LOCK) == bool(lock(d) & condition.LOCK_ROOM) == for_room
        )


ROOM_EDGES: list[tuple[Callable[[Drive], None], int, int, int]] = [
    # change, gained, lost, gained by the interlock
    (untrusted("ROOM"), 0, condition.ROOM_SEEN | condition.ROOM_COOL | condition.USEFUL, 0),
    (untrusted("STORE_LOW", "STORE_HIGH"), 0, condition.USEFUL, condition.LOCK_BLIND),
    (untrusted("STORE_LOW"), 0, 0, 0),
    (lambda d: d.set(ROOM_MC=24000), 0, 0, 0),
    (lambda d: d.set(ROOM_MC=24001), 0, condition.ROOM_COOL, 0),
    (lambda d: d.set(ROOM_MC=24499), 0, condition.ROOM_COOL, 0),
    (lambda d: d.set(ROOM_MC=24500), condition.ROOM_WARM, condition.ROOM_COOL, 0),
    (lambda d: d.set(ROOM_MC=13999), 0, condition.USEFUL, 0),
    (lambda d: d.set(ROOM_MC=14000), 0, 0, 0),
    (memory(PLAN=0), 0, condition.WANTED, 0),
    (memory(PLAN=week.PLAN_WANTED), 0, 0, 0),
    (memory(FLAGS=cell.FLAG_BATTERY_LOW), 0, condition.POWER, condition.LOCK_BATTERY),
    (lambda d: d.set(MAINS_OK=0), 0, 0, condition.LOCK_MAINS),
    (lambda d: d.set(TRAY_OK=0), condition.TRAY, 0, condition.LOCK_TRAY),
    (memory(TRAY_T=0), condition.TRAY, 0, condition.LOCK_TRAY),
    (memory(TRAY_T=timekeeping.DUE), 0, 0, 0),
    (memory(DRY_WAIT_T=0), condition.DRY, 0, condition.LOCK_DRY),
    (memory(DRY_WAIT_T=timekeeping.DUE), 0, 0, 0),
    (memory(GHOST_T=timekeeping.DUE), condition.DRY, 0, condition.LOCK_DRY),
    (memory(GHOST_T=0), 0, 0, 0),
    (memory(FLAGS=cell.FLAG_COIL), condition.COIL, 0, condition.LOCK_COIL),
    (memory(COIL_T=0), condition.COIL, 0, condition.LOCK_COIL),
    (memory(COIL_T=timekeeping.DUE), 0, 0, 0),
    (memory(SPELL_T=0), 0, 0, 0),  # flow can be seen
    (memory(SPELL_T=timekeeping.DUE, OUT=output.PUMP), 0, 0, 0),
    # of the interlock alone
    (memory(OFF_T=0), 0, 0, condition.LOCK_START),
    (memory(START_1_T=0, START_2_T=0, START_3_T=0, START_4_T=0), 0, 0, condition.LOCK_START),
    (memory(REST_T=0), 0, 0, condition.LOCK_REST),
    (memory(SPACING_T=0), 0, 0, condition.LOCK_SPACING),
    (memory(FLAGS=cell.FLAG_FREEZE), 0, 0, condition.LOCK_FREEZE),
    (lambda d: d.set(SETTINGS_OK=0), 0, 0, condition.LOCK_ALL),
]


@pytest.mark.parametrize(("change", "gained", "lost", "locked"), ROOM_EDGES)
def test_one_change_of_the_room_side(
    change: Callable[[Drive], None], gained: int, lost: int, locked: int
) -> None:
    d = rested()
    change(d)
    assert room(d) == (AT_REST_ROOM | gained) & ~lost
    assert lock(d) == condition.LOCK_FAN_CAP | locked


def test_cool_now_has_a_band_of_three_steps_of_a_probe() -> None:
    d = rested()
    d.memory[cell.MODE] = mode.COOL_NOW
    for mc, expected in (
        (24000, condition.ROOM_COOL),
        (24001, 0),
        (24199, 0),
        (24200, condition.ROOM_WARM),
    ):
        d.set(ROOM_MC=mc)
        assert room(d) & (condition.ROOM_COOL | condition.ROOM_WARM) == expected


@pytest.mark.parametrize(
    ("state", "useful_mk", "spent_mc"),
    [(statechart.WAITING, 6000, 20000), (statechart.DISCHARGE, 4000, 21000)],
)
def test_cold_enough_to_be_of_use(state: int, useful_mk: int, spent_mc: int) -> None:
    d = rested()
    d.memory[cell.ROOM_STATE] = state
    for low_mc, room_mc, useful in (
        (8000, 8000 + useful_mk, True),
        (8000, 7999 + useful_mk, False),
        (spent_mc - 1, 40000, True),
        (spent_mc, 40000, False),
    ):
        d.store(low_mc)
        d.set(ROOM_MC=room_mc)
        assert bool(room(d) & condition.USEFUL) == useful
    d.set(STORE_LOW_MC=8000, STORE_HIGH_MC=12000, ROOM_MC=8000 + useful_mk)
    assert room(d) & condition.USEFUL  # the water is drawn at the bottom


def test_without_any_sight_of_flow_the_pump_runs_in_spells() -> None:
    fit = EVERY_SENSOR & ~(fitted.FLOW | fitted.COIL_IN)
    d = rested(fit)
    for out, at, over in (
        (output.PUMP, timekeeping.DUE, True),
        (output.PUMP, 0, False),
        (output.PUMP, timekeeping.IDLE, False),
        (output.FAN, 0, True),
        (output.FAN, timekeeping.DUE, False),
    ):
        memory(OUT=out, SPELL_T=at)(d)
        assert bool(room(d) & condition.SPELL) == bool(lock(d) & condition.LOCK_DRY) == over
    assert conditions.spells_only(d.settings)
    for bit in (fitted.FLOW, fitted.COIL_IN):
        d.settings[setting.FITTED] = fit | bit
        assert not conditions.spells_only(d.settings)


def test_a_starved_board_without_a_battery_has_the_power_of_the_mains() -> None:
    d = rested(EVERY_SENSOR & ~fitted.BATTERY)
    d.memory[cell.FLAGS] = cell.FLAG_BATTERY_LOW
    assert room(d) & condition.POWER
    d.set(MAINS_OK=0)
    assert not room(d) & condition.POWER
    d.settings[setting.FITTED] &= ~fitted.MAINS
    assert room(d) & condition.POWER
    assert store(d) & condition.MAINS


def test_no_tray_float_no_tray() -> None:
    d = rested(EVERY_SENSOR & ~fitted.TRAY)
    memory(TRAY_T=0)(d)
    d.set(TRAY_OK=0)
    assert not room(d) & condition.TRAY


@pytest.mark.parametrize("starts", [1, 2, 3, 4])
def test_starts_that_an_hour_has(starts: int) -> None:
    d = rested(STARTS_PER_HOUR=starts)
    for n in range(starts):
        assert conditions.starts_left(d.memory, d.settings)
        d.memory[cell.START_1_T + n] = 0
    assert not conditions.starts_left(d.memory, d.settings)


def test_full_fan_from_far_above_the_target_until_near_it() -> None:
    d = rested()
    for out, edge_mc in ((0, 25500), (31 & ~output.FAN_FULL, 25500), (output.FAN_FULL, 24750)):
        d.memory[cell.OUT] = out
        for mc, capped in ((edge_mc - 1, True), (edge_mc, False)):
            d.set(ROOM_MC=mc)
            memory(MODE=mode.AUTOMATIC)(d)
            assert bool(lock(d) & condition.LOCK_FAN_CAP) == capped, (out, mc)
            memory(MODE=mode.QUIET)(d)
            assert lock(d) & condition.LOCK_FAN_CAP
    memory(MODE=mode.AUTOMATIC)(d)
    untrusted("ROOM")(d)
    assert lock(d) & condition.LOCK_FAN_CAP

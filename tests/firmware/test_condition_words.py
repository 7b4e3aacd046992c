"""Each condition at its edge: the words of one scan, with everything else as it is at rest.

The edges are the defaults of tests/requirements.toml; error budgets are 0.5 K throughout.
"""

from __future__ import annotations

from collections.abc import Callable

import pytest
from condition_rig import CHARGING, memory, rested, untrusted
from drive import EVERY_SENSOR, Drive, K, M, N, S, T, fitted, latch, mode, output
from springhouse import condition as C
from springhouse import conditions as Q

DEEP = CHARGING | N.PLAN_LEAD


def store(d: Drive) -> int:
    return Q.store_word(d.memory, d.settings, d.readings)


def room(d: Drive) -> int:
    return Q.room_word(d.memory, d.settings, d.readings)


def lock(d: Drive) -> int:
    return Q.lock_word(d.memory, d.settings, d.readings)


AT_REST_STORE = C.STORE_SEEN | C.STORE_WARM | C.MAY_START | C.MAINS
AT_REST_ROOM = C.ROOM_SEEN | C.ROOM_COOL | C.USEFUL | C.WANTED | C.POWER


def test_at_rest() -> None:
    d = rested()
    assert store(d) == AT_REST_STORE
    assert room(d) == AT_REST_ROOM
    assert lock(d) == C.LOCK_FAN_CAP


# Where the store counts as warm and as full: (plan, mode, flags, waived by heat?), full, warm.
@pytest.mark.parametrize(
    ("plan", "asked", "flags", "override", "full_mc", "warm_mc"),
    [
        (CHARGING, mode.AUTOMATIC, 0, 1, 6000, 6800),
        (DEEP, mode.AUTOMATIC, 0, 1, 3000, 3800),
        (N.PLAN_LEAD, mode.AUTOMATIC, 0, 1, 6000, 6800),
        (CHARGING, mode.AUTOMATIC, M.FLAG_HOT, 1, 3000, 3800),
        (CHARGING, mode.AUTOMATIC, M.FLAG_HOT, 0, 6000, 6800),
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
        (full_mc, C.STORE_FULL),
        (full_mc + 1, 0),
        (warm_mc - 1, 0),
        (warm_mc, C.STORE_WARM),
    ):
        d.store(mc)
        assert store(d) & (C.STORE_FULL | C.STORE_WARM) == expected, mc


def test_too_warm_for_any_start_but_the_first() -> None:
    d = rested()
    for mc, barred in ((21999, 0), (22000, C.BAR_START)):
        d.store(mc)
        memory(MODE=mode.AUTOMATIC)(d)
        assert store(d) & C.BAR_START == barred
        memory(MODE=mode.FIRST_PULL_DOWN)(d)
        assert not store(d) & C.BAR_START


STORE_EDGES: list[tuple[Callable[[Drive], None], int, int]] = [
    (untrusted("STORE_LOW"), 0, 0),
    (untrusted("STORE_HIGH"), 0, 0),
    (untrusted("STORE_LOW", "STORE_HIGH"), 0, C.STORE_SEEN | C.STORE_WARM),
    (memory(ICE_T=T.DUE), C.STORE_FULL, 0),
    (memory(ICE_T=5), 0, 0),
    (memory(FLAGS=M.FLAG_FREEZE), C.FREEZE, 0),
    (memory(FLAGS=~M.FLAG_FREEZE & 0xFF), 0, 0),
    (memory(OFF_T=0), 0, C.MAY_START),
    (memory(OFF_T=T.DUE), 0, 0),
    (memory(START_1_T=0, START_2_T=0, START_3_T=0), 0, 0),
    (memory(START_1_T=0, START_2_T=0, START_4_T=0), 0, 0),
    (memory(START_1_T=0, START_3_T=0, START_4_T=0), 0, 0),
    (memory(START_2_T=0, START_3_T=0, START_4_T=0), 0, 0),
    (memory(START_1_T=0, START_2_T=0, START_3_T=0, START_4_T=0), 0, C.MAY_START),
    (memory(ON_T=0), C.MUST_RUN, 0),
    (memory(ON_T=T.DUE), 0, 0),
    (lambda d: d.set(MAINS_OK=0), 0, C.MAINS),
    (memory(REST_T=0), C.BAR_RUN, 0),
    (memory(REST_T=T.DUE), 0, 0),
    (memory(OUT=output.COMPRESSOR), C.RUNNING, 0),
    (memory(OUT=31 & ~output.COMPRESSOR), 0, 0),
    (memory(PLAN=CHARGING | N.PLAN_NO_START), C.BAR_START, 0),
    (memory(PLAN=N.PLAN_NO_START), C.BAR_START, 0),
    (memory(PLAN=0), 0, 0),
    (memory(PLAN=CHARGING | N.PLAN_NO_START, MODE=mode.CHARGE_NOW), 0, 0),
    (memory(PLAN=CHARGING | N.PLAN_NO_START, FLAGS=M.FLAG_HOT), 0, 0),
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
    mode.OFF: (C.BAR_RUN, C.BAR_ROOM),
    mode.CHARGE_NOW: (0, 0),
    mode.COOL_NOW: (0, 0),
    mode.QUIET: (C.BAR_START, 0),
    mode.SERVICE: (C.BAR_RUN, C.BAR_ROOM),
    mode.PURGE: (C.BAR_START, C.PURGE_ASKED),
    mode.FIRST_PULL_DOWN: (0, 0),
}


@pytest.mark.parametrize("asked", MODES)
def test_what_a_mode_bars(asked: int) -> None:
    d = rested()
    d.memory[M.MODE] = asked
    d.memory[M.PLAN] |= N.PLAN_WANTED
    for_store, for_room = MODES[asked]
    assert store(d) == AT_REST_STORE | for_store
    assert room(d) == AT_REST_ROOM | for_room
    everything = C.LOCK_ALL if asked in (mode.OFF, mode.SERVICE) else 0
    capped = 0 if asked == mode.COOL_NOW else C.LOCK_FAN_CAP
    assert lock(d) == everything | capped
    d.memory[M.PLAN] = 0
    assert room(d) & C.WANTED == (C.WANTED if asked == mode.COOL_NOW else 0)


FLOOD = (latch.LEVEL, latch.FLOOR)
STORE_LATCHES = (*FLOOD, latch.NO_COOLING, latch.PROBES, latch.WELDED)
ROOM_LATCHES = (*FLOOD, latch.DRY, latch.TRAY, latch.STILL)


@pytest.mark.parametrize("bit", sorted({*STORE_LATCHES, *ROOM_LATCHES}))
def test_a_latch_locks_its_own_side(bit: int) -> None:
    d = rested()
    for latched in (bit, bit | latch.TRAY | latch.PROBES):
        d.memory[M.LATCH] = latched
        for_store = any(latched & b for b in STORE_LATCHES)
        for_room = any(latched & b for b in ROOM_LATCHES)
        assert bool(store(d) & C.STORE_LOCK) == bool(lock(d) & C.LOCK_STORE) == for_store
        assert bool(room(d) & C.ROOM_LOCK) == bool(lock(d) & C.LOCK_ROOM) == for_room


ROOM_EDGES: list[tuple[Callable[[Drive], None], int, int, int]] = [
    # change, gained, lost, gained by the interlock
    (untrusted("ROOM"), 0, C.ROOM_SEEN | C.ROOM_COOL | C.USEFUL, 0),
    (untrusted("STORE_LOW", "STORE_HIGH"), 0, C.USEFUL, C.LOCK_BLIND),
    (untrusted("STORE_LOW"), 0, 0, 0),
    (lambda d: d.set(ROOM_MC=24000), 0, 0, 0),
    (lambda d: d.set(ROOM_MC=24001), 0, C.ROOM_COOL, 0),
    (lambda d: d.set(ROOM_MC=24499), 0, C.ROOM_COOL, 0),
    (lambda d: d.set(ROOM_MC=24500), C.ROOM_WARM, C.ROOM_COOL, 0),
    (lambda d: d.set(ROOM_MC=13999), 0, C.USEFUL, 0),
    (lambda d: d.set(ROOM_MC=14000), 0, 0, 0),
    (memory(PLAN=0), 0, C.WANTED, 0),
    (memory(PLAN=N.PLAN_WANTED), 0, 0, 0),
    (memory(FLAGS=M.FLAG_BATTERY_LOW), 0, C.POWER, C.LOCK_BATTERY),
    (lambda d: d.set(MAINS_OK=0), 0, 0, C.LOCK_MAINS),
    (lambda d: d.set(TRAY_OK=0), C.TRAY, 0, C.LOCK_TRAY),
    (memory(TRAY_T=0), C.TRAY, 0, C.LOCK_TRAY),
    (memory(TRAY_T=T.DUE), 0, 0, 0),
    (memory(DRY_WAIT_T=0), C.DRY, 0, C.LOCK_DRY),
    (memory(DRY_WAIT_T=T.DUE), 0, 0, 0),
    (memory(GHOST_T=T.DUE), C.DRY, 0, C.LOCK_DRY),
    (memory(GHOST_T=0), 0, 0, 0),
    (memory(FLAGS=M.FLAG_COIL), C.COIL, 0, C.LOCK_COIL),
    (memory(COIL_T=0), C.COIL, 0, C.LOCK_COIL),
    (memory(COIL_T=T.DUE), 0, 0, 0),
    (memory(SPELL_T=0), 0, 0, 0),  # flow can be seen
    (memory(SPELL_T=T.DUE, OUT=output.PUMP), 0, 0, 0),
    # of the interlock alone
    (memory(OFF_T=0), 0, 0, C.LOCK_START),
    (memory(START_1_T=0, START_2_T=0, START_3_T=0, START_4_T=0), 0, 0, C.LOCK_START),
    (memory(REST_T=0), 0, 0, C.LOCK_REST),
    (memory(SPACING_T=0), 0, 0, C.LOCK_SPACING),
    (memory(FLAGS=M.FLAG_FREEZE), 0, 0, C.LOCK_FREEZE),
    (lambda d: d.set(SETTINGS_OK=0), 0, 0, C.LOCK_ALL),
]


@pytest.mark.parametrize(("change", "gained", "lost", "locked"), ROOM_EDGES)
def test_one_change_of_the_room_side(
    change: Callable[[Drive], None], gained: int, lost: int, locked: int
) -> None:
    d = rested()
    change(d)
    assert room(d) == (AT_REST_ROOM | gained) & ~lost
    assert lock(d) == C.LOCK_FAN_CAP | locked


def test_cool_now_has_a_band_of_three_steps_of_a_probe() -> None:
    d = rested()
    d.memory[M.MODE] = mode.COOL_NOW
    for mc, expected in ((24000, C.ROOM_COOL), (24001, 0), (24199, 0), (24200, C.ROOM_WARM)):
        d.set(ROOM_MC=mc)
        assert room(d) & (C.ROOM_COOL | C.ROOM_WARM) == expected


@pytest.mark.parametrize(
    ("state", "useful_mk", "spent_mc"), [(K.WAITING, 6000, 20000), (K.DISCHARGE, 4000, 21000)]
)
def test_cold_enough_to_be_of_use(state: int, useful_mk: int, spent_mc: int) -> None:
    d = rested()
    d.memory[M.ROOM_STATE] = state
    for low_mc, room_mc, useful in (
        (8000, 8000 + useful_mk, True),
        (8000, 7999 + useful_mk, False),
        (spent_mc - 1, 40000, True),
        (spent_mc, 40000, False),
    ):
        d.store(low_mc)
        d.set(ROOM_MC=room_mc)
        assert bool(room(d) & C.USEFUL) == useful
    d.set(STORE_LOW_MC=8000, STORE_HIGH_MC=12000, ROOM_MC=8000 + useful_mk)
    assert room(d) & C.USEFUL  # the water is drawn at the bottom


def test_without_any_sight_of_flow_the_pump_runs_in_spells() -> None:
    fit = EVERY_SENSOR & ~(fitted.FLOW | fitted.COIL_IN)
    d = rested(fit)
    for out, at, over in (
        (output.PUMP, T.DUE, True),
        (output.PUMP, 0, False),
        (output.PUMP, T.IDLE, False),
        (output.FAN, 0, True),
        (output.FAN, T.DUE, False),
    ):
        memory(OUT=out, SPELL_T=at)(d)
        assert bool(room(d) & C.SPELL) == bool(lock(d) & C.LOCK_DRY) == over
    assert Q.spells_only(d.settings)
    for bit in (fitted.FLOW, fitted.COIL_IN):
        d.settings[S.FITTED] = fit | bit
        assert not Q.spells_only(d.settings)


def test_a_starved_board_without_a_battery_has_the_power_of_the_mains() -> None:
    d = rested(EVERY_SENSOR & ~fitted.BATTERY)
    d.memory[M.FLAGS] = M.FLAG_BATTERY_LOW
    assert room(d) & C.POWER
    d.set(MAINS_OK=0)
    assert not room(d) & C.POWER
    d.settings[S.FITTED] &= ~fitted.MAINS
    assert room(d) & C.POWER
    assert store(d) & C.MAINS


def test_no_tray_float_no_tray() -> None:
    d = rested(EVERY_SENSOR & ~fitted.TRAY)
    memory(TRAY_T=0)(d)
    d.set(TRAY_OK=0)
    assert not room(d) & C.TRAY


@pytest.mark.parametrize("starts", [1, 2, 3, 4])
def test_starts_that_an_hour_has(starts: int) -> None:
    d = rested(STARTS_PER_HOUR=starts)
    for n in range(starts):
        assert Q.starts_left(d.memory, d.settings)
        d.memory[M.START_1_T + n] = 0
    assert not Q.starts_left(d.memory, d.settings)


def test_full_fan_from_far_above_the_target_until_near_it() -> None:
    d = rested()
    for out, edge_mc in ((0, 25500), (31 & ~output.FAN_FULL, 25500), (output.FAN_FULL, 24750)):
        d.memory[M.OUT] = out
        for mc, capped in ((edge_mc - 1, True), (edge_mc, False)):
            d.set(ROOM_MC=mc)
            memory(MODE=mode.AUTOMATIC)(d)
            assert bool(lock(d) & C.LOCK_FAN_CAP) == capped, (out, mc)
            memory(MODE=mode.QUIET)(d)
            assert lock(d) & C.LOCK_FAN_CAP
    memory(MODE=mode.AUTOMATIC)(d)
    untrusted("ROOM")(d)
    assert lock(d) & C.LOCK_FAN_CAP

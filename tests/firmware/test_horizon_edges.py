"""Each threshold of the horizon on its own.

A case stands one small move away from a threshold. The move must change the controller's memory (so
the threshold is real) and must lie outside the band that `horizon` fills in (so a jump stops
there); the moves are smaller than the band around the anchor, which would stop a jump anyhow.
"""

from __future__ import annotations

from collections.abc import Callable
from copy import deepcopy

import pytest
from drive import EVERY_SENSOR, Drive, cell, fitted, output, reading, week

Case = tuple[str, Callable[[], Drive], str, int]
ICE = {"ICE_BANK": 1, "ICE_RUN_MIN": 600, "FREEZE_MC": -1000, "DEEP_MC": 500, "STUCK_MIN": 720}


def at(low: int, high: int, room: int = 20000, **more: int) -> Drive:
    """A quiet controller, booted at these temperatures."""
    settings = more.pop("settings", None)
    d = Drive(STORE_LOW_MC=low, STORE_HIGH_MC=high, ROOM_MC=room, settings=settings, **more)
    d.seconds(5)
    return d


def charging(low: int = 9000, high: int = 9000, **more: int) -> Drive:
    d = at(low, high, **more)
    d.minutes(11)
    assert d.compressor
    return d


WALL = EVERY_SENSOR & ~fitted.STORE_LOW
DEEP = {"DEEP_MC": 500, "SHALLOW_MC": 500}


def cold(high: int) -> Drive:
    """Vouched for on the way down, and below 4 °C."""
    d = charging(6000, 6000, settings=DEEP)
    for low, top in ((5000, 5200), (4300, 3300), (3700, high)):
        then(d, STORE_LOW_MC=low, STORE_HIGH_MC=top)
    return d


def sinking(low: int) -> Drive:
    """Chilled under a top said to be warm."""
    d = charging(6000, 9000, settings=DEEP)
    return then(then(d, STORE_LOW_MC=4500), STORE_LOW_MC=low)


def sinking_delivered(low: int) -> Drive:
    """The same, delivered from meanwhile."""
    d = charging(6000, 9000, settings=DEEP)
    d.set(ROOM_MC=30000)
    d.until(lambda d: d.pump, 600)
    return then(then(d, STORE_LOW_MC=4500), STORE_LOW_MC=low)


def idle(mc: int) -> Drive:
    """Switched off for so long that the fall of the store is judged."""
    d = at(mc, mc, settings={"DEEP_MC": 9000, "SHALLOW_MC": 10000})
    d.minutes(6)
    return d


def delivering(low: int = 5000, room: int = 26000, **more: int) -> Drive:
    d = at(low, low, room, COIL_IN_MC=low, **more)
    d.set(COIL_AIR_MC=more.get("COIL_AIR_MC", 20000))
    d.minutes(11)
    assert d.pump
    assert d.fan
    return d


def then(d: Drive, **moves: int) -> Drive:
    d.tick(**moves)
    d.seconds(3)
    return d


def ice(high: int) -> Drive:
    d = charging(6000, 6000, settings=ICE)
    for mc in (4500, 3000, 1500):
        then(d, STORE_LOW_MC=mc, STORE_HIGH_MC=mc)
    return then(d, STORE_HIGH_MC=high)


def grown(high: int) -> Drive:
    """Some of the ice run is used, the store warm again."""
    d = ice(900)
    d.minutes(5)
    for mc in (3000, high):
        then(d, STORE_LOW_MC=mc, STORE_HIGH_MC=mc)
    return d


def follow() -> Drive:
    d = Drive(fit=EVERY_SENSOR & ~fitted.FLOW, ROOM_MC=26000, STORE_LOW_MC=5000, STORE_HIGH_MC=5000)
    d.minutes(11)
    return then(d, COIL_IN_MC=7980)


def flat_battery() -> Drive:
    d = at(9000, 9000, MAINS_OK=0)
    return then(then(d, BATTERY_MV=11000), BATTERY_MV=12590)


def windowed() -> Drive:
    d = Drive(WEEK_MIN=700)
    d.window(0, week.CHARGE, 127, 600, 720)
    d.seconds(5)
    return d


def no_fan() -> Drive:
    d = delivering()
    d.honest = False
    return then(d, FLOW_ML_MIN=1000, FAN_RPM=210)


def ghost() -> Drive:
    d = at(9000, 9000)
    d.honest = False
    return then(d, FLOW_ML_MIN=290)


CASES: tuple[Case, ...] = (
    ("freeze", lambda: at(8000, 1030, fit=WALL), "STORE_HIGH_MC", 1000),
    ("freeze, low", lambda: at(1030, 8000), "STORE_LOW_MC", 1000),
    (
        "freeze over",
        lambda: then(at(8000, 900, fit=WALL), STORE_HIGH_MC=1970),
        "STORE_HIGH_MC",
        2000,
    ),
    ("freeze, vouched for", lambda: cold(1030), "STORE_HIGH_MC", 1000),
    ("floor over", lambda: then(at(4400, 5800), STORE_LOW_MC=5470), "STORE_LOW_MC", 5500),
    ("top no longer vouched for", lambda: charging(6000, 7470), "STORE_HIGH_MC", 7501),
    ("top vouched for", lambda: charging(6000, 7530), "STORE_HIGH_MC", 7500),
    ("bottom no longer vouched for", lambda: charging(7470, 6000), "STORE_LOW_MC", 7501),
    ("bottom below what is compared", lambda: charging(5020, 6400), "STORE_LOW_MC", 4999),
    ("top comes up", lambda: cold(1600), "STORE_HIGH_MC", 2350),
    ("top has fallen", lambda: cold(1600), "STORE_HIGH_MC", 1400),
    ("bottom sinks", lambda: sinking(3500), "STORE_LOW_MC", 3479),
    ("bottom fell", lambda: then(charging(3000, 9000), STORE_LOW_MC=2780), "STORE_LOW_MC", 2750),
    ("bottom colder than ever", lambda: sinking_delivered(2500), "STORE_LOW_MC", 2480),
    ("least of a top not vouched for", lambda: sinking(4500), "STORE_HIGH_MC", 8800),
    ("bottom rose", lambda: charging(3000, 9000), "STORE_LOW_MC", 3125),
    ("top said to be warm", lambda: charging(4700, 7240), "STORE_HIGH_MC", 6190),
    ("upside down", lambda: at(5470, 3900), "STORE_LOW_MC", 5481),
    ("upside up", lambda: at(8000, 6470), "STORE_HIGH_MC", 6501),
    ("upside down, high", lambda: at(8000, 6530), "STORE_HIGH_MC", 6499),
    ("chilled though off", lambda: idle(6000), "STORE_LOW_MC", 5600),
    ("chilled though off, high", lambda: idle(6000), "STORE_HIGH_MC", 5600),
    ("live though off", lambda: at(9000, 9000), "RELAY_OPEN", 0),
    ("too much flow", lambda: delivering(FLOW_ML_MIN=19990), "FLOW_ML_MIN", 20001),
    ("charge starts", lambda: at(3780, 3780), "STORE_LOW_MC", 3820),
    ("charge starts, high", lambda: at(3780, 3780), "STORE_HIGH_MC", 3820),
    ("store full", lambda: at(3030, 3030), "STORE_LOW_MC", 2970),
    ("store full, high", lambda: at(3030, 3030), "STORE_HIGH_MC", 2970),
    ("warm fill", lambda: at(21980, 21980), "STORE_LOW_MC", 22020),
    ("warm fill, high", lambda: at(21980, 21980), "STORE_HIGH_MC", 22020),
    ("spent", lambda: at(19980, 19980, 28000), "STORE_LOW_MC", 20020),
    ("spent, high", lambda: at(19980, 19980, 28000), "STORE_HIGH_MC", 20020),
    (
        "progress",
        lambda: then(charging(), STORE_LOW_MC=8530, STORE_HIGH_MC=8530),
        "STORE_LOW_MC",
        8470,
    ),
    (
        "progress, high",
        lambda: then(charging(), STORE_LOW_MC=8530, STORE_HIGH_MC=8530),
        "STORE_HIGH_MC",
        8470,
    ),
    (
        "apart above 5 °C",
        lambda: then(charging(5500, 8500), STORE_LOW_MC=4970, COIL_IN_MC=6000),
        "STORE_LOW_MC",
        5010,
    ),
    ("apart", lambda: then(charging(7000, 9000), STORE_HIGH_MC=9970), "STORE_HIGH_MC", 10010),
    ("apart, low", lambda: then(charging(7500, 10000), STORE_LOW_MC=7030), "STORE_LOW_MC", 6990),
    ("ice zone", lambda: ice(1030), "STORE_HIGH_MC", 990),
    ("melted", lambda: grown(3970), "STORE_HIGH_MC", 4010),
    ("room warm", lambda: at(20000, 20000, 24470), "ROOM_MC", 24500),
    ("room cool", lambda: at(20000, 20000, 24030), "ROOM_MC", 24000),
    ("full fan", lambda: delivering(5000, 25470), "ROOM_MC", 25500),
    ("room over its limit", lambda: at(9000, 9000, 26970), "ROOM_MC", 27000),
    ("room under it", lambda: then(at(9000, 9000, 27010), ROOM_MC=26730), "ROOM_MC", 26690),
    ("useful", lambda: at(14020, 14020), "STORE_LOW_MC", 13990),
    ("useful, room", lambda: at(14020, 14020), "ROOM_MC", 20030),
    ("inlet strays", follow, "COIL_IN_MC", 8010),
    ("inlet strays, store", follow, "STORE_LOW_MC", 4970),
    ("water ice", lambda: at(-480, 3000), "STORE_LOW_MC", -510),
    ("inlet ice", lambda: then(delivering(300), COIL_IN_MC=-470), "COIL_IN_MC", -510),
    ("cold air", lambda: at(9000, 9000, COIL_AIR_MC=3530), "COIL_AIR_MC", 3490),
    ("ghost flow", ghost, "FLOW_ML_MIN", 300),
    ("fan slow", no_fan, "FAN_RPM", 199),
    ("battery", lambda: at(9000, 9000, MAINS_OK=0, BATTERY_MV=12010), "BATTERY_MV", 11999),
    ("battery back", flat_battery, "BATTERY_MV", 12601),
    ("plan ends", windowed, "WEEK_MIN", 720),
    ("clock back", windowed, "WEEK_MIN", 599),
    ("store moves", lambda: at(9000, 9000), "STORE_LOW_MC", 9062),
    ("store moves down", lambda: at(9000, 9000), "STORE_HIGH_MC", 8938),
    ("room moves", lambda: at(9000, 9000, 21000), "ROOM_MC", 21125),
    ("too hot", lambda: at(44990, 44990), "STORE_LOW_MC", 45001),
    ("too cold", lambda: at(-4990, 9000), "STORE_LOW_MC", -5001),
    (
        "from power-on to sense",
        lambda: then(at(9000, 9000), STORE_LOW_MC=85000),
        "STORE_LOW_MC",
        9000,
    ),
    (
        "from too cold to good",
        lambda: then(at(-4960, 9000), STORE_LOW_MC=-5010),
        "STORE_LOW_MC",
        -4990,
    ),
    ("mains", lambda: at(9000, 9000), "MAINS_OK", 0),
    ("tray", lambda: at(9000, 9000), "TRAY_OK", 0),
    ("level", lambda: at(9000, 9000), "LEVEL_OK", 0),
    ("floor", lambda: at(9000, 9000), "FLOOR_DRY", 0),
    ("settings", lambda: at(9000, 9000), "SETTINGS_OK", 0),
    ("fault code", lambda: at(9000, 9000), "ROOM_FAULT", 1),
    ("press", lambda: at(9000, 9000), "ACK_SEQ", 1),
    ("request", lambda: at(9000, 9000), "MODE_SEQ", 1),
)


@pytest.mark.parametrize(("name", "make", "slot", "to"), CASES, ids=[case[0] for case in CASES])
def test_a_jump_stops_before_a_reading_crosses(
    name: str, make: Callable[[], Drive], slot: str, to: int
) -> None:
    d = make()
    d.settle()
    d.honest = False
    ms, watch = d.horizon()
    index = getattr(reading, slot)
    low, high = watch[2 * index], watch[2 * index + 1]
    assert ms > 0 or "to" in name.split()
    assert low <= d.readings[index] <= high
    assert not low <= to <= high
    moved = deepcopy(d)
    moved.tick(**{slot: to})
    assert moved.memory != d.memory


DEADLINES: tuple[tuple[str, Callable[[], Drive]], ...] = (
    ("OFF_T", lambda: at(9000, 9000)),
    ("ON_T", charging),
    ("TRAY_T", lambda: at(2000, 2000, 20000)),
    ("STORE_HIGH_STUCK_T", charging),
    ("PROGRESS_T", charging),
    ("START_1_T", charging),
    ("GHOST_T", lambda: then(ghost(), FLOW_ML_MIN=900)),
)


@pytest.mark.parametrize(("timer", "make"), DEADLINES, ids=[d[0] for d in DEADLINES])
def test_no_jump_beyond_a_deadline(timer: str, make: Callable[[], Drive]) -> None:
    d = make()
    d.settle()
    ms, _ = d.horizon()
    for slot in range(cell.TIMERS, cell.SIZE):  # leave only the one timer running
        if slot != getattr(cell, timer) and d.memory[slot] >= 0:
            d.memory[slot] = -1
    d.honest = False
    alone_ms, _ = d.horizon()
    assert 0 < ms <= alone_ms < 2**28
    early, late = deepcopy(d), deepcopy(d)
    early.tick(alone_ms - 1)
    late.tick(alone_ms)
    assert early.memory[getattr(cell, timer)] == d.memory[getattr(cell, timer)]
    assert late.memory[getattr(cell, timer)] != d.memory[getattr(cell, timer)]


def test_no_jump_while_a_probe_is_gaining_trust() -> None:
    d = Drive()
    d.tick()
    assert d.horizon()[0] == 0
    d.seconds(4)
    assert d.horizon()[0] > 0


def test_bands_are_no_narrower_than_a_jump_needs() -> None:
    """Over Sunday midnight the clock runs to the end of the plan; the rest may drift freely."""
    d = Drive(fit=EVERY_SENSOR & ~fitted.COIL_AIR, WEEK_MIN=10070)
    d.window(0, week.CHARGE, 64, 1420, 30)
    d.seconds(5)
    d.tick(WEEK_MIN=5)
    d.settle()
    _, watch = d.horizon()
    assert watch[2 * reading.WEEK_MIN : 2 * reading.WEEK_MIN + 2].tolist() == [5, 29]
    assert watch[2 * reading.BATTERY_MV] < 0  # mains is seen
    assert watch[2 * reading.FAN_RPM] < 0
    assert watch[2 * reading.COIL_AIR_MC] < -60000 < 130000 < watch[2 * reading.COIL_AIR_MC + 1]
    assert watch[2 * reading.NOW_MS + 1] >= 2**30 - 1
    d.tick(MAINS_OK=0)
    d.settle()
    assert d.horizon()[1][2 * reading.BATTERY_MV] == 12000


def test_the_longest_jump_is_bounded() -> None:
    d = Drive(fit=0, MAINS_OK=1)
    d.minutes(11)
    d.seconds(2)
    assert d.horizon()[0] == 2**28
    assert not d.out & output.COMPRESSOR

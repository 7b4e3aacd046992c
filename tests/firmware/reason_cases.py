"""A controller brought to each reason: (its number, whether time is counted, how to get there)."""

from __future__ import annotations

from collections.abc import Callable

from drive import EVERY_SENSOR, Drive, fitted, mode, week
from springhouse import advice, reason


def waited(**more: int) -> Drive:
    d = Drive(**more)
    d.minutes(11)
    return d


def _asked(wanted: int, minutes: int = 60) -> Drive:
    d = waited(STORE_LOW_MC=3500, STORE_HIGH_MC=3500)
    d.ask(wanted, minutes)
    d.store(9000)
    d.seconds(20)
    return d


def _full_early() -> Drive:
    d = waited()
    for mc in (5500, 2900):  # a step of more than 5 K would not be believed
        d.store(mc)
        d.seconds(5)
    return d


def _stopped_charge() -> Drive:
    d = waited()
    d.minutes(6)
    for mc in (5500, 2900):
        d.store(mc)
        d.seconds(3)
    d.store(5000)
    d.seconds(3)
    return d


def _mains_back() -> Drive:
    d = waited()
    d.seconds(3, MAINS_OK=0)
    d.seconds(3, MAINS_OK=1)
    return d


def _starts_used() -> Drive:
    d = Drive(settings={"MIN_OFF_S": 300, "STARTS_PER_HOUR": 1, "MIN_ON_S": 60})
    d.minutes(8)
    for mc in (5500, 2900):
        d.store(mc)
        d.seconds(3)
    d.store(6000)
    d.minutes(6)
    return d


def _planned(kind: int, start: int = 700, end: int = 800) -> Drive:
    d = Drive(STORE_LOW_MC=6500, STORE_HIGH_MC=6500)
    d.window(0, kind, 127, start, end)
    if kind == week.NO_START:
        d.store(9000)
    d.minutes(11)
    return d


def _rest() -> Drive:
    d = Drive(settings={"PROGRESS_MIN": 60})
    d.minutes(11)
    for n in range(63):
        d.store(8000 + n % 2 * 100)
        d.minutes(1, 60000)
    return d


def _motor_rest() -> Drive:
    d = Drive(STORE_LOW_MC=25000, STORE_HIGH_MC=25000, settings={"PULL_DOWN_RUN_MIN": 30})
    d.tick()
    d.ask(mode.FIRST_PULL_DOWN, 4320)
    d.minutes(11)
    for n in range(31):
        d.store(25000 - n * 70)
        d.minutes(1)
    return d


def _ice_used() -> Drive:
    d = Drive(settings={"ICE_BANK": 1, "FREEZE_MC": -1000, "DEEP_MC": 500, "SHALLOW_MC": 500})
    d.minutes(11)
    for mc in (4500, 2000, 900):
        d.store(mc)
        d.minutes(3)
    d.minutes(3)
    d.store(3000)
    d.seconds(3)
    return d


def _stuck() -> Drive:
    d = Drive(fit=EVERY_SENSOR & ~fitted.STORE_HIGH, settings={"STUCK_MIN": 30})
    d.minutes(11)
    d.minutes(31)
    return d


def _floor() -> Drive:
    d = Drive(fit=EVERY_SENSOR & ~fitted.STORE_HIGH, STORE_LOW_MC=4400)
    d.seconds(5)
    return d


def _set(d: Drive, **changes: int) -> Drive:
    d.seconds(20, **changes)
    return d


def _seconds(d: Drive, n: int) -> Drive:
    d.seconds(n)
    return d


def _advised(what: int) -> Drive:
    d = Drive(settings={"ADVISED": advice.CHARGING})
    d.minutes(9)
    d.advise(what, 4000, 60)
    d.minutes(2)
    return d


R_ = reason  # short, for the tables
STORE_CASES: tuple[tuple[int, bool, Callable[[], Drive]], ...] = (
    (R_.SETTINGS_INVALID, False, lambda: _set(waited(), SETTINGS_OK=0)),
    (R_.OFF_ASKED, True, lambda: _asked(mode.OFF)),
    (R_.SERVICE_ASKED, True, lambda: _asked(mode.SERVICE)),
    (R_.CHARGING, False, lambda: waited()),
    (R_.KEEPING_UP, False, lambda: _set(waited(), ROOM_MC=26000)),
    (R_.MINIMUM_RUN, True, lambda: _full_early()),
    (R_.STORE_UNSEEN, False, lambda: _set(waited(), STORE_LOW_FAULT=1, STORE_HIGH_FAULT=1)),
    (R_.STORE_GAINING, False, lambda: _seconds(Drive(), 1)),
    (R_.PROBE_STUCK, False, _stuck),
    (R_.ICE, False, lambda: _set(waited(), STORE_HIGH_MC=900)),
    (R_.ICE_FLOOR, False, _floor),
    (R_.TOP_UNSURE, False, lambda: _set(Drive(STORE_LOW_MC=4400, STORE_HIGH_MC=4400))),
    (R_.NO_MAINS, False, lambda: _set(waited(), MAINS_OK=0)),
    (R_.RESTING, True, _rest),
    (R_.MOTOR_RESTING, True, _motor_rest),
    (R_.ICE_RUN_USED, False, _ice_used),
    (R_.FULL, False, lambda: _set(Drive(), STORE_LOW_MC=2900, STORE_HIGH_MC=2900)),
    (R_.WARM_FILL, False, lambda: waited(STORE_LOW_MC=23000, STORE_HIGH_MC=23000)),
    (R_.COLD_ENOUGH, False, lambda: waited(STORE_LOW_MC=3500, STORE_HIGH_MC=3500)),
    (R_.CHARGE_LATER, True, lambda: _planned(week.CHARGE, 800, 900)),
    (R_.OFF_TIME_BOOT, True, lambda: _seconds(Drive(), 9)),
    (R_.OFF_TIME_MAINS, True, _mains_back),
    (R_.OFF_TIME, True, _stopped_charge),
    (R_.STARTS_USED, True, _starts_used),
    (R_.QUIET_ASKED, True, lambda: _asked(mode.QUIET)),
    (R_.PURGE_BARS, True, lambda: _asked(mode.PURGE, 30)),
    (R_.TARIFF, True, lambda: _planned(week.NO_START)),
    (R_.CHARGING_BY_PLAN, False, lambda: _advised(advice.CHARGE)),
    (R_.PLAN_WAITS, False, lambda: _advised(advice.WAIT)),
)


def _delivering(**more: int) -> Drive:
    return _set(
        waited(STORE_LOW_MC=5000, STORE_HIGH_MC=5000, COIL_IN_MC=5000, **more), ROOM_MC=26000
    )


def _dry() -> Drive:
    d = _delivering()
    d.honest = False
    return _set(d, FLOW_ML_MIN=0)


def _priming() -> Drive:
    d = _delivering()
    d.honest = False
    d.seconds(2, FLOW_ML_MIN=0)
    return d


def _ghost(flow_ml_min: int = 900) -> Drive:
    d = waited()
    d.honest = False
    d.seconds(70, FLOW_ML_MIN=flow_ml_min)
    return d


def _spell() -> Drive:
    d = Drive(fit=fitted.STORE_LOW | fitted.ROOM, STORE_LOW_MC=6000, ROOM_MC=26000)
    d.until(lambda d: d.pump, 90)
    d.until(lambda d: not d.pump, 700)
    return d


def _starting() -> Drive:
    d = waited(STORE_LOW_MC=3500, STORE_HIGH_MC=3500)
    d.set(ROOM_MC=26000)
    d.until(lambda d: d.fan, 20)
    return d


def _brine_unseen() -> Drive:
    d = Drive(settings={"BRINE": 1}, STORE_LOW_FAULT=1, STORE_HIGH_FAULT=1, COIL_IN_FAULT=1)
    d.minutes(11)
    d.ask(mode.PURGE, 20)
    d.seconds(5)
    return d


NO_BATTERY = EVERY_SENSOR & ~fitted.BATTERY
ROOM_CASES: tuple[tuple[int, bool, Callable[[], Drive]], ...] = (
    (R_.SETTINGS_INVALID, False, lambda: _set(waited(), SETTINGS_OK=0)),
    (R_.OFF_ASKED, True, lambda: _asked(mode.OFF)),
    (R_.SERVICE_ASKED, True, lambda: _asked(mode.SERVICE)),
    (R_.TRAY_FULL, False, lambda: _set(waited(), TRAY_OK=0)),
    (R_.TRAY_WAIT, True, lambda: _set(_set(waited(), TRAY_OK=0), TRAY_OK=1)),
    (R_.DRY_WAIT, True, _dry),
    (R_.GHOST_FLOW, False, _ghost),
    (R_.FLOW_TOO_HIGH, False, lambda: _ghost(133000)),
    (R_.COIL_COLD, False, lambda: _set(waited(), COIL_AIR_MC=2000)),
    (R_.COIL_WAIT, True, lambda: _set(_set(waited(), COIL_AIR_MC=2000), COIL_AIR_MC=20000)),
    (R_.NO_POWER, False, lambda: _set(waited(fit=NO_BATTERY), MAINS_OK=0)),
    (R_.BATTERY_LOW, False, lambda: _set(waited(), MAINS_OK=0, BATTERY_MV=11000)),
    (R_.SPELL_PAUSE, True, _spell),
    (R_.DELIVERING, False, _delivering),
    (R_.PRIMING, True, _priming),
    (R_.PURGING, True, lambda: _asked(mode.PURGE, 30)),
    (R_.ROOM_UNSEEN, False, lambda: _set(waited(), ROOM_FAULT=1)),
    (R_.ROOM_GAINING, False, lambda: _seconds(Drive(fit=EVERY_SENSOR & ~fitted.TRAY), 1)),
    (R_.NOT_WANTED, True, lambda: _planned(week.WANTED, 800, 900)),
    (R_.ROOM_COOL, False, lambda: waited(ROOM_MC=22000)),
    (R_.STORE_UNSEEN, False, lambda: _set(_delivering(), STORE_LOW_FAULT=1, STORE_HIGH_FAULT=1)),
    (R_.NOT_USEFUL, False, lambda: waited(ROOM_MC=25000, STORE_LOW_MC=19400, STORE_HIGH_MC=19400)),
    (R_.STORE_SPENT, False, lambda: waited(ROOM_MC=29000, STORE_LOW_MC=21000, STORE_HIGH_MC=21000)),
    (R_.ROOM_NEAR, False, lambda: waited(ROOM_MC=24200)),
    (R_.STARTING, True, _starting),
    (R_.PAUSED, True, lambda: _seconds(Drive(fit=EVERY_SENSOR & ~fitted.TRAY, ROOM_MC=26000), 9)),
    (R_.MINIMUM_DELIVERY, True, lambda: _set(_set(_delivering(), ROOM_MC=23900), ROOM_MC=23800)),
    (R_.COIL_UNSEEN, False, _brine_unseen),
)

"""The complete check finds planted mistakes, and the interlock makes them harmless meanwhile."""

from __future__ import annotations

from types import ModuleType, SimpleNamespace
from typing import Any

import numba
import pytest
from drive import Drive, setting, statechart
from springhouse import condition, controller, interlock, output
from springhouse_host.proof import complete, interlock_check, table_check

NAMES = ("STORE_STATES", "ROOM_STATES", "STORE_ROWS", "ROOM_ROWS", "STORE_OUTPUTS", "ROOM_OUTPUTS")


def chart(**changes: Any) -> SimpleNamespace:
    return SimpleNamespace(**{name: getattr(statechart, name) for name in NAMES} | changes)


def instead(rows: tuple[Any, ...], old: tuple[Any, ...], new: tuple[Any, ...]) -> tuple[Any, ...]:
    assert rows.count(old) == 1
    return tuple(new if row == old else row for row in rows)


def test_the_core_has_no_mistake_and_every_case_was_looked_at() -> None:
    found = complete.check()
    assert found.violations == ()
    assert found.states == 13
    assert found.table_cases == 5 * 2**11 + 8 * 2**15
    assert found.interlock_cases == 32 * 32 * 2**15


# Compressor on in the freeze guard.
WRONG_OUTPUT = (0, output.COMPRESSOR, output.COMPRESSOR, 0, output.ALARM)
HOLD, CHARGE, WAITING, DISCHARGE = (
    1 << statechart.HOLD,
    1 << statechart.CHARGE,
    1 << statechart.WAITING,
    1 << statechart.DISCHARGE,
)
KEEPS_CHARGING = instead(
    statechart.STORE_ROWS,
    (HOLD | CHARGE, condition.FREEZE, 0, statechart.FREEZE_GUARD),
    (CHARGE, condition.FREEZE, 0, statechart.CHARGE),
)
HOLD_STARTS = next(row for row in statechart.STORE_ROWS if row[3] == statechart.CHARGE)
STARTS_EARLY = instead(
    statechart.STORE_ROWS,
    HOLD_STARTS,
    (HOLD, HOLD_STARTS[1] & ~condition.MAY_START, HOLD_STARTS[2], statechart.CHARGE),
)
WET = next(row for row in statechart.ROOM_ROWS if row[3] == statechart.CONDENSATE_STOP)
DELIVERS_WET = instead(statechart.ROOM_ROWS, WET, (WET[0] & ~DISCHARGE, *WET[1:]))


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"STORE_OUTPUTS": WRONG_OUTPUT}, "compressor asked for despite 'ice threatens': "),
        (
            {"STORE_ROWS": KEEPS_CHARGING},
            "compressor asked for despite 'ice threatens': chilling the store",
        ),
        ({"STORE_ROWS": STARTS_EARLY}, "compressor started without 'may start': keeping cold"),
        ({"ROOM_ROWS": DELIVERS_WET}, "delivery asked for despite 'tray full or waiting'"),
        ({"STORE_ROWS": statechart.STORE_ROWS[:-1]}, "store side locked is a dead end"),
        (
            {"STORE_ROWS": ((HOLD, 0, 0, 7), *statechart.STORE_ROWS)},
            "row 0 names an unknown state: 1 -> 7",
        ),
        (
            {"STORE_ROWS": ((1 << 5, 0, 0, 0), *statechart.STORE_ROWS)},
            "an unknown state: 100000 -> 0",
        ),
        ({"STORE_ROWS": ((HOLD, 1 << 11, 0, 0), *statechart.STORE_ROWS)}, "does not have"),
        (
            {"ROOM_ROWS": (*statechart.ROOM_ROWS, (WAITING, condition.TRAY, 0, statechart.PURGE))},
            "is never taken",
        ),
        (
            {
                "STORE_ROWS": (
                    *statechart.STORE_ROWS,
                    (HOLD | CHARGE, condition.BAR_RUN, 0, statechart.HOLD),
                )
            },
            "row 11 (chilling the store, 'run barred' -> keeping cold) is never taken",
        ),
        (
            {
                "ROOM_ROWS": (
                    (WAITING, condition.DRY, condition.DRY, statechart.PURGE),
                    *statechart.ROOM_ROWS,
                )
            },
            "requires and forbids",
        ),
        (
            {"STORE_ROWS": ((HOLD, 0, 0, statechart.CHARGE), *statechart.STORE_ROWS)},
            "never comes to rest",
        ),
        ({"ROOM_OUTPUTS": (0,) * 8}, "a latched fault without alarm"),
        (
            {"ROOM_OUTPUTS": (output.COMPRESSOR, *statechart.ROOM_OUTPUTS[1:])},
            "asks for what is not its own",
        ),
        ({"STORE_ROWS": KEEPS_CHARGING}, "does not come to rest in freeze guard"),
    ],
)
def test_a_planted_table_mistake_is_found_and_named(changes: dict[str, Any], words: str) -> None:
    given = chart(**changes)
    regions = (table_check.store_side(given), table_check.room_side(given))
    found = [line for region in regions for line in table_check.check_region(region)[0]]
    assert any(words in line for line in found), found
    assert all(len(line) < 400 and "\n" not in line for line in found)


grant = numba.njit(interlock.grant)  # what numba compiles may call only what it has compiled


def _mains_forgotten(asked: int, out: int, lock: int) -> int:
    return grant(asked, out, lock & ~condition.LOCK_MAINS)


def _two_at_once(asked: int, out: int, lock: int) -> int:
    if asked & ~out & output.PUMP and lock == 0:
        return asked
    return grant(asked, out, lock)


def _adds(asked: int, out: int, lock: int) -> int:
    return grant(asked, out, lock) | output.ALARM


def _jams(asked: int, out: int, lock: int) -> int:
    return grant(asked, out, lock | condition.LOCK_SPACING)


def _stops(asked: int, out: int, lock: int) -> int:
    return 0


def _too_soon(asked: int, out: int, lock: int) -> int:
    return grant(asked, out, lock & ~(condition.LOCK_SPACING | condition.LOCK_START))


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        (_mains_forgotten, ("despite 'no compressor: no mains'",)),
        (_two_at_once, ("starts two motors at once",)),
        (_adds, ("grants what nobody asked for",)),
        (_jams, ("starts no motor though one may",)),
        (_stops, ("stops a motor that nothing bars", "silences the alarm")),
        (_too_soon, ("starts too soon", "starts in a waiting time")),
    ],
)
def test_a_planted_interlock_mistake_is_found(
    wrong: interlock_check.Grant, words: tuple[str, ...]
) -> None:
    found, _ = interlock_check.check_interlock(wrong)
    assert all(any(text in line for line in found) for text in words), found


def _charging_then_ice(mc: int = 900) -> Drive:
    d = Drive()
    d.minutes(11)
    assert d.compressor
    assert d.store_state == statechart.CHARGE
    d.set(STORE_HIGH_MC=4000)
    d.seconds(3)
    d.set(STORE_HIGH_MC=mc)
    return d


@pytest.mark.parametrize(
    ("where", "name", "wrong", "state"),
    [
        (statechart, "STORE_OUTPUTS", WRONG_OUTPUT, statechart.FREEZE_GUARD),
        (controller, "STORE_ROWS", KEEPS_CHARGING, statechart.CHARGE),
    ],
    ids=["compressor on in the freeze guard", "charging on despite ice"],
)
def test_it_is_harmless_behind_the_interlock(
    where: ModuleType, name: str, wrong: object, state: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(where, name, wrong)
    d = _charging_then_ice()
    for _ in range(30):
        d.seconds(60)
        assert d.store_state == state
        assert not d.compressor


def test_a_table_that_starts_too_early_is_held_back(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(controller, "STORE_ROWS", STARTS_EARLY)
    d = Drive()
    d.seconds(10)
    assert d.store_state == statechart.CHARGE
    assert not d.compressor
    took_s = d.until(lambda d: d.compressor, 900)
    assert took_s + 10 >= d.settings[setting.MIN_OFF_S]

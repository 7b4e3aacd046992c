"""The complete check of the interlock: every combination of asked for, on, and lock bits.

What each lock takes away is written here from the requirements, not read from the interlock.
"""

from collections.abc import Callable
from functools import cache
from typing import Any, TypeAlias

import numba
import numpy as np
import numpy.typing as npt
from springhouse import condition, interlock, output, why, words

from .table_check import bit_names

Flags: TypeAlias = npt.NDArray[np.bool_]
Grant: TypeAlias = Callable[[int, int, int], int]

MOTORS = (output.COMPRESSOR, output.PUMP, output.FAN)
# What each lock bit takes away, from the requirements.
LOCKS = (
    (condition.LOCK_FREEZE, output.COMPRESSOR),
    (condition.LOCK_BLIND, output.COMPRESSOR),
    (condition.LOCK_MAINS, output.COMPRESSOR),
    (condition.LOCK_STORE, output.COMPRESSOR),
    (condition.LOCK_REST, output.COMPRESSOR),
    (condition.LOCK_TRAY, output.PUMP | output.FAN),
    (condition.LOCK_DRY, output.PUMP),
    (condition.LOCK_COIL, output.PUMP),
    (condition.LOCK_BATTERY, output.PUMP | output.FAN),
    (condition.LOCK_ROOM, output.PUMP | output.FAN),
    (condition.LOCK_FAN_CAP, output.FAN_FULL),
    (condition.LOCK_ALL, output.COMPRESSOR | output.PUMP | output.FAN | output.FAN_FULL),
)


ASKED = 1 << len(words.OUTPUTS)
LOCKED = 1 << condition.LOCK_BITS


@cache
def _fill() -> Any:
    """Return the compiled loop over all cases; compiled here, for numba is slow to import."""

    def fill(grant: Grant, table: npt.NDArray[np.uint8]) -> None:
        for asked in range(table.shape[0]):
            for out in range(table.shape[1]):
                for lock in range(table.shape[2]):
                    table[asked, out, lock] = grant(asked, out, lock)

    return numba.njit(fill)


def check_interlock(grant: Grant = interlock.grant) -> tuple[list[str], int]:
    """Return the mistakes of an interlock and the number of (asked, out, lock) cases looked at."""
    granted = np.empty((ASKED, ASKED, LOCKED), dtype=np.uint8)
    _fill()(numba.njit(grant), granted)
    asked = np.arange(ASKED, dtype=np.uint8)[:, None, None]
    out = np.arange(ASKED, dtype=np.uint8)[None, :, None]
    lock = np.arange(LOCKED)
    found = [
        *_first(granted & ~asked != 0, granted, "grants what nobody asked for"),
        *_first((asked & ~granted & output.ALARM) != 0, granted, "silences the alarm"),
        *_first(
            _has(granted, output.FAN_FULL) & ~_has(granted, output.FAN),
            granted,
            "full fan without fan",
        ),
    ]
    for bit, taken in LOCKS:
        wrong = (granted & taken != 0) & ((lock & bit) != 0)
        found += _first(wrong, granted, f"despite '{_lock_name(bit)}'")
    motors = sum(MOTORS)
    rising = granted & ~out & np.uint8(motors)
    found += _first(
        _has(rising, output.COMPRESSOR) & ((lock & condition.LOCK_START) != 0),
        granted,
        "starts in a waiting time",
    )
    found += _first(
        (rising & np.uint8(output.PUMP | output.FAN) != 0) & ((lock & condition.LOCK_PAUSE) != 0),
        granted,
        "starts in the pause of pump and fans",
    )
    found += _first(
        (rising != 0) & ((lock & condition.LOCK_SPACING) != 0), granted, "starts too soon"
    )
    found += _first(rising & (rising - np.uint8(1)) != 0, granted, "starts two motors at once")
    return [*found, *_too_much(granted, asked, out, lock)], granted.size


def _too_much(granted: Any, asked: Any, out: Any, lock: Any) -> list[str]:
    """The interlock must not jam: what no lock bars goes on, and of the rest one motor starts."""
    barred = np.zeros(LOCKED, dtype=np.uint8)
    for bit, taken in LOCKS:
        barred |= np.where(lock & bit, taken, 0).astype(np.uint8)
    motors = np.uint8(sum(MOTORS))
    free = asked & ~barred & motors
    lost = free & out & ~granted
    found = _first(lost != 0, granted, "stops a motor that nothing bars")
    may_start = (
        free & ~out & ~np.where(lock & condition.LOCK_START, output.COMPRESSOR, 0).astype(np.uint8)
    )
    may_start &= ~np.where(lock & condition.LOCK_PAUSE, output.PUMP | output.FAN, 0).astype(
        np.uint8
    )
    stuck = (
        (may_start != 0) & ((lock & condition.LOCK_SPACING) == 0) & (granted & ~out & motors == 0)
    )
    return [*found, *_first(stuck, granted, "starts no motor though one may")]


def _has(bits: Any, bit: int) -> Any:
    return bits & np.uint8(bit) != 0


def _lock_name(bit: int) -> str:
    return why.LOCKS[bit.bit_length() - 1]


def _first(wrong: Flags, granted: Any, text: str) -> list[str]:
    """One line for a kind of mistake: its first case, and how many there are."""
    at = int(np.argmax(wrong))
    asked, out, lock = (int(n) for n in np.unravel_index(at, wrong.shape))
    if not wrong[asked, out, lock]:
        return []
    given = int(granted[asked, out, lock])
    return [
        f"interlock: {text}: asked {bit_names(asked, words.OUTPUTS)}, "
        f"on {bit_names(out, words.OUTPUTS)}, locks {bit_names(lock, why.LOCKS)} -> "
        f"{bit_names(given, words.OUTPUTS)}; {int(np.count_nonzero(wrong))} cases"
    ]

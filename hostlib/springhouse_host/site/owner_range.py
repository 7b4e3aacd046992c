"""The [owner_range] table: what the owner may change at the board without another proof.

The board stores a lowest and a highest value a slot; a proof covers everything between. It is run
at the extreme points: each end of the room target and of the fan levels, and the windows of a kind
moved together to their longest, shortest, earliest and latest.
"""

from array import array
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product
from typing import Annotated

from springhouse import setting, week

from ..errors import SiteError
from .fields import Quantity, Whole
from .owner_settings import SLOTS
from .tables import Table

_TARGET = SLOTS["room_target_c"].kind
_QUIET = SLOTS["fan_quiet_percent"].kind
_FULL = SLOTS["fan_full_percent"].kind
MOST_MOVE_MIN = 180

Change = tuple[int, int]  # slot, value
Range = tuple[int, int, int]  # slot, lowest, highest

# How far begin and end of a window go, as signs of the move.
_MOVES = {"longest": (-1, 1), "shortest": (1, -1), "earliest": (-1, -1), "latest": (1, 1)}


class OwnerRangeTable(Table):
    """Ends left out are the setting itself; windows move by so many minutes either way."""

    room_target_lowest_c: Annotated[float | None, _TARGET] = None
    room_target_highest_c: Annotated[float | None, _TARGET] = None
    fan_quiet_lowest_percent: Annotated[float | None, _QUIET] = None
    fan_quiet_highest_percent: Annotated[float | None, _QUIET] = None
    fan_full_lowest_percent: Annotated[float | None, _FULL] = None
    fan_full_highest_percent: Annotated[float | None, _FULL] = None
    wanted_move_min: Annotated[int, Whole(0, MOST_MOVE_MIN)] = 0
    charging_move_min: Annotated[int, Whole(0, MOST_MOVE_MIN)] = 0


_NUMBERS: dict[str, tuple[int, Quantity, int]] = {
    "room_target": (setting.ROOM_TARGET_MC, _TARGET, 1000),
    "fan_quiet": (setting.FAN_QUIET_PM, _QUIET, 10),
    "fan_full": (setting.FAN_FULL_PM, _FULL, 10),
}
_UNITS = {"room_target": "c", "fan_quiet": "percent", "fan_full": "percent"}
KINDS = {"wanted": week.WANTED, "charging": week.CHARGE}


@dataclass(frozen=True)
class Extreme:
    """One extreme point of the range: what is changed, and how to say it."""

    name: str
    changes: tuple[Change, ...]


def _number_range(
    table: OwnerRangeTable, settings: "array[int]", name: str
) -> tuple[int, int, int] | None:
    slot, _, scale = _NUMBERS[name]
    keys = [f"{name}_{end}_{_UNITS[name]}" for end in ("lowest", "highest")]
    stated = [getattr(table, key) for key in keys]
    if stated == [None, None]:
        return None
    own = settings[slot]
    ends = [own if end is None else round(end * scale) for end in stated]
    for key, end, beyond, bound in (
        (keys[0], ends[0], ends[0] > own, "most"),
        (keys[1], ends[1], ends[1] < own, "least"),
    ):
        if beyond:
            raise SiteError(
                f"owner_range.{key}: {end / scale:g}: at {bound} the setting itself, "
                f"{own / scale:g}"
            )
    return slot, ends[0], ends[1]


def window_slots(settings: "array[int]", kind: int) -> list[tuple[int, int]]:
    """Return (begin, end) slots of the windows of a kind."""
    bases = range(setting.WINDOW_1_KIND, setting.SIZE, setting.WINDOW_STRIDE)
    return [(base + 2, base + 3) for base in bases if settings[base] == kind]


def _window_ranges(settings: "array[int]", name: str, move_min: int) -> list[Range]:
    found = []
    for slots in window_slots(settings, KINDS[name]) if move_min else []:
        length_min = (settings[slots[1]] - settings[slots[0]]) % week.DAY_MIN
        if not 2 * move_min < length_min < week.DAY_MIN - 2 * move_min:
            raise SiteError(
                f"owner_range.{name}_move_min: {move_min}: a window of {length_min} min could "
                "vanish or fill the day: less than half of its length and of the rest of the day"
            )
        for slot in slots:
            low, high = settings[slot] - move_min, settings[slot] + move_min
            if low < 0 or high >= week.DAY_MIN:
                raise SiteError(
                    f"owner_range.{name}_move_min: {move_min}: a window begins or ends within so "
                    "many minutes of midnight"
                )
            found.append((slot, low, high))
    return found


def ranges(table: OwnerRangeTable, settings: "array[int]") -> list[Range]:
    """Return (slot, lowest, highest) as the board stores it, in slot order.

    Raises:
        SiteError: when a range does not hold its setting, or a window would cross midnight.
    """
    found = [r for r in (_number_range(table, settings, name) for name in _NUMBERS) if r]
    found += _window_ranges(settings, "wanted", table.wanted_move_min)
    found += _window_ranges(settings, "charging", table.charging_move_min)
    return sorted(found)


def extremes(table: OwnerRangeTable, settings: "array[int]") -> list[Extreme]:
    """Return every extreme point, none where nothing may be changed.

    Raises:
        SiteError: as `ranges`, and when the core would refuse one of them.
    """
    if not ranges(table, settings):
        return []
    ways = [list(_ways(table, settings, name)) for name in (*_NUMBERS, *KINDS)]
    found = []
    for choice in product(*(w for w in ways if w)):
        words = ", ".join(extreme.name for extreme in choice)
        changes = tuple(change for extreme in choice for change in extreme.changes)
        _check(settings, words, changes)
        found.append(Extreme(words, changes))
    return found


def _ways(table: OwnerRangeTable, settings: "array[int]", name: str) -> Iterator[Extreme]:
    if name in _NUMBERS:
        found = _number_range(table, settings, name)
        if found is not None:
            slot, *ends = found
            for value in sorted(set(ends)):
                text = f"{value / _NUMBERS[name][2]:g} {_NUMBERS[name][1].unit}"
                yield Extreme(f"{name.replace('_', ' ')} {text}", ((slot, value),))
        return
    move_min = getattr(table, f"{name}_move_min")
    slots = window_slots(settings, KINDS[name])
    if not move_min or not slots:
        return
    for word, signs in _MOVES.items():
        changes = tuple(
            (slot, settings[slot] + sign * move_min)
            for pair in slots
            for slot, sign in zip(pair, signs, strict=True)
        )
        yield Extreme(f"{name} hours {word}", changes)


def _check(settings: "array[int]", words: str, changes: tuple[Change, ...]) -> None:
    changed = array("i", settings)
    for slot, value in changes:
        changed[slot] = value
    if setting.first_fault(changed) >= 0:
        raise SiteError(f"owner_range: {words}: contradicts another setting")

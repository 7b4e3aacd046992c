"""What the owner changed on the board, out of its black box as got over the link (`get-log`)."""

import struct
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from springhouse import blackbox, setting

from ..errors import KnownError
from ..fitting.log import BOX_BOOT, BOX_UPTIME_S, BOX_UTC_MIN, records
from ..site.owner_settings import SLOTS

BOX_KIND, BOX_SLOT = 0, 2
BOX_HALVES = slice(10, 16)  # old value, new value, tick; see `blackbox`
_NAMES = {slot.slot: (key, slot) for key, slot in SLOTS.items()}
_PARTS = ("kind", "days", "begin", "end")


@dataclass(frozen=True)
class Changed:
    """One setting that was changed on the running board."""

    boot: int  # number of the boot, modulo 256
    utc_min: int  # minutes since 1970, 0 while the board had no time
    up_s: int
    slot: int
    old: int
    new: int
    tick: int  # of the board's clock [ms], it wraps at 2**30


def changes(found: Iterable[tuple[int, ...]]) -> list[Changed]:
    """Return the changes among black-box records, in their order; foreign slots are left out."""
    made = []
    for r in found:
        if r[BOX_KIND] == blackbox.SETTING and r[BOX_SLOT] < setting.SIZE:
            old, new, tick = struct.unpack("<3i", struct.pack("<6H", *r[BOX_HALVES]))
            made.append(
                Changed(r[BOX_BOOT], r[BOX_UTC_MIN], r[BOX_UPTIME_S], r[BOX_SLOT], old, new, tick)
            )
    return made


def read_records(text: str, source: Path) -> list[tuple[int, ...]]:
    """Return the black-box records in lines got over the link.

    Raises:
        KnownError: naming the source: no black-box record.
    """
    found, _ = records(text.splitlines())
    if not found:
        raise KnownError(f'{source}: no black-box record: expected lines such as {{"log":"00..."}}')
    return found


def _value(slot: int, value: int) -> tuple[str, str]:
    """Return (name, value) of a slot in words."""
    if slot in _NAMES:
        key, scaled = _NAMES[slot]
        return key, f"{value / scaled.scale:g} {scaled.unit}".rstrip()
    window, part = divmod(slot - setting.WINDOW_1_KIND, setting.WINDOW_STRIDE)
    if window < 0:
        return f"slot {slot}", str(value)
    clock = f"{value // 60:02d}:{value % 60:02d}" if part >= 2 else str(value)
    return f"window {window + 1} {_PARTS[part]}", clock


def words(change: Changed) -> str:
    """Return a change as a line: when by this computer's zone, what, from, to."""
    when = f"boot {change.boot}, {change.up_s} s after power-up"
    if change.utc_min:
        when = datetime.fromtimestamp(60 * change.utc_min).strftime("%Y-%m-%d %H:%M")
    name, old = _value(change.slot, change.old)
    return f"{when}: {name} changed from {old} to {_value(change.slot, change.new)[1]}"

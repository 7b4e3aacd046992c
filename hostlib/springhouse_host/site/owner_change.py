"""What the owner changes on a running board: words of the site file to slots, and back.

Only keys that `[owner_range]` opens can be changed, and only inside what was proven.
"""

from array import array
from collections.abc import Mapping, Sequence

from springhouse import setting
from springhouse_sim import outside
from springhouse_sim.world.windows import Window

from ..errors import SiteError
from . import owner_range
from .owner_range import KINDS, Change, Range
from .owner_settings import SLOTS
from .read import MODELS, Fault, read_table, shown
from .rules_use import window_text
from .site import Site

NUMBERS = ("room_target_c", "fan_quiet_percent", "fan_full_percent")
WINDOWS = ("wanted", "charging")


def prove_words(site: Site) -> str:
    """Return what to do for a change that the proof does not cover."""
    return (
        f"beyond it change {site.path}, then springhouse prove {site.path} --json verdict.json "
        "and flash"
    )


def parse(site: Site, texts: Sequence[str]) -> list[Change]:
    """Return the slots that KEY=VALUE texts change, with their values.

    Args:
        site: the site whose proof runs on the board.
        texts: a number as in the site file ("room_target_c=25.5", "room_target_c=78 °F"), a
            window ("wanted=mon-fri 13:00-17:30") or several ('wanted=["...", "..."]').

    Raises:
        SiteError: a line for each text that is wrong or outside the proven range.
    """
    ranges = {slot: (low, high) for slot, low, high in site.ranges()}
    changes: dict[int, int] = {}
    lines: list[str] = []
    for text in texts:
        try:
            found = _one(site, ranges, text)
            if changes.keys() & dict(found).keys():
                raise SiteError(f"{text}: that key is given twice")
            changes.update(found)
        except SiteError as error:
            lines += error.lines
    if lines:
        raise SiteError(lines)
    return sorted(changes.items())


def _one(site: Site, ranges: Mapping[int, tuple[int, int]], text: str) -> list[Change]:
    key, equals, value = (part.strip() for part in text.partition("="))
    if not equals or not value:
        raise SiteError(f"{text}: KEY=VALUE, for instance room_target_c=25.5")
    table = "schedule" if key in MODELS["schedule"].model_fields else "settings"
    faults: list[Fault] = []
    _, values = read_table(table, {key: _raw(key, value)}, faults)
    if faults:
        raise SiteError([fault.line(site.path) for fault in faults])
    settings = site.settings()
    if key in WINDOWS:
        found = _window_slots(site, settings, key, values[key])
    elif key in NUMBERS:
        found = [(SLOTS[key].slot, round(values[key] * SLOTS[key].scale))]
    else:
        found = []
    if not found or any(slot not in ranges for slot, _ in found):
        raise SiteError(
            f"{site.path}: {key}: not in the owner's range: change it there, then springhouse "
            f"prove {site.path} --json verdict.json and flash"
        )
    if any(not ranges[slot][0] <= number <= ranges[slot][1] for slot, number in found):
        said = f"{range_text(site, key)} is proven; {prove_words(site)}"
        raise SiteError(f"{site.path}: {key}: {shown(value)}: {said}")
    return found


def _raw(key: str, text: str) -> object:
    """Return a value as the TOML reader would hand it over."""
    if key not in MODELS["schedule"].model_fields:
        return text
    if not text.startswith("["):
        return [text]
    try:
        return outside.from_toml(f"value = {text}", "")["value"]
    except (outside.OutsideError, KeyError):
        return text


def _window_slots(
    site: Site, settings: "array[int]", key: str, windows: Sequence[Window]
) -> list[Change]:
    """Return begin and end of each window; number and days are not the owner's to change here."""
    proven = _windows(settings, key)
    if [w.days for w in windows] != [w.days for w in proven]:
        texts = ", ".join(window_text(window) for window in proven) or "none"
        raise SiteError(
            f"{site.path}: {key}: the windows proven are {texts}: only their begin and end can be "
            f"moved; {prove_words(site)}"
        )
    slots = owner_range.window_slots(settings, KINDS[key])
    pairs = zip(slots, windows, strict=True)
    return [
        change
        for (begin, end), w in pairs
        for change in ((begin, w.start_min), (end, w.end_min % 1440))
    ]


def _windows(settings: "array[int]", key: str) -> list[Window]:
    slots = owner_range.window_slots(settings, KINDS[key])
    return [Window(settings[b], settings[e], settings[b - 1]) for b, e in slots]


def value_text(settings: "array[int]", key: str) -> str:
    """Return what a settings record says of a key, as it is written in a site file."""
    if key in WINDOWS:
        return ", ".join(window_text(window) for window in _windows(settings, key))
    slot = SLOTS[key]
    return f"{settings[slot.slot] / slot.scale:g} {slot.unit}"


def range_text(site: Site, key: str) -> str:
    """Return the proven range of a key in words."""
    if key in WINDOWS:
        move_min = getattr(site.file.owner_range, f"{key}_move_min")
        texts = value_text(site.settings(), key)
        return f"{texts}, begin and end moved by up to {move_min} min,"
    slot = SLOTS[key]
    low, high = next(ends for number, *ends in site.ranges() if number == slot.slot)
    return f"{low / slot.scale:g} to {high / slot.scale:g} {slot.unit}"


def keys(ranges: Sequence[Range], settings: "array[int]") -> list[str]:
    """Return the keys that a range opens."""
    ranged = {slot for slot, _, _ in ranges}
    found = [key for key in NUMBERS if SLOTS[key].slot in ranged]
    for key in WINDOWS:
        slots = owner_range.window_slots(settings, KINDS[key])
        if slots and slots[0][0] in ranged:
            found.append(key)
    return found


def contradiction(settings: "array[int]", changes: Sequence[Change]) -> bool:
    """Return whether a record with these changes would be refused by the core."""
    changed = array("i", settings)
    for slot, value in changes:
        changed[slot] = value
    return setting.first_fault(changed) >= 0

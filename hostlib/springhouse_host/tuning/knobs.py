"""What may be turned: settings and charging hours, as numbers in a box."""

import math
from array import array
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from springhouse import setting, week
from springhouse_sim.world.windows import DAY_MIN, Window

from ..errors import KnownError
from ..site.owner_settings import SLOTS
from ..site.rules_use import window_text
from ..site.site import Site

DEEPER_K = 0.1  # kept above what the guard allows
LOWEST_BELOW_K, HIGHEST_BELOW_K = 5.0, 0.1  # room targets looked at, below the promised bound
LEAST_WINDOW_MIN = 60
LEAST_LEAD_MIN = 30
EARLIER_MIN, LATER_MIN = 120, 120  # how far hours may reach beyond what the site states
BEGINS, ENDS = "charging begins", "charging ends"
DEEP, SHALLOW = "settings.deep_target_c", "settings.shallow_target_c"

Change = tuple[int, int]  # slot, value
Vector = Sequence[float]


@dataclass(frozen=True)
class Knob:
    """One number: its range, its step, and what the site has now.

    A name with a dot is a key of the site file; the others move all charging windows by minutes.
    """

    name: str
    low: float
    high: float
    step: float
    now: float

    def rounded(self, value: float) -> float:
        """Return the value on its step and in its range."""
        on_step = round(round(value / self.step) * self.step, 6)
        return min(self.high, max(self.low, on_step))


def knobs(site: Site) -> tuple[Knob, ...]:
    """Return what may be turned on a site.

    The room target stays inside the owner's range if there is one; charging hours that the owner
    may move at the board stay where they are.

    Raises:
        KnownError: when there is nothing to turn: the room's promise leaves no room target.
    """
    s = site.settings()
    limit_c = min(site.file.promises.room_below_c, s[setting.ROOM_LIMIT_MC] / 1000.0)
    probes = (setting.STORE_LOW_ERR_MK, setting.STORE_HIGH_ERR_MK)
    two = all(getattr(site.file.sensors, p) == "fitted" for p in ("store_low", "store_high"))
    guard_mc = s[setting.FREEZE_MC] if two else max(s[setting.FREEZE_MC], s[setting.FLOOR_MC])
    lowest_c = (guard_mc + max(s[slot] for slot in probes)) / 1000.0 + DEEPER_K
    warmest_c = min(20.0, (s[setting.WARM_FILL_MC] - s[setting.BAND_MK]) / 1000.0 - 0.5)
    found = [
        _setting("deep_target_c", lowest_c, 12.0, 0.1, s),
        _setting("shallow_target_c", lowest_c, warmest_c, 0.5, s),
        _setting("room_target_c", *_target_range(site, limit_c), 0.1, s),
        _setting("room_band_k", 0.2, 1.0, 0.1, s),
    ]
    windows = site.file.schedule.charging
    if windows and not site.file.owner_range.charging_move_min:
        spare = min(w.length_min for w in windows) - LEAST_WINDOW_MIN
        longest = max(w.length_min for w in windows)
        earlier = min(EARLIER_MIN, (DAY_MIN - longest) // 2)
        found.append(Knob(BEGINS, -earlier, max(0, spare), 5, 0))
        found.append(Knob(ENDS, -max(0, spare), min(LATER_MIN, earlier), 5, 0))
    if site.file.schedule.full_by is not None:
        found.append(_setting("full_lead_min", LEAST_LEAD_MIN, 720, 15, s))
    if any(knob.low > knob.high for knob in found):
        raise KnownError(f"{site.path}: tune: the promises leave no range for the settings")
    return tuple(found)


def _target_range(site: Site, limit_c: float) -> tuple[float, float]:
    owner = site.file.owner_range
    low, high = owner.room_target_lowest_c, owner.room_target_highest_c
    return (
        limit_c - LOWEST_BELOW_K if low is None else low,
        limit_c - HIGHEST_BELOW_K if high is None else high,
    )


def _setting(key: str, low: float, high: float, step: float, s: "array[int]") -> Knob:
    now = s[SLOTS[key].slot] / SLOTS[key].scale
    return Knob(f"settings.{key}", min(round(low, 3), now), max(round(high, 3), now), step, now)


def rounded(turned: Sequence[Knob], vector: Vector) -> tuple[float, ...]:
    """Return a point on the knobs' steps, the shallow target at least as warm as the deep one."""
    values = {k.name: k.rounded(float(v)) for k, v in zip(turned, vector, strict=True)}
    shallow = next(k for k in turned if k.name == SHALLOW)
    least = math.ceil(values[DEEP] / shallow.step - 1e-9) * shallow.step
    values[SHALLOW] = min(shallow.high, max(least, values[SHALLOW]))
    return tuple(values.values())


def keys_of(site: Site, turned: Sequence[Knob], vector: Vector) -> dict[str, Any]:
    """Return a point as values of the site file by table.key; what stays as it is is left out."""
    found: dict[str, Any] = {}
    values = dict(zip((k.name for k in turned), vector, strict=True))
    for knob in turned:
        if "." in knob.name and values[knob.name] != knob.now:
            value = values[knob.name]
            found[knob.name] = int(value) if knob.name.endswith("_min") else value
    begins, ends = round(values.get(BEGINS, 0)), round(values.get(ENDS, 0))
    schedule = site.file.schedule
    if begins or ends:
        moved = [_moved(w, begins, ends) for w in schedule.charging]
        found["schedule.charging"] = [window_text(w) for w in moved]
    if ends and schedule.full_by is not None:
        by = (schedule.full_by + ends) % DAY_MIN
        found["schedule.full_by"] = f"{by // 60:02}:{by % 60:02}"
    if "settings.full_lead_min" in values:  # else worked out anew from the targets
        found["settings.full_lead_min"] = int(values["settings.full_lead_min"])
    return found


def _moved(window: Window, begins: int, ends: int) -> Window:
    """Return a window with its ends moved; one that would begin the day before changes its day."""
    start = window.start_min + begins
    days = window.days
    if start < 0:
        days = (days >> 1) | ((days & 1) << 6)
    elif start >= DAY_MIN:
        days = ((days << 1) & 0b1111111) | (days >> 6)
    return Window(start % DAY_MIN, (window.end_min + ends) % DAY_MIN, days)


def changes_of(site: Site, turned: Sequence[Knob], vector: Vector) -> tuple[Change, ...] | None:
    """Return a point as slots of the settings record; None where the core would refuse it."""
    values = dict(zip((k.name for k in turned), vector, strict=True))
    settings = site.settings()
    changed = array("i", settings)
    for name, value in values.items():
        if "." in name:
            slot = SLOTS[name.partition(".")[2]]
            changed[slot.slot] = round(value * slot.scale)
    begins, ends = round(values.get(BEGINS, 0)), round(values.get(ENDS, 0))
    bases = [b for b in range(setting.WINDOW_1_KIND, setting.SIZE, setting.WINDOW_STRIDE)]
    charging = [base for base in bases if settings[base] == week.CHARGE]
    for base, window in zip(charging, site.file.schedule.charging, strict=True):
        if window.length_min - begins + ends < LEAST_WINDOW_MIN:
            return None
        moved = _moved(window, begins, ends)
        changed[base + 1 : base + 4] = array("i", (moved.days, moved.start_min, moved.end_min))
    if settings[setting.FULL_BY_MIN] >= 0:
        changed[setting.FULL_BY_MIN] = (settings[setting.FULL_BY_MIN] + ends) % DAY_MIN
    if setting.first_fault(changed) >= 0:
        return None
    return tuple((i, v) for i, v in enumerate(changed) if v != settings[i])

"""The week: charging, no-start and wanted windows, and when the plan next changes.

A window is (kind, days, start minute, end minute) of the owner's local time. `days` is a bit mask,
Monday first. An end at or before the start lies on the next day.
"""

from array import array

from springhouse import setting

DAY_MIN = 1440
WEEK_MIN = 10080

UNUSED, CHARGE, NO_START, WANTED = range(4)  # kinds of window

# Bits of the plan in force.
PLAN_CHARGE, PLAN_NO_START, PLAN_WANTED, PLAN_LEAD = [1 << n for n in range(4)]

# With no clock only temperatures decide.
PLAN_NO_CLOCK = PLAN_CHARGE | PLAN_WANTED | PLAN_LEAD


def _since(week_min: int, edge_min: int) -> int:
    """Minutes from the latest passing of `edge_min` to `week_min`, 0 .. 10079."""
    d = week_min - edge_min
    while d < 0:
        d += WEEK_MIN
    while d >= WEEK_MIN:
        d -= WEEK_MIN
    return d


def _window_length(start: int, end: int) -> int:
    return end - start if end > start else end - start + DAY_MIN


def plan_at(settings: "array[int]", week_min: int) -> int:
    """Plan bits in force at a minute of the week."""
    found = 0  # bit per kind: a window of that kind exists
    inside = 0
    for w in range(setting.WINDOWS):
        base = setting.WINDOW_1_KIND + w * setting.WINDOW_STRIDE
        kind = settings[base]
        if kind == UNUSED:
            continue
        found |= 1 << kind
        start = settings[base + 2]
        length = _window_length(start, settings[base + 3])
        for day in range(7):
            if settings[base + 1] & (1 << day):
                if _since(week_min, day * DAY_MIN + start) < length:
                    inside |= 1 << kind
    plan = 0
    if inside & (1 << CHARGE) or not found & (1 << CHARGE):
        plan |= PLAN_CHARGE
    if inside & (1 << NO_START):
        plan |= PLAN_NO_START
    if inside & (1 << WANTED) or not found & (1 << WANTED):
        plan |= PLAN_WANTED
    full_by = settings[setting.FULL_BY_MIN]
    if full_by < 0 or _since(full_by - 1, week_min) % DAY_MIN < settings[setting.FULL_LEAD_MIN]:
        plan |= PLAN_LEAD
    return plan


def _sooner(best: int, week_min: int, edge_min: int) -> int:
    """The smaller of `best` and the minutes until the next passing of `edge_min` (1 .. 10080)."""
    ahead = WEEK_MIN - _since(week_min, edge_min)
    return ahead if ahead < best else best


def minutes_to_edge(settings: "array[int]", week_min: int) -> int:
    """Minutes for which `plan_at` certainly stays as it is, 1 .. 10080."""
    best = WEEK_MIN
    for w in range(setting.WINDOWS):
        base = setting.WINDOW_1_KIND + w * setting.WINDOW_STRIDE
        if settings[base] == UNUSED:
            continue
        start = settings[base + 2]
        length = _window_length(start, settings[base + 3])
        for day in range(7):
            if settings[base + 1] & (1 << day):
                best = _sooner(best, week_min, day * DAY_MIN + start)
                best = _sooner(best, week_min, day * DAY_MIN + start + length)
    full_by = settings[setting.FULL_BY_MIN]
    if full_by >= 0:
        for day in range(7):
            edge = day * DAY_MIN + full_by
            best = _sooner(best, week_min, edge)
            best = _sooner(best, week_min, edge - settings[setting.FULL_LEAD_MIN])
    return best

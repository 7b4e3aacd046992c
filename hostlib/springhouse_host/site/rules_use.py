"""Rules across keys about its use: temperatures, hours, prices, weather."""

from calendar import monthrange
from collections.abc import Iterable, Iterator
from typing import Any

from springhouse import setting
from springhouse_sim.world.windows import Window

from . import owner_settings
from .fields import DAYS
from .probes import probe_error_k
from .rules import Found, Said, rule

MOST_CHARGING = 8
MOST_OVERLAPS = 5  # named one by one
WEEK_MIN = 7 * 24 * 60


# Temperatures.


def _or_default(value: float | None, key: str) -> float:
    return owner_settings.default(key) if value is None else value


@rule("settings.deep_target_c", "settings.shallow_target_c")
def _targets(deep_c: float | None, shallow_c: float | None) -> Found:
    shallow = _or_default(shallow_c, "shallow_target_c")
    deep = _or_default(deep_c, "deep_target_c")
    if deep > shallow:
        yield "settings.deep_target_c", deep, f"at most shallow_target_c, {shallow:g} °C"


@rule(
    "settings.deep_target_c",
    "settings.floor_c",
    "settings.freeze_guard_c",
    "store.ice_bank",
    "sensors.store_low",
    "sensors.store_high",
    "sensors.ice_point_checked",
)
def _guarded_target(
    deep_c: float | None,
    floor_c: float | None,
    guard_c: float | None,
    bank: bool,
    low: str,
    high: str,
    checked: tuple[str, ...],
) -> Found:
    if low == high == "absent" or bank:
        return
    deep = _or_default(deep_c, "deep_target_c")
    if high == "absent":
        lowest = _or_default(floor_c, "floor_c") + probe_error_k("store_low", checked)
        why = "the only store probe hangs at the bottom, where 4 °C water may lie under ice"
    else:
        lowest = _or_default(guard_c, "freeze_guard_c") + max(
            probe_error_k(probe, checked)
            for probe, word in (("store_low", low), ("store_high", high))
            if word == "fitted"
        )
        why = "the freeze guard stops the compressor there"
    if deep <= lowest:
        yield "settings.deep_target_c", deep, f"above {lowest:g} °C: {why}"


@rule("settings.freeze_guard_c", "store.ice_bank")
def _guard(guard_c: float | None, bank: bool) -> Found:
    if guard_c is not None and guard_c < 0.0 and not bank:
        yield "settings.freeze_guard_c", guard_c, "at least 0 °C, or store.ice_bank = true"


@rule("settings.room_target_c", "settings.room_limit_c")
def _room(target_c: float | None, limit_c: float | None) -> Found:
    target = _or_default(target_c, "room_target_c")
    limit = _or_default(limit_c, "room_limit_c")
    if limit <= target:
        yield "settings.room_limit_c", limit, f"above room_target_c, {target:g} °C"


@rule("promises.room_below_c", "settings.room_target_c")
def _promise(below_c: float, target_c: float | None) -> Found:
    target = _or_default(target_c, "room_target_c")
    if below_c <= target:
        yield "promises.room_below_c", below_c, f"above settings.room_target_c, {target:g} °C"


@rule("settings.useful_band_k", "settings.useful_k")
def _useful(band_k: float | None, useful_k: float | None) -> Found:
    useful = _or_default(useful_k, "useful_k")
    band = _or_default(band_k, "useful_band_k")
    if band >= useful:
        yield "settings.useful_band_k", band, f"below useful_k, {useful:g} K"


@rule("settings.fan_quiet_percent", "settings.fan_full_percent")
def _fans(quiet: float | None, full: float | None) -> Found:
    most = _or_default(full, "fan_full_percent")
    least = _or_default(quiet, "fan_quiet_percent")
    if least > most:
        yield "settings.fan_quiet_percent", least, f"at most fan_full_percent, {most:g} %"


# Hours, prices, weather.


def window_text(window: Window) -> str:
    """Return a window as it is written in a site file."""
    days = ",".join(day for n, day in enumerate(DAYS) if window.days & (1 << n))
    hours = "-".join(f"{m // 60:02}:{m % 60:02}" for m in (window.start_min, window.end_min))
    return f"{days} {hours}" if window.days != 127 else hours


def minutes(windows: Iterable[Window]) -> set[int]:
    """Return the minutes of the week inside any of the windows."""
    return {
        (day * 1440 + w.start_min + k) % 10080
        for w in windows
        for day in range(7)
        if w.days & (1 << day)
        for k in range(w.length_min)
    }


def week_mask(windows: Iterable[Window]) -> int:
    """Return the week's minutes inside any of the windows, a bit each."""
    mask = 0
    for w in windows:
        length = (1 << w.length_min) - 1
        for day in range(7):
            if w.days & (1 << day):
                mask |= length << (day * 1440 + w.start_min)
    return (mask | mask >> WEEK_MIN) & ((1 << WEEK_MIN) - 1)


def _overlaps(where: str, windows: tuple[Window, ...]) -> Iterator[tuple[str, Any, str]]:
    """Yield each window that overlaps an earlier one; of very many only how many more."""
    taken = said = more = 0
    for n, b in enumerate(windows):
        mask = week_mask([b])
        if mask & taken and said < MOST_OVERLAPS:
            a = next(a for a in windows[:n] if week_mask([a]) & mask)
            yield where, window_text(b), f"hours outside {window_text(a)}"
            said += 1
        elif mask & taken:
            more += 1
        taken |= mask
    if more:
        yield where, Said(f"and {more} more windows"), "hours outside the windows before them"


@rule("schedule.charging", "schedule.no_start", "schedule.wanted")
def _hours(charging: tuple[Window, ...], no_start: tuple[Window, ...], wanted: Any) -> Found:
    if len(charging) > MOST_CHARGING:
        yield "schedule.charging", Said(f"{len(charging)} windows"), f"at most {MOST_CHARGING}"
    elif (total := len(charging) + len(no_start) + len(wanted)) > setting.WINDOWS:
        where = "schedule.charging, no_start, wanted"
        yield where, Said(f"{total} windows"), f"at most {setting.WINDOWS} together"
    yield from _overlaps("schedule.charging", charging)
    yield from _overlaps("schedule.no_start", no_start)
    yield from _overlaps("schedule.wanted", wanted)
    quiet = minutes(no_start)
    for window in charging:
        if minutes([window]) <= quiet:
            yield "schedule.charging", window_text(window), "hours outside schedule.no_start"


@rule("tariff.cheap_price_per_kwh", "tariff.cheap_hours")
def _tariff(cheap: float | None, hours: tuple[Window, ...]) -> Found:
    if cheap is None and hours:
        yield "tariff.cheap_price_per_kwh", Said("missing"), "a price while cheap_hours is given"
    if cheap is not None and not hours:
        yield "tariff.cheap_hours", Said("missing"), "hours while cheap_price_per_kwh is given"
    yield from _overlaps("tariff.cheap_hours", hours)


@rule("tariff.price_per_kwh", "tariff.cheap_price_per_kwh", "tariff.prices_csv")
def _prices(price: float | None, cheap: float | None, csv: str | None) -> Found:
    if price is None and csv is None:
        yield "tariff.price_per_kwh", Said("missing"), "from 0 to 1e+06, or prices_csv"
    elif price is not None and csv is not None:
        yield "tariff.prices_csv", csv, "no file while price_per_kwh is given"
    elif cheap is not None and csv is not None:
        yield "tariff.prices_csv", csv, "no file while cheap_price_per_kwh is given"


@rule("weather.source", "weather.csv", "weather.file", "weather.design_highest_c")
def _weather(*sources: str | float | None) -> Found:
    given = [source for source in sources if source is not None]
    if len(given) != 1:
        shown = given[0] if given else Said("missing")
        yield "weather.source", shown, "one of source, csv, file and design_highest_c"


@rule(
    "weather.design_highest_c",
    "weather.design_range_k",
    "weather.design_dew_point_c",
    "weather.design_month",
    "weather.design_day",
)
def _design(
    highest_c: float | None, range_k: float, dew_c: float | None, month: int, day: int
) -> Found:
    if highest_c is None:
        return
    if dew_c is None:
        yield "weather.design_dew_point_c", Said("missing"), "a number on a design day"
    elif dew_c > highest_c - range_k:
        yield (
            "weather.design_dew_point_c",
            dew_c,
            f"at most the coolest hour, {highest_c - range_k:g} °C",
        )
    if day > monthrange(2001, month)[1]:
        yield "weather.design_day", day, f"at most {monthrange(2001, month)[1]} in that month"


@rule(
    "weather.source",
    "weather.design_highest_c",
    "weather.csv",
    "weather.latitude_degrees",
    "weather.longitude_degrees",
    "weather.utc_offset_h",
)
def _position(
    source: str | None, design_c: float | None, csv: str | None, *where: float | None
) -> Found:
    names = ("latitude_degrees", "longitude_degrees", "utc_offset_h")
    if source is not None or (csv is None and design_c is None):
        return
    why = "while weather.csv is given" if csv is not None else "on a design day"
    for name, value in zip(names, where, strict=True):
        if value is None:
            yield f"weather.{name}", Said("missing"), f"a number {why}"


@rule("weather.file", "weather.csv", "weather.year", "weather.moisture_file")
def _of_file(file: str | None, csv: str | None, year: int | None, moisture: str | None) -> Found:
    if file is None and csv is None and year is not None:
        yield "weather.year", year, "no year without weather.file or weather.csv"
    if file is None and moisture is not None:
        yield "weather.moisture_file", moisture, "no such file without weather.file"


@rule("worth.parts_low", "worth.parts_mid", "worth.parts_high")
def _parts(low: float | None, mid: float | None, high: float | None) -> Found:
    given = [price for price in (low, mid, high) if price is not None]
    if given != sorted(given):
        shown = " / ".join(f"{price:g}" for price in given)
        yield (
            "worth.parts_low, parts_mid, parts_high",
            Said(shown),
            "parts_low <= parts_mid <= parts_high",
        )


RULES = (
    _targets,
    _guarded_target,
    _guard,
    _room,
    _promise,
    _useful,
    _fans,
    _hours,
    _tariff,
    _prices,
    _weather,
    _design,
    _position,
    _of_file,
    _parts,
)

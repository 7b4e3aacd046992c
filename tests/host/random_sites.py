"""Random installations over the whole site schema, and what each command makes of them.

`python tests/host/random_sites.py COUNT [--deep SHARE] [--seed N]` is the long run: it counts what
was accepted, how far the balances of the runs close, and the refusals by the key they name.
"""

import math
import sys
from contextlib import suppress
from pathlib import Path
from typing import Any

from hypothesis import strategies as st
from site_looks import Changes, look
from springhouse_host import units
from springhouse_host.site import BUILT_IN
from springhouse_host.site.fields import (
    Day,
    Gradeable,
    Numbers,
    Quantity,
    RealYear,
    Text,
    TimeOfDay,
    Whole,
    Windows,
    Word,
    Words,
    YesNo,
    window,
)
from springhouse_host.site.read import MODELS, kind_of
from springhouse_host.site.rules_use import minutes
from springhouse_host.site.tables import PROBES, WEATHER_WORDS
from springhouse_sim.outside import FIRST_YEAR, LAST_YEAR

KEYS = [(name, key) for name, model in MODELS.items() for key in model.model_fields]
# Files of a person's own have tests of their own.
NO_FILES = {"weather.csv", "weather.file", "weather.moisture_file", "tariff.prices_csv"}


def _time(minute: int) -> str:
    return f"{minute // 60:02}:{minute % 60:02}"


@st.composite
def windows(draw: st.DrawFn, most: int = 3) -> list[str]:
    """Hours of the week: whole weeks, across midnight and over the week's end, or none at all."""
    found: list[str] = []
    may_overlap = draw(st.integers(0, 29)) == 17  # ends of a range are drawn more often
    for _ in range(draw(st.integers(0, most))):
        start = draw(st.sampled_from([0, 1, 360, 420, 810, 1260, 1320, 1380, 1439]))
        length = draw(st.sampled_from([1, 15, 240, 479, 600, 1439, 1440]))
        hours = f"{_time(start)}-{_time((start + length) % 1440)}"
        days = draw(st.sampled_from(["", "mon-fri ", "sat,sun ", "sun ", "fri-mon ", "thu-wed "]))
        more = [*found, days + hours]
        parsed = [w for text in more if (w := window(text)) is not None]
        if may_overlap or len(minutes(parsed)) == sum(len(minutes([w])) for w in parsed):
            found = more
    return found


def _numbers(kind: Quantity, key: str) -> st.SearchStrategy[Any]:
    """Any number of the range, its ends among them; now and then in another unit of its kind."""
    low, high = kind.low, kind.high
    plain = st.one_of(st.sampled_from([low, high]), st.floats(low, high, allow_subnormal=False))
    if low > 0.0:  # as likely small as large
        plain = st.one_of(
            plain, st.floats(math.log(low), math.log(high)).map(lambda x: min(high, math.exp(x)))
        )
    words = list(units.UNITS[kind.unit].words)
    if not words:
        return plain

    def said(value: float, word: str) -> str:
        return f"{units.convert(value, kind.unit, word, kind=kind.unit):.9g} {word}"

    return st.one_of(plain, plain, st.builds(said, plain, st.sampled_from(words)))


@st.composite
def graded(draw: st.DrawFn, kind: Gradeable, key: str) -> Any:
    """A bare number, or one with how well it is known and its range."""
    middle = draw(st.floats(max(kind.low, 1e-3), kind.high, allow_subnormal=False))
    if draw(st.booleans()):
        return middle
    found = {"value": middle, "grade": draw(st.sampled_from(["label", "measured", "fitted"]))}
    if draw(st.booleans()):
        found["low"] = max(kind.low, middle * draw(st.floats(0.5, 1.0)))
        found["high"] = min(kind.high, middle * draw(st.floats(1.0, 2.0)))
    return found


def values(name: str, key: str) -> st.SearchStrategy[Any]:
    """What a key may hold by itself, whatever stands beside it."""
    kind = kind_of(MODELS[name], key)
    match kind:
        case Gradeable():
            return graded(kind, key)
        case Quantity():
            return _numbers(kind, key)
        case Whole():
            return st.integers(kind.low, kind.high)
        case Word():
            return st.sampled_from(kind.words)
        case YesNo():
            return st.booleans()
        case Text():
            return st.text(st.characters(min_codepoint=32, max_codepoint=126), min_size=1)
        case Numbers():
            most = min(kind.most, 1000.0)
            one = st.floats(-most, most, allow_subnormal=False)
            return st.lists(one, min_size=kind.count, max_size=kind.count)
        case Words():
            return st.lists(st.sampled_from(kind.words), unique=True)
    return _times(kind)


def _times(kind: object) -> st.SearchStrategy[Any]:
    match kind:
        case Windows():
            return windows()
        case TimeOfDay():
            return st.integers(0, 1439).map(_time)
        case Day():
            return st.dates().map(lambda day: day.isoformat())
        case RealYear():
            return st.one_of(st.just("hottest"), st.integers(FIRST_YEAR, LAST_YEAR))
    raise AssertionError(f"no values for {kind}")


@st.composite
def installations(draw: st.DrawFn) -> tuple[str, Changes]:
    """A built-in site with much of it changed, sensibly or not; some of it anything at all."""
    base = draw(st.sampled_from(BUILT_IN))
    found: Changes = {}
    if draw(st.booleans()):
        _store(draw, found)
    if draw(st.booleans()):
        _sensors(draw, found)
        if draw(st.integers(0, 9)) != 5:
            found["sensors.mains"] = "fitted"
    if draw(st.booleans()):
        _power(draw, found)
    if draw(st.booleans()):
        for key in ("charging", "no_start", "wanted"):
            found[f"schedule.{key}"] = draw(windows())
        found["schedule.full_by"] = draw(st.sampled_from([None, "00:00", "07:00", "21:00"]))
    if draw(st.booleans()):
        _size(draw, found)
    found |= draw(st.sampled_from([{}, *({"weather.source": w} for w in WEATHER_WORDS), _DESIGN]))
    for name, key in draw(st.lists(st.sampled_from(KEYS), max_size=4, unique=True)):
        if f"{name}.{key}" not in NO_FILES:
            found[f"{name}.{key}"] = draw(st.one_of(st.none(), values(name, key)))
    return base, found


_DESIGN = {
    "weather.source": None,
    "weather.design_highest_c": 34.0,
    "weather.design_dew_point_c": 15.0,
    "weather.latitude_degrees": 45.0,
    "weather.longitude_degrees": 10.0,
    "weather.utc_offset_h": 1.0,
}


def _sensors(draw: st.DrawFn, found: Changes) -> None:
    """Any of them fitted or absent, as far as something decides and the tray is watched."""
    for key in MODELS["sensors"].model_fields:
        if key != "ice_point_checked":
            found[f"sensors.{key}"] = draw(st.sampled_from(["fitted", "fitted", "absent"]))
    found["sensors.room"] = "fitted"
    found["sensors.ice_point_checked"] = draw(st.lists(st.sampled_from(PROBES), unique=True))
    found["tray.open_drain"] = found["sensors.tray"] == "absent" or draw(st.booleans())
    if found["sensors.store_low"] == found["sensors.store_high"] == "absent":
        found["sensors.store_low"] = "fitted"
    if found["sensors.store_high"] == "absent":
        found["settings.deep_target_c"] = draw(st.sampled_from([5, 6.5, 9]))


def _store(draw: st.DrawFn, found: Changes) -> None:
    """A chest of any size, its water and what hangs in it."""
    litres = round(draw(st.floats(40.0, 700.0)), 1)
    water = round(litres * draw(st.floats(0.3, 0.9)), 1)
    side = (litres / 1000.0) ** (1.0 / 3.0)
    depth = round(draw(st.floats(0.8, 1.2)) * side, 3)
    width = round(draw(st.floats(0.6, 1.0)) * side, 3)
    length = round(litres / 1000.0 / depth / width, 3)
    surface = water / 1000.0 / (length * width)
    bank = draw(st.integers(0, 3)) == 3
    found |= {
        "freezer.cabinet_litres": litres,
        "freezer.inner_length_m": length,
        "freezer.inner_width_m": width,
        "freezer.inner_depth_m": depth,
        "freezer.label_input_w": round(draw(st.floats(40.0, 400.0)), 1),
        "freezer.label_kwh_year": round(draw(st.floats(80.0, 700.0)), 1),
        "freezer.freezing_capacity_kg_24h": draw(st.sampled_from([None, None, 4.0, 15.0, 40.0])),
        "freezer.refrigerant": draw(st.sampled_from(["R600a", "R134a"])),
        "store.water_litres": water,
        "store.probe_low_m": round(0.1 * surface, 3),
        "store.draw_m": round(draw(st.floats(0.05, 0.3)) * surface, 3),
        "store.probe_high_m": round(draw(st.floats(0.5, 0.99)) * surface, 3),
        "store.return_m": round(min(depth, draw(st.floats(0.3, 1.1)) * surface), 3),
        "store.ice_bank": bank,
        "store.ice_limit_kg": draw(st.sampled_from([0.05, 0.3, 0.1 * water if bank else 2.0])),
        "settings.freeze_guard_c": None,
        "store.covered": draw(st.booleans()),
    }


def _power(draw: st.DrawFn, found: Changes) -> None:
    """A battery of any kind or none, and what electricity costs."""
    kind = draw(st.sampled_from(["none", "lifepo4", "lead_acid", "power_bank"]))
    bank = kind == "power_bank"
    found |= {
        "battery.kind": kind,
        "battery.usable_wh": 0.0 if kind == "none" else draw(st.sampled_from([1.0, 80.0, 2e4])),
        "battery.nominal_v": 5.0 if bank else draw(st.sampled_from([12.0, 12.8, 24.0, 25.6])),
        "battery.least_load_w": draw(st.sampled_from([0.0, 3.0, 50.0])) if bank else 0.0,
        "battery.drops_on_changeover": bank and draw(st.booleans()),
        "battery.charger_w": draw(st.sampled_from([0.0, 10.0, 2000.0])),
    }
    if kind == "none":
        found["sensors.battery"] = "absent"
    elif draw(st.integers(0, 9)) != 5:  # a board that outlives the mains has to see them
        found["sensors.mains"] = "fitted"
    if draw(st.booleans()):
        found |= {"tariff.cheap_price_per_kwh": None, "tariff.cheap_hours": None}
        found["tariff.price_per_kwh"] = draw(st.sampled_from([0.0, 0.3, 1e6]))


def _size(draw: st.DrawFn, found: Changes) -> None:
    """Coil, tube and room from a fist's size to a hall's."""
    side = draw(st.floats(0.08, 0.6))
    found |= {
        "coil.kind": draw(st.sampled_from(["finned-tube", "flat-tube"])),
        "coil.face_width_m": round(side, 3),
        "coil.face_height_m": round(side * draw(st.floats(0.6, 1.0)), 3),
        "coil.rows": draw(st.integers(1, 6)),
        "coil.tube_bore_mm": draw(st.sampled_from([5.0, 8.5, 15.0])),
        "coil.circuits": draw(st.sampled_from([1, 1, 2, 4])),
        "coil.fans": draw(st.integers(1, 4)),
        "coil.fan_m3_h": round(draw(st.floats(30.0, 600.0)), 1),
        "coil.fans_in_series": draw(st.booleans()),
        "coil.arrangement": draw(st.sampled_from(["cross", "counter"])),
        "loop.tube_bore_mm": draw(st.sampled_from([4.0, 6.0, 9.5, 12.0, 19.0])),
        "loop.tube_length_m": round(draw(st.floats(1.0, 40.0)), 1),
        "loop.lift_m": round(draw(st.floats(0.0, 3.0)), 2),
        "loop.pump_head_m": round(draw(st.floats(0.8, 8.0)), 2),
        "loop.pump_free_l_min": round(draw(st.floats(1.0, 25.0)), 2),
        "room.length_m": round(draw(st.floats(1.5, 15.0)), 2),
        "room.width_m": round(draw(st.floats(1.5, 10.0)), 2),
        "room.outside_wall_m2": round(draw(st.floats(2.0, 80.0)), 1),
        "room.construction": draw(st.sampled_from(["light", "medium", "heavy"])),
        "room.tightness": draw(st.sampled_from(["tight", "average", "leaky"])),
        "room.people": draw(st.sampled_from([0, 1, 2, 12])),
        "room.people_hours": draw(windows()),
        "room.equipment_w": draw(st.sampled_from([0.0, 60.0, 900.0])),
        "room.equipment_hours": draw(windows()),
        "place.is_cooled_room": draw(st.sampled_from([False, False, False, True])),
    }
    if draw(st.booleans()):
        found |= {"room.inside_m2": draw(st.floats(1.0, 60.0)), "room.house_c": 28.0}


TELL = 100


def main() -> None:
    """Draw and try installations; print counts, refusals by key, and whatever broke."""
    import argparse
    import time
    import traceback
    from collections import Counter

    from hypothesis import HealthCheck, Phase, given, seed, settings

    ask = argparse.ArgumentParser(description=main.__doc__)
    ask.add_argument("count", type=int, nargs="?", default=5000)
    ask.add_argument("--sized", type=int, default=10, help="one in so many is sized")
    ask.add_argument("--run", type=int, default=10, help="one in so many is run for a day")
    ask.add_argument("--proved", type=int, default=100, help="one in so many is proved in short")
    ask.add_argument("--seed", type=int, default=1)
    ask.add_argument("--cpu-min", type=float, default=1e9, help="try no more after so long")
    asked = ask.parse_args()
    steps: Counter[str] = Counter()
    refused: Counter[str] = Counter()
    broken: Counter[str] = Counter()
    worst = [0.0, 0.0]
    drawn = 0
    begun = time.process_time()

    @seed(asked.seed)
    @settings(
        max_examples=asked.count, deadline=None, database=None, phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )  # fmt: skip
    @given(installations())
    def each(site: tuple[str, Changes]) -> None:
        nonlocal drawn
        if time.process_time() - begun > 60.0 * asked.cpu_min:
            return
        drawn += 1
        if drawn % TELL == 0:
            print(f"{drawn} tried, {sum(broken.values())} broken", file=sys.stderr, flush=True)
        depth = max(
            3 * (drawn % asked.proved == 0), 2 * (drawn % asked.run == 0), drawn % asked.sized == 0
        )
        try:
            outcome = look(*site, depth=int(depth))
        except Exception as error:
            last = traceback.extract_tb(error.__traceback__)[-1]
            broken[
                f"{type(error).__name__} at {Path(last.filename).name}:{last.lineno}: {error}"
            ] += 1
            print(f"BROKEN {type(error).__name__}: {error}\n  {site}", flush=True)
            return
        steps.update(outcome.steps)
        if outcome.refused:
            refused[f"{outcome.refused_by}: {outcome.refused}"] += 1
        worst[0] = max(worst[0], outcome.energy_error)
        worst[1] = max(worst[1], outcome.water_error)

    with suppress(KeyboardInterrupt):  # what was found till then is told
        each()
    print(f"{drawn} installations in {time.process_time() - begun:.0f} s of CPU")
    print("results: " + ", ".join(f"{name} {n}" for name, n in steps.items()))
    print(f"balances of {steps['run']} runs: energy {worst[0]:.1e}, water {worst[1]:.1e} at worst")
    print(f"refused: {sum(refused.values())}")
    for key, n in sorted(refused.items()):
        print(f"  {n:5} {key}")
    print(f"broken: {sum(broken.values())}")
    for what, n in broken.most_common():
        print(f"  {n:5} {what}")


if __name__ == "__main__":
    main()

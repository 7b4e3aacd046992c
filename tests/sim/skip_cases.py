"""Random cases for the quiet skip: settings, what breaks, what people do, tick origin."""

import random
from datetime import datetime, timedelta
from functools import cache
from typing import Any

from bench_rig import MONDAY, bench, plant, settings
from springhouse import mode
from springhouse_sim import sense
from springhouse_sim.bench import Bench
from springhouse_sim.plant.plant import Plant
from springhouse_sim.world.faults import CATALOGUE, PROBES, Acts, Fault
from springhouse_sim.world.outage import Outage
from springhouse_sim.world.owner import Acknowledge, AskMode, EmptyTray, MopFloor
from springhouse_sim.world.stage import Actor

DAY_S = 86_400
WRAP_MS = 1 << 30

# One case each of what chance alone would seldom bring about.
FORCED: tuple[tuple[str, ...], ...] = (
    ("probe_open store_low", "probe_open store_high"),
    ("probe_open room",),
    ("prime_lost",),
    ("tray_filled",),
    ("floor_wet",),
    ("probe_stuck store_low",),
    ("probe_drift store_high",),
    ("flow_jammed",),
    ("probe_silent room",),
    ("leak",),
    ("fan_stalled",),
    ("tach_dead",),
    ("fan_stalled",),
    ("probe_shorted store_low", "probe_silent store_high"),
    ("prime_lost",),
    ("tray_float_open",),
)


def _some_fault(dice: random.Random, kind: str) -> Fault:
    entry = CATALOGUE[kind]
    onset_s = dice.randrange(600, DAY_S // 2)
    lasts_s = dice.choice((0, 60, 700, 3600, 10_000))
    probe = dice.choice(PROBES) if entry.acts is Acts.PROBE else ""
    return Fault(kind, onset_s, lasts_s, probe=probe, over_s=dice.choice((0, 1800, 20_000)))


def _forced(dice: random.Random, text: str) -> Fault:
    kind, _, probe = text.partition(" ")
    return Fault(kind, dice.randrange(9000, 18_000), dice.choice((0, 9000)), probe=probe)


def actors(dice: random.Random, case: int) -> list[Actor]:
    """What happens in a case."""
    found: list[Actor] = []
    if case < len(FORCED):
        found += [_forced(dice, text) for text in FORCED[case]]
    if case % 3 == 0:
        found.append(AskMode(dice.randrange(20_000, 25_000), mode.PURGE, 5))
    for _ in range(dice.randrange(3)):
        found.append(_some_fault(dice, dice.choice(sorted(CATALOGUE))))
    if dice.random() < 0.3:
        found.append(Outage(dice.randrange(DAY_S // 2), dice.choice((5, 900, 9000))))
    for _ in range(dice.randrange(3)):
        asked = dice.randrange(mode.SIZE)
        found.append(AskMode(dice.randrange(DAY_S), asked, dice.choice((1, 7, 60))))
    for _ in range(dice.randrange(3)):
        found.append(Acknowledge(dice.randrange(DAY_S)))
    if dice.random() < 0.3:
        found += [EmptyTray(dice.randrange(DAY_S), acknowledge=True), MopFloor(DAY_S // 3)]
    return found


def _settings(dice: random.Random) -> dict[str, int]:
    deep = dice.randrange(2000, 6000, 50)
    target = dice.randrange(22_000, 27_000, 50)
    found = {
        "DEEP_MC": deep,
        "SHALLOW_MC": deep + dice.randrange(0, 6000),
        "BAND_MK": dice.choice((300, 800, 2000)),
        "ROOM_TARGET_MC": target,
        "ROOM_LIMIT_MC": target + dice.choice((600, 2000)),
        "ROOM_BAND_MK": dice.choice((150, 500)),
        "FAN_BOOST_MK": dice.choice((300, 1500)),
        "USEFUL_MK": dice.choice((6000, 16_000)),
        "WARM_FILL_MC": dice.choice((14_000, 22_000)),
        "FREEZE_MC": dice.choice((500, 2500)),
        "STUCK_MIN": dice.choice((30, 120)),
        "PROGRESS_MIN": dice.choice((60, 360)),
        "MIN_OFF_S": dice.choice((300, 777)),
        "TARIFF_OVERRIDE": dice.randrange(2),
        "FITTED": 4095 if dice.random() < 0.6 else 4095 & ~dice.choice((2, 8, 16, 1 << 5, 1 << 8)),
    }
    if dice.random() < 0.2:
        found |= {"ICE_BANK": 1, "ICE_RUN_MIN": dice.choice((20, 200)), "FITTED": 4095}
    return found


@cache
def _plant(store_c: float, room_c: float) -> Plant:
    """Few plants, for their tables take long; the coldest holds ice."""
    return plant(store_c, room_c, 2.0 if store_c < 2.0 else 0.0)


def make(case: int, **options: Any) -> Bench:
    """Return the bench of a case, the same for every pace."""
    dice = random.Random(case)
    start: datetime = MONDAY + timedelta(minutes=dice.randrange(5 * 1440))
    drawn = _settings(dice)
    store_c, room_c = dice.choice((1.5, 3.0, 6.0, 17.0)), dice.choice((23.0, 28.0))
    if case < len(FORCED):  # the fault is to find a delivery to break
        start = MONDAY + timedelta(hours=12)
        drawn |= {"ROOM_TARGET_MC": 22_000, "USEFUL_MK": 6000, "FITTED": 4095, "ICE_BANK": 0}
        store_c, room_c = 5.0, 28.0
    sensors = sense.Sensors(
        offset_mk=tuple(dice.randrange(-300, 300) for _ in PROBES),  # type: ignore[arg-type]
        noise_mk=dice.choice((0, 10, 40, 200)),
        level_low_mm=dice.choice((0, 380)),
        cut_out_opens_mc=dice.choice((sense.NO_CUT_OUT, 1500)),
        cut_out_closes_mc=5000,
    )
    return bench(
        *actors(dice, case),
        start=start,
        weather=dice.random() < 0.7,
        plant=_plant(store_c, room_c),
        settings=settings(**drawn),
        sensors=sensors,
        seed=case,
        tick_origin=dice.choice((0, WRAP_MS - dice.randrange(1, 40_000_000))),
        **options,
    )

"""Logs of installations that hold something the fitted model does not, and what a fit says of each.

    python tests/host/misfits.py [SEEDS [DAYS]]     prints the table of `docs/how-sure.md`

The site file says nothing of what is amiss, nor does the log. Counted is how many of the seven true
values lie inside the interval that is printed (95 %) and inside the 90 % one, how many fits were
refused, and how many of the rest said that something is amiss.
"""

import sys
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
import pandas as pd
import simulated_logs as logs
from scipy.stats import norm
from springhouse_host import fit, load_site
from springhouse_host.errors import KnownError
from springhouse_host.proof import running, scenarios
from springhouse_sim.bench import Bench
from springhouse_sim.plant import given as given_slot
from springhouse_sim.world.night_air import NightAir
from springhouse_sim.world.windows import Window

START = "2001-07-06"
NIGHT = (Window(22 * 60, 6 * 60),)
CHANGED_PER_H = 4.0  # air of the room through a window ajar
LAG_S = {"store_low_probe_c": 600.0, "store_high_probe_c": 600.0, "room_probe_c": 900.0}
UNLOGGED_W = 70.0

Minutes = pd.DataFrame
Seen = Callable[[Minutes], Minutes]


@dataclass(frozen=True)
class Misfit:
    """What is amiss: in the true site, in its run, or in what is read of it."""

    name: str
    site: dict[str, Any] = field(default_factory=dict)
    given: tuple[tuple[int, float], ...] = ()
    window_open: bool = False
    seen: Seen = lambda minutes: minutes


def lagged(minutes: Minutes) -> Minutes:
    """A first-order lag on top of the probes' own."""
    seen = minutes.copy()
    for name, tau_s in LAG_S.items():
        seen[name] = seen[name].ewm(alpha=1.0 - np.exp(-60.0 / tau_s), adjust=False).mean()
    return seen


def unlogged(minutes: Minutes) -> Minutes:
    return minutes.assign(equipment_w=minutes["equipment_w"] - UNLOGGED_W)


def no_sun(minutes: Minutes) -> Minutes:
    return minutes.assign(sun_w=0.0)


def hour_late(minutes: Minutes) -> Minutes:
    """Outdoors comes from a log whose clock is an hour behind."""
    late = minutes[["outdoor_c", "sun_w"]].shift(60).bfill()
    return minutes.assign(outdoor_c=late["outdoor_c"], sun_w=late["sun_w"])


def stirred(minutes: Minutes) -> Minutes:
    """Both probes in water that is mixed, where the model has it in layers."""
    mean_c = minutes["store_mean_c"]
    return minutes.assign(store_low_probe_c=mean_c, store_high_probe_c=mean_c)


def room_high(minutes: Minutes) -> Minutes:
    return minutes.assign(room_probe_c=minutes["room_probe_c"] + 0.8)


MISFITS = (
    Misfit("nothing"),
    Misfit("probes in wells: 600 s store, 900 s room", seen=lagged),
    Misfit("70 W unlogged in the room", {"room.idle_w": UNLOGGED_W}, seen=unlogged),
    Misfit("window ajar at night, 4 air changes", window_open=True),
    Misfit("sun not in the log", seen=no_sun),
    Misfit("lid and sheet leak: water open to the air", {"store.covered": False}),
    Misfit("outdoor log an hour late", seen=hour_late),
    Misfit("water mixed, not layered", seen=stirred),
    Misfit("room probe 0.8 K high", seen=room_high),
    Misfit("fans a third weaker", given=((given_slot.FAN_FACTOR, 0.67),)),
    Misfit("50 W of other heat at the freezer", given=((given_slot.PLACE_GAIN_W, 50.0),)),
)


def true_minutes(misfit: Misfit, true: dict[str, float], days: int) -> Minutes:
    """The demo with these values and what is amiss, run by its own controller, a row a minute."""
    changes: dict[str, Any] = {k: {"value": v, "grade": "measured"} for k, v in true.items()}
    changes["store.water_litres"] = true["store.water_litres"]
    site = load_site("demo", changes | misfit.site)
    scenario = scenarios.single(site, pd.Timestamp(START).to_pydatetime(), days)
    room = site.file.room
    air = NightAir(room.length_m * room.width_m * room.height_m, CHANGED_PER_H, NIGHT)

    def kind(plant: Any, settings: Any, world: Any, **rest: Any) -> Bench:
        actors = (*world.actors, air) if misfit.window_open else world.actors
        bench = Bench(plant, settings, replace(world, actors=actors), **rest)
        air.params = bench.tank.parameters
        return bench

    trace = running.bench(site, replace(scenario, given=misfit.given), kind=kind).run(days)
    return trace.minutes().rename_axis("local_time")


@dataclass
class Count:
    """What was found of one misfit over all seeds."""

    values: int = 0
    inside_95: int = 0
    inside_90: int = 0
    fits: int = 0
    refused: int = 0
    told: int = 0
    width: list[float] = field(default_factory=list)  # half of the 95 % interval, share
    said: list[str] = field(default_factory=list)
    missed: list[str] = field(default_factory=list)


def count(misfit: Misfit, seeds: int, days: int, folder: Path) -> Count:
    """Fit logs of random sites, each with this amiss."""
    found = Count()
    for seed in range(1, seeds + 1):
        rng = np.random.default_rng(seed)
        true = logs.truth(rng)
        seen = misfit.seen(true_minutes(misfit, true, days))
        path = folder / "log.csv"
        logs.with_gaps(logs.as_read(seen, rng), rng).to_csv(path, index_label="local_time")
        found.fits += 1
        try:
            fitted = fit(load_site("demo"), path)
        except KnownError as error:
            found.refused += 1
            found.said += [line.replace(str(path), "log") for line in error.lines]
            continue
        told = [note for note in fitted.notes if note.startswith("amiss: ")]
        found.told += bool(told)
        found.said += told
        for e in fitted.estimates:
            half = np.log(e.high / e.low) / 2.0
            off = abs(np.log(true[e.key] / e.value))
            found.values += 1
            found.inside_95 += bool(off <= half)
            found.inside_90 += bool(off <= half * norm.ppf(0.95) / norm.ppf(0.975))
            found.width.append(half)
            if off > half:
                found.missed.append(f"{seed} {e.key} {e.value / true[e.key]:.3f} ±{half:.3f}")
    return found


def table(seeds: int, days: int, names: tuple[str, ...] = ()) -> dict[str, Count]:
    """Return the counts by misfit, printing each as it is found."""
    found = {}
    print(f"{'amiss':44s} in 95 %   in 90 %   refused  told  median ±", flush=True)
    with TemporaryDirectory() as folder:
        for misfit in MISFITS:
            if names and not any(name in misfit.name for name in names):
                continue
            c = found[misfit.name] = count(misfit, seeds, days, Path(folder))
            width = 100.0 * float(np.median(c.width)) if c.width else float("nan")
            print(
                f"{misfit.name:44s} {c.inside_95:2d} of {c.values:2d}  {c.inside_90:2d} of "
                f"{c.values:2d}  {c.refused} of {c.fits}   {c.told} of {c.fits}  {width:.0f} %",
                flush=True,
            )
            for line in (*c.missed, *c.said):
                print(f"      {line}", flush=True)
    return found


if __name__ == "__main__":
    table(int((sys.argv[1:2] or ["2"])[0]), int((sys.argv[2:3] or ["6"])[0]), tuple(sys.argv[3:]))

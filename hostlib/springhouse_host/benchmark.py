"""How fast the demo is simulated and proven: writes `build/bench.json`. See `make bench`.

What is compared is measured interleaved in one run, as CPU time of this process unless the name
says wall; the medians are written. A timing is no test.
"""

import json
import os
import platform
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from statistics import median
from typing import Any

from springhouse_sim.bench import Bench, Pace, parameters

from . import core_cost, replaying
from .proof import running, scenarios
from .proof.scenarios import Scenario
from .screen import console
from .site import load_site
from .site.site import Site

REPEATS = 5
BUSY_DAYS = 3  # the hottest, with some fifty changes of the outputs a day
SEASON_DAYS = 92
NIGHT_FROM_H, NIGHT_H = 16, 16
NIGHTS = 1000
RTOL = 1e-6
FILE = Path("build/bench.json")


def cpu_s(work: Callable[[], object]) -> float:
    """Return the CPU time of a call."""
    begun = time.process_time()
    work()
    return time.process_time() - begun


def wall_s(work: Callable[[], object]) -> float:
    """Return the wall time of a call."""
    begun = time.perf_counter()
    work()
    return time.perf_counter() - begun


def night(site: Site) -> Scenario:
    """Return the first charging night of the hottest days."""
    found = scenarios.single(site, None, 1)
    return replace(found, start=found.start + timedelta(hours=NIGHT_FROM_H))


def run_nights(site_name: str, one: Scenario, seeds: range) -> None:
    """Run a night once with each seed, summaries included, in any process."""
    site = load_site(site_name)
    for seed in seeds:
        scenario = replace(one, seed=seed)
        trace = running.bench(site, scenario).run(NIGHT_H / 24)
        running.summarise(site, scenario, trace)


def nights_per_s(site: Site) -> float:
    """Return warm nights a second of wall time, on two processes."""
    one = night(site)
    half = NIGHTS // 2
    parts = [range(half), range(half, NIGHTS)]
    with ProcessPoolExecutor(2) as pool:

        def both(seeds: Sequence[range]) -> None:
            list(pool.map(run_nights, [site.path] * 2, [one] * 2, seeds))

        both([range(10), range(10)])
        return NIGHTS / median(wall_s(lambda: both(parts)) for _ in range(REPEATS))


def thresholds(site: Site) -> list[Callable[[float, replaying.State], float]]:
    """Return what a script would have the solver watch: the controller's main thresholds."""
    from springhouse import setting as S
    from springhouse_sim.plant import state as X

    s = site.settings()
    watched = (
        (X.STORE_LOW_PROBE_C, s[S.DEEP_MC]),
        (X.STORE_LOW_PROBE_C, s[S.SHALLOW_MC] + s[S.BAND_MK]),
        (X.STORE_HIGH_PROBE_C, s[S.FREEZE_MC]),
        (X.ROOM_PROBE_C, s[S.ROOM_TARGET_MC]),
        (X.ROOM_PROBE_C, s[S.ROOM_TARGET_MC] + s[S.ROOM_BAND_MK]),
    )

    def event(slot: int, mc: int) -> Callable[[float, replaying.State], float]:
        return lambda _, x: float(x[slot]) - mc / 1000.0

    return [event(slot, mc) for slot, mc in watched]


def simulation(site: Site) -> dict[str, float]:
    """Time skip, plain runner and LSODA script on the same days, interleaved."""
    busy = scenarios.single(site, None, BUSY_DAYS)
    season = next(
        s for s in scenarios.standard(site) if s.days == SEASON_DAYS and s.variant == "mid"
    )
    params = parameters(site.plant("mid"))
    recorded = running.bench(site, busy, kind=replaying.RecordingBench)
    assert isinstance(recorded, replaying.RecordingBench)
    trace = recorded.run(BUSY_DAYS)
    watched = thresholds(site)

    def simulated(scenario: Scenario, days: float, pace: Pace, compiled: bool = True) -> float:
        bench: Bench = running.bench(site, scenario, pace=pace, compile_ticks=compiled)
        return days / cpu_s(lambda: bench.run(days))

    def script() -> float:
        return BUSY_DAYS / cpu_s(
            lambda: replaying.replay(recorded, trace, params, "LSODA", RTOL, watched)
        )

    simulated(busy, 0.01, Pace.PLAIN)
    script()
    found: dict[str, list[float]] = {"season": [], "busy": [], "plain": [], "lsoda": []}
    for _ in range(REPEATS):
        found["season"].append(simulated(season, SEASON_DAYS, Pace.SKIP))
        found["busy"].append(simulated(busy, BUSY_DAYS, Pace.SKIP))
        found["plain"].append(simulated(busy, BUSY_DAYS, Pace.PLAIN))
        found["lsoda"].append(script())
    mid = {name: median(values) for name, values in found.items()}
    pure = simulated(busy, 1 / 48, Pace.PLAIN, compiled=False)
    worst_k, rms_k = replaying.errors_k(recorded, trace, params)
    seen_k, seen_rms_k = replaying.errors_k(recorded, trace, params, replaying.SEEN)
    slow = NIGHT_H / 24 / simulated(night(site), NIGHT_H / 24, Pace.SKIP, compiled=False)
    return {
        "season_days_per_cpu_s": mid["season"],
        "busy_days_per_cpu_s": mid["busy"],
        "every_tick_days_per_cpu_s": mid["plain"],
        "lsoda_days_per_cpu_s": mid["lsoda"],
        "pure_python_days_per_cpu_s": pure,
        "ratio_vs_every_tick": mid["busy"] / mid["plain"],
        "ratio_vs_every_tick_pure_python": mid["busy"] / pure,
        "ratio_vs_lsoda_script": mid["busy"] / mid["lsoda"],
        "replay_error_max_k": seen_k,
        "replay_error_rms_k": seen_rms_k,
        "replay_error_all_nodes_max_k": worst_k,
        "replay_error_all_nodes_rms_k": rms_k,
        "night_pure_python_s": slow,
    }


def springhouse(*arguments: str) -> None:
    """Run the command line in a process of its own; its exit code is not judged here."""
    code = "import sys; from springhouse_host.cli import main; main(sys.argv[1:])"
    subprocess.run([sys.executable, "-c", code, *arguments], capture_output=True, check=False)


def processes() -> dict[str, float]:
    """Time what needs processes of its own."""
    return {
        "prove_demo_wall_s": median(
            wall_s(lambda: springhouse("prove", "demo")) for _ in range(REPEATS)
        ),
        "cold_start_s": median(
            wall_s(lambda: springhouse("size", "--help")) for _ in range(REPEATS)
        ),
    }


def main() -> None:
    """Measure and write."""
    site = load_site("demo")
    found: dict[str, Any] = simulation(site)
    found["nights_per_s"] = nights_per_s(site)
    found["nights_ratio_vs_pure_python"] = (
        found["nights_per_s"] / 2 * found.pop("night_pure_python_s")
    )
    found |= processes()
    found |= core_cost.costs(REPEATS)
    found = {name: float(f"{value:.4g}") for name, value in found.items()}
    found["machine"] = f"{os.cpu_count()} cores, {platform.machine()}, {platform.python_version()}"
    FILE.parent.mkdir(exist_ok=True)
    FILE.write_text(json.dumps(found, indent=2) + "\n", encoding="utf-8")
    console().print_json(json.dumps(found))


if __name__ == "__main__":
    main()

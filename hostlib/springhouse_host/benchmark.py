"""How fast the demo is simulated and proven: writes `build/bench.json`. See `make bench`.

Everything is measured once a round, one after the other; medians over the rounds are written.
Figures are of the CPU time of this process unless the name or its note says wall. A timing is no
test.
"""

import json
import os
import platform
import subprocess
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from statistics import median
from typing import Any

from springhouse_sim.bench import Bench, Pace, parameters
from springhouse_sim.trace import Trace

from . import core_cost, replaying
from .desk import speed
from .proof import plausible, running, scenarios
from .proof.scenarios import Scenario
from .screen import console
from .site import drawn, load_site
from .site.site import Site
from .workers import Workers

REPEATS = 5
BUSY_DAYS = 3  # the hottest, with some fifty changes of the outputs a day
NIGHT_FROM_H, NIGHT_H = 16, 16
NIGHTS = 1000
WEEKS = 128
PLANTS = 32  # more than are kept, so that none is found again in the next round
RTOL = 1e-6
PURE_DAYS = 1 / 48
KEPT, NOT_KEPT = 0, 1  # exit codes of a proof that ran
FILE = Path("build/bench.json")


Measure = Callable[[], float]


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


def all_cpu_s() -> float:
    """Return the CPU time spent so far by this process and by those it has waited for."""
    spent = os.times()
    return spent.user + spent.system + spent.children_user + spent.children_system


def interleaved(measures: Mapping[str, Measure]) -> tuple[dict[str, float], dict[str, float]]:
    """Return the median of each measure over the rounds, and the CPU time it took in all [s]."""
    found: dict[str, list[float]] = {name: [] for name in measures}
    spent = dict.fromkeys(measures, 0.0)
    for _ in range(REPEATS):
        for name, measure in measures.items():
            begun = all_cpu_s()
            found[name].append(measure())
            spent[name] += all_cpu_s() - begun
    return {name: median(values) for name, values in found.items()}, spent


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


def nights_per_s(site: Site, pool: Workers) -> float:
    """Return nights a second of wall time, on the two processes of a warm pool."""
    half = NIGHTS // 2
    parts = [range(half), range(half, NIGHTS)]
    return NIGHTS / wall_s(lambda: spread(site, pool, parts))


def spread(site: Site, pool: Workers, parts: Sequence[range]) -> None:
    """Run nights with these seeds, a part a process."""
    one = night(site)
    list(pool.map(run_nights, [site.path] * len(parts), [one] * len(parts), parts))


def weeks_per_s(site: Site, pool: Workers) -> float:
    """Return hottest weeks of plausible installations a second of wall time, on two processes.

    Each is another plant, so its tables are built as well, as in a proof.
    """
    runs = plausible.drawn_scenarios(site, WEEKS)
    some = [runs[i : i + plausible.A_JOB] for i in range(0, WEEKS, plausible.A_JOB)]
    asked = [(site.path, part, site.changed) for part in some]
    return WEEKS / wall_s(lambda: list(pool.map(plausible.run_some, *zip(*asked, strict=True))))


def tables_ms(site: Site) -> float:
    """Return the CPU time of a plausible installation's parameter record, tables and all [ms]."""
    plants = [drawn.plant(site, s.draw) for s in plausible.drawn_scenarios(site, PLANTS)]
    return 1000.0 * cpu_s(lambda: [plant.params() for plant in plants]) / PLANTS


def thresholds(site: Site) -> list[Callable[[float, replaying.State], float]]:
    """Return what a script would have the solver watch: the controller's main thresholds."""
    from springhouse import setting
    from springhouse_sim.plant import state

    s = site.settings()
    watched = (
        (state.STORE_LOW_PROBE_C, s[setting.DEEP_MC]),
        (state.STORE_LOW_PROBE_C, s[setting.SHALLOW_MC] + s[setting.BAND_MK]),
        (state.STORE_HIGH_PROBE_C, s[setting.FREEZE_MC]),
        (state.ROOM_PROBE_C, s[setting.ROOM_TARGET_MC]),
        (state.ROOM_PROBE_C, s[setting.ROOM_TARGET_MC] + s[setting.ROOM_BAND_MK]),
    )

    def event(slot: int, mc: int) -> Callable[[float, replaying.State], float]:
        return lambda _, x: float(x[slot]) - mc / 1000.0

    return [event(slot, mc) for slot, mc in watched]


class Simulated:
    """Skip, plain runner and LSODA script on the same busy days; the season and a night beside."""

    def __init__(self, site: Site) -> None:
        self.site = site
        self.busy = scenarios.single(site, None, BUSY_DAYS)
        self.season = scenarios.whole_summer(site)
        self.params = parameters(site.plant("mid"))
        self.recorded, self.trace = self.record(BUSY_DAYS)
        self.one_day = self.record(1.0)
        self.watched = thresholds(site)
        self.days_per_s(self.busy, 0.01, Pace.PLAIN)  # compile
        self.script()

    def days_per_s(
        self, scenario: Scenario, days: float, pace: Pace, compiled: bool = True
    ) -> float:
        """Return simulated days a CPU second."""
        bench: Bench = running.bench(self.site, scenario, pace=pace, compile_ticks=compiled)
        return days / cpu_s(lambda: bench.run(days))

    def record(self, days: float) -> tuple[replaying.RecordingBench, Trace]:
        """Return a run of some of the busy days and its bench, for others to replay."""
        bench = running.bench(self.site, self.busy, kind=replaying.RecordingBench)
        assert isinstance(bench, replaying.RecordingBench)
        return bench, bench.run(days)

    def script(self) -> float:
        """Return simulated days a CPU second of the LSODA script with our compiled plant."""
        return BUSY_DAYS / cpu_s(
            lambda: replaying.replay(
                self.recorded, self.trace, self.params, "LSODA", RTOL, self.watched
            )
        )

    def plain_script(self) -> float:
        """Return the same with the plant interpreted, as a script has it; of one day."""
        return 1.0 / cpu_s(
            lambda: replaying.replay(
                *self.one_day, self.params, "LSODA", RTOL, self.watched, compile_rates=False
            )
        )

    def measures(self) -> dict[str, Measure]:
        """Return what is timed in each round."""
        one = night(self.site)
        return {
            "season": lambda: self.days_per_s(self.season, self.season.days, Pace.SKIP),
            "busy": lambda: self.days_per_s(self.busy, BUSY_DAYS, Pace.SKIP),
            "plain": lambda: self.days_per_s(self.busy, BUSY_DAYS, Pace.PLAIN),
            "lsoda": self.script,
            "plain lsoda": self.plain_script,
            "pure": lambda: self.days_per_s(self.busy, PURE_DAYS, Pace.PLAIN, compiled=False),
            "pure night": lambda: self.days_per_s(one, NIGHT_H / 24, Pace.SKIP, compiled=False),
        }

    def errors(self) -> dict[str, float]:
        """Return how far the skip is from DOP853; the same in every round."""
        seen = replaying.errors_k(self.recorded, self.trace, self.params, replaying.SEEN)
        every = replaying.errors_k(self.recorded, self.trace, self.params)
        return {
            "replay_error_max_k": seen[0],
            "replay_error_rms_k": seen[1],
            "replay_error_all_nodes_max_k": every[0],
            "replay_error_all_nodes_rms_k": every[1],
        }


def springhouse(*arguments: str, leaves: Sequence[int] = (0,)) -> None:
    """Run the command line in a process of its own.

    Raises:
        RuntimeError: when it leaves with another code: a crash is no time.
    """
    code = "import sys; from springhouse_host.cli import main; main(sys.argv[1:])"
    command = [sys.executable, "-c", code, *arguments]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode not in leaves:
        raise RuntimeError(f"springhouse {' '.join(arguments)}: {done.stderr[-300:]}")


def commands() -> dict[str, Measure]:
    """Return the wall times of whole commands: a proof, one that checks the firmware too, a start.

    Another process has compiled before.
    """

    def proof(*options: str) -> Measure:
        return lambda: wall_s(
            lambda: springhouse("prove", "demo", *options, leaves=(KEPT, NOT_KEPT))
        )

    return {
        "prove_demo_wall_s": proof(),
        "prove_demo_fresh_wall_s": proof("--fresh"),
        "cold_start_s": lambda: wall_s(lambda: springhouse("size", "--help")),
    }


NOTES = (
    "medians of 5 rounds in which everything is measured once; CPU time unless named wall",
    "nights_per_s and the proofs: wall time on two processes; compiled code is on disk already",
    "plausible_weeks_per_s: the same, with tables and sun of each installation built on the way",
    "plausible_tables_ms: CPU time of those tables alone, of one installation",
    "prove_demo_wall_s: the firmware's own checks as kept for these sources, see --fresh",
    "desk: one slider moved to the weakest reading's figures and to the answer on all three, demo",
    "busy: the 3 hottest days; every tick: the same compiled plant, plain runner, 1 s",
    "pure Python, every tick: the first half hour of the busy days; nights: 16 h from 16:00",
    "LSODA script: our right-hand side compiled; pure Python: interpreted, the first busy day",
    "errors: the states that the controller sees, against DOP853 at rtol 1e-10",
)


def figures(mid: Mapping[str, float]) -> dict[str, float]:
    """Return the figures of `bench.json` from the medians."""
    by_name = {name: value for name, value in mid.items() if " " not in name and "_" in name}
    return {
        "season_days_per_cpu_s": mid["season"],
        "busy_days_per_cpu_s": mid["busy"],
        "every_tick_days_per_cpu_s": mid["plain"],
        "lsoda_days_per_cpu_s": mid["lsoda"],
        "pure_python_days_per_cpu_s": mid["pure"],
        "ratio_vs_every_tick": mid["busy"] / mid["plain"],
        "ratio_vs_every_tick_pure_python": mid["busy"] / mid["pure"],
        "ratio_vs_lsoda_script": mid["busy"] / mid["lsoda"],
        "ratio_vs_lsoda_script_pure_python": mid["busy"] / mid["plain lsoda"],
        "nights_ratio_vs_pure_python": mid["nights_per_s"] / 2 * NIGHT_H / 24 / mid["pure night"],
        **by_name,
    }


def main() -> None:
    """Measure and write."""
    site = load_site("demo")
    loads = [os.getloadavg()[0]]
    springhouse("prove", "demo", leaves=(KEPT, NOT_KEPT))  # compiles what is not on disk
    simulated = Simulated(site)
    with Workers(2) as pool, speed.waiting("demo") as desk:
        desk.whole_s()  # warm
        spread(site, pool, [range(10), range(10)])  # warm
        nights: dict[str, Measure] = {
            "nights_per_s": lambda: nights_per_s(site, pool),
            "plausible_weeks_per_s": lambda: weeks_per_s(site, pool),
            "plausible_tables_ms": lambda: tables_ms(site),
            "desk_first_figures_wall_s": desk.first_s,
            "desk_answer_wall_s": desk.whole_s,
        }
        board = core_cost.measures()
        mid, spent = interleaved(simulated.measures() | nights | commands() | board)
    found: dict[str, Any] = figures(core_cost.with_ratio(mid)) | simulated.errors()
    found |= core_cost.fuels()
    found = {name: float(f"{value:.4g}") for name, value in found.items()}
    found["machine"] = f"{os.cpu_count()} cores, {platform.machine()}, {platform.python_version()}"
    loads.append(os.getloadavg()[0])
    found["load_average"] = [round(load, 2) for load in loads]  # before and after
    found["profile_cpu_s"] = {name: round(value, 2) for name, value in spent.items()}
    found["notes"] = list(NOTES)
    FILE.parent.mkdir(exist_ok=True)
    FILE.write_text(json.dumps(found, indent=2) + "\n", encoding="utf-8")
    console().print_json(json.dumps(found))


if __name__ == "__main__":
    main()

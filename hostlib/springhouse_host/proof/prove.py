"""Runs the whole proof of a site."""

import os
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor

from springhouse_sim.bench import Pace

from ..site.site import Site
from . import abstract, complete, random_inputs
from .replay import replay
from .running import run_all, run_one
from .scenarios import standard, without_store
from .verdict import Verdict, judge, tally

OnStep = Callable[[int, int], None]  # steps done, steps in all


def processes() -> int:
    """Return how many scenarios to run at a time: one a core, two at most by default."""
    return max(1, min(2, os.cpu_count() or 1))


def prove(
    site: Site, on_step: OnStep = lambda done, total: None, pace: Pace = Pace.SKIP
) -> Verdict:
    """Run every scenario, the complete check and the random inputs, and judge them.

    Raises:
        SiteError: when weather or a part of the site cannot be used.
    """
    scenarios = standard(site)
    nominal = [s for s in scenarios if s.group == "nominal"]
    everything = [*scenarios, *map(without_store, nominal)]
    total = len(everything) + 5
    done = 0

    def step() -> None:
        nonlocal done
        done += 1
        on_step(done, total)

    # Random inputs and the abstract machine are compiled by a process of their own meanwhile.
    with ProcessPoolExecutor(1) as beside:
        driven = beside.submit(random_inputs.drive)
        compiled = beside.submit(abstract.compile_only)
        checked = complete.check()
        step()
        # Compiles, so that others find the code on disk.
        last = run_one(site.path, everything[-1], pace, site.changed)
        step()
        replayed = replay(site, next(s for s in scenarios if s.group == "corner"))
        step()
        results = [*run_all(site, everything[:-1], processes(), step, pace), last]
        random = driven.result()
        step()
        compiled.result()
    machine = abstract.check(processes())
    step()
    runs, bare = results[: len(scenarios)], results[len(scenarios) :]
    return Verdict(
        site=site,
        judged=tuple(judge(promise, runs) for promise in site.promises()),
        held=tally(runs, random),
        results=tuple(runs),
        bare=tuple(bare),
        complete=checked,
        random=random,
        replayed=replayed,
        machine=machine,
    )

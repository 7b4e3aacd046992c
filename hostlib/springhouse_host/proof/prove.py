"""Runs the whole proof of a site."""

import os
from collections.abc import Callable

from ..site.site import Site
from . import complete, random_inputs
from .running import run_all, run_one
from .scenarios import standard, without_store
from .verdict import Verdict, judge, tally

OnStep = Callable[[int, int], None]  # steps done, steps in all


def processes() -> int:
    """Return how many scenarios to run at a time: one a core, two at most by default."""
    return max(1, min(2, os.cpu_count() or 1))


def prove(site: Site, on_step: OnStep = lambda done, total: None) -> Verdict:
    """Run every scenario, the complete check and the random inputs, and judge them.

    Raises:
        SiteError: when weather or a part of the site cannot be used.
    """
    scenarios = standard(site)
    nominal = [s for s in scenarios if s.group == "nominal"]
    everything = [*scenarios, *map(without_store, nominal)]
    total = len(everything) + 2
    done = 0

    def step() -> None:
        nonlocal done
        done += 1
        on_step(done, total)

    checked = complete.check()
    step()
    random = random_inputs.drive()
    step()
    last = run_one(site.path, everything[-1])  # compiles: the processes then find code on disk
    step()
    results = [*run_all(site, everything[:-1], processes(), step), last]
    runs, bare = results[: len(scenarios)], results[len(scenarios) :]
    return Verdict(
        site=site,
        judged=tuple(judge(promise, runs) for promise in site.promises()),
        held=tally(runs, random),
        results=tuple(runs),
        bare=tuple(bare),
        complete=checked,
        random=random,
    )

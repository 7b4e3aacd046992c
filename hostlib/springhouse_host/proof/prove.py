"""Runs the whole proof of a site."""

import contextlib
import os
from collections.abc import Callable
from concurrent.futures import Executor, Future
from typing import TYPE_CHECKING

from springhouse_sim.world import days

from ..runners import Runners
from ..site.site import Site
from ..workers import Workers
from . import firmware_alone, sources
from .kept_draws import KeptDraws
from .weather_days import days_of

if TYPE_CHECKING:
    from .verdict import Verdict

DRAWS = 64  # plausible installations, unless asked otherwise
LEAST_DRAWS = 16
OnStep = Callable[[int, int], None]  # steps done, steps in all


def processes() -> int:
    """Return how many scenarios to run at a time: one a core, two at most by default."""
    return max(1, min(2, os.cpu_count() or 1))


def prove(
    site: Site,
    on_step: OnStep = lambda done, total: None,
    *,
    every_tick: bool = False,
    fresh: bool = False,
    draws: int = DRAWS,
    scheduler: str | None = None,
) -> "Verdict":
    """Run every scenario, the complete check and the random inputs, and judge them.

    What asks the firmware alone begins first, in a process of its own, or is taken from what was
    kept for the same sources, unless ``fresh``. ``draws`` plausible installations, a power of
    two, run on the workers of a dask ``scheduler`` where there is one.

    Raises:
        KnownError: when the scheduler cannot be reached.
        SiteError: when the weather or a part of the site cannot be used.
        KnownError: when a source or the site was touched, so that nobody knows what ran.
    """
    days_of(site, days.summer)  # bad weather is told before any work
    ran = sources.read(site)
    stamp = firmware_alone.stamp()
    kept = None if fresh else firmware_alone.kept(stamp)
    with contextlib.ExitStack() as opened:
        beside = opened.enter_context(Workers(1, anew=True))
        far = None
        if scheduler is not None:
            far, _ = opened.enter_context(Runners(1, scheduler).pool())
        alone: Future[firmware_alone.Alone] = Future()
        if kept is None:
            alone = beside.submit(firmware_alone.make, stamp, processes())
        else:
            alone.set_result(kept)
        kept_draws = KeptDraws(ran)
        verdict = _judged(site, ran, alone, on_step, every_tick, draws, far, kept_draws)
    sources.check_untouched(ran, site)
    kept_draws.done()
    _tell_size(verdict)
    return verdict


def _tell_size(verdict: "Verdict") -> None:
    from . import show, told_next

    told_next.keep(verdict.site, list(show.measure_next(verdict)))


def _judged(
    site: Site,
    ran: sources.Ran,
    alone: "Future[firmware_alone.Alone]",
    on_step: OnStep,
    every_tick: bool,
    draws: int,
    far: Executor | None,
    kept_draws: KeptDraws,
) -> "Verdict":
    """Run the scenarios and judge; what knows the plant is imported late, for it takes seconds."""
    from springhouse_sim import compiled
    from springhouse_sim.bench import Pace

    from . import plausible, running
    from .placing import placed, places
    from .replay import replay_one
    from .scenarios import readings, unbroken, without_store
    from .verdict import Verdict, judge, tally

    sources.check_compiled(ran, compiled.load())
    whole = unbroken(site)
    alone_too = [*whole, *(without_store(s) for s in whole if s.group == "nominal")]
    points = plausible.drawn_scenarios(site, draws)
    pace = Pace.EVERY_TICK if every_tick else Pace.SKIP
    # Run here, so that the processes of the pool begin with the code and tables in their memory.
    first = min(alone_too, key=lambda s: (s.variant != "mid", s.days))
    found = {first: running.run_one(site.path, first, pace, site.changed)}
    with Workers(processes()) as pool:
        # Where each fault can be tried is found beside the runs in which nothing breaks.
        looked = {
            variant: pool.submit(places, site.path, site.changed, site.site_sha256, (), variant)
            for variant in readings(site)
        }
        corner = next(s for s in whole if s.group == "corner")
        replayed = pool.submit(replay_one, site.path, corner, site.changed)
        jobs = running.begin(site, [s for s in alone_too if s != first], pool, pace)
        known = {variant: job.result() for variant, job in looked.items()}
        faults, absent = placed(site, known=known)
        jobs |= running.begin(site, faults, pool, pace)
        total = len(alone_too) + len(faults) + len(points) + plausible.SUMMERS + 2
        done = 0

        def step(steps: int = 1) -> None:
            nonlocal done
            done += steps
            on_step(done, total)

        step()
        found |= running.finish(jobs, step)
        hashes = tuple(ran.hashes().items()) if far else ()
        runner = plausible.Runner(site, far or pool, kept_draws, hashes)
        sample = plausible.sample(site, points, runner, step)
        compared = replayed.result()
        step()
    firmware = alone.result()
    step()
    runs = [found[s] for s in (*whole, *faults)]
    bare = [found[s] for s in alone_too[len(whole) :]]
    return Verdict(
        site=site,
        judged=tuple(judge(promise, runs, site) for promise in site.promises()),
        held=tally(runs, firmware),
        results=tuple(runs),
        bare=tuple(bare),
        alone=firmware,
        replayed=compared,
        ran=ran,
        sample=sample,
        absent=tuple(absent),
    )

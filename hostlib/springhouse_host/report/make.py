"""Makes the report of a proof or of a run and writes it."""

from collections.abc import Callable, Sequence
from concurrent.futures import as_completed
from pathlib import Path

from springhouse_sim.trace import Trace

from ..proof.prove import processes
from ..proof.scenarios import Scenario
from ..proof.verdict import Verdict
from ..screen import write_whole
from ..site.known import Variant
from ..site.site import Site
from ..workers import Workers
from . import html, view
from .recorded import Recorded, bare_trace, record, record_run

OnStep = Callable[[int, int], None]  # steps done, steps in all


def write_proof(
    verdict: Verdict, path: Path, us: bool, on_step: OnStep = lambda done, total: None
) -> None:
    """Write the report of a proof; what it shows is run again, for a proof keeps no samples.

    Of corners and faults that is the middle reading, and another where it came worst. The run that
    set the tightest margin and those of the middle reading are kept in full.

    Raises:
        KnownError: when the file cannot be written.
    """
    from ..sheet.sizing import size

    named = {name for name, _ in verdict.hardest()} | {j.scenario for j in verdict.judged}
    scenarios = [
        s
        for s in (r.scenario for r in verdict.results)
        if s.variant == "mid" or s.group in ("nominal", "beyond") or s.name in named
    ]
    tightest = view.nearest(verdict.judged)
    first = next(
        (i for i, s in enumerate(scenarios) if tightest and s.name == tightest.scenario), 0
    )
    in_full = [
        i == first or (s.group == "nominal" and s.variant == "mid") for i, s in enumerate(scenarios)
    ]
    runs = record_all(verdict.site, scenarios, in_full, us, on_step)
    readings: tuple[Variant, ...] = (
        ("low", "mid") if verdict.site.evidence == "ESTIMATE" else ("mid",)
    )
    sizing = size(verdict.site, variants=readings)
    on_step(len(scenarios) + 1, len(scenarios) + 1)
    write_whole(path, html.render(view.of_proof(verdict, runs, sizing, us, first)))


def record_all(
    site: Site,
    scenarios: Sequence[Scenario],
    in_full: Sequence[bool],
    us: bool,
    on_step: OnStep,
) -> list[Recorded]:
    """Run scenarios and keep what a report shows of each, in their order, longest first."""
    found: dict[int, Recorded] = {}
    order = sorted(range(len(scenarios)), key=lambda i: -scenarios[i].days)
    with Workers(processes()) as pool:
        jobs = {pool.submit(record_run, site.path, scenarios[i], in_full[i], us): i for i in order}
        for job in as_completed(jobs):
            found[jobs[job]] = job.result()
            on_step(len(found), len(scenarios) + 1)
    return [found[i] for i in range(len(scenarios))]


def write_run(site: Site, scenario: Scenario, trace: Trace, path: Path, us: bool) -> None:
    """Write the report of a single run.

    Raises:
        KnownError: when the file cannot be written.
    """
    run = record(site, scenario, trace, bare_trace(site, scenario), full=True, us=us)
    write_whole(path, html.render(view.of_run(site, run, us)))

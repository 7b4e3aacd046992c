"""Trying a point: a few scenarios for the promises, some days for the cost."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from ..proof import running
from ..proof.measures import MEASURES
from ..proof.running import Result
from ..proof.scenarios import Scenario
from ..proof.verdict import judge
from ..site.promises import Promise
from ..site.site import Site
from .knobs import Change, Knob, changes_of

BINDING = 2  # scenarios kept a promise: those nearest to breaking it
REFUSED = 1e3  # violation of a point that the core itself refuses


@dataclass(frozen=True)
class Task:
    """What a point is tried on: the scenarios of the promises, and the days of the cost.

    The hours too warm of the first ``counted`` scenarios count, so that points tried on more of
    them compare. ``dearest`` is more than any point can cost; a point that breaks a promise counts
    so much and its violation more, so that every point that keeps all is better than any that does
    not (Deb 2000).
    """

    site: str
    turned: tuple[Knob, ...]
    binding: tuple[Scenario, ...]
    costed: Scenario
    dearest: float
    counted: int


@dataclass(frozen=True)
class Tried:
    """A point and what came of it.

    ``cost`` is of the days of the cost; ``hours_over`` counts what runs without a fault.
    ``ran`` is false where the core itself refuses the settings.
    """

    point: tuple[float, ...]
    violation: float
    cost: float
    hours_over: float
    ran: bool = True

    def energy(self, dearest: float) -> float:
        """Return what the search makes small."""
        return self.cost if self.violation <= 0.0 else dearest + self.violation


def violation(
    promises: Sequence[Promise], results: Sequence[Result], *, placed: bool = False
) -> float:
    """Return by how much results break promises and invariants, 0 if by nothing.

    A latch where nothing is broken counts as well.

    Faults come where the site's own settings can answer them. Other settings may find nothing to
    answer there, which counts only if the faults were ``placed`` for these settings.
    """
    total = 0.0
    for promise in promises:
        told = [r for r in results if MEASURES[promise.measure](r) is not None]
        if told:
            judged = judge(promise, told)
            total += max(0.0, -judged.margin) / max(1.0, abs(promise.limit))
    total += sum(sum(r.violations) for r in results)
    total += sum(r.latched != 0 for r in results if r.scenario.unbroken)
    answers = [response for r in results for response in r.responses]
    return total + sum(not a.kept for a in answers if a.met or placed)


def with_changes(scenario: Scenario, changes: tuple[Change, ...]) -> Scenario:
    """Return a scenario under other settings; what it changes itself goes on top."""
    return replace(scenario, changes=(*changes, *scenario.changes))


def try_point(task: Task, point: tuple[float, ...]) -> Tried:
    """Try a point that lies on the knobs' steps, in any process."""
    site = running.site_of(task.site)
    changes = changes_of(site, task.turned, point)
    if changes is None:
        return Tried(point, REFUSED, task.dearest, 0.0, ran=False)
    promises = site.promises()
    results = [running.run_one(task.site, with_changes(task.costed, changes))]
    results += [running.run_one(task.site, with_changes(s, changes)) for s in task.binding]
    counted = [r for r in results[: 1 + task.counted] if r.scenario.unbroken]
    over = sum(r.summary["room_hours_over"] for r in counted)
    cost = float(results[0].summary["cost"])
    return Tried(point, violation(promises, results), cost, over)


def binding(site: Site, results: Sequence[Result]) -> tuple[Scenario, ...]:
    """Return the scenarios that come nearest to breaking a promise, those that say most first."""
    found: dict[str, Scenario] = {}
    for promise in site.promises():
        told = [
            (promise.margin(value), r)
            for r in results
            if (value := MEASURES[promise.measure](r)) is not None
        ]
        told.sort(key=lambda pair: pair[0])
        if told and told[0][0] < told[-1][0]:  # where all are alike none says anything
            for _, result in told[:BINDING]:
                found.setdefault(result.scenario.name, result.scenario)
    return tuple(found.values())

"""The verdict as a share: a sample of plausible installations through the hottest week.

Every doubtful number (`site/doubt.py`) is drawn at once, by scrambled Sobol points. The summer is
run too for those that came out worst. What is kept of a draw is a row of numbers, so that memory
does not grow with what was simulated.
"""

from collections.abc import Callable, Sequence
from concurrent.futures import Executor, Future, as_completed
from dataclasses import astuple, dataclass, replace
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray
from springhouse_sim.world import days

from ..errors import KnownError, SiteError
from ..site import doubt, drawn
from ..site.doubt import Doubt
from ..site.drawn import Draw
from ..site.promises import Promise
from ..site.site import Site
from .kept_draws import KeptDraws
from .measures import MEASURES, SAFETY
from .running import Result, run_one
from .scenarios import HOTTEST_DAYS, SEED, Scenario
from .weather_days import days_of

A_JOB = 8  # draws of one job
SUMMERS = 2  # of the draws that came out worst
DECIDE = 3  # inputs named
LEAST_RANK = 0.2  # rank correlation of what is called deciding


@dataclass(frozen=True)
class DrawnRow:
    """What is kept of one draw.

    ``violations`` are of invariants, and a false alarm. A value is None where the week has nothing
    to say, such as of the time between two starts.
    """

    values: tuple[float | None, ...]
    warmth_c: float  # below this the room is in the promised share of its wanted hours
    violations: int


@dataclass(frozen=True)
class Sample:
    """Plausible installations and what came of them, in the order of their draws."""

    promises: tuple[Promise, ...]
    doubts: tuple[Doubt, ...]
    draws: tuple[Draw, ...]
    rows: tuple[DrawnRow, ...]
    summers: tuple[tuple[int, DrawnRow], ...]  # (draw, its summer)
    wanted_percent: float

    @cached_property
    def keeps(self) -> NDArray[np.bool_]:
        """Whether each draw keeps every promise in the hottest week, shape (draws,)."""
        return np.array([inside(self.promises, row.values) for row in self.rows])

    @property
    def share_percent(self) -> float:
        """Share of the draws that keep every promise [%]."""
        return 100.0 * float(self.keeps.mean())

    @property
    def enough(self) -> bool:
        """Whether as many as are wanted keep every promise."""
        return self.share_percent >= self.wanted_percent

    @property
    def safe(self) -> bool:
        """Whether every draw, in its week and its summer, keeps what guards against harm."""
        guards = [i for i, promise in enumerate(self.promises) if promise.measure in SAFETY]
        promises = [self.promises[i] for i in guards]
        rows = (*self.rows, *(row for _, row in self.summers))
        return all(
            inside(promises, [row.values[i] for i in guards]) and not row.violations for row in rows
        )

    def values(self, number: int) -> NDArray[np.float64]:
        """Return what the draws came to under a promise, those that say something of it."""
        found = [row.values[number] for row in self.rows]
        return np.array([value for value in found if value is not None])

    def fifth(self, number: int) -> float | None:
        """Return what 95 % of the draws do not come short of, under a promise."""
        quantile = 5.0 if self.promises[number].at_least else 95.0
        values = self.values(number)
        return float(np.percentile(values, quantile)) if values.size else None

    @property
    def worst(self) -> int:
        """The draw in whose hottest week the room was warmest."""
        return int(np.argmax([row.warmth_c for row in self.rows]))

    def inputs(self) -> NDArray[np.float64]:
        """Return the values drawn, shape (draws, doubts)."""
        return np.array([[value for _, value in draw] for draw in self.draws])

    def ranks(self) -> list[tuple[Doubt, float]]:
        """Return each input with its rank correlation with the room's warmth, largest first."""
        warmth = _rank(np.array([row.warmth_c for row in self.rows]))
        found = []
        for doubted, column in zip(self.doubts, self.inputs().T, strict=True):
            found.append((doubted, _correlation(_rank(column), warmth)))
        return sorted(found, key=lambda pair: -abs(pair[1]))

    def deciding(self) -> list[str]:
        """Return in words the inputs that move the room most."""
        return [d.words for d, rank in self.ranks()[:DECIDE] if abs(rank) >= LEAST_RANK]


def inside(promises: Sequence[Promise], values: Sequence[float | None]) -> bool:
    """Return whether every promise holds."""
    pairs = zip(promises, values, strict=True)
    return all(value is None or promise.margin(value) >= 0.0 for promise, value in pairs)


def _rank(values: NDArray[np.float64]) -> NDArray[np.float64]:
    from scipy.stats import rankdata

    ranked: NDArray[np.float64] = rankdata(values)
    return ranked


def _correlation(a: NDArray[np.float64], b: NDArray[np.float64]) -> float:
    spread = float(a.std() * b.std())
    return float(((a - a.mean()) * (b - b.mean())).mean()) / spread if spread > 0.0 else 0.0


def row_of(site: Site, result: Result) -> DrawnRow:
    """Return what is kept of a run."""
    found = (MEASURES[promise.measure](result) for promise in site.promises())
    values = tuple(None if value is None else float(value) for value in found)
    alarms = int(result.latched != 0)
    return DrawnRow(values, result.warmth_c, int(sum(result.violations)) + alarms)


def run_some(site_name: str, scenarios: Sequence[Scenario], changed: str) -> list[DrawnRow]:
    """Run draws of a site one after the other, to be called in any process."""
    from .running import site_of

    site = site_of(site_name, changed)
    return [row_of(site, run_one(site_name, s, changed=changed)) for s in scenarios]


def run_elsewhere(
    site_name: str, scenarios: Sequence[Scenario], changed: str, hashes: tuple[tuple[str, str], ...]
) -> list[DrawnRow]:
    """Run draws on another machine, whose program and files must be those of this proof.

    Raises:
        KnownError: naming what is not the same there.
    """
    here = dict(_hashes(site_name, changed))
    other = [name.removesuffix("_sha256") for name, value in hashes if here[name] != value]
    if other:
        import platform

        raise KnownError(
            f"--scheduler: on {platform.node()} other than here: {', '.join(other)}: install the "
            "same springhouse there, and the same files under the same path"
        )
    return run_some(site_name, scenarios, changed)


@lru_cache(maxsize=4)
def _hashes(site_name: str, changed: str) -> tuple[tuple[str, str], ...]:
    """Return the hashes of what runs in this process, compiled code included."""
    from springhouse_sim import compiled

    from . import sources
    from .running import site_of

    ran = sources.read(site_of(site_name, changed))
    sources.check_compiled(ran, compiled.load())
    return tuple(ran.hashes().items())


def drawn_scenarios(site: Site, count: int) -> list[Scenario]:
    """Return the hottest week of ``count`` plausible installations.

    Raises:
        SiteError: when an entry of the table of doubts is none, or the weather cannot be read.
    """
    week = days_of(site, lambda weather: days.hottest(weather, HOTTEST_DAYS))
    try:
        points = drawn.draws(site, count, SEED)
    except ValueError as error:
        raise SiteError(f"{site.path}: {error}") from None
    return [
        Scenario(f"plausible {i + 1}", "nominal", week.start, week.count, draw=draw, seed=SEED + i)
        for i, draw in enumerate(points)
    ]


@dataclass(frozen=True)
class Runner:
    """Runs draws in a pool, keeps their rows, and goes on from what was kept.

    With ``hashes`` the pool's processes are of other machines, which have to be of the same text.
    """

    site: Site
    pool: Executor
    kept: KeptDraws
    hashes: tuple[tuple[str, str], ...] = ()

    def __call__(
        self, scenarios: Sequence[Scenario], a_job: int, on_done: Callable[[int], None]
    ) -> list[DrawnRow]:
        """Return a row for each run, in their order; so many of them go together."""
        found = {}
        for number, scenario in enumerate(scenarios):
            if (told := self.kept.get(scenario)) is not None:
                found[number] = DrawnRow(tuple(told[0]), told[1], told[2])
        on_done(len(found))
        left = [number for number in range(len(scenarios)) if number not in found]
        jobs: dict[Future[list[DrawnRow]], list[int]] = {}
        for first in range(0, len(left), a_job):
            numbers = left[first : first + a_job]
            jobs[self._begin([scenarios[n] for n in numbers])] = numbers
        for job in as_completed(jobs):
            rows = dict(zip(jobs[job], job.result(), strict=True))
            found |= rows
            self.kept.keep({scenarios[n]: astuple(row) for n, row in rows.items()})
            on_done(len(rows))
        return [found[number] for number in range(len(scenarios))]

    def _begin(self, some: Sequence[Scenario]) -> Future[list[DrawnRow]]:
        where = (self.site.path, some, self.site.changed)
        if self.hashes:
            return self.pool.submit(run_elsewhere, *where, self.hashes)
        return self.pool.submit(run_some, *where)


def sample(
    site: Site, scenarios: Sequence[Scenario], run: Runner, on_done: Callable[[int], None]
) -> Sample:
    """Run plausible installations; calls ``on_done`` with the number just done."""
    rows = run(scenarios, A_JOB, on_done)
    warm = sorted(range(len(rows)), key=lambda i: -rows[i].warmth_c)[:SUMMERS]
    summer = days_of(site, days.summer)
    long = [replace(scenarios[i], start=summer.start, days=summer.count) for i in warm]
    summers = run(long, 1, on_done)
    return Sample(
        site.promises(),
        doubt.doubts(site),
        tuple(s.draw for s in scenarios),
        tuple(rows),
        tuple(zip(warm, summers, strict=True)),
        site.file.promises.plausible_share_percent,
    )

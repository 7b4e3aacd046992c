"""The commands as functions, for a notebook or script of one's own.

Everything comes back as pandas data frames: rows a minute are indexed by local time, every column
carries its unit at the end of its name. Bad input raises `errors.KnownError` (`SiteError` for a
site file), whose ``lines`` say each what is wrong and what is allowed.

>>> from springhouse_host import load_site, run
>>> site = load_site("demo", {"settings.room_target_c": 25.5})
>>> two_days = run(site, start="2001-07-09", days=2)
>>> two_days.minutes[["store_mean_c", "room_air_c"]].resample("h").mean().shape
(48, 2)
>>> bool(two_days.summary["max_ice_kg"] < 0.3)
True
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cached_property, partial
from html import escape
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any

from .errors import KnownError
from .site import Site
from .site import load_site as load_site

if TYPE_CHECKING:
    import pandas as pd
    from springhouse_sim.bench import Bench
    from springhouse_sim.trace import Trace

    from .fitting.fit import Fitted
    from .proof.scenarios import Scenario
    from .proof.verdict import Verdict
    from .sweeping import Method

LONGEST_DAYS = 366

AnySite = Site | str | Path


def _site(site: AnySite) -> Site:
    return site if isinstance(site, Site) else load_site(site)


def _day(start: datetime | str | None) -> datetime | None:
    try:
        return datetime.fromisoformat(start) if isinstance(start, str) else start
    except ValueError:
        raise KnownError(f"start: {start!r}: a day such as 2001-07-09") from None


def _paragraphs(text: str) -> str:
    return "".join(f"<p>{escape(line)}</p>" for line in text.splitlines())


@dataclass(frozen=True, eq=False, repr=False)
class Run:
    """One simulated run; printed it says what it came to."""

    site: Site
    scenario: Scenario
    trace: Trace

    def __repr__(self) -> str:
        from .plainly import of_run

        said = of_run(self.summary, self.limit_c, us=False, currency=self.site.currency)
        return f"{self.site.name}, {self.scenario.name}\n{said}"

    def _repr_html_(self) -> str:
        return _paragraphs(repr(self))

    @property
    def limit_c(self) -> float:
        """The promised room temperature [°C]."""
        return float(self.site.file.promises.room_below_c)

    @cached_property
    def minutes(self) -> pd.DataFrame:
        """What happened, a row a minute, indexed by local time."""
        return self.trace.minutes().rename_axis("local_time")

    @cached_property
    def changes(self) -> pd.DataFrame:
        """Every change of a state, output, latch, mode or supply, indexed by local time."""
        import pandas as pd

        table = self.trace.transitions()
        begin = pd.Timestamp(self.trace.calendar.local(0))
        index = begin + pd.to_timedelta(table.pop("ms"), unit="ms")
        return table.set_index(pd.DatetimeIndex(index, name="local_time"))

    @cached_property
    def summary(self) -> dict[str, Any]:
        """The figures of the run, by the names that `springhouse run --json` writes."""
        return {
            "site": self.site.name,
            "evidence": self.site.evidence,
            **self.trace.summary(self.limit_c),
            "energy_by_consumer_kwh": self.trace.energy_kwh(),
            "room_heat_kwh": self.trace.room_heat_kwh(),
            "store_heat_kwh": self.trace.store_heat_kwh(),
        }

    @property
    def heat_kwh(self) -> pd.DataFrame:
        """Heat by cause: columns ``room_kwh`` and ``store_kwh``, negative leaves."""
        import pandas as pd

        parts = {"room_kwh": self.trace.room_heat_kwh(), "store_kwh": self.trace.store_heat_kwh()}
        return pd.DataFrame(parts).rename_axis("cause")


def run(
    site: AnySite = "demo",
    *,
    start: datetime | str | None = None,
    days: int = 3,
    faults: Iterable[str] = (),
    on_board: bool = False,
    every_tick: bool = False,
    on_progress: Callable[[float], None] | None = None,
) -> Run:
    """Simulate one run of an installation.

    Args:
        site: a site, a site file, or the word of a built-in one.
        start: first day, standard time; None takes the hottest days of the weather.
        days: how many, 1 to 366.
        faults: what breaks when, such as ``"probe_open.store_low@2:00-3:30"``.
        on_board: let the board's own files control, under MicroPython (slow).
        every_tick: step the controller each second: same result, slower.
        on_progress: called now and then with the share done, 0 to 1.

    Raises:
        KnownError: on a bad site, day or fault, or without the interpreter for ``on_board``.
    """
    from .proof.fault_words import fault_from

    if not 1 <= days <= LONGEST_DAYS:
        raise KnownError(f"days: {days}: from 1 to {LONGEST_DAYS}")
    broken = tuple(fault_from(text, days) for text in faults)
    loaded = _site(site)

    # The plant takes a second to import: what is wrong with the words is told before.
    from springhouse_sim.bench import Bench, Pace
    from springhouse_sim.world.faults import Fault
    from springhouse_sim.world.outage import Outage

    from .proof import running, scenarios

    scenario = replace(
        scenarios.single(loaded, _day(start), days),
        faults=tuple(one for one in broken if isinstance(one, Fault)),
        outages=tuple(one for one in broken if isinstance(one, Outage)),
    )
    with ExitStack() as stack:
        kind: Callable[..., Bench] = Bench
        if on_board:
            kind = _on_board(Path(stack.enter_context(TemporaryDirectory())))
        pace = Pace.EVERY_TICK if every_tick else Pace.SKIP
        bench = running.bench(loaded, scenario, kind=kind, pace=pace)
        return Run(loaded, scenario, bench.run(days, on_progress))


def _on_board(folder: Path) -> Callable[..., Bench]:
    from springhouse.boards import pico_w
    from springhouse_sim.virtual_board.on_board import OnBoardBench
    from springhouse_sim.virtual_board.process import interpreter

    from .flashing.build import build

    try:
        interpreter()
    except FileNotFoundError as error:
        raise KnownError(f"--on-board: {error}") from None
    flash, image = folder / "flash", folder / "image"
    flash.mkdir()
    build(pico_w.NAME).write(image, ".")
    return partial(OnBoardBench, flash=flash, firmware=image)


@dataclass(frozen=True, eq=False, repr=False)
class Proof:
    """The outcome of a proof; printed it is its first line and what stands behind it."""

    verdict: Verdict

    def __repr__(self) -> str:
        from .plainly import of_proof
        from .proof.show import headline

        return f"{headline(self.verdict)}\n{of_proof(self.verdict, us=False)}"

    def _repr_html_(self) -> str:
        return _paragraphs(repr(self)) + self.promises.to_html(float_format="{:.3g}".format)

    @property
    def kept(self) -> bool:
        """Whether every promise and invariant holds."""
        return self.verdict.kept

    @cached_property
    def record(self) -> dict[str, Any]:
        """What `springhouse prove --json` writes and `springhouse flash` asks for."""
        from .proof.verdict import as_json

        return as_json(self.verdict)

    def _table(self, key: str, index: str) -> pd.DataFrame:
        import pandas as pd

        return pd.DataFrame(self.record[key]).set_index(index)

    @property
    def promises(self) -> pd.DataFrame:
        """Promises by name: limit, worst value, margin (in ``unit``), scenario, kept."""
        return self._table("promises", "name")

    @property
    def invariants(self) -> pd.DataFrame:
        """Invariants by id: text, cases, violations."""
        return self._table("invariants", "id")

    @property
    def scenarios(self) -> pd.DataFrame:
        """The figures of every scenario, by its name."""
        return self._table("scenarios", "name")

    @property
    def responses(self) -> pd.DataFrame:
        """What must follow each fault, and what did, by the fault's name."""
        return self._table("responses", "fault")


def prove(
    site: AnySite = "demo",
    *,
    every_tick: bool = False,
    fresh: bool = False,
    draws: int = 64,
    scheduler: str | None = None,
    on_progress: Callable[[int, int], None] = lambda done, total: None,
) -> Proof:
    """Prove that an installation keeps its promises, or find what breaks them; about a minute.

    Uses processes: a script calls it under ``if __name__ == "__main__":``.

    Args:
        site: a site, a site file, or the word of a built-in one.
        every_tick: step the controller each second: same result, slower.
        fresh: check the firmware anew, even if these very sources were checked before.
        draws: plausible installations in the sample, rounded down to a power of two.
        scheduler: address of a dask scheduler whose workers run the sample.
        on_progress: called with the steps done and all steps.

    Raises:
        KnownError: on a bad site or weather.
    """
    from .proof.prove import prove as run_proof

    proven = run_proof(
        _site(site),
        on_progress,
        every_tick=every_tick,
        fresh=fresh,
        draws=draws,
        scheduler=scheduler,
    )
    return Proof(proven)


def sweep(
    site: AnySite,
    vary: Mapping[str, tuple[float, float, int]],
    *,
    spread: Method = "grid",
    points: int = 64,
    days: int = 7,
    season: bool = False,
    start: datetime | str | None = None,
    jobs: int = 1,
    scheduler: str | None = None,
    out: Path | None = None,
    on_progress: Callable[[int, int], None] = lambda done, total: None,
) -> pd.DataFrame:
    """Run one installation under many settings; a row a point, what was varied first.

    A point that the site's rules refuse says so in column ``refused`` and has no figures.

    Args:
        site: a site, a site file, or the word of a built-in one.
        vary: (from, to, count) by key, such as ``{"settings.deep_target_c": (2, 5, 4)}``.
        spread: ``"grid"``, ``"latin"`` or ``"sobol"``.
        points: how many, unless on a grid.
        days: hottest days to run.
        season: run the whole summer instead.
        start: first day, standard time, instead of the hottest days.
        jobs: points run at a time.
        scheduler: address of a dask scheduler whose workers run them instead.
        out: table (Parquet) that is kept and from which a stopped sweep goes on.
        on_progress: called with the points done and all points.

    Raises:
        KnownError: on a bad site, key, range or table.
    """
    import pandas as pd

    from .proof import scenarios
    from .runners import Runners
    from .sweeping import Job, axis, lay_out
    from .sweeping import sweep as run_sweep

    if not 1 <= days <= LONGEST_DAYS:
        raise KnownError(f"days: {days}: from 1 to {LONGEST_DAYS}")
    loaded = _site(site)
    axes = [axis(key, *span) for key, span in vary.items()]
    scenario = (
        scenarios.whole_summer(loaded) if season else scenarios.single(loaded, _day(start), days)
    )
    work: dict[str, Job] = {}
    for values in lay_out(axes, spread, points):
        job = Job(loaded.path, tuple(zip(vary, values, strict=True)), scenario, loaded.changed)
        work[job.identity(loaded.firmware_sha256, loaded.site_sha256)] = job
    with TemporaryDirectory() as folder:
        table = Path(folder) / "sweep.parquet" if out is None else out
        rows = run_sweep(
            work, table, Runners(jobs, scheduler), lambda done: on_progress(done, len(work))
        )
    found = pd.DataFrame(rows).drop(columns="point")
    found.attrs["scenario"] = f"{loaded.name}: {scenario.name}"
    return found


def fit(
    site: AnySite,
    log: Path | str,
    *,
    outdoor: Path | str | None = None,
    hold: Sequence[str] = (),
    on_progress: Callable[[str], None] = lambda text: None,
) -> Fitted:
    """Estimate what labels leave open from a log of the real installation.

    Args:
        site: a site, a site file, or the word of a built-in one.
        log: what ``run --csv`` writes, or the board's black box as got over the link.
        outdoor: CSV with ``local_time`` and ``outdoor_c``, where the log has no outdoor column.
        hold: keys to leave as the site has them.
        on_progress: called with a line on what is being done.

    Raises:
        KnownError: on a bad site or log, and where the log does not tell a parameter: a line for
            each, naming what to log.
    """
    from .fitting.fit import fit as run_fit

    return run_fit(
        _site(site), Path(log), Path(outdoor) if outdoor else None, tuple(hold), on_progress
    )

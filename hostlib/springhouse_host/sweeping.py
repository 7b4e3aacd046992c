"""One site under many settings: which points, running them, and a table that survives a kill.

Points lie on a grid, or are spread by Latin hypercube or Sobol sequence. Each is a run of the same
days; its row holds what was varied and the figures of `Trace.summary`. The table is a Parquet file
that is replaced whole now and then; a point whose row is there is not run again.

The points run in processes of this machine, or on the workers of a `dask.distributed` scheduler.
Either is an executor to this module. A worker that dies takes no row with it: what it had not
handed over is run again by another, and a row is kept by the identity of its point, so once.
"""

import hashlib
import json
import math
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, wait
from dataclasses import dataclass
from itertools import product
from pathlib import Path
from typing import Any, Literal

from .errors import KnownError, SiteError
from .proof import running
from .proof.scenarios import Scenario
from .runners import Runners
from .screen import write_bytes_whole
from .site import load_site
from .site.fields import Quantity
from .site.hashes import simulation_sha256
from .site.read import MODELS, kind_of, nearest
from .units import US_WORDS, in_us

Method = Literal["grid", "latin", "sobol"]
SEED = 20
MOST_POINTS = 100_000
SAVE_EVERY_S = 1.0
AHEAD = 4  # points handed to each process before the first is done
ID, REFUSED = "point", "refused"
ENDINGS = {"°C": "_c", "K": "_k", "L": "_litres", "m": "_m", "mm": "_mm", "m2": "_m2",
           "kg": "_kg", "L/min": "_l_min", "m3/h": "_m3_h", "W/K": "_w_k"}  # fmt: skip

Row = dict[str, Any]


@dataclass(frozen=True)
class Axis:
    """One value of the site file that is varied."""

    key: str  # table.key
    low: float
    high: float
    count: int

    @property
    def whole(self) -> bool:
        """Whether only whole numbers make sense: counts, and the settings' minutes and seconds."""
        table, _, name = self.key.partition(".")
        if table == "settings" and name.endswith(("_min", "_s")) and not name.endswith("l_min"):
            return True
        field = MODELS[table].model_fields.get(name)
        return field is not None and field.annotation in (int, int | None)


def in_units(rows: list[Row], keys: list[str], us: bool) -> tuple[list[Row], list[str]]:
    """Return the rows of a sweep and the names of what was varied, as a screen shows them.

    In US customary units a varied value stands under its key without the unit's letters, the unit
    after it, and ``max_ice_kg`` holds pounds.
    """
    if not us:
        return rows, keys
    kinds = {key: _unit(key) for key in keys}
    names = {
        key: f"{key.removesuffix(ENDINGS.get(kind, ''))} {US_WORDS[kind]}"
        if kind in US_WORDS
        else key
        for key, kind in kinds.items()
    }
    changed = [
        {names.get(k, k): v for k, v in row.items()}
        | {names[k]: in_us(row[k], kind) for k, kind in kinds.items() if kind in US_WORDS}
        | {"max_ice_kg": in_us(row["max_ice_kg"], "kg")}
        for row in rows
    ]
    return changed, [names[key] for key in keys]


def _unit(key: str) -> str:
    """Return the unit of a key of the site file, empty where it has none."""
    table, _, name = key.partition(".")
    kind = kind_of(MODELS[table], name)
    return kind.unit if isinstance(kind, Quantity) else ""


def read_axis(text: str) -> Axis:
    """Return the axis that ``settings.KEY=a:b:n`` asks for.

    Raises:
        KnownError: naming what is wrong with it.
    """
    key, _, span = text.partition("=")
    parts = span.split(":")
    try:
        low, high, count = float(parts[0]), float(parts[1]), int(parts[2])
    except (ValueError, IndexError):
        raise KnownError(f"--vary {text}: expected TABLE.KEY=FROM:TO:COUNT") from None
    return axis(key, low, high, count)


def axis(key: str, low: float, high: float, count: int) -> Axis:
    """Return an axis that the site file knows.

    Raises:
        KnownError: naming what is wrong with it.
    """
    text = f"{key}={low:g}:{high:g}:{count}"
    if not (-math.inf < low < high < math.inf and 2 <= count <= MOST_POINTS):
        raise KnownError(f"--vary {text}: FROM below TO, COUNT 2 to {MOST_POINTS}")
    table, _, name = key.partition(".")
    if table not in MODELS or name not in MODELS[table].model_fields:
        known = [f"{t}.{k}" for t, model in MODELS.items() for k in model.model_fields]
        hint = nearest(key, known)
        meant = f"; the nearest is {hint}" if hint else ""
        raise KnownError(f"--vary {text}: the site file has no {key}{meant}")
    if table == "weather" or name.startswith("window_"):
        raise KnownError(f"--vary {text}: weather and windows are the same for all points")
    return Axis(key, low, high, count)


def lay_out(axes: Sequence[Axis], method: Method, count: int) -> list[tuple[float, ...]]:
    """Return the points, each a value an axis; ``count`` is not used on a grid.

    Raises:
        KnownError: when there would be too many.
    """
    import numpy as np
    from scipy.stats import qmc

    if method == "grid":
        lines = [np.linspace(a.low, a.high, a.count) for a in axes]
        total = int(np.prod([a.count for a in axes], dtype=float))
    else:
        total = count
    if not 1 <= total <= MOST_POINTS:
        raise KnownError(f"sweep: {total} points, 1 to {MOST_POINTS} are possible")
    if method == "grid":
        found = [tuple(float(v) for v in row) for row in product(*lines)]
    else:
        if method == "latin":
            drawn = qmc.LatinHypercube(len(axes), rng=SEED).random(total)
        else:  # the sequence is balanced in powers of two; what is too many is left away
            doublings = max(0, math.ceil(math.log2(total)))
            drawn = qmc.Sobol(len(axes), rng=SEED).random_base2(doublings)[:total]
        scaled = qmc.scale(drawn, [a.low for a in axes], [a.high for a in axes])
        found = [tuple(float(v) for v in row) for row in scaled]
    rounded = [
        tuple(round(v) if axis.whole else round(v, 6) for axis, v in zip(axes, row, strict=True))
        for row in found
    ]
    return list(dict.fromkeys(rounded))


@dataclass(frozen=True)
class Job:
    """One point of one site over the days of a scenario."""

    site: str
    changes: tuple[tuple[str, float], ...]
    scenario: Scenario
    changed: str = "{}"  # of the site before, as in `Site`

    def identity(self, firmware_sha256: str, site_sha256: str) -> str:
        """Return a name for all that decides the result; ``site_sha256`` is of the plain site."""
        sources = (firmware_sha256, simulation_sha256(), site_sha256)
        text = repr((*sources, self.changes, self.scenario))
        return hashlib.sha256(text.encode()).hexdigest()[:32]


def run_job(job: Job) -> Row:
    """Run one point, in any process; a point that the site's rules refuse says so in its row."""
    row: Row = dict(job.changes)
    try:
        site = load_site(job.site, json.loads(job.changed) | dict(job.changes))
        trace = running.bench(site, job.scenario).run(job.scenario.days)
    except SiteError as error:
        return row | {REFUSED: error.lines[0]}
    figures = trace.summary(running.room_limit_c(site))
    figures["violations"] = int(trace.violations.sum())
    numbers = {k: float(v) for k, v in figures.items() if isinstance(v, int | float)}
    return row | numbers | {REFUSED: ""}


def read_table(path: Path) -> dict[str, Row]:
    """Return the rows that are there, by identity; none if the file is not.

    Raises:
        KnownError: when the file is no table of a sweep.
    """
    import pyarrow
    import pyarrow.parquet

    if not path.exists():
        return {}
    try:
        rows = pyarrow.parquet.read_table(path).to_pylist()
        return {row[ID]: row for row in rows}
    except (pyarrow.ArrowException, OSError, KeyError) as error:
        why = " ".join(str(error).split())
        raise KnownError(f"{path}: is no table of a sweep: {why}") from None


def write_table(path: Path, rows: Mapping[str, Row]) -> None:
    """Write all rows, the file whole or not at all."""
    import pyarrow
    import pyarrow.parquet

    columns = list(dict.fromkeys(key for row in rows.values() for key in row))
    table = pyarrow.table({c: [row.get(c) for row in rows.values()] for c in columns})
    sink = pyarrow.BufferOutputStream()
    pyarrow.parquet.write_table(table, sink)
    write_bytes_whole(path, sink.getvalue().to_pybytes())


def _finished(jobs: Mapping[str, Job], runners: Runners) -> Iterator[tuple[str, Row]]:
    """Yield the rows as they are done; few wait in the pool, so that a stop is quick."""
    if not jobs:
        return
    if runners.processes == 1 and runners.scheduler is None:
        for name, job in jobs.items():
            yield name, run_job(job)
        return
    waiting = iter(jobs.items())
    with runners.pool() as (pool, places):
        running_now: dict[Future[Row], str] = {}
        try:
            while True:
                while len(running_now) < AHEAD * places():
                    following = next(waiting, None)
                    if following is None:
                        break
                    running_now[pool.submit(run_job, following[1])] = following[0]
                if not running_now:
                    return
                done, _ = wait(running_now, return_when=FIRST_COMPLETED)
                for future in done:
                    yield running_now.pop(future), future.result()
        finally:
            for future in running_now:
                future.cancel()


def sweep(
    jobs: Mapping[str, Job],
    path: Path,
    runners: Runners,
    on_done: Callable[[int], None] = lambda done: None,
) -> list[Row]:
    """Run the jobs whose rows are missing from the table and return the rows of all of them.

    Args:
        jobs: by identity.
        path: the table; written about once a second and at the end, also when stopped.
        runners: where and how many points at a time.
        on_done: called with the number of points that are done.
    """
    rows = read_table(path)
    missing = {name: job for name, job in jobs.items() if name not in rows}
    on_done(len(jobs) - len(missing))
    saved = time.monotonic()
    done = len(jobs) - len(missing)
    finished = _finished(missing, runners)
    try:
        for name, row in finished:
            rows[name] = {ID: name, **row}
            done += 1
            on_done(done)
            if time.monotonic() - saved > SAVE_EVERY_S:
                write_table(path, rows)
                saved = time.monotonic()
    finally:
        if done > len(jobs) - len(missing):
            write_table(path, rows)
    return [rows[name] for name in jobs]

"""A sample that was stopped goes on; one on other machines is of the same text as here."""

import os
from collections.abc import Sequence
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from springhouse_host.errors import KnownError
from springhouse_host.proof import kept_draws, plausible, sources, told_next
from springhouse_host.proof.kept_draws import KeptDraws
from springhouse_host.proof.plausible import DrawnRow, Runner
from springhouse_host.proof.scenarios import Scenario
from springhouse_host.proof.sources import Ran
from springhouse_host.site import load_site
from springhouse_sim import cache_folder

DEMO = load_site("demo")
HASHES = {name: "0" * 64 for name in ("firmware", "simulator", "site", "settings", "weather")}


def points(count: int) -> list[Scenario]:
    return [replace(s, days=1) for s in plausible.drawn_scenarios(DEMO, count)]


@pytest.fixture
def read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Ran:
    """What ran, of one file that can be touched; a cache of its own, saved at once."""
    monkeypatch.setenv(cache_folder.CACHE_VARIABLE, str(tmp_path / "cache"))
    monkeypatch.setattr(kept_draws, "SAVE_EVERY_S", 0.0)
    path = tmp_path / "source.py"
    path.write_text("1", "utf-8")
    hashes = {f"{name}_sha256": value for name, value in HASHES.items()}
    return Ran(**hashes, tariff_sha256="1" * 64, files={path: sources._read(path)})


class Stopped(Exception):
    """What a kill is to the test."""


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> list[float]:
    """The first drawn number of every run that was made, made up instead of simulated."""
    made: list[float] = []

    def run_some(site: str, some: Sequence[Scenario], changed: str) -> list[DrawnRow]:
        made.extend(s.draw[0][1] for s in some)
        return [DrawnRow((s.draw[0][1], None), 20.0, 0) for s in some]

    monkeypatch.setattr(plausible, "run_some", run_some)
    return made


class Now(Executor):
    """Runs each job as it is handed over."""

    def submit(self, fn: Any, /, *args: Any, **kwargs: Any) -> Future[Any]:
        job: Future[Any] = Future()
        job.set_result(fn(*args, **kwargs))
        return job


def stopped_after(jobs: int) -> Any:
    done = []

    def on_done(count: int) -> None:
        done.append(count)
        if len(done) > jobs:
            raise Stopped

    return on_done


def test_a_stopped_sample_goes_on_where_it_was(read: Ran, asked: list[float]) -> None:
    runs = points(16)
    with pytest.raises(Stopped):
        Runner(DEMO, Now(), KeptDraws(read))(runs, 2, stopped_after(3))
    asked.clear()
    counts: list[int] = []
    rows = Runner(DEMO, Now(), KeptDraws(read))(runs, 2, counts.append)
    assert counts[0] == 6  # three jobs of two
    assert sum(counts) == 16
    assert len(asked) == 10
    assert [row.values[0] for row in rows] == [s.draw[0][1] for s in runs]
    kept = KeptDraws(read)
    assert all(kept.get(s) is not None for s in runs)
    kept.done()
    assert all(KeptDraws(read).get(s) is None for s in runs)


def test_other_text_other_rows(read: Ran, asked: list[float]) -> None:
    runs = points(2)
    Runner(DEMO, Now(), KeptDraws(read))(runs, 1, lambda n: None)
    assert KeptDraws(read).get(runs[0]) is not None
    for name in read.hashes():
        assert KeptDraws(replace(read, **{name: "a" * 64})).get(runs[0]) is None
    other = replace(runs[0], days=2)
    assert KeptDraws(read).get(other) is None


def test_rows_of_a_text_that_was_touched_are_not_kept(read: Ran, asked: list[float]) -> None:
    (path,) = read.files
    os.utime(path, ns=(1, 1))
    runs = points(2)
    Runner(DEMO, Now(), KeptDraws(read))(runs, 1, lambda n: None)
    assert KeptDraws(read).get(runs[0]) is None


def test_a_damaged_file_costs_its_rows_only(read: Ran, asked: list[float]) -> None:
    runs = points(2)
    Runner(DEMO, Now(), KeptDraws(read))(runs, 1, lambda n: None)
    (file,) = (Path(os.environ[cache_folder.CACHE_VARIABLE]) / kept_draws.FOLDER).iterdir()
    data = bytearray(file.read_bytes())
    data[-3] ^= 1
    file.write_bytes(data)
    asked.clear()
    assert len(Runner(DEMO, Now(), KeptDraws(read))(runs, 1, lambda n: None)) == 2
    assert len(asked) == 2


def test_another_machine_has_to_be_of_the_same_text() -> None:
    good = plausible._hashes(DEMO.path, DEMO.changed)
    (run,) = points(1)
    with ThreadPoolExecutor(1) as pool:
        there = pool.submit(plausible.run_elsewhere, DEMO.path, [run], DEMO.changed, good)
        (row,) = there.result()
    assert row == plausible.run_some(DEMO.path, [run], DEMO.changed)[0]
    name, _ = good[1]
    bad = ((name, "0" * 64),)
    with pytest.raises(KnownError, match=f"other than here: {name.removesuffix('_sha256')}: inst"):
        plausible.run_elsewhere(DEMO.path, [run], DEMO.changed, bad)


def test_the_sample_runs_on_a_dask_cluster(read: Ran) -> None:
    from distributed import LocalCluster
    from springhouse_host.runners import Runners

    runs = points(2)
    good = plausible._hashes(DEMO.path, DEMO.changed)
    with (
        LocalCluster(
            n_workers=1, threads_per_worker=1, processes=False, dashboard_address=None
        ) as cluster,
        Runners(1, cluster.scheduler_address).pool() as (pool, _),
    ):
        rows = Runner(DEMO, pool, KeptDraws(read), good)(runs, 1, lambda n: None)
    assert rows == plausible.run_some(DEMO.path, runs, DEMO.changed)


def test_size_tells_what_a_proof_said_of_the_very_same_site(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(cache_folder.CACHE_VARIABLE, str(tmp_path))
    assert told_next.told(DEMO) == [told_next.ASK]
    told_next.keep(DEMO, ["measure next, 1: a chill", "measure next, 2: the flow"])
    assert told_next.told(load_site("demo")) == [
        "measure next, 1: a chill",
        "measure next, 2: the flow",
    ]
    assert told_next.told(load_site("demo", {"room.equipment_w": 101})) == [told_next.ASK]

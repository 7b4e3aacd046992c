"""Workers die with their parent and a killed worker's work is done again, whatever began them."""

import contextlib
import multiprocessing
import os
import signal
import subprocess
import sys
import time
from concurrent.futures import as_completed
from functools import partial
from pathlib import Path

import pytest
from patience import HANG_S
from springhouse_host import workers
from springhouse_host.workers import MOST_KILLS, Workers, WorkersKilled

PROC = pytest.mark.skipif(
    not Path("/proc/self/stat").exists(), reason="asks /proc whether a process lives"
)
ANEW = pytest.mark.parametrize("anew", [False, True])


def square(n: int) -> int:
    return n * n


def fail(n: int) -> int:
    raise ValueError(f"no {n}")


def die_once(mark: Path, n: int) -> int:
    """Kill the worker that runs this, unless one was killed before."""
    try:
        mark.touch(exist_ok=False)
    except FileExistsError:
        return n * n
    os.kill(os.getpid(), signal.SIGKILL)
    return -1


def die(n: int) -> int:
    os.kill(os.getpid(), signal.SIGKILL)
    return -1


def begin_and_wait(folder: Path) -> None:
    """Say which process this is, then work for ever."""
    (folder / str(os.getpid())).touch()
    while True:
        time.sleep(0.01)


@ANEW
def test_work_is_done_in_other_processes_and_faults_come_back(anew: bool) -> None:
    with Workers(2, anew=anew) as pool:
        assert list(pool.map(square, range(7))) == [n * n for n in range(7)]
        jobs = {pool.submit(square, n): n for n in range(5)}
        assert all(job.result() == jobs[job] ** 2 for job in as_completed(jobs))
        assert pool.submit(os.getpid).result() != os.getpid()
        with pytest.raises(ValueError, match="no 3"):
            pool.submit(fail, 3).result()


@ANEW
def test_a_killed_workers_work_is_done_again(
    anew: bool, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    with Workers(2, anew=anew) as pool:
        found = pool.map(partial(die_once, tmp_path / "mark"), range(6))
        assert list(found) == [n * n for n in range(6)]
        assert pool.submit(square, 9).result() == 81
    assert [r.getMessage() for r in caplog.records] == [
        "a worker process was killed by SIGKILL: its work is done again"
    ]
    assert multiprocessing.active_children() == []


def test_work_that_kills_every_worker_is_one_line_in_the_end() -> None:
    with Workers(1) as pool, pytest.raises(WorkersKilled) as caught:
        pool.submit(die, 1).result()
    (line,) = caught.value.lines
    assert line == (
        f"a worker process was killed by SIGKILL, {MOST_KILLS + 1} times: is there memory left?"
    )


@PROC
@ANEW
def test_idle_workers_that_no_longer_answer_do_not_hold_up_the_end(anew: bool) -> None:
    """As one that waits for the lock of a worker killed while the pool ends: it waits for ever."""
    with Workers(2, anew=anew) as pool:
        assert list(pool.map(square, range(7))) == [n * n for n in range(7)]
        begun = multiprocessing.active_children()
        for worker in begun:
            assert worker.pid is not None
            os.kill(worker.pid, signal.SIGSTOP)
        wait_for(lambda: all(state(worker.pid or 0) == "T" for worker in begun))
    assert begun
    assert multiprocessing.active_children() == []


@PROC
@ANEW
def test_an_exception_ends_the_workers_at_once(anew: bool, tmp_path: Path) -> None:
    with contextlib.suppress(KeyboardInterrupt), Workers(2, anew=anew) as pool:
        for _ in range(3):
            pool.submit(begin_and_wait, tmp_path)
        wait_for(lambda: any(tmp_path.iterdir()))
        raise KeyboardInterrupt
    assert not any(alive(int(p.name)) for p in tmp_path.iterdir())


def test_what_nobody_has_begun_can_be_cancelled(tmp_path: Path) -> None:
    with contextlib.suppress(KeyboardInterrupt), Workers(1) as pool:
        first = pool.submit(begin_and_wait, tmp_path)
        wait_for(lambda: any(tmp_path.iterdir()))
        rest = [pool.submit(square, n) for n in range(9)]
        assert rest[-1].cancel()
        assert rest[-1].cancelled()
        assert not first.cancel()
        assert first.running()
        raise KeyboardInterrupt


PARENT = """
import sys
from functools import partial
from pathlib import Path
from springhouse_host import cli, workers
from test_workers import begin_and_wait

def work(arguments):
    with workers.Workers(2, anew=sys.argv[2] == "anew") as pool:
        [pool.submit(begin_and_wait, Path(sys.argv[1])) for _ in range(4)]
        pool.submit(int).result()

if __name__ == "__main__":
    if sys.argv[3] == "watched":
        workers._killed_by_kernel = lambda: False
    cli.run = work
    cli.main()
"""


@PROC
@pytest.mark.parametrize("how", [signal.SIGTERM, signal.SIGHUP, signal.SIGINT, signal.SIGKILL])
@pytest.mark.parametrize("begun", ["forked", "anew", "watched"])
def test_workers_die_with_their_parent(how: signal.Signals, begun: str, tmp_path: Path) -> None:
    """By the kernel, or where that has no means by the watched pipe; nothing is printed by them."""
    pids = tmp_path / "pids"
    pids.mkdir()
    script = tmp_path / "parent.py"
    script.write_text(PARENT)
    path = os.pathsep.join([str(Path(__file__).parent), *sys.path])
    parent = subprocess.Popen(
        [sys.executable, str(script), str(pids), begun, begun],
        env=dict(os.environ, PYTHONPATH=path),
        stderr=subprocess.PIPE,
        text=True,
    )
    wait_for(lambda: len(list(pids.iterdir())) == 2, parent)
    parent.send_signal(how)
    said = parent.communicate(timeout=HANG_S)[1]
    wait_for(lambda: not any(alive(int(p.name)) for p in pids.iterdir()))
    assert "ForkPoolWorker" not in said
    assert "SpawnPoolWorker" not in said


def alive(pid: int) -> bool:
    """Whether a process works; one that only waits to be asked how it ended does not."""
    return state(pid) not in "ZX"


def state(pid: int) -> str:
    """The letter that /proc gives a process, X for one that is gone."""
    try:
        stat = Path(f"/proc/{pid}/stat").read_text()
    except (FileNotFoundError, ProcessLookupError):
        return "X"
    return stat.rpartition(")")[2].split()[0]


def wait_for(what, parent: "subprocess.Popen[str] | None" = None) -> None:  # type: ignore[no-untyped-def]
    until = time.monotonic() + HANG_S
    while not what():
        assert time.monotonic() < until
        assert parent is None or parent.poll() is None
        time.sleep(0.01)


def test_no_other_kind_of_pool_is_used() -> None:
    """One mechanism for all: whoever begins processes otherwise begins orphans."""
    package = Path(workers.__file__).parent
    users = {
        path.name
        for path in package.rglob("*.py")
        if "ProcessPoolExecutor" in path.read_text("utf-8")
    }
    assert users == {"workers.py"}

"""Worker processes: the one kind of pool that anything here runs in.

A worker dies with its parent, however that ends: on Linux the kernel kills it, elsewhere it watches
the pipe that its parent holds open. It leaves ctrl-C to its parent, which ends its workers at once
instead of waiting for what they have in hand. What a killed worker had in hand is done again, in
new processes, a few times.
"""

import contextlib
import ctypes
import logging
import multiprocessing
import os
import signal
import sys
import threading
import weakref
from collections.abc import Callable, Iterator
from concurrent import futures
from concurrent.futures import Executor, Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from multiprocessing.connection import wait
from multiprocessing.context import ForkContext, ForkProcess, SpawnContext, SpawnProcess
from multiprocessing.process import BaseProcess
from types import TracebackType
from typing import Any, TypeVar

from .errors import KnownError

T = TypeVar("T")
MOST_KILLS = 3  # of workers in one pool, before it gives up
PR_SET_PDEATHSIG = 1  # linux/prctl.h
HELD = ("SIGINT", "SIGTERM", "SIGHUP")  # back until a new worker is ready for them
_LOG = logging.getLogger(__name__.partition(".")[0])


class _Mortal(BaseProcess):
    """A process that dies with its parent."""

    def start(self) -> None:
        """Start it with signals held back, so that none finds it half made."""
        with _held():
            super().start()

    def run(self) -> None:
        """Arrange for its death, then work."""
        _die_with_parent()
        super().run()


class _Forked(_Mortal, ForkProcess):
    pass


class _Spawned(_Mortal, SpawnProcess):
    pass


def _signals() -> set[signal.Signals]:
    return {signal.Signals[name] for name in HELD if hasattr(signal, name)}


@contextlib.contextmanager
def _held() -> Iterator[None]:
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, _signals())
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _die_with_parent() -> None:
    for name in _signals():
        signal.signal(name, signal.SIG_IGN if name == signal.SIGINT else signal.SIG_DFL)
    if hasattr(signal, "pthread_sigmask"):
        signal.pthread_sigmask(signal.SIG_UNBLOCK, _signals())
    parent = multiprocessing.parent_process()
    assert parent is not None
    if not _killed_by_kernel():
        watcher = threading.Thread(target=_watch, args=(parent.sentinel,), daemon=True)
        watcher.start()
    if os.getppid() != parent.pid:  # it was gone before the kernel or the watcher knew of us
        os._exit(1)


def _killed_by_kernel() -> bool:
    """Ask Linux to kill this process when the thread that began it ends; False elsewhere."""
    if not sys.platform.startswith("linux"):
        return False
    try:
        return bool(ctypes.CDLL(None).prctl(PR_SET_PDEATHSIG, int(signal.SIGKILL), 0, 0, 0) == 0)
    except (OSError, AttributeError):
        return False


def _watch(sentinel: int) -> None:
    wait([sentinel])
    os._exit(1)


class _Fork(ForkContext):
    """Begins workers with all that this process has in memory."""

    def __init__(self) -> None:
        super().__init__()
        self.begun: list[BaseProcess] = []

    def Process(self, *args: Any, **kwargs: Any) -> BaseProcess:  # type: ignore[override]
        self.begun.append(_Forked(*args, **kwargs))
        return self.begun[-1]


class _Spawn(SpawnContext):
    """Begins workers that import everything anew."""

    def __init__(self) -> None:
        super().__init__()
        self.begun: list[BaseProcess] = []

    def Process(self, *args: Any, **kwargs: Any) -> BaseProcess:  # type: ignore[override]
        self.begun.append(_Spawned(*args, **kwargs))
        return self.begun[-1]


class _Promise(Future[T]):
    """What is handed out for work; it stays the same one when the work is done again."""

    inner: "Future[T] | None" = None

    def cancel(self) -> bool:
        """Cancel it where nobody has begun it."""
        if self.inner is not None and not self.inner.cancel():
            return False
        return super().cancel()

    def running(self) -> bool:
        """Whether a worker has it in hand."""
        return not self.done() and self.inner is not None and self.inner.running()


@dataclass(frozen=True, eq=False)
class _Job:
    work: Callable[..., Any]
    args: tuple[Any, ...]
    kwargs: dict[str, Any]
    promise: _Promise[Any]


class WorkersKilled(KnownError):
    """Workers were killed again and again."""


class Workers(Executor):
    """A pool of processes; used in a ``with``, by the thread that made it.

    Leaving it by an exception kills the workers at once.
    """

    def __init__(self, processes: int, *, anew: bool = False) -> None:
        """``anew`` begins workers that import everything anew, instead of as this process is."""
        self._processes = processes
        self._lock = threading.Lock()
        self._context: _Fork | _Spawn
        self._pool = self._open(anew or multiprocessing.get_start_method() != "fork")
        self._lost: list[_Job] = []  # to be done again
        self._promises: weakref.WeakSet[_Promise[Any]] = weakref.WeakSet()
        self._kills = 0
        self._closing = False
        self._mender: threading.Thread | None = None
        self._wake = threading.Condition(self._lock)

    def _open(self, anew: bool) -> ProcessPoolExecutor:
        self._context = _Spawn() if anew else _Fork()
        return ProcessPoolExecutor(self._processes, mp_context=self._context)

    def submit(self, fn: Callable[..., T], /, *args: Any, **kwargs: Any) -> Future[T]:
        """Have a function called by a worker; the future stays good if that is killed."""
        job = _Job(fn, args, kwargs, _Promise())
        self._promises.add(job.promise)
        self._hand(job)
        return job.promise

    def _hand(self, job: _Job) -> None:
        pool = self._pool
        try:
            inner = pool.submit(job.work, *job.args, **job.kwargs)
        except BrokenProcessPool:
            self._again(job)
            return
        job.promise.inner = inner
        inner.add_done_callback(lambda done: self._done(job, done))

    def _done(self, job: _Job, inner: Future[Any]) -> None:
        promise = job.promise
        if inner.cancelled():
            Future.cancel(promise)
            promise.set_running_or_notify_cancel()
        elif isinstance(inner.exception(), BrokenProcessPool):
            self._again(job)
        elif (error := inner.exception()) is not None:
            promise.set_exception(error)
        else:
            promise.set_result(inner.result())

    def _again(self, job: _Job) -> None:
        """Note work that a killed worker, or one of its pool, had in hand."""
        with self._wake:
            if self._closing:
                job.promise.set_exception(WorkersKilled("worker processes were ended"))
                return
            self._lost.append(job)
            if self._mender is None:
                self._mender = threading.Thread(target=self._mend, daemon=True)
                self._mender.start()
            self._wake.notify()

    def _mend(self) -> None:
        """Open another pool whenever one is broken, and hand it what was lost.

        The new workers are the children of this thread, which therefore stays until the end, and
        they import anew, for no thread may fork a process whose other threads hold locks.
        """
        while True:
            with self._wake:
                self._wake.wait_for(lambda: self._lost or self._closing)
                if self._closing:
                    lost, self._lost = self._lost, []
                    for job in lost:
                        job.promise.set_exception(WorkersKilled("worker processes were ended"))
                    return
                broken, begun = self._pool, self._context.begun
            broken.shutdown(wait=True)  # all it had is in `_lost` then
            said = _how_ended(begun)
            with self._wake:
                lost, self._lost = self._lost, []
                self._kills += 1
                if self._kills <= MOST_KILLS:
                    self._pool = self._open(anew=True)
            if self._kills > MOST_KILLS:
                line = f"a worker process was {said}, {self._kills} times: is there memory left?"
                for job in lost:
                    job.promise.set_exception(WorkersKilled(line))
                continue
            _LOG.warning("a worker process was %s: its work is done again", said)
            for job in lost:
                self._hand(job)

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:
        """End the workers when all work is done; a killed one's is done again before.

        Idle workers are killed and not asked to end: the one that waits for work holds the lock of
        that queue, and if it is killed meanwhile from outside the others wait for ever.
        """
        if cancel_futures:
            for promise in list(self._promises):
                promise.cancel()
        if wait:
            futures.wait(list(self._promises))
            self.kill()
        else:
            self._close()
            self._pool.shutdown(wait=False, cancel_futures=cancel_futures)

    def kill(self) -> None:
        """End the workers at once; what they had in hand is lost."""
        self._close()
        for process in self._context.begun:
            with contextlib.suppress(ValueError, AttributeError):  # never started, or long gone
                process.kill()
        self._pool.shutdown(wait=True, cancel_futures=True)

    def _close(self) -> None:
        with self._wake:
            self._closing = True
            self._wake.notify_all()
        if self._mender is not None:
            self._mender.join()

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Wait for the work, or kill it where an exception leaves the ``with``."""
        if kind is None:
            self.shutdown(wait=True)
        else:
            self.kill()


def _how_ended(begun: "list[BaseProcess]") -> str:
    """Return how the first of some workers ended that did not end by itself or with the others."""
    codes = [process.exitcode for process in begun]
    odd = [code for code in codes if code not in (None, 0, -signal.SIGTERM)]
    code = odd[0] if odd else -signal.SIGTERM
    if code is not None and code < 0:
        return f"killed by {signal.Signals(-code).name}"
    return f"ended with code {code}"

"""Where many simulations run: processes of this machine, or the workers of a dask scheduler."""

import logging
from collections.abc import Callable, Iterator
from concurrent.futures import Executor
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from .errors import KnownError
from .workers import Workers

CONNECT_S = 10


@dataclass(frozen=True)
class Runners:
    """Where points run: so many processes here, or the workers of a scheduler at an address."""

    processes: int
    scheduler: str | None = None

    @contextmanager
    def pool(self) -> Iterator[tuple[Executor, Callable[[], int]]]:
        """Yield an executor and how many points it runs at a time, which may change.

        Raises:
            KnownError: when the scheduler cannot be reached.
        """
        if self.scheduler is None:
            with Workers(self.processes) as processes:
                yield processes, lambda: self.processes
            return
        client = _client(self.scheduler)
        with client, client.get_executor() as workers:
            yield workers, lambda: max(1, sum(client.nthreads().values()))


def _client(address: str) -> Any:
    try:
        from distributed import Client
    except ImportError:
        raise KnownError("--scheduler: needs the extra springhouse[cluster]") from None
    loud = logging.getLogger("distributed")
    before = loud.level
    loud.setLevel(logging.CRITICAL + 1)  # it logs with a traceback what the line below says
    try:
        # its class is only half typed
        return Client(address, timeout=CONNECT_S, set_as_default=False)  # type: ignore[no-untyped-call]
    except (OSError, ValueError, TimeoutError) as error:
        why = " ".join(str(error).split()) or type(error).__name__
        raise KnownError(f"--scheduler {address}: cannot be reached: {why}") from None
    finally:
        loud.setLevel(before)

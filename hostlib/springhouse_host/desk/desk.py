"""What all open pages share: the site, processes that simulate it, files kept, the proof."""

import asyncio
import contextlib
import itertools
import json
import os
import sys
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, Protocol

from ..errors import KnownError
from ..screen import compiled_before
from ..site.site import BUILT_IN, Site, file_of
from ..workers import Workers
from . import beside, keeping, newest, week

Say = Callable[[Mapping[str, Any]], None]
LINE_BYTES = 1_000_000  # of what a proof tells in one line: its whole verdict


def cores() -> int:
    """Return how many processes simulate: one a core, and no more than there are readings."""
    return max(1, min(3, os.cpu_count() or 1))


class Page(Protocol):
    """An open page as the desk sees it: `tab.Tab`."""

    place: int
    site: Site
    say: Say

    def close(self) -> None:
        """Answer nothing any more."""


class Desk:
    """One site on the desk.

    Args:
        site: as it is in its file, unchanged.
        us: whether pages are in US customary units.
        folder: for what the processes share; removed by whoever made it.

    Raises:
        SiteError: when the weather has no hottest week.
    """

    def __init__(self, site: Site, us: bool, folder: Path) -> None:
        self.site = site
        self.us = us
        self.scenarios = week.scenarios(site)
        self.memory = folder / "newest"
        newest.make(self.memory)
        self.weeks = Workers(cores())
        self.calm = Workers(1, anew=True)  # no fork beside the threads of the other pool
        self.numbers = itertools.count(1)  # of requests, whichever page asks
        self.tabs: list[Page | None] = [None] * newest.PAGES_MOST
        self.report: Path | None = None
        self._text = file_of(site.path).read_bytes()
        self._kept: dict[str, str] = {}  # path by changes
        self._warmth: asyncio.Task[None] | None = None
        self._proof: asyncio.subprocess.Process | None = None
        self._proving: asyncio.Task[None] | None = None

    def open(self) -> None:
        """Begin the processes and have each of them load what it needs."""
        self._warmth = asyncio.create_task(self._warm())

    async def _warm(self) -> None:
        first = self.weeks.submit(week.warm, self.site.path, self.scenarios[0])
        self.calm.submit(beside.calm)
        if not compiled_before():
            await asyncio.wrap_future(first)  # one of them compiles, the others load it
        more = [self.weeks.submit(week.warm, self.site.path, one) for one in self.scenarios[1:]]
        await asyncio.gather(*(asyncio.wrap_future(job) for job in (first, *more)))

    async def ready(self) -> None:
        """Wait until the processes can simulate.

        Raises:
            KnownError: when they cannot.
        """
        if self._warmth is not None:
            await asyncio.shield(self._warmth)

    def free_place(self) -> int | None:
        """Return where a new page may sit, None if there are enough of them."""
        return self.tabs.index(None) if None in self.tabs else None

    def join(self, tab: Page) -> None:
        """Have a page take its place."""
        self.tabs[tab.place] = tab

    def leave(self, tab: Page) -> None:
        """Forget a page."""
        tab.close()
        self.tabs[tab.place] = None

    def check_untouched(self) -> None:
        """Refuse to go on with a file that somebody has written meanwhile.

        Raises:
            KnownError: naming it.
        """
        path = file_of(self.site.path)
        try:
            same = path.read_bytes() == self._text
        except OSError as error:
            raise KnownError(f"{path}: cannot be read: {error.strerror or error}") from None
        if not same:
            raise KnownError(
                f"{path}: written since the desk was opened: close the desk and open it again"
            )

    def keep(self, changes: Mapping[str, Any]) -> str:
        """Return the path of a file with the changes in it, written now unless it was before.

        Raises:
            KnownError: as `keeping.keep`, or when the site's file was touched.
        """
        self.check_untouched()
        mark = json.dumps(dict(changes), sort_keys=True)
        path = self._kept.get(mark)
        if path is None or not Path(path).exists():
            path = keeping.keep(self.site, changes).path
            self._kept[mark] = path
        return path

    def tell(self, said: Mapping[str, Any]) -> None:
        """Say something to every page."""
        for tab in self.tabs:
            if tab is not None:
                tab.say(said)

    def prove(self, path: str) -> None:
        """Begin to prove a site file; all pages are told how it goes.

        Raises:
            KnownError: while another proof runs.
        """
        if self._proving is not None and not self._proving.done():
            raise KnownError(f"{path}: another proof is running: wait for it, or stop it")
        self._proving = asyncio.create_task(self._prove(path))

    async def _prove(self, path: str) -> None:
        stem = path if path not in BUILT_IN else f"{path}.toml"
        record = keeping.free(Path(stem).with_suffix(".verdict.json"))
        report = keeping.free(Path(stem).with_suffix(".report.html"))
        units = "us" if self.us else "si"
        self.tell({"kind": "proof", "doing": f"proving {path}", "done": 0, "total": 0})
        self._proof = await asyncio.create_subprocess_exec(
            *(sys.executable, "-m", "springhouse_host.desk.proving"),
            *(path, str(record), str(report), units),
            stdin=asyncio.subprocess.PIPE,
            stdout=asyncio.subprocess.PIPE,
            limit=LINE_BYTES,
            start_new_session=True,  # ctrl-C is for the desk
        )
        assert self._proof.stdout is not None
        ended = False
        async for line in self._proof.stdout:
            said = json.loads(line)
            ended = ended or "report" in said or "refused" in said
            if "report" in said:
                self.report = report
            self.tell({"kind": "proof", "path": path, **said})
        code = await self._proof.wait()
        if not ended:
            how = "stopped" if code < 0 else f"ended with code {code}, see the terminal"
            self.tell({"kind": "proof", "path": path, "refused": [f"{path}: the proof {how}"]})

    def stop_proof(self) -> None:
        """End the proof at once; what it wrote is whole or absent."""
        if self._proof is not None and self._proof.returncode is None:
            with contextlib.suppress(ProcessLookupError):
                self._proof.kill()

    def close(self) -> None:
        """End every process at once."""
        self.stop_proof()
        self.weeks.kill()
        self.calm.kill()

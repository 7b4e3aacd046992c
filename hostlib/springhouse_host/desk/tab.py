"""One open page: what it asks for, what is done about it, what it is told."""

import asyncio
import json
from collections.abc import Mapping
from typing import Any

from ..errors import KnownError
from ..proof.scenarios import Scenario
from ..site.known import VARIANTS
from ..site.site import Site, load_site
from . import beside, choices, week, words
from .desk import Desk, Say
from .newest import Ticket


class Tab:
    """One page. What it asks for last wins; what is under way is finished unless that is urgent."""

    def __init__(self, desk: Desk, place: int, say: Say) -> None:
        self.desk = desk
        self.place = place
        self.say = say
        self.site = desk.site  # as last answered
        self._shown = 0  # the page's number of that answer, 0: none yet
        self._count = next(desk.numbers)
        self._next: tuple[int, int, Mapping[str, Any]] | None = None
        self._now: tuple[int, int, Mapping[str, Any]] | None = None  # what is being answered
        self._under_way: asyncio.Task[None] | None = None
        self._later: asyncio.Task[None] | None = None

    def begin(self) -> None:
        """Say what there is to choose."""
        desk = self.desk
        self.say(
            {
                "kind": "begin",
                "name": desk.site.name,
                "file": desk.site.path,
                "evidence": desk.site.evidence,
                "groups": choices.described(desk.site, desk.us),
                "drawings": beside.DRAWINGS,
            }
        )

    def ask(self, number: int, values: Mapping[str, Any], urgent: bool) -> None:
        """Take a request; ``number`` comes back with its answer.

        While a slider moves the page asks again and again: the week under way is finished, so that
        figures keep coming, and of what came meanwhile the newest is next. An ``urgent`` one stops
        what is under way.
        """
        self._count = next(self.desk.numbers)
        if self._now is not None and self._now[2] == values and not self._ticket().stale:
            self._now = (self._now[0], number, values)  # the slider was let go where it was seen
            self._next = None
            return
        self._next = (self._count, number, values)
        if urgent:
            self._ticket(self._count).call()
        if self._under_way is None:
            self._under_way = asyncio.create_task(self._serve())

    def _ticket(self, count: int | None = None) -> Ticket:
        """Return the ticket of a request, else of the one that is being answered."""
        if count is None:
            count = self._now[0] if self._now is not None else self._count
        return Ticket(str(self.desk.memory), self.place, count)

    async def _serve(self) -> None:
        try:
            while self._next is not None:
                self._now, self._next = self._next, None
                await self._answer(self._now[0], self._now[2])
        finally:
            self._now = self._under_way = None

    async def _answer(self, count: int, values: Mapping[str, Any]) -> None:
        ticket = self._ticket(count)
        ticket.call()
        try:
            found = await self._weeks(ticket, values)
        except KnownError as error:
            self.refuse(error.lines)
        except ArithmeticError as error:
            self.refuse([f"{self.desk.site.path}: cannot be simulated: {error}"])
        except Exception as error:  # a defect of ours is one line, and the page goes on
            self.refuse([f"internal error, please report it: {type(error).__name__}: {error}"])
        else:
            if found is None:
                return  # a newer one is waiting
            self.site, weeks = found
            assert self._now is not None
            self._shown = self._now[1]
            said = words.of_week(self.site, weeks, self.desk.us)
            self.say({"kind": "week", "n": self._shown, **said})
        if self._shown:
            if self._later is not None:
                self._later.cancel()
            self._later = asyncio.create_task(self._follow(ticket, self._shown, self.site))

    async def _weeks(
        self, ticket: Ticket, values: Mapping[str, Any]
    ) -> tuple[Site, list[week.Week]] | None:
        """Return the site with a page's values and its weeks; None where a newer request came.

        Raises:
            KnownError: a line for each value that is refused.
            ArithmeticError: when the store leaves what its equations hold for.
        """
        desk = self.desk
        desk.check_untouched()
        changes = choices.changes_of(desk.site, values, desk.us)
        await desk.ready()

        def submit(scenario: Scenario) -> "asyncio.Future[week.Week | None]":
            place = (desk.site.path, json.dumps(dict(changes), sort_keys=True))
            job = desk.weeks.submit(week.run_week, ticket, *place, scenario)
            return asyncio.wrap_future(job)

        weakest, *others = [submit(scenario) for scenario in desk.scenarios]
        try:  # meanwhile
            site = load_site(desk.site.path, changes) if changes else desk.site
        except KnownError:
            await asyncio.gather(weakest, *others, return_exceptions=True)  # refused as well
            raise
        whole = asyncio.gather(weakest, *others)
        await asyncio.wait([weakest])
        first = None if weakest.exception() else weakest.result()
        if first is not None and self._now is not None and not whole.done():
            self.say({"kind": "first", "n": self._now[1], **words.of_first(site, first, desk.us)})
        found = [one for one in await whole if one is not None]
        return (site, found) if len(found) == len(desk.scenarios) else None

    async def _follow(self, ticket: Ticket, number: int, site: Site) -> None:
        """Say what takes longer: parts, then each reading's sheet, the weakest first."""
        calm = self.desk.calm
        place = (ticket, site.path, site.changed)
        readings = sorted(week.readings(site), key=VARIANTS.index)
        try:
            bought = await asyncio.wrap_future(calm.submit(beside.buy, *place))
            if bought is not None:
                self.say(
                    {"kind": "parts", "n": number, **words.of_parts(site, bought, self.desk.us)}
                )
            found = {}
            for variant in readings:
                asked = await asyncio.wrap_future(calm.submit(beside.run_sheet, *place, variant))
                if asked is None:
                    return
                found[variant] = asked
                self.say({"kind": "sheet", "n": number, **words.of_sheets(readings, found)})
        except (KnownError, ArithmeticError) as error:
            lines = error.lines if isinstance(error, KnownError) else [str(error)]
            self.say({"kind": "nosheet", "n": number, "lines": lines})

    def refuse(self, lines: list[str]) -> None:
        """Say what is wrong, each line with the field it belongs to."""
        told = [{"key": choices.key_of(line), "text": line} for line in lines]
        number = self._now[1] if self._now is not None else self._shown
        self.say({"kind": "refused", "n": number, "lines": told})

    def keep(self, values: Mapping[str, Any]) -> str | None:
        """Keep what is on the page; return the path of the file that holds it, None if refused."""
        try:
            path = self.desk.keep(choices.changes_of(self.desk.site, values, self.desk.us))
        except KnownError as error:
            self.refuse(error.lines)
            return None
        self.say({"kind": "kept", "path": path})
        return path

    def close(self) -> None:
        """Let go of everything this page waits for."""
        self._count = next(self.desk.numbers)
        self._next = None
        self._ticket(self._count).call()
        for task in (self._under_way, self._later):
            if task is not None:
                task.cancel()

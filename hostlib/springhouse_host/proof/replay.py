"""The same span compiled and interpreted: what the controller remembers must agree tick by tick."""

from dataclasses import dataclass, replace
from datetime import timedelta
from typing import Any

from springhouse_sim import ticks
from springhouse_sim.bench import Bench, Pace

from ..site.site import Site
from .running import bench, site_of
from .scenarios import Scenario, wanted_begins_s

SPAN_S = 1800
LEAD_S = 900  # so long before the room is wanted cool, so that a delivery begins within


@dataclass(frozen=True)
class Replay:
    """How many control ticks were compared, and at how many the two memories differed."""

    ticks: int
    differing: int


class _Tickwise(Bench):
    """A bench that keeps the controller's memory after every tick."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.memories: list[tuple[int, ...]] = []

    def _advance(self, from_ms: int, to_ms: int) -> None:
        while from_ms < to_ms:
            end = min(to_ms, from_ms - from_ms % ticks.TICK_MS + ticks.TICK_MS)
            super()._advance(from_ms, end)
            if from_ms % ticks.TICK_MS == 0:
                self.memories.append(tuple(int(v) for v in self.board.memory))
            from_ms = end


def replay_one(site_name: str, scenario: Scenario, changed: str = "{}") -> Replay:
    """Replay a scenario of a site, to be called in any process; ``changed`` as in `Site`."""
    return replay(site_of(site_name, changed), scenario)


def replay(site: Site, scenario: Scenario, span_s: int = SPAN_S) -> Replay:
    """Run the begin of a delivery twice, in steps of one tick so that both take the same."""
    begin_s = max(0, wanted_begins_s(site, scenario.start) - LEAD_S)
    moved = replace(scenario, start=scenario.start + timedelta(seconds=begin_s))
    memories = []
    for compiled in (True, False):
        run = bench(site, moved, compile_ticks=compiled, kind=_Tickwise, pace=Pace.EVERY_TICK)
        assert isinstance(run, _Tickwise)
        run.run(span_s / 86_400)
        memories.append(run.memories)
    differing = sum(one != other for one, other in zip(*memories, strict=True))
    return Replay(len(memories[0]), differing)

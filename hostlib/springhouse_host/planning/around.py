"""What surrounds the installation while a plan runs, and the real controller tried in it."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray
from springhouse.ahead import QUARTER_MIN
from springhouse_sim.bench import Bench, Pace, World
from springhouse_sim.trace import Trace
from springhouse_sim.world.ground import Wave
from springhouse_sim.world.outdoors import Outdoors
from springhouse_sim.world.owner import EmptyTray
from springhouse_sim.world.plan import FollowPlan, Quarter
from springhouse_sim.world.stage import Actor, Calendar
from springhouse_sim.world.sun import Glazing
from springhouse_sim.world.tariff import flat
from springhouse_sim.world.weather import Weather

from ..proof import running
from ..proof.case import TRAY_EMPTIED_S
from ..proof.scenarios import Scenario
from ..site.site import Site

Array = NDArray[np.float64]
QUARTER_H = QUARTER_MIN / 60.0


@dataclass(frozen=True, eq=False)
class Around:
    """Weather, clock and people of a run; ``weather`` counts in the calendar's standard time."""

    weather: Weather
    calendar: Calendar
    people: tuple[Actor, ...]

    def with_weather(self, weather: Weather) -> "Around":
        """Return the same with other weather."""
        return replace(self, weather=weather)


@lru_cache(maxsize=16)  # a weather tried is run under several plans
def _outdoors(weather: Weather, glazing: tuple[Glazing, ...], ground: Wave | None) -> Outdoors:
    return Outdoors(weather, glazing, ground)


def bench(
    site: Site,
    around: Around,
    *,
    actors: Sequence[Actor] = (),
    initial: Array | None = None,
    changes: Sequence[tuple[int, int]] = (),
    **rest: Any,
) -> Bench:
    """Return the bench of the site's middle reading, ready to run; ``rest`` as `Bench` takes it."""
    outdoors = _outdoors(around.weather, site.glazing(), site.ground)
    everyone: list[Actor] = [outdoors, *around.people, *actors]
    if not site.file.tray.open_drain:
        everyone.append(EmptyTray(TRAY_EMPTIED_S, daily=True))
    settings = site.settings()
    for slot, value in changes:
        settings[slot] = value
    return Bench(
        site.plant(),
        settings,
        World(around.calendar, tuple(everyone), flat(0.0)),
        sensors=running.sensors(site, Scenario("", "nominal", around.calendar.start, 1)),
        initial=initial,
        pace=Pace.SKIP,
        **rest,
    )


def follow(
    site: Site,
    around: Around,
    days: float,
    quarters: Sequence[Quarter],
    initial: Array | None = None,
    changes: Sequence[tuple[int, int]] = (),
) -> Trace:
    """Run the real controller for so many days, advised by a plan (none: the fixed schedule)."""
    actors = [FollowPlan(tuple(quarters))] if quarters else []
    return bench(site, around, actors=actors, initial=initial, changes=changes).run(days)


def without_store(site: Site, around: Around, days: float, initial: Array | None = None) -> Trace:
    """Run the room by itself: nothing is chilled, nothing delivered."""
    return bench(site, around, initial=initial, with_controller=False).run(days)


def each_quarter(column: Array) -> Array:
    """Return minutes as quarter hours, shape (quarters, 15); what is left over is dropped."""
    whole = len(column) // QUARTER_MIN
    return column[: whole * QUARTER_MIN].reshape(whole, QUARTER_MIN)

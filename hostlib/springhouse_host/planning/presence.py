"""Who and what warms the room, quarter hour by quarter hour, and the clock that is changed."""

from collections.abc import Sequence
from dataclasses import dataclass

from springhouse.ahead import QUARTER_MIN
from springhouse_sim import sense
from springhouse_sim.plant import given, moist_air, state
from springhouse_sim.world.people import heat_of_person_w
from springhouse_sim.world.stage import MINUTE_MS, Events, Stage


@dataclass(frozen=True)
class Presence:
    """People in the room and heat of equipment [W], a quarter hour each; nobody behind the last."""

    people: Sequence[float]
    activity: str
    equipment_w: Sequence[float]

    def act(self, stage: Stage) -> Events:
        """Follow the quarter hours."""
        minute = 0
        while True:
            yield stage.until(minute * MINUTE_MS)
            k = minute // QUARTER_MIN
            there = self.people[k] if k < len(self.people) else 0.0
            sensible_w, latent_w = heat_of_person_w(
                self.activity, float(stage.state[state.ROOM_AIR_C])
            )
            stage.given[given.PEOPLE_SENSIBLE_W] = there * sensible_w
            stage.given[given.PEOPLE_MOISTURE_KG_S] = there * latent_w / moist_air.LATENT_J_KG
            stage.given[given.EQUIPMENT_W] = (
                self.equipment_w[k] if k < len(self.equipment_w) else self.equipment_w[-1]
            )
            minute += QUARTER_MIN


@dataclass(frozen=True)
class ClockChanges:
    """The board's clock is put forward or back: seconds from the start, seconds it shows more."""

    changes: Sequence[tuple[int, int]]

    def act(self, stage: Stage) -> Events:
        """Change the clock."""
        for at_s, ahead_s in self.changes:
            yield stage.until(at_s * 1000)
            stage.sense[sense.CLOCK_SHIFT_S] = ahead_s

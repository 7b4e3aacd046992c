"""People and equipment in the room."""

from dataclasses import dataclass

from ..plant import given, moist_air, state
from .stage import MINUTE_MS, Events, Stage
from .windows import Window, minutes_to_edge

# Sensible and latent heat of one adult in a room of 24 °C [W]. Seated and office: ASHRAE
# Fundamentals (SI) 2009 and 2013, chapter 18, table 1, adjusted for a mixed group. Asleep:
# 0.7 met (ASHRAE 55) on 1.8 m2; its split is taken in the proportion of `seated`.
MET_W_M2 = 58.15  # ISO 7730
ASLEEP_MET, BODY_M2 = 0.7, 1.8
ASLEEP_W = ASLEEP_MET * MET_W_M2 * BODY_M2
ACTIVITIES = {
    "seated": (70.0, 45.0),
    "office": (75.0, 55.0),
    "asleep": (ASLEEP_W * 70.0 / 115.0, ASLEEP_W * 45.0 / 115.0),
}
TABLE_C = 24.0
# Note 1 of that table: at 27 °C the total is the same and the sensible part about 20 % less.
SENSIBLE_LOSS_1_K = 0.2 / 3.0
REFRESH_MS = 10 * MINUTE_MS  # how often the split follows the room's temperature


def heat_of_person_w(activity: str, room_c: float) -> tuple[float, float]:
    """Return (sensible, latent) heat of one person [W] in a room of ``room_c``.

    Raises:
        ValueError: on an unknown activity.
    """
    if activity not in ACTIVITIES:
        raise ValueError(f"Occupancy.activity: {activity!r} is not one of {', '.join(ACTIVITIES)}")
    sensible, latent = ACTIVITIES[activity]
    share = min(1.2, max(0.0, 1.0 - SENSIBLE_LOSS_1_K * (room_c - TABLE_C)))
    return sensible * share, sensible * (1.0 - share) + latent


@dataclass(frozen=True)
class Occupancy:
    """So many people doing this during these windows."""

    people: float
    activity: str
    windows: tuple[Window, ...]

    def __post_init__(self) -> None:
        heat_of_person_w(self.activity, TABLE_C)


@dataclass(frozen=True)
class Equipment:
    """Electrical load in the room during these windows; all of it becomes room heat."""

    watts: float
    windows: tuple[Window, ...]


@dataclass(frozen=True)
class People:
    """Writes what people and equipment give off."""

    occupancy: tuple[Occupancy, ...] = ()
    equipment: tuple[Equipment, ...] = ()

    def act(self, stage: Stage) -> Events:
        """Follow the schedules; while someone is there, follow the room's temperature too."""
        windows = [w for one in self.occupancy for w in one.windows]
        windows += [w for one in self.equipment for w in one.windows]
        while True:
            now_min = stage.calendar.week_min(stage.now_ms)
            present = self._write(stage, now_min)
            into_minute_ms = stage.calendar.week_s(stage.now_ms) % 60 * 1000
            ahead_ms = minutes_to_edge(windows, now_min) * MINUTE_MS - into_minute_ms
            if present:
                ahead_ms = min(ahead_ms, REFRESH_MS)
            yield stage.until(stage.now_ms + ahead_ms)

    def _write(self, stage: Stage, week_min: int) -> bool:
        room_c = float(stage.state[state.ROOM_AIR_C])
        sensible_w = latent_w = 0.0
        present = False
        for part in self.occupancy:
            if any(w.contains(week_min) for w in part.windows):
                one = heat_of_person_w(part.activity, room_c)
                sensible_w += part.people * one[0]
                latent_w += part.people * one[1]
                present = True
        stage.given[given.PEOPLE_SENSIBLE_W] = sensible_w
        stage.given[given.PEOPLE_MOISTURE_KG_S] = latent_w / moist_air.LATENT_J_KG
        stage.given[given.EQUIPMENT_W] = sum(
            part.watts for part in self.equipment if any(w.contains(week_min) for w in part.windows)
        )
        return present

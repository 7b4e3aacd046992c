"""Windows opened at night, or a fan that blows: the room changes its air while it is cooler out."""

from dataclasses import dataclass, field

from ..plant import given, param, state
from ..records import FloatRecord
from .stage import MINUTE_MS, Events, Stage
from .windows import Window

LOOK_MS = 10 * MINUTE_MS
COOLER_K = 1.0  # outdoors, before it is worth opening
COLDEST_C = 20.0  # of the room, at which a person shuts the windows again; common practice


@dataclass(eq=False)
class NightAir:
    """Raises the room's infiltration within ``hours`` while outdoors is cooler than the room.

    It looks every ten minutes. The fresh air brings its moisture with it. ``opened`` are the times
    [ms] at which it was found open. ``params`` is the record of the run that it writes to.
    """

    room_m3: float
    air_per_h: float
    hours: tuple[Window, ...]
    params: FloatRecord | None = None
    opened: list[int] = field(default_factory=list)

    def act(self, stage: Stage) -> Events:
        """Open and shut through the nights.

        Raises:
            RuntimeError: without ``params``.
        """
        if self.params is None:
            raise RuntimeError("NightAir.params is not set")
        shut_m3_s = float(self.params[param.INFILTRATION_M3_S])
        while True:
            self.params[param.INFILTRATION_M3_S] = shut_m3_s
            if self._wants(stage):
                self.params[param.INFILTRATION_M3_S] += self.room_m3 * self.air_per_h / 3600.0
                self.opened.append(stage.now_ms)
            yield stage.until((stage.now_ms // LOOK_MS + 1) * LOOK_MS)

    def _wants(self, stage: Stage) -> bool:
        minute = stage.calendar.week_min(stage.now_ms)
        if not any(window.contains(minute) for window in self.hours):
            return False
        room_c = stage.state[state.ROOM_AIR_C]
        outdoor_c = given.now(stage.given, given.OUTDOOR_C, stage.state[state.WEATHER_AGE_S])
        return bool(outdoor_c <= room_c - COOLER_K and room_c > COLDEST_C)

"""Heat into the room on the design day, by cause."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from springhouse_sim.plant import state

from .working_point import Array, Case

CAUSES = {
    "outdoors": state.OUTDOOR_TO_ROOM_J,
    "fresh air": state.INFILTRATION_SENSIBLE_J,
    "sun": state.SUN_J,
    "people": state.PEOPLE_SENSIBLE_J,
    "equipment": state.EQUIPMENT_J,
}
MOIST_CAUSES = {"fresh air": state.INFILTRATION_LATENT_J, "people": state.PEOPLE_LATENT_J}


@dataclass(frozen=True)
class Gain:
    """Heat into a room held at its target on the design day, by cause."""

    kwh_day: dict[str, float]
    wanted_w: dict[str, float]  # mean over the wanted hours
    latent_w: dict[str, float]  # the same of moisture
    peak_w: float  # hottest ten minutes of the wanted hours
    day_w: float  # mean over the whole day

    @property
    def mean_w(self) -> float:
        """Heat to be taken away in the wanted hours, mean [W]."""
        return sum(self.wanted_w.values())


def room_gain(case: Case, humidity: float) -> Gain:
    """Return the heat into the room by cause over the design day."""
    wanted = case.site.file.schedule.wanted

    def flows(moments: Array) -> Array:
        return np.array([case.at_once(u, humidity) for u in moments])

    def mean_w(rows: Array, causes: Mapping[str, int]) -> dict[str, float]:
        return {cause: float(rows[:, slot].mean()) for cause, slot in causes.items()}

    day, hours = flows(case.day_given()), flows(case.day_given(wanted))
    all_day = mean_w(day, CAUSES)
    return Gain(
        kwh_day={cause: w * 24.0 / 1000.0 for cause, w in all_day.items()},
        wanted_w=mean_w(hours, CAUSES),
        latent_w=mean_w(hours, MOIST_CAUSES),
        peak_w=float(hours[:, list(CAUSES.values())].sum(axis=1).max()),
        day_w=sum(all_day.values()),
    )

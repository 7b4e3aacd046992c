"""Why a room was too warm: what the trace shows about the minutes over the limit."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from springhouse import setting, statechart
from springhouse_sim.trace import Trace

Cause = Literal["none", "coil", "store", "stopped", "not asked"]

ADVICE = {
    "none": "",
    "coil": "a bigger coil, a second fan or more flow; or less equipment in the room",
    "store": "a bigger or colder store, a second probe or an ice bank, or longer charging; "
    "or less equipment in the room",
    "stopped": "see the stops in the log: delivery was barred by a guard",
    "not asked": "a lower room target, or wanted hours that begin earlier",
}


@dataclass(frozen=True)
class Shortfall:
    """The wanted minutes over the limit, and the cause that explains most of them."""

    minutes: int
    cause: Cause
    words: str

    @property
    def advice(self) -> str:
        """What to change."""
        return ADVICE[self.cause]


def shortfall(trace: Trace, limit_c: float) -> Shortfall:
    """Return why the room was over ``limit_c`` in its wanted hours."""
    room = trace.column("room_air_c")
    over = trace.wanted() & (room > limit_c)
    minutes = int(over.sum())
    if minutes == 0:
        return Shortfall(0, "none", "the room stayed below its limit")
    state = trace.column("room_state")[over]
    coil_w = (trace.column("coil_sensible_w") + trace.column("coil_latent_w"))[over]
    store = trace.column("store_mean_c")[over]
    delivering = state == statechart.DISCHARGE
    resting = state == statechart.WAITING
    # Asked for and yet at rest: the store was not cold enough to be of use.
    start_c = (
        trace.settings[setting.ROOM_TARGET_MC] + trace.settings[setting.ROOM_BAND_MK]
    ) / 1000.0
    too_warm = resting & (room[over] >= start_c)
    # More than half of the cold between a full store and the room's limit is gone.
    half_c = (trace.settings[setting.DEEP_MC] / 1000.0 + limit_c) / 2.0
    spent = too_warm | (delivering & (store > half_c))
    counts: dict[Cause, int] = {
        "coil": int((delivering & ~spent).sum()),
        "store": int(spent.sum()),
        "stopped": int((~delivering & ~resting).sum()),
        "not asked": int((resting & ~spent).sum()),
    }
    cause = max(counts, key=lambda key: counts[key])
    return Shortfall(minutes, cause, _words(cause, minutes, coil_w[delivering], store))


def _words(
    cause: Cause,
    minutes: int,
    coil_w: NDArray[np.float64],
    store_c: NDArray[np.float64],
) -> str:
    mean_w = float(coil_w.mean()) if coil_w.size else 0.0
    spent = f"with the store at {float(store_c.mean()):.1f} °C"
    about = {
        "coil": f"delivery ran and took {mean_w:.0f} W out of the room, {spent}: "
        "the coil or the water is not enough",
        "store": f"the store was spent, {spent}",
        "stopped": "delivery was barred by a guard",
        "not asked": f"delivery was not asked for yet, {spent}",
    }
    return f"{minutes} min over the limit: {about[cause]}"

"""How much warmer the room without a store gets where the weather is other than forecast.

The plant's room is linear in outdoor temperature and sun, but for its moisture: two nodes; the
place where the freezer stands is one.
"""

import numpy as np
from scipy.linalg import expm
from springhouse.ahead import QUARTER_MIN
from springhouse_sim.plant import param

from ..tuning import bound
from .around import Array

STEP_S = QUARTER_MIN * 60.0


class RoomResponse:
    """Of one installation, by its parameters ``p``."""

    def __init__(self, p: Array) -> None:
        fresh_w_k = p[param.INFILTRATION_M3_S] / bound.STILL_AIR_M3_KG * 1006.0
        inner, air_j, mass_j = (
            p[param.AIR_MASS_UA_W_K],
            p[param.ROOM_AIR_J_K],
            p[param.ROOM_MASS_J_K],
        )
        outer_air, outer_mass = (
            p[param.ENVELOPE_AIR_UA_W_K] + fresh_w_k,
            p[param.ENVELOPE_MASS_UA_W_K],
        )
        sun = p[param.SUN_AIR_FRACTION]
        a = np.zeros((4, 4))  # air, mass; outdoors in K, sun in W
        a[0] = np.array([-(outer_air + inner), inner, outer_air, sun]) / air_j
        a[1] = np.array(
            [inner, -(outer_mass + p[param.HOUSE_UA_W_K] + inner), outer_mass, 1.0 - sun]
        )
        a[1] /= mass_j
        e = expm(a * STEP_S)
        self._keeps, self._gets = e[:2, :2], e[:2, 2:]
        self._place_keeps = float(np.exp(-STEP_S * p[param.PLACE_UA_W_K] / p[param.PLACE_J_K]))

    def warmer(self, outdoor_k: Array, sun_w: Array) -> tuple[Array, Array, Array]:
        """Return how much warmer air and mass are at each node, and the place each quarter hour.

        Args:
            outdoor_k: how much warmer it is outdoors, a quarter hour each.
            sun_w: how much more sun comes in.
        """
        count = len(outdoor_k)
        nodes = np.zeros((count + 1, 2))
        place = np.zeros(count)
        for k in range(count):
            given = np.array([outdoor_k[k], sun_w[k]])
            nodes[k + 1] = self._keeps @ nodes[k] + self._gets @ given
            before = place[k - 1] if k else 0.0
            place[k] = outdoor_k[k] + self._place_keeps * (before - outdoor_k[k])
        return nodes[:, 0], nodes[:, 1], place

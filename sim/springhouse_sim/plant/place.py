"""The place where the freezer stands: always a node, because all rejected heat lands there."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from . import param, state
from .check import slow_enough, within


@dataclass(frozen=True, kw_only=True)
class Place:
    """One well-mixed node between the freezer, outdoors, the ground and, if coupled, the room.

    Raises:
        ValueError: on a parameter outside its range.
    """

    ua_w_k: float  # to outdoors, ventilation included
    heat_capacity_j_k: float
    initial_c: float
    ground_ua_w_k: float = 0.0  # to the ground behind its walls and under its floor
    room_ua_w_k: float = 0.0  # to the cooled room; large when the freezer stands in it

    def __post_init__(self) -> None:
        within("Place", "ua_w_k", self.ua_w_k, 0.1, 5000.0, "W/K")
        within("Place", "heat_capacity_j_k", self.heat_capacity_j_k, 2e4, 1e9, "J/K")
        within("Place", "initial_c", self.initial_c, -20.0, 55.0, "°C")
        within("Place", "ground_ua_w_k", self.ground_ua_w_k, 0.0, 5000.0, "W/K")
        within("Place", "room_ua_w_k", self.room_ua_w_k, 0.0, 1000.0, "W/K")
        ua_w_k = self.ua_w_k + self.ground_ua_w_k + self.room_ua_w_k
        slow_enough("Place", "heat_capacity_j_k", self.heat_capacity_j_k, ua_w_k)

    def put(self, p: NDArray[np.float64]) -> None:
        """Write the slots of this part into the parameter record ``p``."""
        p[param.PLACE_UA_W_K] = self.ua_w_k
        p[param.PLACE_GROUND_UA_W_K] = self.ground_ua_w_k
        p[param.PLACE_TO_ROOM_UA_W_K] = self.room_ua_w_k
        p[param.PLACE_J_K] = self.heat_capacity_j_k

    def start(self, x: NDArray[np.float64]) -> None:
        """Write the initial state of this part into ``x``."""
        x[state.PLACE_C] = self.initial_c

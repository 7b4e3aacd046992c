"""The condensate tray under the coil, with its float, its rim and an optional open drain.

Condensate is counted as 1 kg per litre; its few degrees of sensible heat are left out.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from . import param, state
from .check import ordered, within

RIM_S = 10.0  # time constant of the overflow over the rim: a level of 0.1 L spills 0.01 L/s
DRAIN_S = 30.0  # time constant of an open drain
FILM_L = 0.05  # below this the wetted area, and so the evaporation, shrinks with the content


@dataclass(frozen=True, kw_only=True)
class Tray:
    """A tray of ``capacity_l`` whose float opens at ``float_opens_l``.

    Raises:
        ValueError: on a parameter outside its range, or a float that opens above the rim.
    """

    capacity_l: float
    float_opens_l: float
    evaporation_g_h: float = 0.0
    open_drain: bool = False
    initial_l: float = 0.0

    def __post_init__(self) -> None:
        within("Tray", "capacity_l", self.capacity_l, 0.1, 100.0, "L")
        within("Tray", "float_opens_l", self.float_opens_l, 0.05, 100.0, "L")
        within("Tray", "evaporation_g_h", self.evaporation_g_h, 0.0, 200.0, "g/h")
        within("Tray", "initial_l", self.initial_l, 0.0, self.capacity_l, "L")
        ordered("Tray", "float_opens_l", self.float_opens_l, "capacity_l", self.capacity_l)

    def put(self, p: NDArray[np.float64]) -> None:
        """Write the slots of this part into the parameter record ``p``."""
        p[param.TRAY_CAPACITY_L] = self.capacity_l
        p[param.TRAY_FLOAT_L] = self.float_opens_l
        p[param.TRAY_EVAPORATION_KG_S] = self.evaporation_g_h / 3.6e6
        p[param.TRAY_OPEN_DRAIN] = float(self.open_drain)

    def start(self, x: NDArray[np.float64]) -> None:
        """Write the initial state of this part into ``x``."""
        x[state.TRAY_L] = self.initial_l


def spill_l_s(tray_l: float, capacity_l: float) -> float:
    """Return the overflow over the rim [L/s] of a tray holding ``tray_l``."""
    return max(0.0, tray_l - capacity_l) / RIM_S


def evaporation_kg_s(tray_l: float, full_kg_s: float) -> float:
    """Return the water evaporating from the tray [kg/s], less once only a film is left."""
    return full_kg_s * min(1.0, max(0.0, tray_l / FILM_L))

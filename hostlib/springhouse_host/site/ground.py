"""A cellar's floor and walls against the ground, after EN ISO 13370 (its annual method).

The standard gives a steady conductance between room and yearly mean of the outdoor air, and a
conductance that lets through, late, part of the air's yearly wave. Their ratio is the damping of
the ground temperature the room feels. Formulas and soils from memory of EN ISO 13370:2007 (clauses
9.3, annexes A, C and H); tests/reference/test_ground.py holds them against the heat equation
solved on a grid.
"""

import math
from dataclasses import dataclass

from springhouse_sim.world.ground import YEAR_H, Wave

# Conductivity [W/(m K)] and heat capacity [J/(m3 K)] by kind.
SOILS = {"clay": (1.5, 3.0e6), "sand": (2.0, 2.0e6), "rock": (3.5, 2.0e6)}
YEAR_S = 3.15e7
FILM_IN_M2_K_W = 0.17  # floor; a wall has 0.13, within the method's own doubt
FILM_OUT_M2_K_W = 0.04
WALL_M = 0.3  # thickness of the walls
WALL_M2_K_W = 0.15  # 0.3 m of masonry at 2 W/(m K); common practice
FLOOR_M2_K_W = 0.1  # 0.15 m of concrete
LATE_H = YEAR_H / 12.0  # a month, annex A


@dataclass(frozen=True)
class Basement:
    """A cellar by its size; ``depth_m`` is the floor's depth below ground.

    ``wall_m2`` is the area of its walls against ground, at most all four down to that depth.
    """

    floor_m2: float
    wall_m2: float
    depth_m: float
    soil: str

    @property
    def exposed_m(self) -> float:
        """Length of the walls against ground [m], at least a tenth of a metre."""
        return max(0.1, self.wall_m2 / self.depth_m)

    @property
    def conductivity_w_m_k(self) -> float:
        """Of the soil."""
        return SOILS[self.soil][0]

    @property
    def penetration_m(self) -> float:
        """Depth at which the yearly wave has died away to 1/e: sqrt(3.15e7 s k / (pi c))."""
        conductivity, capacity = SOILS[self.soil]
        return math.sqrt(YEAR_S * conductivity / (math.pi * capacity))

    def _thick_m(self, resistance_m2_k_w: float) -> float:
        return self.conductivity_w_m_k * (FILM_IN_M2_K_W + resistance_m2_k_w + FILM_OUT_M2_K_W)

    @property
    def floor_thick_m(self) -> float:
        """Total equivalent thickness of the floor [m]."""
        return WALL_M + self._thick_m(FLOOR_M2_K_W)

    @property
    def wall_thick_m(self) -> float:
        """Total equivalent thickness of the walls [m]."""
        return self._thick_m(WALL_M2_K_W)

    def floor_w_m2_k(self) -> float:
        """Return the conductance of the floor [W/(m2 K)]: uninsulated, then well insulated."""
        k, breadth_m = self.conductivity_w_m_k, self.floor_m2 / (0.5 * self.exposed_m)
        thick_m = self.floor_thick_m + 0.5 * self.depth_m
        if thick_m < breadth_m:
            spread_m = math.pi * breadth_m
            return 2.0 * k / (spread_m + thick_m) * math.log(spread_m / thick_m + 1.0)
        return k / (0.457 * breadth_m + thick_m)

    def wall_w_m2_k(self) -> float:
        """Return the conductance of the walls against ground [W/(m2 K)]."""
        k, z, wall_m = self.conductivity_w_m_k, self.depth_m, self.wall_thick_m
        floor_m = min(self.floor_thick_m, wall_m)  # the rule where the walls are the thicker
        return (
            2.0
            * k
            / (math.pi * z)
            * (1.0 + 0.5 * floor_m / (floor_m + z))
            * math.log(z / wall_m + 1.0)
        )

    def steady_w_k(self) -> float:
        """Return the conductance to the yearly mean outdoors [W/K]."""
        return self.floor_m2 * self.floor_w_m2_k() + self.wall_m2 * self.wall_w_m2_k()

    def periodic_w_k(self) -> float:
        """Return the heat of the air's yearly wave over its swing [W/K]."""
        deep = math.exp(-self.depth_m / self.penetration_m)
        floor = deep * math.log(self.penetration_m / self.floor_thick_m + 1.0)
        wall = 2.0 * (1.0 - deep) * math.log(self.penetration_m / self.wall_thick_m + 1.0)
        return 0.37 * self.exposed_m * self.conductivity_w_m_k * (wall + floor)

    def behind(self, air: Wave) -> Wave:
        """Return the ground temperature that the cellar feels of the air's yearly wave."""
        share = min(1.0, self.periodic_w_k() / self.steady_w_k())
        return Wave(air.mean_c, share * air.swing_k, (air.coldest_h + LATE_H) % YEAR_H)

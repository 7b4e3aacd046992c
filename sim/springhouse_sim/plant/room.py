"""The cooled room: an air node, a mass node and one balance of moisture.

Sensible: two-node RC network (EN ISO 13790 calls such a one a simple hourly method; ours keeps
air and mass apart).  Moisture: dry-air mass times a buffer factor, after the effective-capacitance
model that multiplies the air's own moisture capacity for what walls and furnishings hold.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from . import moist_air, param, state
from .check import slow_enough, within


@dataclass(frozen=True, kw_only=True)
class Room:
    """A room described by tape measure and a few conductances.

    ``envelope_ua_w_k`` is the whole conductance to outdoors without infiltration;
    ``envelope_to_mass_fraction`` of it ends at the mass node (walls), the rest at the air (glass).
    ``heat_capacity_j_k`` is the mass node; furnishings that follow the air at once go into
    ``air_capacity_factor``. ``house_ua_w_k`` joins the mass node to rooms at ``house_c``.

    Raises:
        ValueError: on a parameter outside its range.
    """

    floor_m2: float
    height_m: float
    envelope_ua_w_k: float
    heat_capacity_j_k: float
    air_mass_coupling_w_k: float
    infiltration_ach: float
    moisture_buffer_factor: float
    initial_c: float
    initial_humidity_ratio: float
    air_capacity_factor: float = 2.0
    envelope_to_mass_fraction: float = 0.5
    sun_to_air_fraction: float = 0.3
    gains_to_air_fraction: float = 0.6
    probe_lag_s: float = 60.0
    house_ua_w_k: float = 0.0  # inside walls, floor and ceiling
    house_c: float = 25.0  # the rest of the house, the same all summer

    def __post_init__(self) -> None:
        within("Room", "floor_m2", self.floor_m2, 1.0, 500.0, "m2")
        within("Room", "height_m", self.height_m, 1.5, 8.0, "m")
        within("Room", "envelope_ua_w_k", self.envelope_ua_w_k, 0.0, 2000.0, "W/K")
        within("Room", "heat_capacity_j_k", self.heat_capacity_j_k, 1e5, 1e9, "J/K")
        within("Room", "air_mass_coupling_w_k", self.air_mass_coupling_w_k, 1.0, 5000.0, "W/K")
        within("Room", "infiltration_ach", self.infiltration_ach, 0.0, 20.0, "1/h")
        within("Room", "moisture_buffer_factor", self.moisture_buffer_factor, 1.0, 50.0)
        within("Room", "initial_c", self.initial_c, 0.0, 45.0, "°C")
        within("Room", "initial_humidity_ratio", self.initial_humidity_ratio, 0.0, 0.04, "kg/kg")
        within("Room", "air_capacity_factor", self.air_capacity_factor, 1.0, 20.0)
        within("Room", "envelope_to_mass_fraction", self.envelope_to_mass_fraction, 0.0, 1.0)
        within("Room", "sun_to_air_fraction", self.sun_to_air_fraction, 0.0, 1.0)
        within("Room", "gains_to_air_fraction", self.gains_to_air_fraction, 0.0, 1.0)
        within("Room", "house_ua_w_k", self.house_ua_w_k, 0.0, 2000.0, "W/K")
        within("Room", "house_c", self.house_c, 0.0, 50.0, "°C")
        within("Room", "probe_lag_s", self.probe_lag_s, 5.0, 3600.0, "s")
        air_j_k = 1200.0 * self.floor_m2 * self.height_m * self.air_capacity_factor
        air_w_k = self.air_mass_coupling_w_k + self.envelope_ua_w_k
        slow_enough("Room", "air_capacity_factor", air_j_k, air_w_k)

    def put(self, p: NDArray[np.float64]) -> None:
        """Write the slots of this part into the parameter record ``p``."""
        volume_m3 = self.floor_m2 * self.height_m
        air_kg = volume_m3 / moist_air.specific_volume_m3_kg(
            self.initial_c, self.initial_humidity_ratio, 101325.0
        )
        p[param.ROOM_AIR_KG] = air_kg
        p[param.ROOM_AIR_J_K] = air_kg * moist_air.CP_MOIST_J_KG_K * self.air_capacity_factor
        p[param.ROOM_MASS_J_K] = self.heat_capacity_j_k
        p[param.ENVELOPE_MASS_UA_W_K] = self.envelope_ua_w_k * self.envelope_to_mass_fraction
        p[param.ENVELOPE_AIR_UA_W_K] = self.envelope_ua_w_k * (1.0 - self.envelope_to_mass_fraction)
        p[param.AIR_MASS_UA_W_K] = self.air_mass_coupling_w_k
        p[param.INFILTRATION_M3_S] = volume_m3 * self.infiltration_ach / 3600.0
        p[param.MOISTURE_KG] = air_kg * self.moisture_buffer_factor
        p[param.SUN_AIR_FRACTION] = self.sun_to_air_fraction
        p[param.GAIN_AIR_FRACTION] = self.gains_to_air_fraction
        p[param.ROOM_PROBE_S] = self.probe_lag_s
        p[param.HOUSE_UA_W_K] = self.house_ua_w_k
        p[param.HOUSE_C] = self.house_c

    def start(self, x: NDArray[np.float64]) -> None:
        """Write the initial state of this part into ``x``."""
        x[state.ROOM_AIR_C] = self.initial_c
        x[state.ROOM_MASS_C] = self.initial_c
        x[state.ROOM_PROBE_C] = self.initial_c
        x[state.ROOM_HUMIDITY_RATIO] = self.initial_humidity_ratio

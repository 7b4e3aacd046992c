"""What sweats: surfaces of tube, pump, joints and coil against the dew point around them."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from springhouse_sim.plant import given, moist_air, state

from .working_point import Array, Case

if TYPE_CHECKING:
    from springhouse_sim.plant.loop import Loop

DRY_ROUNDS = 7  # halvings: 20 K down to a sixth of a kelvin


@dataclass(frozen=True)
class Surface:
    """One surface at the coldest water, against the air around it."""

    name: str
    surface_c: float
    air_c: float
    dew_point_c: float

    @property
    def sweats(self) -> bool:
        """Whether water condenses on it."""
        return self.surface_c < self.dew_point_c


def tube_surface_c(loop: "Loop", water_c: float, air_c: float) -> float:
    """Return the outer surface of the insulated tube [°C]: air less heat gain over outer film."""
    from springhouse_sim.plant import hydraulics

    bore_m = loop.tube_bore_mm / 2000.0
    outer_m = bore_m + loop.tube_wall_mm / 1000.0
    skin_m = outer_m + loop.insulation_mm / 1000.0
    gain_w_m_k = hydraulics.tube_gain_w_m_k(
        bore_m,
        outer_m,
        loop.tube_w_m_k,
        loop.insulation_mm / 1000.0,
        loop.insulation_w_m_k,
        loop.outer_film_w_m2_k,
    )
    film_w_m_k = loop.outer_film_w_m2_k * 2.0 * np.pi * skin_m
    return float(air_c - gain_w_m_k * (air_c - water_c) / film_w_m_k)


def surfaces(case: Case, room_dew_c: float, place_c: float) -> tuple[Surface, ...]:
    """Return every surface that carries cold water, at the deep target.

    Bare metal of pump and joints is as cold as the water to within a kelvin, so it is taken so.
    The place has the moisture of the air outdoors.
    """
    loop, water_c = case.plant.loop, case.deep_c
    place_dew_c = min(place_c, case.day.mean_dew_c)
    found = []
    for name, air_c, dew_c in (
        ("where the freezer stands", place_c, place_dew_c),
        ("in the room", case.room_c, room_dew_c),
    ):
        found.append(Surface(f"tube {name}", tube_surface_c(loop, water_c, air_c), air_c, dew_c))
        found.append(Surface(f"bare joints {name}", water_c, air_c, dew_c))
    found.append(Surface("pump body", water_c, place_c, place_dew_c))
    found.append(Surface("coil", water_c, case.room_c, room_dew_c))
    return tuple(found)


def dry_store_c(case: Case, u: Array, room_dew_c: float) -> float | None:
    """Return the lowest store temperature at which the coil stays dry at full delivery [°C].

    None where even water at the room's temperature condenses, which is no room to cool.
    """
    humidity = moist_air.saturated_humidity_ratio(room_dew_c, float(u[given.PRESSURE_PA]))

    def drips(store_c: float) -> bool:
        _, dx, _ = case.steady(u, store_c, humidity)
        return bool(dx[state.ROOM_TO_COIL_LATENT_J] > 0.01)

    low, high = case.deep_c, case.room_c
    if not drips(low):
        return low
    if drips(high):
        return None
    for _ in range(DRY_ROUNDS):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if drips(middle) else (low, middle)
    return high

"""The cooled room, its tray and the place of the freezer: their share of the right-hand side."""

import numpy as np
from numpy.typing import NDArray

from . import given as U
from . import moist_air, tray
from . import param as P
from . import state as X
from . import tap as T


def tray_water(
    x: NDArray[np.float64],
    u: NDArray[np.float64],
    p: NDArray[np.float64],
    dx: NDArray[np.float64],
    t: NDArray[np.float64],
) -> None:
    """Water in the tray, over its rim, down its drain and back into the air (after the coil)."""
    held_l = x[X.TRAY_L]
    wet = min(1.0, max(0.0, held_l / tray.FILM_L))
    spill_l_s = tray.spill_l_s(held_l, p[P.TRAY_CAPACITY_L])
    drain_kg_s = p[P.TRAY_OPEN_DRAIN] * max(0.0, held_l) / tray.DRAIN_S
    vapour_kg_s = tray.evaporation_kg_s(held_l, p[P.TRAY_EVAPORATION_KG_S])
    emptied_kg_s = u[U.TRAY_EMPTY_L_S] * wet
    filled_kg_s = u[U.TRAY_FILL_L_S]
    dx[X.TRAY_L] = (
        t[T.CONDENSATE_KG_S] + filled_kg_s - spill_l_s - drain_kg_s - vapour_kg_s - emptied_kg_s
    )
    dx[X.SPILL_L] = spill_l_s
    dx[X.DRAINED_KG] = drain_kg_s
    dx[X.TRAY_EVAPORATED_KG] = vapour_kg_s
    dx[X.TRAY_EMPTIED_KG] = emptied_kg_s
    dx[X.TRAY_FILLED_KG] = filled_kg_s
    t[T.FLOAT_OPEN] = 1.0 if held_l >= p[P.TRAY_FLOAT_L] else 0.0
    t[T.SPILL_L_S] = spill_l_s


def room_air(
    x: NDArray[np.float64],
    u: NDArray[np.float64],
    p: NDArray[np.float64],
    dx: NDArray[np.float64],
    t: NDArray[np.float64],
) -> None:
    """Heat and moisture of the room (after coil, tubes and tray)."""
    air_c = x[X.ROOM_AIR_C]
    mass_c = x[X.ROOM_MASS_C]
    humidity = x[X.ROOM_HUMIDITY_RATIO]
    pressure = u[U.PRESSURE_PA]
    age_s = x[X.WEATHER_AGE_S]
    outdoor_c = U.now(u, U.OUTDOOR_C, age_s)
    outdoor_humidity = U.now(u, U.OUTDOOR_HUMIDITY_RATIO, age_s)
    sun_w = U.now(u, U.SUN_W, age_s)
    fresh_kg_s = p[P.INFILTRATION_M3_S] / moist_air.specific_volume_m3_kg(
        outdoor_c, outdoor_humidity, pressure
    )
    fresh_w = fresh_kg_s * moist_air.CP_MOIST_J_KG_K * (outdoor_c - air_c)
    fresh_vapour_kg_s = fresh_kg_s * (outdoor_humidity - humidity)
    glass_w = p[P.ENVELOPE_AIR_UA_W_K] * (outdoor_c - air_c)
    wall_w = p[P.ENVELOPE_MASS_UA_W_K] * (outdoor_c - mass_c)
    house_w = p[P.HOUSE_UA_W_K] * (p[P.HOUSE_C] - mass_c)
    inner_w = p[P.AIR_MASS_UA_W_K] * (mass_c - air_c)
    gains_w = u[U.PEOPLE_SENSIBLE_W] + u[U.EQUIPMENT_W]
    place_w = p[P.PLACE_TO_ROOM_UA_W_K] * (x[X.PLACE_C] - air_c)
    vapour_kg_s = dx[X.TRAY_EVAPORATED_KG]
    air_w = glass_w + fresh_w + inner_w + place_w + t[T.FAN_W]
    air_w += p[P.SUN_AIR_FRACTION] * sun_w + p[P.GAIN_AIR_FRACTION] * gains_w
    air_w -= t[T.COIL_SENSIBLE_W] + dx[X.ROOM_TO_TUBE_J] + moist_air.LATENT_J_KG * vapour_kg_s
    mass_w = wall_w + house_w - inner_w
    mass_w += (1.0 - p[P.SUN_AIR_FRACTION]) * sun_w
    mass_w += (1.0 - p[P.GAIN_AIR_FRACTION]) * gains_w
    dx[X.ROOM_AIR_C] = air_w / p[P.ROOM_AIR_J_K]
    dx[X.ROOM_MASS_C] = mass_w / p[P.ROOM_MASS_J_K]
    dx[X.ROOM_HUMIDITY_RATIO] += (u[U.PEOPLE_MOISTURE_KG_S] + fresh_vapour_kg_s + vapour_kg_s) / p[
        P.MOISTURE_KG
    ]
    dx[X.WEATHER_AGE_S] = 1.0
    dx[X.ROOM_PROBE_C] = (air_c - x[X.ROOM_PROBE_C]) / p[P.ROOM_PROBE_S]
    dx[X.OUTDOOR_TO_ROOM_J] = glass_w + wall_w + house_w
    dx[X.INFILTRATION_SENSIBLE_J] = fresh_w
    dx[X.INFILTRATION_LATENT_J] = moist_air.LATENT_J_KG * fresh_vapour_kg_s
    dx[X.INFILTRATION_MOISTURE_KG] = fresh_vapour_kg_s
    dx[X.SUN_J] = sun_w
    dx[X.PEOPLE_SENSIBLE_J] = u[U.PEOPLE_SENSIBLE_W]
    dx[X.PEOPLE_LATENT_J] = moist_air.LATENT_J_KG * u[U.PEOPLE_MOISTURE_KG_S]
    dx[X.PEOPLE_MOISTURE_KG] = u[U.PEOPLE_MOISTURE_KG_S]
    dx[X.EQUIPMENT_J] = u[U.EQUIPMENT_W]
    dx[X.PLACE_TO_ROOM_J] = place_w


def place(
    x: NDArray[np.float64],
    u: NDArray[np.float64],
    p: NDArray[np.float64],
    dx: NDArray[np.float64],
) -> None:
    """Heat of the place of the freezer: everything the other parts reject (called last)."""
    outdoor_c = U.now(u, U.OUTDOOR_C, x[X.WEATHER_AGE_S])
    outdoor_w = p[P.PLACE_UA_W_K] * (outdoor_c - x[X.PLACE_C])
    ground_w = p[P.PLACE_GROUND_UA_W_K] * (u[U.GROUND_C] - x[X.PLACE_C])
    dx[X.OUTDOOR_TO_PLACE_J] = outdoor_w
    dx[X.GROUND_TO_PLACE_J] = ground_w
    dx[X.PLACE_GAIN_J] = u[U.PLACE_GAIN_W]
    into_w = outdoor_w + ground_w + u[U.PLACE_GAIN_W]
    into_w += dx[X.CONDENSER_TO_PLACE_J] + dx[X.SHELL_TO_PLACE_J]
    into_w += dx[X.PUMP_J] - dx[X.PUMP_TO_WATER_J] + dx[X.BOARD_J] + dx[X.BATTERY_LOSS_J]
    into_w -= dx[X.CABINET_TO_STORE_J] + dx[X.LID_TO_STORE_J]
    into_w -= dx[X.PLACE_TO_TUBE_J] + dx[X.PLACE_TO_ROOM_J]
    dx[X.PLACE_C] = into_w / p[P.PLACE_J_K]

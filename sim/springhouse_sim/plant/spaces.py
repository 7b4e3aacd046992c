"""The cooled room, its tray and the place of the freezer: their share of the right-hand side."""

import numpy as np
from numpy.typing import NDArray

from . import given, moist_air, param, state, tap, tray


def tray_water(
    x: NDArray[np.float64],
    u: NDArray[np.float64],
    p: NDArray[np.float64],
    dx: NDArray[np.float64],
    t: NDArray[np.float64],
) -> None:
    """Water in the tray, over its rim, down its drain and back into the air (after the coil)."""
    held_l = x[state.TRAY_L]
    wet = min(1.0, max(0.0, held_l / tray.FILM_L))
    spill_l_s = tray.spill_l_s(held_l, p[param.TRAY_CAPACITY_L])
    drain_kg_s = p[param.TRAY_OPEN_DRAIN] * max(0.0, held_l) / tray.DRAIN_S
    vapour_kg_s = tray.evaporation_kg_s(held_l, p[param.TRAY_EVAPORATION_KG_S])
    emptied_kg_s = u[given.TRAY_EMPTY_L_S] * wet
    filled_kg_s = u[given.TRAY_FILL_L_S]
    dx[state.TRAY_L] = (
        t[tap.CONDENSATE_KG_S] + filled_kg_s - spill_l_s - drain_kg_s - vapour_kg_s - emptied_kg_s
    )
    dx[state.SPILL_L] = spill_l_s
    dx[state.DRAINED_KG] = drain_kg_s
    dx[state.TRAY_EVAPORATED_KG] = vapour_kg_s
    dx[state.TRAY_EMPTIED_KG] = emptied_kg_s
    dx[state.TRAY_FILLED_KG] = filled_kg_s
    t[tap.FLOAT_OPEN] = 1.0 if held_l >= p[param.TRAY_FLOAT_L] else 0.0
    t[tap.SPILL_L_S] = spill_l_s


def room_air(
    x: NDArray[np.float64],
    u: NDArray[np.float64],
    p: NDArray[np.float64],
    dx: NDArray[np.float64],
    t: NDArray[np.float64],
) -> None:
    """Heat and moisture of the room (after coil, tubes and tray)."""
    air_c = x[state.ROOM_AIR_C]
    mass_c = x[state.ROOM_MASS_C]
    humidity = x[state.ROOM_HUMIDITY_RATIO]
    pressure = u[given.PRESSURE_PA]
    age_s = x[state.WEATHER_AGE_S]
    outdoor_c = given.now(u, given.OUTDOOR_C, age_s)
    outdoor_humidity = given.now(u, given.OUTDOOR_HUMIDITY_RATIO, age_s)
    sun_w = given.now(u, given.SUN_W, age_s)
    fresh_kg_s = p[param.INFILTRATION_M3_S] / moist_air.specific_volume_m3_kg(
        outdoor_c, outdoor_humidity, pressure
    )
    fresh_w = fresh_kg_s * moist_air.CP_MOIST_J_KG_K * (outdoor_c - air_c)
    fresh_vapour_kg_s = fresh_kg_s * (outdoor_humidity - humidity)
    glass_w = p[param.ENVELOPE_AIR_UA_W_K] * (outdoor_c - air_c)
    wall_w = p[param.ENVELOPE_MASS_UA_W_K] * (outdoor_c - mass_c)
    house_w = p[param.HOUSE_UA_W_K] * (p[param.HOUSE_C] - mass_c)
    inner_w = p[param.AIR_MASS_UA_W_K] * (mass_c - air_c)
    gains_w = u[given.PEOPLE_SENSIBLE_W] + u[given.EQUIPMENT_W]
    place_w = p[param.PLACE_TO_ROOM_UA_W_K] * (x[state.PLACE_C] - air_c)
    vapour_kg_s = dx[state.TRAY_EVAPORATED_KG]
    air_w = glass_w + fresh_w + inner_w + place_w + t[tap.FAN_W]
    air_w += p[param.SUN_AIR_FRACTION] * sun_w + p[param.GAIN_AIR_FRACTION] * gains_w
    air_w -= t[tap.COIL_SENSIBLE_W] + dx[state.ROOM_TO_TUBE_J] + moist_air.LATENT_J_KG * vapour_kg_s
    mass_w = wall_w + house_w - inner_w
    mass_w += (1.0 - p[param.SUN_AIR_FRACTION]) * sun_w
    mass_w += (1.0 - p[param.GAIN_AIR_FRACTION]) * gains_w
    dx[state.ROOM_AIR_C] = air_w / p[param.ROOM_AIR_J_K]
    dx[state.ROOM_MASS_C] = mass_w / p[param.ROOM_MASS_J_K]
    dx[state.ROOM_HUMIDITY_RATIO] += (
        u[given.PEOPLE_MOISTURE_KG_S] + fresh_vapour_kg_s + vapour_kg_s
    ) / p[param.MOISTURE_KG]
    dx[state.WEATHER_AGE_S] = 1.0
    dx[state.ROOM_PROBE_C] = (air_c - x[state.ROOM_PROBE_C]) / p[param.ROOM_PROBE_S]
    dx[state.OUTDOOR_TO_ROOM_J] = glass_w + wall_w + house_w
    dx[state.INFILTRATION_SENSIBLE_J] = fresh_w
    dx[state.INFILTRATION_LATENT_J] = moist_air.LATENT_J_KG * fresh_vapour_kg_s
    dx[state.INFILTRATION_MOISTURE_KG] = fresh_vapour_kg_s
    dx[state.SUN_J] = sun_w
    dx[state.PEOPLE_SENSIBLE_J] = u[given.PEOPLE_SENSIBLE_W]
    dx[state.PEOPLE_LATENT_J] = moist_air.LATENT_J_KG * u[given.PEOPLE_MOISTURE_KG_S]
    dx[state.PEOPLE_MOISTURE_KG] = u[given.PEOPLE_MOISTURE_KG_S]
    dx[state.EQUIPMENT_J] = u[given.EQUIPMENT_W]
    dx[state.PLACE_TO_ROOM_J] = place_w


def place(
    x: NDArray[np.float64],
    u: NDArray[np.float64],
    p: NDArray[np.float64],
    dx: NDArray[np.float64],
) -> None:
    """Heat of the place of the freezer: everything the other parts reject (called last)."""
    outdoor_c = given.now(u, given.OUTDOOR_C, x[state.WEATHER_AGE_S])
    outdoor_w = p[param.PLACE_UA_W_K] * (outdoor_c - x[state.PLACE_C])
    ground_w = p[param.PLACE_GROUND_UA_W_K] * (u[given.GROUND_C] - x[state.PLACE_C])
    dx[state.OUTDOOR_TO_PLACE_J] = outdoor_w
    dx[state.GROUND_TO_PLACE_J] = ground_w
    dx[state.PLACE_GAIN_J] = u[given.PLACE_GAIN_W]
    into_w = outdoor_w + ground_w + u[given.PLACE_GAIN_W]
    into_w += dx[state.CONDENSER_TO_PLACE_J] + dx[state.SHELL_TO_PLACE_J]
    into_w += (
        dx[state.PUMP_J] - dx[state.PUMP_TO_WATER_J] + dx[state.BOARD_J] + dx[state.BATTERY_LOSS_J]
    )
    into_w -= dx[state.CABINET_TO_STORE_J] + dx[state.LID_TO_STORE_J]
    into_w -= dx[state.PLACE_TO_TUBE_J] + dx[state.PLACE_TO_ROOM_J]
    dx[state.PLACE_C] = into_w / p[param.PLACE_J_K]

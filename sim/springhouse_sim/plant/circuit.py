"""Loop water, tubes and the coil between water and air: their share of the right-hand side."""

import math

import numpy as np
from numpy.typing import NDArray

from . import coil, given, layers, loop, moist_air, param, state, store, tap, water

FREEZE_SPAN_K = 0.5  # least spread of the surface temperature about its mean
STIRRED_W_K = 10.0  # capacity rate above which the water keeps a cold end in the coil
FROST_MELT_W_M2_K = 50.0  # surface to melting frost; order of magnitude, no source
FROST_FILM_KG = 0.02  # less melting frost than this touches only part of the fins
PRIME_RATE_1_S = 0.1  # fastest change of the air content of the loop
FALL_BACK_S = 10.0  # in which a raised loop without check valve empties into the store


def flow(
    x: NDArray[np.float64],
    u: NDArray[np.float64],
    p: NDArray[np.float64],
    dx: NDArray[np.float64],
    t: NDArray[np.float64],
) -> None:
    """Flow and air content of the loop.

    Buoyancy alone moves nothing worth counting: 10 K between two legs of a metre are 3 Pa.
    """
    duty = t[tap.POWERED] * u[given.PUMP_DUTY]
    dry = u[given.AIR_IN_LOOP] > 0.5 or p[param.DRAW_M] > t[tap.LEVEL_M]
    target = 0.0
    if not dry and duty > 0.0:
        target = (
            loop.steady_l_min(p, x[state.SUPPLY_C], duty)
            * loop.lift_factor(p, duty, x[state.LOOP_AIR])
            * u[given.FLOW_FACTOR]
            * layers.draw_clear(x, p, t)
        )
        target = min(target, x[state.STORE_KG] / state.LAYERS / layers.RENEW_S * 60.0)
    dx[state.FLOW_L_MIN] = (target - x[state.FLOW_L_MIN]) / p[param.FLOW_LAG_S]
    if dry:
        dx[state.LOOP_AIR] = (1.0 - x[state.LOOP_AIR]) * PRIME_RATE_1_S
    elif duty <= 0.0 and p[param.STATIC_LIFT_M] > 0.0 and not holds_prime(u, p):
        dx[state.LOOP_AIR] = (1.0 - x[state.LOOP_AIR]) / FALL_BACK_S
    else:
        pushed = x[state.FLOW_L_MIN] / 60.0 / max(1e-3, p[param.PRIME_AIR_L])
        dx[state.LOOP_AIR] = -min(PRIME_RATE_1_S, pushed) * min(
            1.0, max(0.0, x[state.LOOP_AIR] / 0.3)
        )
    t[tap.DRAW_C] = x[state.WATER_C + store.layer_at(p[param.DRAW_M], t[tap.LEVEL_M])]


def holds_prime(u: NDArray[np.float64], p: NDArray[np.float64]) -> bool:
    """Return whether a check valve keeps the water up while the pump rests."""
    return bool(p[param.CHECK_VALVE] > 0.5 and u[given.CHECK_VALVE_OPEN] < 0.5)


def air_coil(
    x: NDArray[np.float64],
    u: NDArray[np.float64],
    p: NDArray[np.float64],
    dx: NDArray[np.float64],
    t: NDArray[np.float64],
    flow_kg_s: float,
) -> None:
    """Air side, surface, dew and frost of the coil."""
    air_c = x[state.ROOM_AIR_C]
    humidity = x[state.ROOM_HUMIDITY_RATIO]
    surface_c = x[state.COIL_C]
    pressure = u[given.PRESSURE_PA]
    duty = t[tap.POWERED] * u[given.FAN_DUTY] * u[given.FAN_FACTOR]
    air_m3_h = coil.air_m3_h(p, duty, x[state.FROST_KG])
    air_kg_s = air_m3_h / 3600.0 / moist_air.specific_volume_m3_kg(air_c, humidity, pressure)
    air_w_k = air_kg_s * moist_air.CP_MOIST_J_KG_K
    drop = coil.latent_drop(humidity, surface_c, pressure)
    wet = coil.wet_multiplier(air_c, surface_c, drop)
    hot_ua = coil.air_side_w_k(p, air_m3_h) * coil.wet_fins(p, air_m3_h, wet)
    touched = 1.0 - coil.bypass_factor(hot_ua / air_w_k)
    dew_kg_s = air_kg_s * touched * drop
    sensible_w = air_w_k * touched * (air_c - surface_c)
    latent_w = moist_air.LATENT_J_KG * dew_kg_s
    water_w_k = flow_kg_s * water.heat_capacity_j_kg_k(x[state.SUPPLY_C])
    cold_ua = coil.water_side_w_k(p, x[state.FLOW_L_MIN])
    total_w_k = coil.exchange_w_k(
        p[param.COUNTERFLOW], air_w_k * wet, water_w_k, hot_ua * wet, cold_ua
    )
    to_water_w = coil.surface_to_water_w_k(
        total_w_k, air_w_k * touched * wet, p[param.COIL_J_K] / 4.0
    ) * (surface_c - x[state.SUPPLY_C])
    off_c = air_c - sensible_w / air_w_k
    # The coldest spot is where leaving air meets entering water; from there the surface runs as
    # far above its mean as below.
    share = hot_ua * wet / (hot_ua * wet + cold_ua)
    spread_k = surface_c - x[state.SUPPLY_C] - share * (off_c - x[state.SUPPLY_C])
    spread_k = max(0.0, spread_k) * (1.0 - math.exp(-water_w_k / STIRRED_W_K))
    cold_end_c = surface_c - spread_k
    frozen = min(1.0, max(0.0, -cold_end_c / (2.0 * spread_k + FREEZE_SPAN_K)))
    melt_w = (
        FROST_MELT_W_M2_K
        * p[param.FIN_AREA_M2]
        * max(0.0, cold_end_c)
        * min(1.0, max(0.0, x[state.FROST_KG] / FROST_FILM_KG))
    )
    melt_kg_s = melt_w / water.LATENT_FUSION_J_KG
    freeze_w = water.LATENT_FUSION_J_KG * frozen * dew_kg_s
    dx[state.COIL_C] = (sensible_w + latent_w + freeze_w - melt_w - to_water_w) / p[param.COIL_J_K]
    dx[state.FROST_KG] = frozen * dew_kg_s - melt_kg_s
    drip_kg_s = (1.0 - frozen) * dew_kg_s + melt_kg_s
    dx[state.CONDENSATE_KG] = drip_kg_s
    dx[state.ROOM_TO_COIL_SENSIBLE_J] = sensible_w
    dx[state.ROOM_TO_COIL_LATENT_J] = latent_w
    dx[state.COIL_TO_WATER_J] = to_water_w
    dx[state.ROOM_HUMIDITY_RATIO] -= dew_kg_s / p[param.MOISTURE_KG]
    t[tap.AIR_M3_H] = air_m3_h
    t[tap.AIR_OFF_C] = off_c
    t[tap.AIR_OFF_HUMIDITY_RATIO] = humidity - dew_kg_s / air_kg_s
    t[tap.COIL_SENSIBLE_W] = sensible_w
    t[tap.COIL_LATENT_W] = latent_w
    t[tap.COIL_TO_WATER_W] = to_water_w
    t[tap.CONDENSATE_KG_S] = drip_kg_s
    t[tap.COIL_IN_C] = x[state.SUPPLY_C]
    t[tap.COIL_OUT_C] = x[state.SUPPLY_C] + to_water_w / max(water_w_k, 1.0)
    water_k = x[state.SUPPLY_C] - x[state.COIL_IN_PROBE_C]
    dx[state.COIL_IN_PROBE_C] = water_k / p[param.COIL_IN_PROBE_S]
    air_k = t[tap.AIR_OFF_C] - x[state.COIL_AIR_PROBE_C]
    dx[state.COIL_AIR_PROBE_C] = air_k / p[param.COIL_AIR_PROBE_S]


def tubes(
    x: NDArray[np.float64],
    p: NDArray[np.float64],
    dx: NDArray[np.float64],
    t: NDArray[np.float64],
    flow_kg_s: float,
) -> None:
    """Water in the two runs of tube; each is one stirred node (after ``air_coil``)."""
    supply_c = x[state.SUPPLY_C]
    return_c = x[state.RETURN_C]
    place_ua = p[param.TUBE_PLACE_UA_W_K]
    room_ua = p[param.TUBE_ROOM_UA_W_K]
    pump_w = t[tap.PUMP_W] * p[param.PUMP_TO_WATER_FRACTION]
    h_supply = water.enthalpy_j_kg(supply_c)
    supply_w = flow_kg_s * (water.enthalpy_j_kg(t[tap.DRAW_C]) - h_supply) + pump_w
    supply_w += place_ua * (x[state.PLACE_C] - supply_c) + room_ua * (
        x[state.ROOM_AIR_C] - supply_c
    )
    return_w = flow_kg_s * (h_supply - water.enthalpy_j_kg(return_c)) + t[tap.COIL_TO_WATER_W]
    return_w += place_ua * (x[state.PLACE_C] - return_c) + room_ua * (
        x[state.ROOM_AIR_C] - return_c
    )
    dx[state.SUPPLY_C] = supply_w / (p[param.TUBE_KG] * water.heat_capacity_j_kg_k(supply_c))
    dx[state.RETURN_C] = return_w / (p[param.TUBE_KG] * water.heat_capacity_j_kg_k(return_c))
    dx[state.PUMP_TO_WATER_J] = pump_w
    dx[state.PLACE_TO_TUBE_J] = place_ua * (2.0 * x[state.PLACE_C] - supply_c - return_c)
    dx[state.ROOM_TO_TUBE_J] = room_ua * (2.0 * x[state.ROOM_AIR_C] - supply_c - return_c)

"""Loop water, tubes and the coil between water and air: their share of the right-hand side."""

import math

import numpy as np
from numpy.typing import NDArray

from . import coil, layers, loop, moist_air, store, water
from . import given as U
from . import param as P
from . import state as X
from . import tap as T

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
    duty = t[T.POWERED] * u[U.PUMP_DUTY]
    dry = u[U.AIR_IN_LOOP] > 0.5 or p[P.DRAW_M] > t[T.LEVEL_M]
    target = 0.0
    if not dry and duty > 0.0:
        target = (
            loop.steady_l_min(p, x[X.SUPPLY_C], duty)
            * loop.lift_factor(p, duty, x[X.LOOP_AIR])
            * u[U.FLOW_FACTOR]
            * layers.draw_clear(x, p, t)
        )
        target = min(target, x[X.STORE_KG] / X.LAYERS / layers.RENEW_S * 60.0)
    dx[X.FLOW_L_MIN] = (target - x[X.FLOW_L_MIN]) / p[P.FLOW_LAG_S]
    if dry:
        dx[X.LOOP_AIR] = (1.0 - x[X.LOOP_AIR]) * PRIME_RATE_1_S
    elif duty <= 0.0 and p[P.STATIC_LIFT_M] > 0.0 and not holds_prime(u, p):
        dx[X.LOOP_AIR] = (1.0 - x[X.LOOP_AIR]) / FALL_BACK_S
    else:
        pushed = x[X.FLOW_L_MIN] / 60.0 / max(1e-3, p[P.PRIME_AIR_L])
        dx[X.LOOP_AIR] = -min(PRIME_RATE_1_S, pushed) * min(1.0, max(0.0, x[X.LOOP_AIR] / 0.3))
    t[T.DRAW_C] = x[X.WATER_C + store.layer_at(p[P.DRAW_M], t[T.LEVEL_M])]


def holds_prime(u: NDArray[np.float64], p: NDArray[np.float64]) -> bool:
    """Return whether a check valve keeps the water up while the pump rests."""
    return bool(p[P.CHECK_VALVE] > 0.5 and u[U.CHECK_VALVE_OPEN] < 0.5)


def air_coil(
    x: NDArray[np.float64],
    u: NDArray[np.float64],
    p: NDArray[np.float64],
    dx: NDArray[np.float64],
    t: NDArray[np.float64],
    flow_kg_s: float,
) -> None:
    """Air side, surface, dew and frost of the coil."""
    air_c = x[X.ROOM_AIR_C]
    humidity = x[X.ROOM_HUMIDITY_RATIO]
    surface_c = x[X.COIL_C]
    pressure = u[U.PRESSURE_PA]
    duty = t[T.POWERED] * u[U.FAN_DUTY] * u[U.FAN_FACTOR]
    air_m3_h = coil.air_m3_h(p, duty, x[X.FROST_KG])
    air_kg_s = air_m3_h / 3600.0 / moist_air.specific_volume_m3_kg(air_c, humidity, pressure)
    air_w_k = air_kg_s * moist_air.CP_MOIST_J_KG_K
    drop = coil.latent_drop(humidity, surface_c, pressure)
    wet = coil.wet_multiplier(air_c, surface_c, drop)
    hot_ua = coil.air_side_w_k(p, air_m3_h) * coil.wet_fins(p, air_m3_h, wet)
    touched = 1.0 - coil.bypass_factor(hot_ua / air_w_k)
    dew_kg_s = air_kg_s * touched * drop
    sensible_w = air_w_k * touched * (air_c - surface_c)
    latent_w = moist_air.LATENT_J_KG * dew_kg_s
    water_w_k = flow_kg_s * water.heat_capacity_j_kg_k(x[X.SUPPLY_C])
    cold_ua = coil.water_side_w_k(p, x[X.FLOW_L_MIN])
    total_w_k = coil.exchange_w_k(p[P.COUNTERFLOW], air_w_k * wet, water_w_k, hot_ua * wet, cold_ua)
    to_water_w = coil.surface_to_water_w_k(
        total_w_k, air_w_k * touched * wet, p[P.COIL_J_K] / 4.0
    ) * (surface_c - x[X.SUPPLY_C])
    off_c = air_c - sensible_w / air_w_k
    # The coldest spot is where leaving air meets entering water; from there the surface runs as
    # far above its mean as below.
    share = hot_ua * wet / (hot_ua * wet + cold_ua)
    spread_k = surface_c - x[X.SUPPLY_C] - share * (off_c - x[X.SUPPLY_C])
    spread_k = max(0.0, spread_k) * (1.0 - math.exp(-water_w_k / STIRRED_W_K))
    cold_end_c = surface_c - spread_k
    frozen = min(1.0, max(0.0, -cold_end_c / (2.0 * spread_k + FREEZE_SPAN_K)))
    melt_w = (
        FROST_MELT_W_M2_K
        * p[P.FIN_AREA_M2]
        * max(0.0, cold_end_c)
        * min(1.0, max(0.0, x[X.FROST_KG] / FROST_FILM_KG))
    )
    melt_kg_s = melt_w / water.LATENT_FUSION_J_KG
    freeze_w = water.LATENT_FUSION_J_KG * frozen * dew_kg_s
    dx[X.COIL_C] = (sensible_w + latent_w + freeze_w - melt_w - to_water_w) / p[P.COIL_J_K]
    dx[X.FROST_KG] = frozen * dew_kg_s - melt_kg_s
    drip_kg_s = (1.0 - frozen) * dew_kg_s + melt_kg_s
    dx[X.CONDENSATE_KG] = drip_kg_s
    dx[X.ROOM_TO_COIL_SENSIBLE_J] = sensible_w
    dx[X.ROOM_TO_COIL_LATENT_J] = latent_w
    dx[X.COIL_TO_WATER_J] = to_water_w
    dx[X.ROOM_HUMIDITY_RATIO] -= dew_kg_s / p[P.MOISTURE_KG]
    t[T.AIR_M3_H] = air_m3_h
    t[T.AIR_OFF_C] = off_c
    t[T.AIR_OFF_HUMIDITY_RATIO] = humidity - dew_kg_s / air_kg_s
    t[T.COIL_SENSIBLE_W] = sensible_w
    t[T.COIL_LATENT_W] = latent_w
    t[T.COIL_TO_WATER_W] = to_water_w
    t[T.CONDENSATE_KG_S] = drip_kg_s
    t[T.COIL_IN_C] = x[X.SUPPLY_C]
    t[T.COIL_OUT_C] = x[X.SUPPLY_C] + to_water_w / max(water_w_k, 1.0)
    dx[X.COIL_IN_PROBE_C] = (x[X.SUPPLY_C] - x[X.COIL_IN_PROBE_C]) / p[P.COIL_IN_PROBE_S]
    dx[X.COIL_AIR_PROBE_C] = (t[T.AIR_OFF_C] - x[X.COIL_AIR_PROBE_C]) / p[P.COIL_AIR_PROBE_S]


def tubes(
    x: NDArray[np.float64],
    p: NDArray[np.float64],
    dx: NDArray[np.float64],
    t: NDArray[np.float64],
    flow_kg_s: float,
) -> None:
    """Water in the two runs of tube; each is one stirred node (after ``air_coil``)."""
    supply_c = x[X.SUPPLY_C]
    return_c = x[X.RETURN_C]
    place_ua = p[P.TUBE_PLACE_UA_W_K]
    room_ua = p[P.TUBE_ROOM_UA_W_K]
    pump_w = t[T.PUMP_W] * p[P.PUMP_TO_WATER_FRACTION]
    h_supply = water.enthalpy_j_kg(supply_c)
    supply_w = flow_kg_s * (water.enthalpy_j_kg(t[T.DRAW_C]) - h_supply) + pump_w
    supply_w += place_ua * (x[X.PLACE_C] - supply_c) + room_ua * (x[X.ROOM_AIR_C] - supply_c)
    return_w = flow_kg_s * (h_supply - water.enthalpy_j_kg(return_c)) + t[T.COIL_TO_WATER_W]
    return_w += place_ua * (x[X.PLACE_C] - return_c) + room_ua * (x[X.ROOM_AIR_C] - return_c)
    dx[X.SUPPLY_C] = supply_w / (p[P.TUBE_KG] * water.heat_capacity_j_kg_k(supply_c))
    dx[X.RETURN_C] = return_w / (p[P.TUBE_KG] * water.heat_capacity_j_kg_k(return_c))
    dx[X.PUMP_TO_WATER_J] = pump_w
    dx[X.PLACE_TO_TUBE_J] = place_ua * (2.0 * x[X.PLACE_C] - supply_c - return_c)
    dx[X.ROOM_TO_TUBE_J] = room_ua * (2.0 * x[X.ROOM_AIR_C] - supply_c - return_c)

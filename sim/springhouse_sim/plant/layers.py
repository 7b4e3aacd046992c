"""Heat, ice and water in the layers of the store: its share of the right-hand side.

Each layer's energy is m_liquid h(T) - m_ice L with liquid and ice at 0 °C as zero and -L, so
freezing costs L plus the sensible heat of the water that freezes, and meltwater enters at 0 °C.
"""

import math

import numpy as np
from numpy.typing import NDArray

from . import given, ice, param, state, store, tap, water

PARTIAL_ICE_KG_M2 = 0.1  # thinner melting ice covers only part of the wall
LOOSE_K = 0.5  # evaporator so far above 0 °C: the bond of the ice to the wall has melted
MIX_CAP_S = 32.0  # heat capacity of a layer over its greatest conductance to a neighbour
RENEW_S = 10.0  # shortest time in which the loop or the jet may renew a layer
PLUMES_M3_KG = 100.0  # the inverse of the density difference over which the plume fades out
PROBE_FILM_M = 0.008  # thickness of the cold boundary layer a probe near the wall feels


def measure(x: NDArray[np.float64], p: NDArray[np.float64], t: NDArray[np.float64]) -> None:
    """Write densities, level, volume, ice, mean and least liquid temperature into ``t``."""
    layer_kg = x[state.STORE_KG] / state.LAYERS
    volume_m3 = 0.0
    ice_kg = 0.0
    heat = 0.0
    lowest_c = x[state.WATER_C]
    for i in range(state.LAYERS):
        water_c = x[state.WATER_C + i]
        wall_kg = x[state.ICE_KG + i]
        t[tap.DENSITY_KG_M3 + i] = water.density_kg_m3(water_c)
        volume_m3 += (layer_kg - wall_kg) / t[tap.DENSITY_KG_M3 + i] + wall_kg / water.ICE_KG_M3
        ice_kg += wall_kg
        heat += (layer_kg - wall_kg) * water_c
        lowest_c = min(lowest_c, water_c)
    t[tap.STORE_L] = volume_m3 * 1000.0
    t[tap.LEVEL_M] = volume_m3 / p[param.STORE_AREA_M2]
    t[tap.ICE_KG] = ice_kg
    t[tap.STORE_MEAN_C] = heat / max(1e-9, x[state.STORE_KG] - ice_kg)
    t[tap.STORE_MIN_C] = lowest_c


def store_rates(
    x: NDArray[np.float64],
    u: NDArray[np.float64],
    p: NDArray[np.float64],
    dx: NDArray[np.float64],
    t: NDArray[np.float64],
    flow_kg_s: float,
) -> None:
    """Fill the rates of water, ice, store mass, store probes and their totals.

    Needs ``measure`` first.  Leaves the heat taken by the evaporator wall in
    ``t[WALL_TO_EVAPORATOR_W]`` and that entering the wall band in the evaporator's own rate.
    """
    gains(x, u, p, dx, t)
    exchange(x, p, dx, t, flow_kg_s)
    circulate(x, p, dx, t, flow_kg_s)
    walls(x, p, dx, t)
    ice.nucleates(x, p, dx, t)
    layer_kg = x[state.STORE_KG] / state.LAYERS
    least_kg = layer_kg
    for i in range(state.LAYERS):
        water_c = x[state.WATER_C + i]
        liquid_kg = max(1e-3, layer_kg - x[state.ICE_KG + i])
        least_kg = min(least_kg, liquid_kg)
        dx[state.WATER_C + i] /= liquid_kg * water.heat_capacity_j_kg_k(water_c)
    leak(x, u, dx, least_kg)


def gains(
    x: NDArray[np.float64],
    u: NDArray[np.float64],
    p: NDArray[np.float64],
    dx: NDArray[np.float64],
    t: NDArray[np.float64],
) -> None:
    """Add heat from the place through sides, floor, lid and the evaporator band [W]."""
    place_c = x[state.PLACE_C]
    factor = u[given.CABINET_FACTOR]
    cabinet_w = 0.0
    for i in range(state.LAYERS):
        side_w = (
            factor * p[param.CABINET_SIDE_UA_W_K] / state.LAYERS * (place_c - x[state.WATER_C + i])
        )
        dx[state.WATER_C + i] += side_w
        cabinet_w += side_w
    floor_w = factor * p[param.CABINET_FLOOR_UA_W_K] * (place_c - x[state.WATER_C])
    dx[state.WATER_C] += floor_w
    lid_w = p[param.LID_UA_W_K] * (place_c - x[state.WATER_C + state.LAYERS - 1])
    dx[state.WATER_C + state.LAYERS - 1] += lid_w
    band_w = factor * p[param.CABINET_BAND_UA_W_K] * (place_c - x[state.EVAPORATOR_C])
    dx[state.EVAPORATOR_C] += band_w / p[param.EVAPORATOR_J_K]
    cabinet_w += floor_w + band_w
    t[tap.CABINET_W] = cabinet_w
    t[tap.LID_W] = lid_w
    dx[state.CABINET_TO_STORE_J] = cabinet_w
    dx[state.LID_TO_STORE_J] = lid_w


def exchange(
    x: NDArray[np.float64],
    p: NDArray[np.float64],
    dx: NDArray[np.float64],
    t: NDArray[np.float64],
    flow_kg_s: float,
) -> None:
    """Add heat between neighbours [W]: conduction, buoyant mixing and the return jet.

    The jet entrains 0.32 times reach over bore (Ricou and Spalding 1961), half from either side.
    """
    layer_kg = x[state.STORE_KG] / state.LAYERS
    layer_m = max(1e-3, t[tap.LEVEL_M] / state.LAYERS)
    area_m2 = p[param.STORE_AREA_M2]
    cap_w_k = layer_kg * water.CP_0 / MIX_CAP_S
    jet_kg_s = min(0.5 * p[param.JET_ENTRAINMENT] * flow_kg_s, layer_kg / RENEW_S / 4.0)
    entry = store.layer_at(p[param.RETURN_M], t[tap.LEVEL_M])
    for i in range(state.LAYERS - 1):
        lower_c = x[state.WATER_C + i]
        upper_c = x[state.WATER_C + i + 1]
        still_w_k = (water.conductivity_w_m_k(lower_c) * area_m2 + p[param.LINER_W_M_K]) / layer_m
        mixed_w_k = store.mixing_w_k(
            t[tap.DENSITY_KG_M3 + i], t[tap.DENSITY_KG_M3 + i + 1], area_m2, layer_m
        )
        w_k = min(cap_w_k, still_w_k + mixed_w_k)
        if i == entry or i + 1 == entry:
            w_k += jet_kg_s * water.CP_0
        heat_w = w_k * (lower_c - upper_c)
        dx[state.WATER_C + i] -= heat_w
        dx[state.WATER_C + i + 1] += heat_w


def circulate(
    x: NDArray[np.float64],
    p: NDArray[np.float64],
    dx: NDArray[np.float64],
    t: NDArray[np.float64],
    flow_kg_s: float,
) -> None:
    """Add the enthalpy that the loop's water carries through the layers [W], upwind."""
    draw = store.layer_at(p[param.DRAW_M], t[tap.LEVEL_M])
    entry = store.layer_at(p[param.RETURN_M], t[tap.LEVEL_M])
    step = 1 if draw > entry else -1
    before = water.enthalpy_j_kg(x[state.RETURN_C])
    layer = entry
    for _ in range(state.LAYERS):
        here = water.enthalpy_j_kg(x[state.WATER_C + layer])
        dx[state.WATER_C + layer] += flow_kg_s * (before - here)
        before = here
        if layer == draw:
            break
        layer += step


def wall_flows(
    p: NDArray[np.float64],
    evaporator_c: float,
    water_c: float,
    ice_kg: float,
    liquid_share: float,
    area_m2: float,
    seeded: float,
) -> tuple[float, float, float, float]:
    """Return what happens at the wall of one layer.

    Where the wall would be below 0 °C ice grows with what the wall draws beyond what the water
    brings; otherwise ice melts from the water side.  The last film of melting ice covers a falling
    share of the wall, which makes its end smooth.  ``liquid_share`` is that of the layer's mass;
    ``seeded`` is 1 where ice can grow, 0 where supercooled water still meets the bare wall.

    Returns:
        heat from water through the film [W], heat into the evaporator [W], ice growth [kg/s],
        share of the wall under ice [-].
    """
    wall = p[param.EVAPORATOR_WALL_W_M2_K]
    ice_m = ice_kg / (water.ICE_KG_M3 * area_m2)
    iced_w = area_m2 * store.ice_to_evaporator_w_m2(evaporator_c, ice_m, wall)
    brought_w = area_m2 * store.ice_film_w_m2_k(p, water_c) * (water_c - water.FREEZING_C)
    if iced_w >= brought_w:
        # The last liquid of a layer does not freeze: a store frozen through just gets no colder.
        spare = min(1.0, max(0.0, (liquid_share - 0.03) / 0.05))
        frozen_w = seeded * spare * (iced_w - brought_w)
        growth = frozen_w / (water.LATENT_FUSION_J_KG + water.enthalpy_j_kg(water_c))
        taken_w = brought_w
        if seeded < 1.0:
            bare_w = area_m2 * store.dry_wall_w_m2(p, water_c, evaporator_c)
            taken_w = seeded * brought_w + (1.0 - seeded) * bare_w
        return taken_w, taken_w + frozen_w, growth, seeded
    cover = min(1.0, ice_kg / (PARTIAL_ICE_KG_M2 * area_m2))
    dry_w = area_m2 * store.dry_wall_w_m2(p, water_c, evaporator_c)
    # Loose ice lets water behind it: two faces melt and the whole wall is bare.
    loose = min(1.0, max(0.0, evaporator_c / LOOSE_K))
    held = cover * (1.0 - loose)
    melted_w = held * (brought_w - iced_w) + 2.0 * cover * loose * brought_w
    wall_w = held * iced_w + (1.0 - held) * dry_w
    return wall_w + melted_w, wall_w, -melted_w / water.LATENT_FUSION_J_KG, held


def plume_share(
    film_kg_m3: float, here_kg_m3: float, below_kg_m3: float, above_kg_m3: float
) -> float:
    """Return the share of a wall's cooling that its plume carries on, negative downward.

    Water in the film at the wall sinks (or, near freezing, rises) into the next layer as long as
    it is denser (lighter) than what it meets there.
    """
    heavier = film_kg_m3 - here_kg_m3
    if heavier > 0.0:
        drive = min(heavier, film_kg_m3 - below_kg_m3)
        return -min(1.0, max(0.0, drive * PLUMES_M3_KG))
    drive = min(-heavier, above_kg_m3 - film_kg_m3)
    return min(1.0, max(0.0, drive * PLUMES_M3_KG))


def add_cooling(
    x: NDArray[np.float64],
    dx: NDArray[np.float64],
    t: NDArray[np.float64],
    i: int,
    taken_w: float,
    facing_c: float,
) -> None:
    """Take the wall's heat [W] out of layer ``i`` and the neighbour its plume reaches.

    A filling box (Baines and Turner 1969) in its simplest form: the film carries its cold into
    the next layer, and as much water comes back from there.  A film half as cold as the wall
    moves twice its conductance in W/K; it gathers along the whole wall, so on average it moves
    half that of all layers.
    """
    water_c = x[state.WATER_C + i]
    below = max(0, i - 1)
    above = min(state.LAYERS - 1, i + 1)
    share = plume_share(
        water.density_kg_m3(0.5 * (facing_c + water_c)),
        t[tap.DENSITY_KG_M3 + i],
        t[tap.DENSITY_KG_M3 + below],
        t[tap.DENSITY_KG_M3 + above],
    )
    if share == 0.0:
        dx[state.WATER_C + i] -= taken_w
        return
    other = above if share > 0.0 else below
    carried = abs(share)
    returned_w_k = carried * state.LAYERS * taken_w / max(0.2, water_c - facing_c)
    returned_w = max(0.0, returned_w_k) * (x[state.WATER_C + other] - water_c)
    dx[state.WATER_C + i] += returned_w - (1.0 - carried) * taken_w
    dx[state.WATER_C + other] -= returned_w + carried * taken_w


def walls(
    x: NDArray[np.float64],
    p: NDArray[np.float64],
    dx: NDArray[np.float64],
    t: NDArray[np.float64],
) -> None:
    """Add heat from water and ice to the evaporator [W], ice growth [kg/s] and probe rates."""
    evaporator_c = x[state.EVAPORATOR_C]
    layer_kg = x[state.STORE_KG] / state.LAYERS
    layer_m = t[tap.LEVEL_M] / state.LAYERS
    high = store.middle_at(p[param.PROBE_HIGH_M], t[tap.LEVEL_M])
    high_c = water_at_c(x, high)
    total_w = 0.0
    coldest_c = 60.0
    for i in range(state.LAYERS):
        area_m2 = p[param.STORE_PERIMETER_M] * store.overlap_m(
            i * layer_m, (i + 1) * layer_m, p[param.EVAPORATOR_FROM_M], p[param.EVAPORATOR_TO_M]
        )
        ice_kg = max(0.0, x[state.ICE_KG + i])
        if area_m2 < 1e-3 and ice_kg < 1e-9:
            continue
        area_m2 = max(1e-3, area_m2)
        water_c = x[state.WATER_C + i]
        liquid_share = (layer_kg - ice_kg) / layer_kg
        seeded = min(1.0, x[state.NUCLEI] + ice_kg / (PARTIAL_ICE_KG_M2 * area_m2))
        taken_w, wall_w, growth, cover = wall_flows(
            p, evaporator_c, water_c, ice_kg, liquid_share, area_m2, seeded
        )
        dx[state.ICE_KG + i] = growth
        surface_c = evaporator_c + wall_w / (area_m2 * p[param.EVAPORATOR_WALL_W_M2_K])
        facing_c = (1.0 - cover) * surface_c + cover * water.FREEZING_C
        add_cooling(x, dx, t, i, taken_w, facing_c)
        dx[state.WATER_C + i] += min(0.0, growth) * water.enthalpy_j_kg(water_c)
        total_w += wall_w
        coldest_c = min(coldest_c, surface_c)
        share = 1.0 - abs(high - i)
        if share > 0.0:
            ice_m = ice_kg / (water.ICE_KG_M3 * area_m2)
            near_c = near_wall_c(p[param.PROBE_HIGH_WALL_M], ice_m, surface_c, facing_c, water_c)
            high_c += share * (near_c - water_c)
    dx[state.EVAPORATOR_C] += total_w / p[param.EVAPORATOR_J_K]
    t[tap.WALL_TO_EVAPORATOR_W] = total_w
    t[tap.WALL_MIN_C] = coldest_c
    probes(x, p, dx, t, high_c)


def water_at_c(x: NDArray[np.float64], middle: float) -> float:
    """Return the water's temperature [°C] at a height as `store.middle_at` gives it.

    Linear between the middles of neighbouring layers, so that a reading does not jump where the
    water rises or swells past a border between layers.
    """
    below = int(middle)
    above = min(state.LAYERS - 1, below + 1)
    f = middle - below
    return float((1.0 - f) * x[state.WATER_C + below] + f * x[state.WATER_C + above])


def near_wall_c(
    distance_m: float, ice_m: float, surface_c: float, facing_c: float, water_c: float
) -> float:
    """Return what a point ``distance_m`` from the evaporator wall sees [°C].

    Inside the ice: on the straight line from wall surface to 0 °C.  In the water: the layer,
    pulled toward the surface it faces by a boundary layer of PROBE_FILM_M.
    """
    if ice_m > distance_m:
        return surface_c * (1.0 - distance_m / ice_m)
    pull = math.exp(-(distance_m - ice_m) / PROBE_FILM_M)
    return pull * facing_c + (1.0 - pull) * water_c


def probes(
    x: NDArray[np.float64],
    p: NDArray[np.float64],
    dx: NDArray[np.float64],
    t: NDArray[np.float64],
    high_c: float,
) -> None:
    """Fill the rates of the store probes; one above the water sees the air under the lid."""
    level_m = t[tap.LEVEL_M]
    air_c = 0.5 * (x[state.PLACE_C] + x[state.WATER_C + state.LAYERS - 1])
    low_c = water_at_c(x, store.middle_at(p[param.PROBE_LOW_M], level_m))
    if p[param.PROBE_LOW_M] > level_m:
        low_c = air_c
    if p[param.PROBE_HIGH_M] > level_m:
        high_c = air_c
    dx[state.STORE_LOW_PROBE_C] = (low_c - x[state.STORE_LOW_PROBE_C]) / p[param.STORE_PROBE_S]
    dx[state.STORE_HIGH_PROBE_C] = (high_c - x[state.STORE_HIGH_PROBE_C]) / p[param.STORE_PROBE_S]


def draw_clear(x: NDArray[np.float64], p: NDArray[np.float64], t: NDArray[np.float64]) -> float:
    """Return how far ice leaves the draw open [-]: from 1 at 60 % ice in its layer to 0 at 90 %.

    An order of magnitude, no source: slush still passes, a frozen layer does not.
    """
    draw = store.layer_at(p[param.DRAW_M], t[tap.LEVEL_M])
    share = x[state.ICE_KG + draw] * state.LAYERS / max(1e-9, x[state.STORE_KG])
    return float(min(1.0, max(0.0, (0.9 - share) / 0.3)))


def leak(
    x: NDArray[np.float64],
    u: NDArray[np.float64],
    dx: NDArray[np.float64],
    least_kg: float,
) -> None:
    """Fill the rates of store mass and leak: every layer loses alike, ice stays.

    The leak dries up over the last kilogram of liquid in the emptiest layer.
    """
    leak_kg_s = u[given.LEAK_L_S] * min(1.0, max(0.0, least_kg - 0.2))
    enthalpy = 0.0
    for i in range(state.LAYERS):
        enthalpy += water.enthalpy_j_kg(x[state.WATER_C + i]) / state.LAYERS
    dx[state.STORE_KG] = -leak_kg_s
    dx[state.LEAKED_KG] = leak_kg_s
    dx[state.LEAK_J] = leak_kg_s * enthalpy

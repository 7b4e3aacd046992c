"""One charge of the store: the cold it holds, the hours it lasts, the hours it takes."""

from bisect import bisect_right
from dataclasses import dataclass

import numpy as np
from springhouse_sim.plant import given, moist_air, param, water

from .working_point import Array, Case, Delivery

MARCH_S = 300.0
LONGEST_H = 72.0
J_KWH = 3.6e6


@dataclass(frozen=True)
class Discharge:
    """One charge spent on the mean gain of the wanted hours, without a pause."""

    hours: float  # room held; where not even a full store covers the gain, as useful_h
    useful_h: float  # until the store is of no use, pump at full duty once the room is not held
    end_c: float  # store temperature at which full delivery no longer covers the gain
    room_share: float  # of the gain that full delivery covers with a full store, at most 1
    condensate_kg: float  # within the wanted hours of one day

    @property
    def held_h(self) -> float:
        """Hours that the room stays at its target; 0 where not even a full store covers it."""
        return self.hours if self.room_share >= 1.0 else 0.0


def litres_kg(litres: float) -> float:
    """Return the mass of so many litres of cold water [kg]."""
    return litres / 1000.0 * water.density_kg_m3(5.0)


def cold_kwh(litres: float, from_c: float, to_c: float, ice_kg: float = 0.0) -> float:
    """Return the heat a store takes up between two temperatures, its ice included [kWh]."""
    span_j_kg = water.enthalpy_j_kg(to_c) - water.enthalpy_j_kg(from_c)
    return (litres_kg(litres) * span_j_kg + ice_kg * water.LATENT_FUSION_J_KG) / J_KWH


def hours_between(
    store_c: Array, net_w: Array, litres: float, warm_c: float, cold_c: float
) -> float | None:
    """Return how long ``net_w`` over rising ``store_c`` takes to chill the water [h].

    None where it does not suffice on the way.
    """
    edges = np.linspace(cold_c, warm_c, 51)
    watts = np.interp(0.5 * (edges[1:] + edges[:-1]), store_c, net_w)
    if np.any(watts <= 0.0):
        return None
    enthalpy = np.array([water.enthalpy_j_kg(float(t)) for t in edges])
    return float(np.sum(litres_kg(litres) * np.diff(enthalpy) / watts) / 3600.0)


class Between:
    """A table of ``Delivery`` between its points, straight lines as of `numpy.interp`.

    In plain floats: a march asks it ten thousand times for one point each. Outside the table its
    edges hold.
    """

    def __init__(self, d: Delivery, table: Array) -> None:
        """``table`` has the shape (store, humidity) of the delivery ``d``."""
        self._store_c: list[float] = d.store_c.tolist()
        self._humidity: list[float] = d.humidity.tolist()
        self._columns: list[list[float]] = table.T.tolist()

    def __call__(self, store_c: float, humidity: float) -> float:
        """Return the value at a store temperature [°C] and a humidity ratio [kg/kg]."""
        return line(
            humidity, self._humidity, [line(store_c, self._store_c, c) for c in self._columns]
        )


def line(x: float, xs: list[float], ys: list[float]) -> float:
    """Return what lies on the lines between points of rising ``xs``, the ends held outside."""
    if x >= xs[-1]:
        return ys[-1]
    k = bisect_right(xs, x) - 1
    if k < 0:
        return ys[0]
    return (ys[k + 1] - ys[k]) / (xs[k + 1] - xs[k]) * (x - xs[k]) + ys[k]


def discharge(
    case: Case, d: Delivery, gain_w: float, u: Array, wanted_h: float, litres: float | None = None
) -> Discharge:
    """Return one charge spent on ``gain_w``, the room's moisture following.

    The pump runs the share of the time that takes away just the gain; where not even a full store
    covers it, all the time until the store is of no use. Ice of a declared ice bank is spent
    first, at the deep target. ``litres`` stand in for the store's own.
    """
    store = case.site.file.store
    ice_j = store.ice_limit_kg * water.LATENT_FUSION_J_KG if store.ice_bank else 0.0
    heat_j_k = litres_kg(store.water_litres if litres is None else litres) * 4200.0
    outdoor = float(u[given.OUTDOOR_HUMIDITY_RATIO])
    fresh_kg_s = float(case.p[param.INFILTRATION_M3_S]) / moist_air.specific_volume_m3_kg(
        float(u[given.OUTDOOR_C]), outdoor, float(u[given.PRESSURE_PA])
    )
    store_c, humidity = case.deep_c, float(d.humidity[-1])
    hours = condensate_kg = 0.0
    held: tuple[float, float, float] | None = None  # hours, store and condensate at its end
    tables = (d.room_w, d.water_w, d.standing_w, d.condensate_kg_s)
    room_w_at, water_w_at, standing_w_at, condensate_kg_s_at = (Between(d, t) for t in tables)
    warmest_c = float(d.store_c[-1])
    moisture_kg, people_kg_s = (
        float(case.p[param.MOISTURE_KG]),
        float(u[given.PEOPLE_MOISTURE_KG_S]),
    )
    full_w = room_w_at(store_c, humidity)
    while hours < LONGEST_H and store_c < warmest_c:
        room_w = room_w_at(store_c, humidity)
        if held is None and room_w < gain_w <= full_w:
            held = (hours, store_c, condensate_kg)
        duty = min(1.0, max(0.0, gain_w) / max(1.0, room_w))
        into_j = MARCH_S * duty * water_w_at(store_c, humidity)
        into_j += MARCH_S * max(0.0, standing_w_at(store_c, humidity))
        dew_kg_s = duty * condensate_kg_s_at(store_c, humidity)
        melted_j = min(ice_j, into_j)
        ice_j -= melted_j
        store_c += (into_j - melted_j) / heat_j_k
        vapour_kg_s = people_kg_s + fresh_kg_s * (outdoor - humidity) - dew_kg_s
        humidity += MARCH_S * vapour_kg_s / moisture_kg
        if hours < wanted_h:
            condensate_kg += MARCH_S * dew_kg_s
        hours += MARCH_S / 3600.0
    share = min(1.0, max(0.0, full_w) / max(1.0, gain_w))
    useful_h = hours
    if held is not None:
        hours, store_c, condensate_kg = held
    return Discharge(hours, useful_h, min(store_c, warmest_c), share, condensate_kg)

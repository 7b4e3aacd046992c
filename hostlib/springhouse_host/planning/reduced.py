"""The installation as a few numbers, taken from one run of the full plant.

One temperature of the store, two nodes of the room (as the lower bound has them), a machine whose
cooling and input are straight lines over the temperature of its place, a coil whose sensible heat
is in proportion to room less store, and what condenses at it. All but the room's nodes is read off
a run of the plant with the real controller: half a day of delivery, then a charge.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from springhouse import advice, output, setting
from springhouse.ahead import QUARTER_MIN
from springhouse_sim.bench import parameters
from springhouse_sim.plant import moist_air, param, state, water
from springhouse_sim.trace import Trace
from springhouse_sim.world.plan import Quarter

from ..site.site import Site
from ..tuning import best_parts, bound
from . import around as weather_around
from .around import Around, Array

DELIVER_H, CHARGE_H = 12, 24
COLDEST_ROOM_MC = 15000  # target of the room in that run, so that it is cooled throughout
LATENT_OVER_SENSIBLE_K = moist_air.LATENT_J_KG / moist_air.CP_MOIST_J_KG_K
SETTLED_MIN = 20  # of a charge before its figures count
SPELL_MIN, LOOKED_AT_MIN = 10, 90  # of the delivery: when its figures begin to count, how long
LEAST_OVER_K = 3.0


@dataclass(frozen=True)
class Reduced:
    """The numbers; kW, kWh, K and hours."""

    store_kwh_k: float
    gain_kw_k: float
    reach_kw_k: float  # sensible heat of coil and tubes over room less store
    coil_share: float  # how far the coil's surface lies between store (0) and room (1)
    cooling_kw: tuple[float, float]  # at a place of 25 °C, and a kelvin
    input_kw: tuple[float, float]
    place_rise_k: float  # of the place, while the machine runs
    pump_kw: float  # pump and fans of a delivery
    idle_kw: float
    moisture_kg: float  # of dry air that the room's moisture is spread over
    fresh_kg_h: float  # of dry air that comes in
    after: Array  # room's nodes, see `bound.room_steps`
    by_kw: Array
    mean: Array
    mean_by_kw: float

    def machine(self, place_c: Array) -> tuple[Array, Array]:
        """Return cooling and input [kW] while it runs, for places as warm as without it."""
        over_k = place_c + self.place_rise_k - REFERENCE_PLACE_C
        cooling, drawn = (line[0] + line[1] * over_k for line in (self.cooling_kw, self.input_kw))
        return np.maximum(cooling, 1e-3), np.maximum(drawn, 1e-3)

    def latent_share(self, room_c: float, humidity: float, store_c: float) -> float:
        """Return latent over sensible heat at the coil: air towards saturation at its surface."""
        coil_c = store_c + self.coil_share * (room_c - store_c)
        wet = moist_air.saturated_humidity_ratio(coil_c, PRESSURE_PA)
        over = LATENT_OVER_SENSIBLE_K * (humidity - wet) / max(0.5, room_c - coil_c)
        return max(0.0, float(over))


REFERENCE_PLACE_C = 25.0
PRESSURE_PA = 101_325.0


def identify(site: Site, around: Around) -> Reduced:
    """Return the numbers of a site, from a run of its full plant in these surroundings."""
    settings = site.settings()
    deep_mc = settings[setting.DEEP_MC]
    initial = site.plant().initial()
    initial[state.WATER_C : state.WATER_C + state.LAYERS] = deep_mc / 1000.0
    wait, charge = Quarter(advice.WAIT, 1), Quarter(advice.CHARGE, 0, deep_mc)
    plan = [wait] * (DELIVER_H * 4) + [charge] * (CHARGE_H * 4)
    windows = range(setting.WINDOW_1_KIND, setting.SIZE, setting.WINDOW_STRIDE)
    changes = [
        (setting.ADVISED, advice.CHARGING_AND_ROOM),
        (setting.ROOM_TARGET_MC, COLDEST_ROOM_MC),
    ]
    changes += [(slot, 0) for slot in windows]
    trace = weather_around.follow(
        site, around, (DELIVER_H + CHARGE_H) / 24.0, plan, initial, changes
    )
    free = weather_around.without_store(site, around, (DELIVER_H + CHARGE_H) / 24.0)
    return _fitted(site, trace, free)


def _running(trace: Trace, bit: int) -> NDArray[np.bool_]:
    """Return the minutes in which an output has been on for a while."""
    on = trace.column("out").astype(np.int64) & bit != 0
    settled = on.copy()
    for n in range(1, SETTLED_MIN):
        settled[n:] &= on[:-n]
    settled[:SETTLED_MIN] = False
    return np.asarray(settled)


def _line(x: Array, y: Array) -> tuple[float, float]:
    """Return value at the reference and slope of a straight line through points."""
    if len(x) < 2 or float(np.ptp(x)) < 0.5:
        return float(y.mean()), 0.0
    slope, at = np.polyfit(x - REFERENCE_PLACE_C, y, 1)
    return float(at), float(slope)


def _coil(p: Array, trace: Trace) -> tuple[float, float, float]:
    """Return reach of coil and tubes [W/K], the coil's place between store and room, power [W].

    Over the first hours of the delivery, the pauses of a pump that runs in spells counted; by its
    parts where the room was too cold for any delivery.
    """
    tubes_w_k = 2.0 * float(p[param.TUBE_ROOM_UA_W_K])
    on = trace.column("out").astype(np.int64) & output.PUMP != 0
    on[DELIVER_H * 60 :] = False
    over_k = trace.column("room_air_c") - trace.column("store_mean_c")
    first = int(np.argmax(on)) + SPELL_MIN
    span = slice(first, first + LOOKED_AT_MIN)
    part = on[span]
    if not part.any() or float(over_k[span].min()) < LEAST_OVER_K:
        pump_w = float((p[param.PUMP_POWER_W] + p[param.FAN_POWER_W]) / p[param.SUPPLY_EFFICIENCY])
        return best_parts.coil_w_k(p), 0.0, pump_w
    sensible_w, mains_w = trace.column("coil_sensible_w")[span], trace.column("mains_w")
    coil_k = (trace.column("coil_c") - trace.column("store_mean_c"))[span]
    share = float((coil_k[part] / over_k[span][part]).mean())
    power_w = float(mains_w[span][part].mean() - mains_w.min())
    reach_w_k = float(sensible_w.sum() / over_k[span].sum())
    return reach_w_k + tubes_w_k * float(part.mean()), max(0.0, share), power_w


def _fitted(site: Site, trace: Trace, free: Trace) -> Reduced:
    p = parameters(site.plant())
    place_c = trace.column("place_c")
    charging = _running(trace, output.COMPRESSOR)
    mains_kw = trace.column("mains_w") / 1000.0
    resting = ~charging & (trace.column("out").astype(np.int64) == 0)
    idle_kw = float(mains_kw[resting].min()) if resting.any() else 0.0
    kg = float(trace.begun[state.STORE_KG])
    cp = (water.enthalpy_j_kg(15.0) - water.enthalpy_j_kg(5.0)) / 10.0
    gain_w_k = float(
        p[param.CABINET_SIDE_UA_W_K] + p[param.CABINET_BAND_UA_W_K] + p[param.CABINET_FLOOR_UA_W_K]
        + p[param.LID_UA_W_K]
    )  # fmt: skip
    reach_w_k, coil_share, pump_w = _coil(p, trace)
    after, by_kw, mean, mean_by_kw = bound.room_steps(p, QUARTER_MIN)
    net_kw = trace.column("capacity_w")[charging] / 1000.0
    return Reduced(
        store_kwh_k=kg * cp / 3.6e6,
        gain_kw_k=gain_w_k / 1000.0,
        reach_kw_k=reach_w_k / 1000.0,
        coil_share=coil_share,
        cooling_kw=_line(place_c[charging], net_kw),
        input_kw=_line(place_c[charging], mains_kw[charging] - idle_kw),
        place_rise_k=float((place_c - free.column("place_c"))[charging].mean()),
        pump_kw=pump_w / 1000.0,
        idle_kw=idle_kw,
        moisture_kg=float(p[param.MOISTURE_KG]),
        fresh_kg_h=float(p[param.INFILTRATION_M3_S]) / bound.STILL_AIR_M3_KG * 3600.0,
        after=after,
        by_kw=by_kw,
        mean=mean,
        mean_by_kw=mean_by_kw,
    )

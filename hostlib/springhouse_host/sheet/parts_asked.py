"""What is asked about parts: one fan or two, how loud, antifreeze or salt, a lid or none."""

import math
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from springhouse_sim.plant import given, moist_air, state, tap, water
from springhouse_sim.plant.kept_cycles import KeptCycles, Row

from ..site import coil_sides
from ..site.fan_air import static_pa
from .working_point import Array, Case

if TYPE_CHECKING:
    from springhouse_sim.plant.coil import Coil

COLD_C = 5.0
PA = 101325.0
# By name: incompressible of CoolProp, mass fraction. What else they do, common practice.
BRINES = {
    "propylene glycol 30 %": "INCOMP::MPG[0.30]",
    "ethylene glycol 30 %": "INCOMP::MEG[0.30]",
    "salt (NaCl) 20 %": "INCOMP::MNA[0.20]",
}
SPEED_DB = 50.0  # fan law: sound power with the fifth power of speed; ASHRAE, from memory
DISTANCE_M = 1.0  # at which fans' labels are taken to hold
AIR_POWER = 0.6  # of the air side's conductance over air flow, as in the plant
MONTH_S = 30.0 * 86400.0
KEPT = KeptCycles(Path(__file__))


@dataclass(frozen=True)
class Fans:
    """One way to blow through the coil, store at the deep target."""

    way: str
    air_m3_h: float
    room_w: float
    fan_w: float
    static_pa: float | None  # that they hold against the fins; None without coil.fan_pa


def _coil(coil: "Coil", fans: int, in_series: bool) -> "Coil":
    """Return the coil with other fans of the same kind: straight fan curve, laminar fins."""
    spread = 1.0 / coil.fans if coil.fans_in_series else float(coil.fans)
    share = coil.rated_air_m3_h / coil.total_free_air_m3_h
    fins = (1.0 / share - 1.0) / spread
    free = coil.free_air_m3_h * (1 if in_series else fans)
    air = free / (1.0 + (fins / fans if in_series else fins * fans))
    more = air / coil.rated_air_m3_h
    air_w_k = coil.ua_w_k / coil.air_side_fraction * more**AIR_POWER
    ua_w_k = 1.0 / (1.0 / air_w_k + (1.0 - coil.air_side_fraction) / coil.ua_w_k)
    return replace(
        coil,
        fans=fans,
        fans_in_series=in_series,
        rated_air_m3_h=air,
        ua_w_k=ua_w_k,
        air_side_fraction=coil_sides.held_share(ua_w_k / air_w_k),
        fin_parameter=coil.fin_parameter * more ** (AIR_POWER / 2.0),
    )


def fan_ways(case: Case, u: Array, humidity: float) -> tuple[Fans, ...]:
    """Return one fan, two side by side, two one behind the other."""
    found = []
    label = case.site.file.coil
    for way, fans, in_series in (
        ("one", 1, False),
        ("two side by side", 2, False),
        ("two one behind the other", 2, True),
    ):
        plant = replace(case.plant, coil=_coil(case.plant.coil, fans, in_series))
        _, dx, t = replace(case, plant=plant, p=plant.params()).steady(u, case.deep_c, humidity)
        room_w = t[tap.COIL_SENSIBLE_W] + dx[state.ROOM_TO_TUBE_J] - t[tap.FAN_W]
        air_m3_h, fan_w = float(t[tap.AIR_M3_H]), float(t[tap.FAN_W])
        held_pa = None
        if label.fan_pa is not None:
            held_pa = static_pa(label.fan_pa, label.fan_m3_h, fans, in_series, air_m3_h)
        found.append(Fans(way, air_m3_h, float(room_w), fan_w, held_pa))
    return tuple(found)


def sound_db(one_db: float, fans: int, duty: float, distance_m: float) -> float:
    """Return the level of some equal fans at a distance [dB(A)].

    Incoherent sources add by energy; free field falls 6 dB for each doubling; speed by the fan law.
    A room adds some of it again.
    """
    together = one_db + 10.0 * math.log10(fans)
    return (
        together
        + SPEED_DB * math.log10(max(duty, 0.05))
        - 20.0 * math.log10(distance_m / DISTANCE_M)
    )


@dataclass(frozen=True)
class Brine:
    """One mixture against plain water at COLD_C, in the coil's tube at the loop's flow."""

    name: str
    freezes_c: float
    capacity_share: float  # heat of a litre and kelvin over that of water
    film_share: float  # film in the coil's tube over that of water
    transfer_share: float  # conductance of the whole coil, its air side included, over that
    viscosity_share: float


def _brine(fluid: str, t_k: float) -> Row:
    """Return density, heat capacity, viscosity, conductivity and freezing point, all in SI."""
    asked = repr((fluid, t_k))
    row = KEPT(asked)
    if row is None:
        from CoolProp import CoolProp  # late, for it takes seconds

        names = ("D", "C", "V", "L", "T_FREEZE")
        row = tuple(float(CoolProp.PropsSI(n, "T", t_k, "P", PA, fluid)) for n in names)
        KEPT.add(asked, row)
        KEPT.write()
    return row


def film_w_m2_k(flow_l_min: float, bore_m: float, fluid: str, t_c: float, along_m: float) -> float:
    """Return the film of an incompressible in a tube [W/(m2 K)], as that of water."""
    from springhouse_sim.plant import hydraulics

    rho, cp, mu, k, _ = _brine(fluid, t_c + 273.15)
    re = max(1.0, hydraulics.velocity_m_s(flow_l_min, bore_m) * bore_m * rho / mu)
    return hydraulics.tube_nusselt(re, mu * cp / k, along_m / bore_m) * k / bore_m


def brines(case: Case, flow_l_min: float) -> tuple[Brine, ...]:
    """Return what antifreeze or salt would cost in heat carried and heat let through.

    Resistances of air side and water side in series, dry coil at its rated air.
    """
    from springhouse_sim.plant import hydraulics
    from springhouse_sim.plant.coil import air_side_w_k, water_side_w_k

    air_k_w = 1.0 / air_side_w_k(case.p, case.plant.coil.rated_air_m3_h)
    water_k_w = 1.0 / water_side_w_k(case.p, flow_l_min)
    loop, t_k = case.plant.loop, COLD_C + 273.15
    bore_m, flow = loop.coil_bore_mm / 1000.0, flow_l_min / loop.coil_circuits
    along_m = coil_sides.along_m(case.site.file.coil)
    own_film = hydraulics.water_film_w_m2_k(flow, bore_m, COLD_C, along_m)
    own_j = water.density_kg_m3(COLD_C) * water.heat_capacity_j_kg_k(COLD_C)
    found = []
    for name, fluid in BRINES.items():
        rho, cp, mu, _, freezes_k = _brine(fluid, t_k)
        film_share = film_w_m2_k(flow, bore_m, fluid, COLD_C, along_m) / own_film
        found.append(
            Brine(
                name,
                freezes_k - 273.15,
                rho * cp / own_j,
                film_share,
                (air_k_w + water_k_w) / (air_k_w + water_k_w / film_share),
                mu / water.viscosity_pa_s(COLD_C),
            )
        )
    return tuple(found)


@dataclass(frozen=True)
class Lid:
    """An open lid over still water: positive evaporates and cools, negative condenses and warms."""

    water_c: float
    latent_w: float
    litres_month: float


def evaporation_kg_s_m2(water_c: float, vapour_pa: float) -> float:
    """Return evaporation from still water into still air [kg/(s m2)], negative condenses.

    (pw - pa) (0.089 + 0.0782 v) / Y with kPa and kJ/kg, v = 0: Carrier's equation as in the
    ASHRAE handbook on pools, from memory.
    """
    span_kpa = (moist_air.saturation_pressure_pa(water_c) - vapour_pa) / 1000.0
    return span_kpa * 0.089 / 2455.0


def open_lid(case: Case, u: Array, place_c: float) -> tuple[Lid, Lid]:
    """Return a store without lid and sheet: at the deep target, and idle as warm as its place."""
    area_m2 = case.plant.store.inner_length_m * case.plant.store.inner_width_m
    vapour_pa = moist_air.vapour_pressure_pa(
        float(u[given.OUTDOOR_HUMIDITY_RATIO]), float(u[given.PRESSURE_PA])
    )

    def at(water_c: float) -> Lid:
        kg_s = evaporation_kg_s_m2(water_c, vapour_pa) * area_m2
        return Lid(water_c, kg_s * moist_air.LATENT_J_KG, kg_s * MONTH_S)

    return at(case.deep_c), at(place_c)

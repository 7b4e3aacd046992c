"""Friction, head and heat gain of round tubes; used when the tables of the loop are built.

Flows and temperatures may be arrays where `Any` stands for them.
"""

import math
from typing import Any

import fluids
import ht
import numpy as np

from . import water

GRAVITY_M_S2 = 9.80665
LAMINAR_END_RE = 2040.0  # fluids' limit; textbooks say 2000 to 2300
TURBULENT_START_RE = 3000.0
CONVECTION_LAMINAR_RE = 2300.0  # Gnielinski 2013: a straight line between the two
CONVECTION_TURBULENT_RE = 4000.0
LEAST_L_MIN = 1e-12  # as good as none


def colebrook(reynolds: Any, relative_roughness: float) -> Any:
    """Return the friction factor of Colebrook's equation [-], element by element.

    Clamond's two steps, as in ``fluids``, which takes one number at a time: see there for source.
    """
    x1 = relative_roughness * reynolds * (math.log(10.0) / 18.574)
    x2 = np.log(reynolds) + math.log(math.log(10.0) / 5.02)
    f = x2 - 0.2
    e = (np.log(x1 + f) - 0.2) / (1.0 + x1 + f)
    f = f - (1.0 + x1 + f + 0.5 * e) * e * (x1 + f) / (1.0 + x1 + f + e * (1.0 + e / 3.0))
    e = (np.log(x1 + f) + f - x2) / (1.0 + x1 + f)
    f = f - (1.0 + x1 + f + 0.5 * e) * e * (x1 + f) / (1.0 + x1 + f + e * (1.0 + e / 3.0))
    return (0.5 * math.log(10.0) / f) ** 2


def darcy_friction(reynolds: Any, relative_roughness: float) -> Any:
    """Return the Darcy friction factor [-], element by element.

    Laminar 64/Re, turbulent Colebrook, and between Re 2040 and 3000, where no value is right, a
    straight line so that the pressure drop stays a rising and continuous function of flow.
    """
    turbulent = colebrook(np.maximum(reynolds, LAMINAR_END_RE), relative_roughness)
    span = TURBULENT_START_RE - LAMINAR_END_RE
    f = np.clip((reynolds - LAMINAR_END_RE) / span, 0.0, 1.0)
    return (1.0 - f) * 64.0 / reynolds + f * turbulent


def velocity_m_s(flow_l_min: Any, bore_m: float) -> Any:
    """Return the mean velocity in a round tube [m/s].

    >>> round(velocity_m_s(3.0, 0.010), 2)
    0.64
    """
    return flow_l_min / 60000.0 / (math.pi / 4.0 * bore_m * bore_m)


def reynolds(flow_l_min: Any, bore_m: float, t_c: Any) -> Any:
    """Return the Reynolds number of water in a round tube [-].

    >>> round(reynolds(3.0, 0.010, 5.0), -2)
    4200.0
    """
    kinematic = water.viscosity_pa_s(t_c) / water.density_kg_m3(t_c)
    return velocity_m_s(flow_l_min, bore_m) * bore_m / kinematic


def velocity_head_pa(flow_l_min: Any, bore_m: float, t_c: Any) -> Any:
    """Return the dynamic pressure rho v2 / 2 [Pa]."""
    v = velocity_m_s(flow_l_min, bore_m)
    return 0.5 * water.density_kg_m3(t_c) * v * v


def tube_drop_pa(
    flow_l_min: Any, bore_m: float, length_m: float, roughness_m: float, t_c: Any
) -> Any:
    """Return the friction pressure drop of water in a straight round tube [Pa]."""
    flow_l_min = np.maximum(flow_l_min, LEAST_L_MIN)
    f = darcy_friction(reynolds(flow_l_min, bore_m, t_c), roughness_m / bore_m)
    return f * length_m / bore_m * velocity_head_pa(flow_l_min, bore_m, t_c)


def enlargement_k(from_bore_m: float, to_bore_m: float) -> float:
    """Return the loss of a sudden enlargement [-] on the velocity head before it.

    Borda and Carnot: (1 - A1/A2)**2; 0 where the bore does not grow.
    """
    ratio = min(1.0, (from_bore_m / to_bore_m) ** 2)
    return (1.0 - ratio) ** 2


def contraction_k(from_bore_m: float, to_bore_m: float) -> float:
    """Return the loss of a sudden contraction [-] on the velocity head behind it.

    0.5 (1 - A2/A1), the handbook form whose limit is the sharp entrance of 0.5.
    """
    return 0.5 * (1.0 - min(1.0, (to_bore_m / from_bore_m) ** 2))


def tube_nusselt(reynolds: float, prandtl: float, length_bores: float) -> float:
    """Return the mean Nusselt number inside a round tube at one temperature [-].

    Laminar: Hausen, with the thermal entrance and 3.66 far from it; from Re 4000 Gnielinski with
    his factor for short tubes, a straight line between (Gnielinski 2013); all but the last from
    ``ht``.

    Args:
        reynolds: by the bore.
        prandtl: of the liquid.
        length_bores: length over which it warms up over the bore; infinite: developed.
    """
    developed = math.isinf(length_bores)

    def laminar(re: float) -> float:
        if developed:
            return float(ht.conv_internal.laminar_T_const())
        hausen = ht.conv_internal.laminar_entry_thermal_Hausen
        return float(hausen(Re=re, Pr=prandtl, L=length_bores, Di=1.0))

    if reynolds <= CONVECTION_LAMINAR_RE:
        return laminar(reynolds)
    high = max(reynolds, CONVECTION_TURBULENT_RE)
    fd = float(fluids.friction.Clamond(high, 0.0))
    turbulent = float(ht.conv_internal.turbulent_Gnielinski(Re=high, Pr=prandtl, fd=fd))
    if not developed:
        turbulent *= 1.0 + max(1.0, length_bores) ** (-2.0 / 3.0)
    span = CONVECTION_TURBULENT_RE - CONVECTION_LAMINAR_RE
    f = min(1.0, (reynolds - CONVECTION_LAMINAR_RE) / span)
    return (1.0 - f) * laminar(CONVECTION_LAMINAR_RE) + f * turbulent


def water_film_w_m2_k(
    flow_l_min: float, bore_m: float, t_c: float, length_m: float = math.inf
) -> float:
    """Return the inner film coefficient of water in a tube [W/(m2 K)], see `tube_nusselt`."""
    re = max(1.0, reynolds(flow_l_min, bore_m, t_c))
    nusselt = tube_nusselt(re, water.prandtl(t_c), length_m / bore_m)
    return nusselt * water.conductivity_w_m_k(t_c) / bore_m


def tube_gain_w_m_k(
    bore_radius_m: float,
    outer_radius_m: float,
    tube_w_m_k: float,
    insulation_m: float,
    insulation_w_m_k: float,
    outer_film_w_m2_k: float,
) -> float:
    """Return the heat gain of an insulated tube per metre and kelvin [W/(m K)].

    Radial conduction through tube wall and insulation in series with the outer film; the inner
    film is left out (a few per cent at most).
    """
    r2 = outer_radius_m + insulation_m
    resistance = (
        math.log(outer_radius_m / bore_radius_m) / (2.0 * math.pi * tube_w_m_k)
        + math.log(r2 / outer_radius_m) / (2.0 * math.pi * insulation_w_m_k)
        + 1.0 / (outer_film_w_m2_k * 2.0 * math.pi * r2)
    )
    return 1.0 / resistance


def pump_head_m(flow_l_min: Any, head_m: float, free_l_min: float, duty: Any) -> Any:
    """Return the head of a centrifugal pump [m]: a parabola, scaled by the affinity laws.

    H = d2 H0 - H0 (Q / Q0)2; negative beyond the free flow at this duty.
    """
    q = flow_l_min / free_l_min
    return head_m * (duty * duty - q * q)

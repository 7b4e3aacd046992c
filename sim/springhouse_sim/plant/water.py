"""Liquid water at atmospheric pressure from 0 to 40 °C, and ice at 0 °C.

Density: Kell 1975.  Viscosity: Kestin, Sokolov and Wakeham 1978.  Conductivity: Ramires et al.
1995.  Heat capacity: a polynomial of our own through IAPWS-95, within 0.11 J/(kg K).
"""

LATENT_FUSION_J_KG = 333.43e3  # IAPWS-95 liquid against ice Ih of R10-06 at 0 °C
ICE_KG_M3 = 916.7
ICE_W_M_K = 2.22
FREEZING_C = 0.0

CP_0 = 4219.336
CP_1 = -3.365391
CP_2 = 0.1119035
CP_3 = -1.866302e-3
CP_4 = 1.373643e-5


def density_kg_m3(t_c: float) -> float:
    """Return the density of liquid water [kg/m3], 0..150 °C at 1 atm (Kell 1975).

    >>> [round(density_kg_m3(t_c), 1) for t_c in (0.0, 4.0, 20.0)]
    [999.8, 1000.0, 998.2]
    """
    above = 999.83952 + t_c * (
        16.945176
        + t_c
        * (-7.9870401e-3 + t_c * (-46.170461e-6 + t_c * (105.56302e-9 + t_c * -280.54253e-12)))
    )
    return above / (1.0 + 16.879850e-3 * t_c)


def heat_capacity_j_kg_k(t_c: float) -> float:
    """Return the isobaric heat capacity [J/(kg K)], 0..40 °C."""
    return CP_0 + t_c * (CP_1 + t_c * (CP_2 + t_c * (CP_3 + t_c * CP_4)))


def enthalpy_j_kg(t_c: float) -> float:
    """Return the enthalpy of liquid water [J/kg], zero at 0 °C: the integral of the above.

    >>> round((enthalpy_j_kg(18.7) - enthalpy_j_kg(2.5)) * 150.0 / 3.6e6, 2)  # 150 L [kWh]
    2.83
    """
    return t_c * (
        CP_0 + t_c * (CP_1 / 2.0 + t_c * (CP_2 / 3.0 + t_c * (CP_3 / 4.0 + t_c * (CP_4 / 5.0))))
    )


def conductivity_w_m_k(t_c: float) -> float:
    """Return the thermal conductivity [W/(m K)], 0..97 °C (Ramires et al. 1995)."""
    reduced = (t_c + 273.15) / 298.15
    return 0.6065 * (-1.48445 + reduced * (4.12292 - 1.63866 * reduced))


def viscosity_pa_s(t_c: float) -> float:
    """Return the dynamic viscosity [Pa s], 0..40 °C (Kestin, Sokolov and Wakeham 1978)."""
    d = 20.0 - t_c
    exponent = d / (t_c + 96.0) * (1.2364 - 1.37e-3 * d + 5.7e-6 * d * d)
    mu: float = 1.002e-3 * 10.0**exponent
    return mu


def prandtl(t_c: float) -> float:
    """Return the Prandtl number [-], 0..40 °C."""
    return viscosity_pa_s(t_c) * heat_capacity_j_kg_k(t_c) / conductivity_w_m_k(t_c)

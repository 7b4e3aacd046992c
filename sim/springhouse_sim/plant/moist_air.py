"""Moist air: the ideal-gas formulas of the ASHRAE Fundamentals handbook, chapter 1 (SI).

Equation numbers are those of the 2017 edition.  Saturation below 0 °C is over ice.
Humidity ratio is kg of vapour per kg of dry air; enthalpy is J per kg of dry air.
"""

import math

STANDARD_PA = 101325.0
R_DRY_AIR_J_KG_K = 287.042
RATIO_OF_MASSES = 0.621945
CP_DRY_J_KG_K = 1006.0
CP_VAPOUR_J_KG_K = 1860.0
H_VAPOUR_0C_J_KG = 2.501e6
CP_MOIST_J_KG_K = 1023.0  # at 9 g/kg; one value keeps the room's heat capacity constant
# One latent heat throughout, so that moisture carries the same energy in and out: vapour against
# liquid at 10 °C, the temperature at which a chilled coil drains.
LATENT_J_KG = 2.4772e6


def saturation_pressure_pa(t_c: float) -> float:
    """Return the saturation pressure of water vapour [Pa], -100..200 °C (eq. 5 and 6).

    Hyland and Wexler 1983; over ice below 0.01 °C.

    >>> round(saturation_pressure_pa(20.0))
    2339
    """
    k = t_c + 273.15
    if t_c <= 0.01:
        return math.exp(
            -5.6745359e3 / k
            + 6.3925247
            + k * (-9.677843e-3 + k * (6.2215701e-7 + k * (2.0747825e-9 + k * -9.484024e-13)))
            + 4.1635019 * math.log(k)
        )
    return math.exp(
        -5.8002206e3 / k
        + 1.3914993
        + k * (-4.8640239e-2 + k * (4.1764768e-5 + k * -1.4452093e-8))
        + 6.5459673 * math.log(k)
    )


def humidity_ratio(vapour_pa: float, pressure_pa: float) -> float:
    """Return the humidity ratio [kg/kg] at a partial pressure of vapour [Pa] (eq. 20)."""
    return RATIO_OF_MASSES * vapour_pa / (pressure_pa - vapour_pa)


def vapour_pressure_pa(humidity: float, pressure_pa: float) -> float:
    """Return the partial pressure of vapour [Pa] at a humidity ratio [kg/kg] (eq. 20, inverse)."""
    return pressure_pa * humidity / (RATIO_OF_MASSES + humidity)


def saturated_humidity_ratio(t_c: float, pressure_pa: float) -> float:
    """Return the humidity ratio of saturated air [kg/kg] at ``t_c``."""
    return humidity_ratio(saturation_pressure_pa(t_c), pressure_pa)


def relative_humidity(t_c: float, humidity: float, pressure_pa: float) -> float:
    """Return the relative humidity [0..1, above 1 when supersaturated] (eq. 22)."""
    return vapour_pressure_pa(humidity, pressure_pa) / saturation_pressure_pa(t_c)


def enthalpy_j_kg(t_c: float, humidity: float) -> float:
    """Return the enthalpy of moist air [J per kg dry air], zero for dry air at 0 °C (eq. 30)."""
    return CP_DRY_J_KG_K * t_c + humidity * (H_VAPOUR_0C_J_KG + CP_VAPOUR_J_KG_K * t_c)


def specific_volume_m3_kg(t_c: float, humidity: float, pressure_pa: float) -> float:
    """Return the volume per kg of dry air [m3/kg] (eq. 26)."""
    return R_DRY_AIR_J_KG_K * (t_c + 273.15) * (1.0 + humidity / RATIO_OF_MASSES) / pressure_pa


def dew_point_c(humidity: float, pressure_pa: float) -> float:
    """Return the dew point (frost point below 0 °C) [°C], -60..60.

    Magnus form as a first guess, then three Newton steps on ``saturation_pressure_pa`` with the
    slope of Clausius and Clapeyron.

    >>> room = humidity_ratio(0.5 * saturation_pressure_pa(25.0), 101_325.0)
    >>> round(dew_point_c(room, 101_325.0), 1)
    13.9
    """
    vapour = max(1.0, vapour_pressure_pa(humidity, pressure_pa))
    g = math.log(vapour / 611.2)
    t_c = 243.04 * g / (17.625 - g)
    for _ in range(3):
        latent = 2.834e6 if t_c <= 0.01 else 2.501e6 - 2370.0 * t_c
        k = t_c + 273.15
        t_c -= (math.log(saturation_pressure_pa(t_c)) - math.log(vapour)) * 461.5 * k * k / latent
    return t_c


def standard_pressure_pa(altitude_m: float) -> float:
    """Return the pressure of the standard atmosphere [Pa], -5000..11000 m (eq. 3)."""
    return float(101325.0 * (1.0 - 2.25577e-5 * altitude_m) ** 5.2559)

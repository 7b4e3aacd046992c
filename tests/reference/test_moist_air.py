"""Moist air against the ASHRAE handbook and an independent library.

P1..P7: PsychroLib's ASHRAE formulas and CoolProp's real gas bracket the value; the tolerances are
their spread.  P8..P14: ASHRAE Fundamentals 2017, chapter 1, as quoted in PsychroLib's test file
or restated in print.
"""

import numpy as np
import psychrolib
import pytest
from hypothesis import given
from hypothesis import strategies as st
from springhouse_sim.plant import moist_air, water

# Once: the library compiles itself anew whenever it is told.
psychrolib.SetUnitSystem(psychrolib.SI)

# id, t °C, RH, pressure Pa, W g/kg, dew point °C, h kJ/kg, v m3/kg
STATES = [
    ("P1", 24, 0.50, 101325, 9.299, 12.946, 47.815, 0.8544),
    ("P2", 26.7, 0.50, 101325, 10.946, 15.423, 54.780, 0.8644),
    ("P3", 35, 0.40, 101325, 14.132, 19.385, 71.473, 0.8928),
    ("P4", 25, 0.50, 101325, 9.881, 13.864, 50.322, 0.8580),
    ("P5", 20, 0.60, 101325, 8.734, 12.007, 42.290, 0.8421),
    ("P6", 30, 0.70, 101325, 18.795, 23.928, 78.236, 0.8847),
    ("P7", 24, 0.50, 84556, 11.176, 12.946, 52.593, 1.0269),
]


@pytest.mark.parametrize("row", STATES, ids=lambda row: row[0])
def test_states(row: tuple[str, float, float, float, float, float, float, float]) -> None:
    _, t_c, rh, pressure, g_kg, dew, h, v = row
    vapour = rh * moist_air.saturation_pressure_pa(t_c)
    humidity = moist_air.humidity_ratio(vapour, pressure)
    assert humidity * 1e3 == pytest.approx(g_kg, rel=0.006)
    assert moist_air.dew_point_c(humidity, pressure) == pytest.approx(dew, abs=0.05)
    assert moist_air.enthalpy_j_kg(t_c, humidity) / 1e3 == pytest.approx(h, abs=0.3)
    assert moist_air.specific_volume_m3_kg(t_c, humidity, pressure) == pytest.approx(v, rel=1e-3)
    assert moist_air.relative_humidity(t_c, humidity, pressure) == pytest.approx(rh, rel=1e-9)


@given(t_c=st.floats(-20.0, 45.0), rh=st.floats(0.05, 1.0), pressure=st.floats(75_000.0, 105_000.0))
def test_any_state_is_that_of_the_library(t_c: float, rh: float, pressure: float) -> None:
    """PsychroLib 2.5.0, run here: ASHRAE Fundamentals 2017, chapter 1, equations 5 to 38."""
    humidity, _, dew_c, _, h_j_kg, m3_kg, _ = psychrolib.CalcPsychrometricsFromRelHum(
        t_c, rh, pressure
    )
    ours = moist_air.humidity_ratio(rh * moist_air.saturation_pressure_pa(t_c), pressure)
    assert ours == pytest.approx(humidity, rel=1e-6)
    assert moist_air.dew_point_c(ours, pressure) == pytest.approx(dew_c, abs=0.05)
    assert moist_air.enthalpy_j_kg(t_c, ours) == pytest.approx(h_j_kg, abs=100.0)
    assert moist_air.specific_volume_m3_kg(t_c, ours, pressure) == pytest.approx(m3_kg, rel=1e-4)


@pytest.mark.parametrize(
    ("t_c", "pascal", "tolerance"),
    [
        # P8: ASHRAE 2017 chapter 1 table 3, +-0.03 %
        (-20.0, 103.24, 3e-4),
        (-5.0, 401.74, 3e-4),
        (5.0, 872.6, 3e-4),
        (25.0, 3169.7, 3e-4),
        # P9: PsychroLib, +-0.05 %
        (-10.0, 259.90, 5e-4),
        (0.0, 611.15, 5e-4),
        (8.0, 1072.8, 5e-4),
        (10.0, 1228.0, 5e-4),
        (20.0, 2338.8, 5e-4),
    ],
)
def test_p8_p9_saturation_pressure(t_c: float, pascal: float, tolerance: float) -> None:
    assert moist_air.saturation_pressure_pa(t_c) == pytest.approx(pascal, rel=tolerance)


@pytest.mark.parametrize(
    ("t_c", "g_kg"), [(-20.0, 0.6373), (-5.0, 2.4863), (5.0, 5.425), (25.0, 20.173)]
)
def test_p10_saturated_humidity_ratio(t_c: float, g_kg: float) -> None:
    """P10, ASHRAE 2017 chapter 1 table 2 (real gas): +-1 %."""
    assert moist_air.saturated_humidity_ratio(t_c, 101325.0) * 1e3 == pytest.approx(g_kg, rel=0.01)


@pytest.mark.parametrize(("t_c", "kj_kg"), [(5.0, 18.639), (25.0, 76.504)])
def test_p11_saturated_enthalpy(t_c: float, kj_kg: float) -> None:
    """P11, same table: +-1 %."""
    humidity = moist_air.saturated_humidity_ratio(t_c, 101325.0)
    assert moist_air.enthalpy_j_kg(t_c, humidity) / 1e3 == pytest.approx(kj_kg, rel=0.01)


def test_p12_handbook_example_1() -> None:
    """P12, ASHRAE 2017 chapter 1 example 1: 40 °C, wet bulb 20 °C, read from the chart.

    The wet bulb fixes W by the adiabatic saturation equation (eq. 33 there).
    """
    saturated = moist_air.saturated_humidity_ratio(20.0, 101325.0)
    humidity = ((2501.0 - 2.326 * 20.0) * saturated - 1.006 * (40.0 - 20.0)) / (
        2501.0 + 1.86 * 40.0 - 4.186 * 20.0
    )
    assert humidity * 1e3 == pytest.approx(6.5, abs=0.1)
    assert moist_air.dew_point_c(humidity, 101325.0) == pytest.approx(7.0, abs=0.5)
    assert moist_air.relative_humidity(40.0, humidity, 101325.0) == pytest.approx(0.14, abs=0.01)
    assert moist_air.enthalpy_j_kg(40.0, humidity) / 1e3 == pytest.approx(56.7, abs=0.3)
    assert moist_air.specific_volume_m3_kg(40.0, humidity, 101325.0) == pytest.approx(
        0.896, rel=0.01
    )


def test_p13_handbook_cooling_coil() -> None:
    """P13, ASHRAE 2017 chapter 1 example 3: 5 m3/s of 30 °C, 50 % to saturated 10 °C.

    5.70 kg/s dry air, 198 kW, 0.0325 kg/s of condensate leaving at 10 °C.
    """
    vapour = 0.5 * moist_air.saturation_pressure_pa(30.0)
    entering = moist_air.humidity_ratio(vapour, 101325.0)
    leaving = moist_air.saturated_humidity_ratio(10.0, 101325.0)
    kg_s = 5.0 / moist_air.specific_volume_m3_kg(30.0, entering, 101325.0)
    drop = moist_air.enthalpy_j_kg(30.0, entering) - moist_air.enthalpy_j_kg(10.0, leaving)
    heat = kg_s * (drop - (entering - leaving) * water.enthalpy_j_kg(10.0))
    assert kg_s == pytest.approx(5.70, abs=0.01)
    assert heat / 1e3 == pytest.approx(198.0, abs=1.0)
    assert kg_s * (entering - leaving) == pytest.approx(0.0325, rel=0.01)


@pytest.mark.parametrize(
    ("altitude_m", "pascal"), [(0.0, 101325.0), (500.0, 95461.0), (1000.0, 89875.0)]
)
def test_p14_standard_atmosphere(altitude_m: float, pascal: float) -> None:
    """P14, ASHRAE 2017 chapter 1 table 1: +-1 Pa."""
    assert moist_air.standard_pressure_pa(altitude_m) == pytest.approx(pascal, abs=1.0)


def test_w11_w12_latent_heat_of_condensate() -> None:
    """W11, IAPWS-95: 2477.2 kJ/kg at 10 °C; W12: 1 L of condensate 0.688 kWh, 1 %."""
    assert pytest.approx(2477.2e3, abs=1e3) == moist_air.LATENT_J_KG
    assert pytest.approx(0.688, rel=0.01) == moist_air.LATENT_J_KG / 3.6e6


def test_sensible_heat_capacity_is_that_of_ordinary_room_air() -> None:
    """One constant stands for cp of P1..P6 (dh/dt at constant W): within 1 %."""
    for _, t_c, _, _, g_kg, *_ in STATES[:6]:
        up = moist_air.enthalpy_j_kg(t_c + 1.0, g_kg / 1e3)
        slope = up - moist_air.enthalpy_j_kg(t_c, g_kg / 1e3)
        assert pytest.approx(slope, rel=0.02) == moist_air.CP_MOIST_J_KG_K


def test_p15_a_year_of_real_weather() -> None:
    """P15, Miami TMY2: RH from dew point, dry bulb and pressure against the file's own column.

    8760 h: mean error -0.03, s.d. 0.39 points, 8756 h within 2 points.
    """
    from pvlib.iotools import read_tmy2
    from springhouse_sim.world import weather_files

    path = weather_files.shipped("12839.tm2")
    table, _ = read_tmy2(str(path))
    w = weather_files.read(path, 2025)
    ours = []
    for air_c, dew_c, pascal in zip(w.temp_air_c, w.dew_point_c, w.pressure_pa, strict=True):
        vapour = moist_air.saturation_pressure_pa(float(dew_c))
        humidity = moist_air.humidity_ratio(vapour, float(pascal))
        ours.append(100.0 * moist_air.relative_humidity(float(air_c), humidity, float(pascal)))
    error = np.array(ours) - table["RHum"].to_numpy(np.float64)
    assert error.mean() == pytest.approx(-0.03, abs=0.01)
    assert error.std() == pytest.approx(0.39, abs=0.02)
    assert int((np.abs(error) <= 2.0).sum()) == pytest.approx(8756, abs=2)


def test_w10_frost_takes_more_than_dew() -> None:
    """W10, IAPWS-95 and R10-06: 2834.4 kJ/kg to sublimate at the triple point.

    Ours is one latent heat for vapour (that at 10 °C) plus fusion: 0.8 % low, within 1 %.
    """
    ours = moist_air.LATENT_J_KG + water.LATENT_FUSION_J_KG
    assert ours / 1e3 == pytest.approx(2834.4, rel=0.01)

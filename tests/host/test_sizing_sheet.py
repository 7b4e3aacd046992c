"""The sizing sheet against figures from outside the project (ids of the check-values list)."""

from dataclasses import replace

import numpy as np
import pytest
from site_text import BASE, edited, site_of
from springhouse_host.sheet import sizing
from springhouse_host.sheet.working_point import Case, battery_hours, charging_w
from springhouse_host.site import load_site
from springhouse_sim.plant import given, state, tap
from springhouse_sim.world.days import hottest


@pytest.fixture(scope="module")
def base(tmp_path_factory):
    return site_of(tmp_path_factory.mktemp("base"), BASE)


@pytest.fixture(scope="module")
def case(base) -> Case:
    weather = base.read_weather()
    return sizing.case_for(base, "mid", base.plant(), weather, hottest(weather, 1))


@pytest.fixture(scope="module")
def sheet(base) -> sizing.Sizing:
    steps = []
    result = sizing.size(base, tick=lambda: steps.append(1))
    assert len(steps) == sizing.STEPS  # the progress bar ends full
    return result


def test_cold_of_90_litres() -> None:
    """W13, W14 (IAPWS-95): 90 L from 7 to 0 °C 735.5 Wh, from 0 to 8 °C 840.5 Wh, ±0.5 %."""
    assert 1000.0 * sizing.cold_kwh(90.0, 0.0, 7.0) == pytest.approx(735.5, rel=0.005)
    assert 1000.0 * sizing.cold_kwh(90.0, 0.0, 8.0) == pytest.approx(840.5, rel=0.005)


def test_ice_counts_as_it_melts() -> None:
    """W15 (IAPWS-95, R10-06): 92.6 Wh a kilogram."""
    plain, with_ice = (sizing.cold_kwh(90.0, 0.0, 7.0, ice_kg) for ice_kg in (0.0, 9.0))
    assert 1000.0 * (with_ice - plain) == pytest.approx(9 * 92.6, rel=0.002)


def test_hours_between_on_the_closed_form_of_a_lumped_store() -> None:
    """E10: 90 kg at UA 0.8 W/K in 22 °C warms from 0 to 1 °C in 6.11 h, to 4.5 °C in 30.04 h.

    E10 takes 4.2 kJ/(kg K) throughout, our water 4.22 to 4.206: hence 0.5 %.
    """
    store_c = np.linspace(0.0, 5.0, 51)
    net_w = 0.8 * (22.0 - store_c)
    for to_c, hours in ((1.0, 6.11), (4.5, 30.04)):
        found = sizing.hours_between(store_c, net_w, 90.0, to_c, 0.0)
        assert found == pytest.approx(hours, rel=0.005)


def test_no_time_where_cooling_does_not_suffice() -> None:
    store_c = np.array([0.0, 5.0, 10.0])
    assert sizing.hours_between(store_c, np.array([-5.0, 50.0, 90.0]), 90.0, 10.0, 0.0) is None


def test_flow_heat_at_the_coil(case) -> None:
    """W16: 70.08 W a L/min and K at 5 °C, ±0.3 %, and a little for the water's other warmth."""
    u = case.given(15.0)
    u[given.PUMP_DUTY] = u[given.FAN_DUTY] = 1.0
    x, _, t = case.steady(u, 5.0, 0.010)
    expected_w = 70.08 * x[state.FLOW_L_MIN] * (t[tap.COIL_OUT_C] - t[tap.COIL_IN_C])
    assert t[tap.COIL_TO_WATER_W] == pytest.approx(expected_w, rel=0.006)


@pytest.mark.parametrize(("room_c", "sensible_w"), [(24.0, 70.0), (27.0, 56.0)])
def test_people_and_equipment_warm_the_room(case, room_c: float, sensible_w: float) -> None:
    """L1, L4 (ASHRAE Fundamentals 2009 ch. 18 table 1): seated 70 W at 24 °C, 56 W at 27 °C.

    L9: all of the gear's 110 W becomes room heat.
    """
    gain = sizing.room_gain(replace(case, room_c=room_c), 0.010)
    assert gain.wanted_w["people"] == pytest.approx(sensible_w, rel=0.01)
    assert gain.wanted_w["equipment"] == pytest.approx(110.0)
    assert gain.kwh_day["equipment"] == pytest.approx((4 * 110.0 + 20 * 10.0) / 1000.0, rel=0.01)


def test_heat_through_the_envelope_is_ua_times_difference(case) -> None:
    """Steady conduction; outdoor mean of the day from the weather file itself."""
    gain = sizing.room_gain(case, 0.010)
    ua_w_k = case.plant.room.envelope_ua_w_k
    expected = ua_w_k * (case.day.mean_c - case.room_c) * 24.0 / 1000.0
    assert gain.kwh_day["outdoors"] == pytest.approx(expected, rel=0.05)


def test_battery_lasts_no_longer_than_its_energy(case) -> None:
    """B1's arithmetic: hours = Wh over W; losses and Peukert take at most a tenth here."""
    load_w = 9.0 + 2 * 3.0 + 1.0
    hours = battery_hours(case)
    assert hours is not None
    assert 0.9 * 240.0 / load_w < hours < 240.0 / load_w


def test_pull_down_of_a_small_chest(tmp_path) -> None:
    """One observed set, no source: 90 L in a chest of about 140 L goes from 7 to 0 °C in 6 to 10 h.

    That is 74 to 123 W net. A 60 to 70 W label is usual for that size (from memory).
    """
    text = edited(
        ("freezer.cabinet_litres", "140"),
        ("freezer.label_input_w", "65"),
        ("freezer.label_kwh_year", "180"),
        ("store.water_litres", "90"),
        ("store.probe_high_m", "0.4"),
        *((f"freezer.inner_{side}_m", "") for side in ("length", "width", "depth")),
    )
    site = site_of(tmp_path, text)
    weather = site.read_weather()
    case = sizing.case_for(site, "mid", site.plant(), weather, hottest(weather, 1))
    u = np.mean(case.day_given(site.file.schedule.charging), axis=0)
    u[given.OUTDOOR_C] = 22.0
    u[given.COMPRESSOR_RELAY] = 1.0
    store_c = np.array([0.5, 3.5, 7.0])
    net_w = charging_w(case, u, store_c, lambda: None)
    assert np.all((net_w > 74.0) & (net_w < 123.0))
    assert 6.0 < sizing.hours_between(store_c, net_w, 90.0, 7.0, 0.5) < 10.0


def test_the_sheet_hangs_together(sheet) -> None:
    for found in sheet.sheets.values():
        assert 0.0 < found.discharge_h < 24.0
        assert found.discharge_end_c > 2.5
        assert 2.5 < found.air_off_c < 25.0
        # what the discharge spent is what the water took up
        assert found.cold_stored_kwh == pytest.approx(
            sizing.cold_kwh(150.0, 2.5, found.discharge_end_c), rel=1e-6
        )
        # it cannot have taken more out of the room than that
        assert found.gain.mean_w * found.discharge_h / 1000.0 < found.cold_stored_kwh
    hours = [found.discharge_h for found in sheet.sheets.values()]
    assert hours == sorted(hours)


def test_the_hard_demo_asks_more_than_one_charge() -> None:
    hard = sizing.size(load_site("demo-hard"))
    assert all((found.held_h or 0.0) < hard.wanted_h for found in hard.sheets.values())

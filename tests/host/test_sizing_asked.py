"""Hold time, power cut, water, fans, sound, sun, lid on the sheet, by hand or other sources."""

import json
import math

import numpy as np
import pytest
from site_text import BASE, edited, site_of
from springhouse_host.errors import KnownError, SiteError
from springhouse_host.measuring_coil import coil
from springhouse_host.sheet import asked, charge, lasting, parts_asked, sizing
from springhouse_host.sheet.working_point import Delivery
from springhouse_host.site import load_site
from springhouse_host.wiring import plumbing
from springhouse_sim.plant import moist_air
from springhouse_sim.world.days import hottest


@pytest.fixture(scope="module")
def base(tmp_path_factory):
    return site_of(tmp_path_factory.mktemp("base"), BASE)


@pytest.fixture(scope="module")
def case(base):
    weather = base.read_weather()
    return sizing.case_for(base, "mid", base.plant(), weather, hottest(weather, 1))


@pytest.fixture(scope="module")
def sheet(base):
    return sizing.size(base, variants=("mid",)).sheets["mid"]


def test_hold_time_is_the_closed_form_of_a_lumped_store(case, sheet) -> None:
    """Newton's law of cooling: t = m c / UA ln((Ta - T0) / (Ta - T1)); E10's way, ±3 %."""
    held_c = np.array([case.deep_c, sheet.discharge_end_c])
    gain_w = lasting.standing_w(case, held_c)
    ua_w_k = (gain_w[0] - gain_w[1]) / (held_c[1] - held_c[0])
    place_c = held_c[0] + gain_w[0] / ua_w_k
    by_hand = 150.0 * 4200.0 / ua_w_k * math.log((place_c - held_c[0]) / (place_c - held_c[1]))
    assert sheet.hold_days == pytest.approx(by_hand / 86400.0, rel=0.03)
    assert 0.3 < ua_w_k < 2.0  # W/K, small chest


def test_the_shorter_of_battery_and_cold_ends_a_power_cut(sheet) -> None:
    cut = sheet.power_cut
    assert cut.hours == min(sheet.battery_h, sheet.discharge_h)
    assert cut.first == ("battery" if sheet.battery_h < sheet.discharge_h else "cold")
    assert lasting.PowerCut(5.0, None).hours == 0.0
    assert lasting.PowerCut(5.0, 7.0).first == "cold"


def test_more_water_lasts_recharges_and_holds_longer(sheet) -> None:
    litres = [w.litres for w in sheet.water]
    assert litres == [75.0, 150.0, 225.0, 300.0, 450.0]
    for values in (
        [w.cold_h for w in sheet.water],
        [w.recharge_h for w in sheet.water],
        [w.hold_days for w in sheet.water],
    ):
        assert values == sorted(values)
    own = sheet.water[1]
    assert own.cold_h == pytest.approx(sheet.discharge_h)
    assert own.recharge_h == pytest.approx(sheet.pull_down_h, rel=1e-6)
    # Gains by litres to the power 2/3: twice the water is held 2 ** (1/3) as long.
    assert sheet.water[3].hold_days / own.hold_days == pytest.approx(2.0 ** (1.0 / 3.0), rel=1e-6)


def test_fans_side_by_side_and_in_series(sheet) -> None:
    """F8's hand sum (straight curve, laminar fins): one keeps 0.667 of its free air.

    The site's two side by side keep 0.5004 of 2 x 170; two in series 0.8002 of 170.
    """
    air = {f.way: f.air_m3_h for f in sheet.fan_ways}
    assert air["one"] == pytest.approx(0.667 * 170.0, rel=0.01)
    assert air["two side by side"] == pytest.approx(0.5004 * 340.0, rel=0.01)
    assert air["two one behind the other"] == pytest.approx(0.8002 * 170.0, rel=0.01)
    rooms = [f.room_w for f in sheet.fan_ways]
    assert rooms[1] > rooms[2] > rooms[0]


def test_fans_with_both_numbers_of_their_label_meet_the_fins_line(base) -> None:
    """Fan laws by hand: two side by side move twice the air, two in series hold twice the pressure.

    Each way ends where the fans' straight line meets the fins', so all three lie on one line of
    pressure over air; its slope by Poiseuille between plates 1.8 mm apart, 66 mm deep, face
    0.28 x 0.28 m, times 2.5: 12 x 1.85e-5 x 0.066 x v x 1.95 / 1.8 / 1.8e-3 ** 2.
    """
    label = {"coil.fan_pa": "2.5 mmH2O", "coil.fan_m3_h": 120.0}
    found = sizing.size(load_site(base.path, label), variants=("mid",)).sheets["mid"]
    by_way = {f.way: f for f in found.fan_ways}
    v_m_s = 1.0 / 3600.0 / 0.28**2
    slope = 2.5 * 12.0 * 1.85e-5 * 0.066 * v_m_s * 1.95 / 1.8 / 1.8e-3**2
    shut_pa = 2.5 * 9.80665
    for way, free_m3_h, full_pa in (
        ("one", 120.0, shut_pa),
        ("two side by side", 240.0, shut_pa),
        ("two one behind the other", 120.0, 2.0 * shut_pa),
    ):
        meets = full_pa / (slope + full_pa / free_m3_h)
        assert by_way[way].air_m3_h == pytest.approx(meets, rel=0.01)
        assert by_way[way].static_pa == pytest.approx(slope * meets, rel=0.02)


def test_the_fans_working_point_is_told_in_words(base) -> None:
    """By hand: two of 120 m3/h and 30 Pa side by side on the slope of the test above.

    30 Pa / (0.0434 Pa h/m3 + 30 Pa / 240 m3/h) = 178 m3/h, held at 7.7 Pa.
    """
    slope = 2.5 * 12.0 * 1.85e-5 * 0.066 / 3600.0 / 0.28**2 * 1.95 / 1.8 / 1.8e-3**2
    meets = 30.0 / (slope + 30.0 / 240.0)
    site = load_site(base.path, {"coil.fan_pa": "30 Pa", "coil.fan_m3_h": 120.0})
    line = asked.working_point(site, sizing.size(site), us=False)
    assert "2 side by side, 240 m3/h against nothing" in line
    assert f"{meets:.3g} m3/h through the fins" in line
    assert f"at {slope * meets:.3g} Pa of the 30 Pa" in line
    assert "two one behind the other" in line
    plain = load_site(base.path)
    assert "coil.fan_pa" in asked.working_point(plain, sizing.size(plain), us=False)
    assert "ft3/min" in asked.working_point(plain, sizing.size(plain), us=True)


@pytest.mark.parametrize("ua_w_k", [5.0, 600.0])
def test_other_fans_on_a_coil_of_any_measured_conductance(base, ua_w_k: float) -> None:
    """Nearly all of the resistance on one side, beyond what the tubes explain too."""
    site = load_site(base.path, {"coil.ua_w_k": {"value": ua_w_k, "grade": "measured"}})
    ways = sizing.size(site, variants=("mid",)).sheets["mid"].fan_ways
    assert ways[1].room_w > ways[2].room_w > ways[0].room_w > 0.0


def test_a_stronger_fan_loses_less_of_its_air_and_its_label_narrows_the_range(base) -> None:
    def air(changes):
        return load_site(base.path, changes).known["coil.air_m3_h"]

    weak, strong = (air({"coil.fan_pa": pa}) for pa in (10.0, 60.0))
    assert weak.low < weak.mid < weak.high < strong.high < 340.0
    assert weak.mid < strong.low
    unknown = air({})
    typical = air({"coil.fan_pa": 25.0})
    assert unknown.low < typical.mid < unknown.high
    with pytest.raises(SiteError, match=r"coil\.fan_pa: .*2 to 2000 Pa"):
        air({"coil.fan_pa": 0.5})


def test_levels_add_as_energy() -> None:
    """Acoustics of incoherent sources: two equal ones +3.01 dB, twice the distance -6.02 dB."""
    assert parts_asked.sound_db(30.0, 2, 1.0, 1.0) == pytest.approx(33.01, abs=0.01)
    assert parts_asked.sound_db(30.0, 1, 1.0, 2.0) == pytest.approx(23.98, abs=0.01)
    assert parts_asked.sound_db(30.0, 1, 0.5, 1.0) == pytest.approx(30.0 - 15.05, abs=0.01)


def test_the_sheet_tells_sound_only_where_a_label_does(base, sheet) -> None:
    assert sheet.sound_db is None
    assert sheet.sun_h is None
    found = sizing.size(
        load_site(base.path, {"coil.fan_db_a": 25.0, "battery.solar_w": 100.0}), variants=("mid",)
    ).sheets["mid"]
    assert found.sound_db == pytest.approx(25.0 + 10.0 * math.log10(2.0) - 6.02, abs=0.1)
    assert found.quiet_db < found.sound_db
    # A clear summer day gives 5 to 8 kWh/m2 on a tilted plane (common practice): 16 W for them.
    assert 5.0 * 75.0 / 17.5 < found.sun_h <= 24.0


def test_brines_against_handbook_values(sheet) -> None:
    """30 % propylene glycol, from memory of handbooks: freezes near -13 °C, cp 3.8, 4 times water.

    20 % salt: freezes near -16.5 °C, cp 3.4 kJ/(kg K), 1150 kg/m3.
    """
    by_name = {b.name: b for b in sheet.brines}
    glycol = by_name["propylene glycol 30 %"]
    assert glycol.freezes_c == pytest.approx(-13.0, abs=1.5)
    assert 0.90 < glycol.capacity_share < 0.97
    assert 2.5 < glycol.viscosity_share < 4.5
    assert glycol.film_share < 0.85
    salt = by_name["salt (NaCl) 20 %"]
    assert salt.freezes_c == pytest.approx(-16.5, abs=1.0)
    assert salt.capacity_share == pytest.approx(3.4 * 1150.0 / 4205.0, rel=0.03)


def test_evaporation_against_the_lewis_relation() -> None:
    """Still air over water, h 5 W/(m2 K): m = h / cp (Ws - Wa), Lewis number one, within 40 %."""
    vapour_pa = 0.5 * moist_air.saturation_pressure_pa(25.0)
    found = parts_asked.evaporation_kg_s_m2(25.0, vapour_pa)
    ratio = moist_air.saturated_humidity_ratio(25.0, 101325.0)
    air = moist_air.humidity_ratio(vapour_pa, 101325.0)
    assert found == pytest.approx(5.0 / 1023.0 * (ratio - air), rel=0.4)
    # Water below the dew point takes moisture up.
    assert parts_asked.evaporation_kg_s_m2(3.0, vapour_pa) < 0.0


def test_an_open_lid_warms_cold_water_and_dries_idle_water(sheet) -> None:
    cold, idle = sheet.open_lid
    assert cold.latent_w < 0.0
    assert idle.litres_month > 0.0


def test_coil_by_hand_is_x9() -> None:
    """X9 (Nellis and Klein): UA 75, C 50 and 30 W/K, cross-flow, effectiveness 0.7632."""
    site = load_site("demo", {"coil.rated_l_min": 0.7152})
    share = 0.7632 * 30.0 * (26.0 - 12.0)
    found = coil(site, 0.7152, 12.0, 12.0 + share / 50.0, 26.0, 26.0 - share / 30.0)
    ua, air = found
    assert ua.value == pytest.approx(75.0, rel=0.01)
    assert air.value == pytest.approx(30.0 * 3600.0 / (1.2 * 1023.0), rel=0.005)
    assert 0.0 < ua.error < 0.3 * ua.value
    with pytest.raises(KnownError, match=r"^coil: --air-out: 11: "):
        coil(site, 0.7, 12.0, 18.0, 26.0, 11.0)
    with pytest.raises(KnownError, match=r"^coil: --water-out: 12\.1: "):
        coil(site, 0.7, 12.0, 12.1, 26.0, 16.0)
    with pytest.raises(KnownError, match="of what these temperatures allow"):
        coil(site, 0.7, 12.0, 25.9, 26.0, 12.1)


def test_heights_of_the_sketch_keep_their_order(base) -> None:
    """Siphon break over the water line, bleed point over everything."""
    for site in (base, load_site("demo", {"loop.lift_m": 0.0})):
        at = plumbing.heights_m(site)
        assert at["drain"] < at["draw"] < at["return"] <= at["water line"] < at["siphon break"]
        assert at["siphon break"] < at["coil"] < at["bleed point"] == max(at.values())
        svg = plumbing.sketch(site).decode()
        for word in ("siphon break", "check valve", "bleed point", "drain", "water line"):
            assert word in svg


def test_words_of_the_sketch_keep_apart() -> None:
    assert plumbing.spread([0.0, 0.1, 0.2, 5.0], 1.0) == [0.0, 1.0, 2.0, 5.0]


def test_the_vent_hole_is_in_the_return_alone(base) -> None:
    """A hole in a dry pump's suction tube would draw air; cautions of the wiring folder."""
    svg = plumbing.sketch(base).decode()
    assert "vent hole in the return" in svg
    assert "suction tube without a hole" in svg


def test_hold_time_says_what_it_rests_on(tmp_path) -> None:
    assert "not on a measured stand" in asked.hold_evidence(load_site("demo"))
    text = edited(("freezer.cabinet_ua_w_k", '{ value = 0.9, grade = "measured" }'))
    assert "rest on a measured stand: 0.9 W/K" in asked.hold_evidence(site_of(tmp_path, text))


def test_a_coil_passes_less_of_a_brine_but_not_as_much_less_as_its_film(sheet) -> None:
    """Air side and film in series: the whole loses less than the film, and some."""
    for brine in sheet.brines:
        assert brine.film_share < brine.transfer_share < 1.0


def test_hours_read_right_for_coils_around_the_gain(case, base) -> None:
    """One that just covers the gain holds briefly and cools long; a weaker one never holds."""
    store_c = np.linspace(2.5, 20.0, 4)
    ratios = np.array([0.007, 0.012])
    room_w = np.repeat((400.0 * (22.0 - store_c) / 19.5)[:, None], 2, axis=1)
    none = np.zeros_like(room_w)
    d = Delivery(store_c, ratios, room_w, room_w, none, none, 3.0, 10.0)
    u = case.given(15.0)
    strong, weak = (charge.discharge(case, d, gain_w, u, 4.0) for gain_w in (390.0, 410.0))
    assert 0.0 < strong.held_h < 1.0
    assert weak.held_h == 0.0
    assert strong.useful_h == pytest.approx(weak.useful_h, rel=0.03)
    # By hand: dT/dt = room_w / (m c), so t = m c 19.5 / 400 ln(19.5 / 2.0).
    by_hand = 150.0 * 4200.0 * 19.5 / 400.0 * math.log(19.5 / 2.0) / 3600.0
    assert weak.useful_h == pytest.approx(by_hand, rel=0.02)


def test_json_holds_all_of_it(sheet, base) -> None:
    result = sizing.size(base, variants=("mid",))
    text = json.dumps(result.as_json(), default=str, allow_nan=False)
    found = json.loads(text)["sheets"]["mid"]
    assert {"hold_days", "power_cut", "water", "fan_ways", "brines", "open_lid"} <= set(found)

"""What a valid site file is turned into: plant, settings, hashes, words."""

import hashlib
import json
import struct
from array import array
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from site_text import BASE, edited, site_of
from springhouse import fitted as fitted_bits
from springhouse import setting, week
from springhouse_host.errors import SiteError
from springhouse_host.site import BUILT_IN, VARIANTS, hashes, load_site
from springhouse_host.site.fields import Given, Gradeable, Quantity
from springhouse_host.site.owner_settings import SLOTS
from springhouse_host.site.read import MODELS, kind_of
from springhouse_host.site.words import ABSENT
from springhouse_sim import board_files
from springhouse_sim.plant.plant import Plant

SUFFIX = {
    "_c": "°C",
    "_k": "K",
    "_litres": "L",
    "_m": "m",
    "_mm": "mm",
    "_m2": "m2",
    "_w": "W",
    "_w_k": "W/K",
    "_w_m_k": "W/(m K)",
    "_w_m2_k": "W/(m2 K)",
    "_kj_k": "kJ/K",
    "_kg": "kg",
    "_pa": "Pa",
    "_wh": "Wh",
    "_kwh_year": "kWh/year",
    "_kg_24h": "kg/24 h",
    "_v": "V",
    "_s": "s",
    "_min": "min",
    "_h": "h",
    "_l_min": "L/min",
    "_m3_h": "m3/h",
    "_percent": "%",
    "_degrees": "°",
    "_per_h": "1/h",
}

ALWAYS_GIVEN = ("loop.pump_head_m", "loop.pump_free_l_min")  # keys that cannot be left out


@pytest.fixture(scope="module")
def base(tmp_path_factory):
    return site_of(tmp_path_factory.mktemp("base"), BASE)


@pytest.mark.parametrize("word", BUILT_IN)
def test_built_in_sites_load_and_give_three_plants(word: str) -> None:
    site = load_site(word)
    assert len(site.variants()) == len(VARIANTS)
    assert all(isinstance(plant, Plant) for plant in site.variants())
    assert setting.first_fault(site.settings()) == -1


def test_the_hard_demo_is_the_same_installation_with_more_gear() -> None:
    easy, hard = load_site("demo"), load_site("demo-hard")
    assert hard.plant() == easy.plant()
    assert (easy.file.room.equipment_w, hard.file.room.equipment_w) == (100.0, 500.0)
    wanted_h = [
        sum(w.length_min for w in site.file.schedule.wanted) / 60.0 for site in (easy, hard)
    ]
    assert wanted_h == [4.0, 6.0]


def test_every_number_has_its_unit_at_the_end_of_its_key() -> None:
    for name, model in MODELS.items():
        for key in model.model_fields:
            kind = kind_of(model, key)
            if isinstance(kind, Quantity) and kind.unit:
                suffix = max((s for s in SUFFIX if key.endswith(s)), key=len, default="")
                assert SUFFIX.get(suffix) == kind.unit, f"{name}.{key}"


# Settings.


def test_settings_hold_what_the_file_says(base) -> None:
    record = base.settings()
    assert isinstance(record, array)
    assert len(record) == setting.SIZE
    assert record[setting.DEEP_MC] == 2500
    assert record[setting.ROOM_TARGET_MC] == 25000
    assert record[setting.TARIFF_OVERRIDE] == 0
    assert record[setting.FULL_BY_MIN] == 7 * 60
    assert record[setting.STORE_LOW_ERR_MK] == 200  # ice point checked
    assert record[setting.COIL_IN_ERR_MK] == 500  # raw: S1, DS18B20 data sheet, ±0.5 °C
    every = sum(1 << n for n in range(12))
    # No fan speed, nor a relay contact.
    assert base.fitted == record[setting.FITTED] == every & ~fitted_bits.FAN_TACH
    windows = [
        tuple(record[setting.WINDOW_1_KIND + 4 * n : setting.WINDOW_1_KIND + 4 * n + 4])
        for n in range(4)
    ]
    assert windows == [
        (week.CHARGE, 127, 23 * 60, 7 * 60),
        (week.NO_START, 31, 13 * 60, 17 * 60 + 30),
        (week.WANTED, 31, 13 * 60 + 30, 17 * 60 + 30),
        (week.UNUSED, 0, 0, 0),
    ]


@pytest.mark.parametrize(
    ("kind", "nominal_v", "cut_mv"),
    [("lifepo4", 12.8, 12000), ("lead_acid", 12.0, 11600), ("lifepo4", 25.6, 24000)],
)
def test_battery_is_cut_by_its_chemistry(tmp_path, kind: str, nominal_v: float, cut_mv: int):
    """12.0 V for four lithium iron phosphate cells, 11.6 V for lead-acid; common practice."""
    text = edited(("battery.kind", f'"{kind}"'), ("battery.nominal_v", str(nominal_v)))
    assert site_of(tmp_path, text).settings()[setting.BATTERY_CUT_MV] == cut_mv


def test_least_flow_lies_well_below_the_weakest_expected(base) -> None:
    least = base.settings()[setting.FLOW_LEAST_ML_MIN]
    assert 0.3 * 1000 * base.weakest_l_min < least < 0.5 * 1000 * base.weakest_l_min


def test_most_flow_lies_well_above_what_the_pump_can_deliver(base) -> None:
    """No pump delivers more than its free flow; a flow sensor errs by a tenth."""
    free_ml_min = 1000 * base.file.loop.pump_free_l_min.value
    assert base.settings()[setting.FLOW_MOST_ML_MIN] == pytest.approx(1.5 * free_ml_min, rel=1e-3)


def test_a_store_that_chills_is_told_from_one_that_loses_heat_to_a_cold_place(base) -> None:
    """Half of what the weakest label chills all the water in half an hour; water 4.19 kJ/(kg K)."""
    chills_k = base.settings()[setting.CHILLS_MK] / 1000.0
    water_j_k = base.file.store.water_litres * 4190.0
    weakest_w = base.known["freezer.capacity_w"].pick("low")
    assert chills_k == pytest.approx(0.5 * weakest_w * 1800.0 / water_j_k, rel=0.02)
    lost_w = 10.0 * base.known["freezer.cabinet_ua_w_k"].pick("high")  # a place 10 K colder
    assert lost_w * 1800.0 / water_j_k < 0.3 * chills_k


def test_charging_begins_early_enough_for_the_weakest_label(base) -> None:
    """The lead against W13's heat: 90 L over 7 K is 735.5 Wh (IAPWS-95)."""
    wh_per_litre_k = 735.5 / 90.0 / 7.0
    swing_k = 12.0 + 1.0 - 2.5
    cold_wh = wh_per_litre_k * 150.0 * swing_k
    weakest_w = base.known["freezer.capacity_w"].low
    lead_h = base.settings()[setting.FULL_LEAD_MIN] / 60.0
    assert lead_h > cold_wh / weakest_w
    assert lead_h < 1.5 * cold_wh / weakest_w


def test_ice_bank_run_cannot_make_more_than_declared(tmp_path) -> None:
    """W15: a kilogram of ice is 92.6 Wh (IAPWS-95 and R10-06)."""
    text = edited(
        ("store.ice_bank", "true"), ("store.ice_limit_kg", "9"), ("settings.deep_target_c", "0")
    )
    site = site_of(tmp_path, text)
    record = site.settings()
    assert record[setting.ICE_BANK] == 1
    assert record[setting.FREEZE_MC] < 0
    strongest_w = site.known["freezer.capacity_w"].high
    assert strongest_w * record[setting.ICE_RUN_MIN] / 60.0 <= 9 * 92.6


@given(st.data())
def test_every_setting_inside_its_bounds_reaches_its_slot(data) -> None:
    key = data.draw(st.sampled_from(sorted(SLOTS)))
    slot = SLOTS[key]
    _, low, high, _ = setting.row(slot.slot)
    value = data.draw(st.integers(low, high))
    number = slot.kind.parse(value / slot.scale)
    assert round(number * slot.scale) == value


# Grades and variants.


def test_labels_alone_are_an_estimate_and_weak_means_weak(base) -> None:
    assert base.evidence == "ESTIMATE"
    low, mid, high = base.variants()
    capacities = [plant.freezer.rated_capacity_w for plant in (low, mid, high)]
    assert capacities == sorted(capacities)
    assert capacities[0] < capacities[2]
    gains = [plant.store.cabinet_ua_w_k for plant in (low, mid, high)]
    assert gains == sorted(gains, reverse=True)


def test_a_measured_value_stands_as_it_is(tmp_path) -> None:
    text = edited(("freezer.capacity_w", '{ value = 200, grade = "measured" }'))
    site = site_of(tmp_path, text)
    assert {plant.freezer.rated_capacity_w for plant in site.variants()} == {200.0}
    assert site.known["freezer.capacity_w"].grade == "measured"


def test_nothing_left_to_labels_is_measured(base, tmp_path) -> None:
    fitted = {
        key: f'{{ value = {known.mid!r}, grade = "fitted" }}'
        for key, known in base.known.items()
        if not key.startswith("freezer.inner_")  # tape measure
    }
    assert site_of(tmp_path, edited(*fitted.items())).evidence == "MEASURED"
    for key in fitted:
        others = {k: v for k, v in fitted.items() if k != key}
        text = edited(*others.items(), (key, "")) if key not in ALWAYS_GIVEN else BASE
        assert site_of(tmp_path, text).evidence == "ESTIMATE"


def test_label_of_a_140_litre_chest_brackets_a_wall_by_wall_sum(base, tmp_path) -> None:
    """E9: 140 L box, 60 mm foam, UA 0.761 W/K ±15 % by series resistances.

    170 to 200 kWh/year is the usual label of that size, from memory.
    """
    for kwh_year in (170, 200):
        text = edited(
            ("freezer.cabinet_litres", "140"),
            ("freezer.label_kwh_year", str(kwh_year)),
            ("store.water_litres", "90"),
            *((f"freezer.inner_{side}_m", "") for side in ("length", "width", "depth")),
            ("store.probe_high_m", "0.4"),
        )
        site = site_of(tmp_path, text)
        ua = site.known["freezer.cabinet_ua_w_k"]
        assert ua.low < 0.761 * 0.85
        assert ua.high > 0.761 * 0.85
        store = site.plant().store
        assert (store.inner_length_m, store.inner_width_m) == pytest.approx((0.45, 0.40), rel=0.01)


def test_label_capacity_lies_below_the_ideal_cycle(base) -> None:
    """R1: ideal COP 2.897 of R600a at −23.3/54.4 °C; R13: 0.4 to 0.6 of it in small hermetics."""
    capacity = base.known["freezer.capacity_w"]
    assert capacity.low / 150.0 == pytest.approx(0.4 * 2.897, rel=1e-3)
    assert capacity.high / 150.0 == pytest.approx(0.6 * 2.897, rel=1e-3)


@pytest.mark.parametrize(
    ("word", "mean_c"),
    [("greensboro-tmy3", 14.42), ("miami-tmy2", 24.31), ("sand-point-tmy3", 4.42)],
)
def test_weather_words_lead_to_their_files(tmp_path, word: str, mean_c: float) -> None:
    """Annual mean dry bulb of the three typical years pvlib ships, check-values section 12."""
    site = site_of(tmp_path, edited(("weather.source", f'"{word}"')))
    assert float(np.mean(site.read_weather().temp_air_c)) == pytest.approx(mean_c, abs=0.01)


def test_bad_weather_is_one_line_of_a_site_error(tmp_path) -> None:
    (tmp_path / "mine.csv").write_text("time,temp_air_c\n2001-01-01T00:00,x\n")
    text = edited(
        ("weather.source", ""),
        ("weather.csv", '"mine.csv"'),
        ("weather.latitude_degrees", "36"),
        ("weather.longitude_degrees", "-80"),
        ("weather.utc_offset_h", "-5"),
    )
    with pytest.raises(SiteError, match=r"mine\.csv: line 1"):
        site_of(tmp_path, text).read_weather()


# Words.


def test_every_absent_sensor_is_named(tmp_path) -> None:
    names = ("coil_air", "level", "floor", "flow", "battery", "humidity")
    text = edited(*((f"sensors.{name}", '"absent"') for name in names))
    site = site_of(tmp_path, text)
    told = "\n".join(site.unguarded())
    for word in ("air at the coil", "water level", "floor", "follow", "battery", "3 K"):
        assert word in told
    assert len(site.unguarded()) == len(names) + 2  # nor fan tachometer, nor relay contact


def test_an_absent_mains_sensor_is_named_where_it_is_allowed(tmp_path) -> None:
    """Only without a battery; then no battery voltage is missed either."""
    no_battery = (("battery.kind", '"none"'), ("battery.usable_wh", ""), ("battery.charger_w", ""))
    changes = (*no_battery, ("sensors.battery", '"absent"'))
    (tmp_path / "sensed").mkdir()
    sensed = site_of(tmp_path / "sensed", edited(*changes)).unguarded()
    told = site_of(tmp_path, edited(*changes, ("sensors.mains", '"absent"'))).unguarded()
    assert not any("battery" in line for line in told)
    assert [line for line in told if line not in sensed] == [ABSENT["mains"]]


def test_a_single_bottom_probe_raises_the_floor(tmp_path) -> None:
    text = edited(("sensors.store_high", '"absent"'), ("settings.deep_target_c", "5"))
    assert any("stops at 4.2 °C" in line for line in site_of(tmp_path, text).unguarded())


def test_protection_is_assumed_or_missed(base, tmp_path) -> None:
    assert any("siphon break" in line for line in base.assumes())
    site = site_of(tmp_path, edited(("protection.siphon_break", "false")))
    assert not any("siphon break" in line for line in site.assumes())
    assert any("siphon break" in line for line in site.unguarded())


def test_promises_follow_the_file(base) -> None:
    by_measure = {promise.measure: promise for promise in base.promises()}
    assert by_measure["room_share_percent"].limit == 95.0
    assert by_measure["room_share_percent"].room_below_c == 27.0
    assert by_measure["ice_kg"].limit == 1.0
    assert by_measure["off_gap_s"].margin(700.0) == 100.0
    assert by_measure["starts_per_hour"].margin(3.0) == 1.0


# Hashes.


def test_settings_hash_is_that_of_the_packed_record(base) -> None:
    packed = struct.pack(f"<{setting.SIZE}i", *base.settings())
    assert base.settings_sha256 == hashlib.sha256(packed).hexdigest()


def test_firmware_hash_covers_path_length_and_bytes(tmp_path) -> None:
    (tmp_path / "pkg").mkdir()
    (tmp_path / "pkg" / "a.py").write_bytes(b"x")
    (tmp_path / "main.py").write_bytes(b"yy")
    (tmp_path / "notes.txt").write_bytes(b"no part of it")
    expected = hashlib.sha256(b"main.py\x002\x00yy" + b"pkg/a.py\x001\x00x").hexdigest()
    assert hashes.firmware_sha256(board_files.tree(tmp_path)) == expected


def test_site_hash_sees_meaning_and_not_layout(tmp_path) -> None:
    (tmp_path / "a").mkdir()
    plain = site_of(tmp_path / "a", BASE)
    commented = site_of(tmp_path, "# another comment\n" + BASE)
    spelled = site_of(tmp_path, edited(("store.water_litres", '"150 L"')))
    assert plain.site_sha256 == commented.site_sha256 == spelled.site_sha256
    assert site_of(tmp_path, edited(("store.water_litres", "149"))).site_sha256 != (
        plain.site_sha256
    )


def test_site_hash_sees_the_weather_file(tmp_path) -> None:
    file = load_site("demo").file
    weather = tmp_path / "w.csv"
    weather.write_text("one")
    before = hashes.with_files_sha256(hashes.canonical(file), [weather])
    weather.write_text("two")
    assert hashes.with_files_sha256(hashes.canonical(file), [weather]) != before


def test_canonical_json_is_plain_and_sorted(base) -> None:
    text = hashes.canonical(base.file)
    assert json.dumps(json.loads(text), sort_keys=True, separators=(",", ":")) == text


@given(
    value=st.floats(0.1, 10.0),
    grade=st.sampled_from(["label", "measured", "fitted"]),
)
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_a_graded_value_keeps_value_and_grade(value: float, grade: str) -> None:
    kind = Gradeable("W/K", 0.05, 20)
    assert kind.parse({"value": value, "grade": grade}) == Given(value, grade)  # type: ignore[arg-type]
    assert kind.parse(value) == Given(value, "label")


def test_paths_as_text_or_path(tmp_path: Path) -> None:
    path = tmp_path / "site.toml"
    path.write_text(BASE, "utf-8")
    assert load_site(str(path)).site_sha256 == load_site(path).site_sha256

"""Site files with mistakes, each with the exact lines it must be refused with."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from site_text import BASE, edited, lines_of
from springhouse_host.errors import SiteError
from springhouse_host.site import load_site

Change = tuple[str, str]

LITRES = "from 5 to 2000 L"
NINE = ", ".join(f'"{hour:02}:00-{hour:02}:30"' for hour in range(9))
HOURS = 'a list of hours such as ["mon-fri 23:00-07:00", "sat,sun 12:00-15:00"]'
GALLONS = "say which gallon: 'US gal' (3.785 L) or 'imperial gal' (4.546 L)"
L_WORDS = "L, mL, m3, ft3, US gal, imperial gal, US qt, US pt"
GRADES = (
    'from 20 to 3000 W, or { value = ..., grade = "measured" } with grade one of label, measured, '
    "fitted and, if known, low and high"
)

ONE_LINE: list[tuple[list[Change], str]] = [
    # a single value
    ([("store.water_litres", "9000")], f"store.water_litres: 9000: {LITRES}"),
    ([("store.water_litres", "nan")], f"store.water_litres: nan: a finite number; {LITRES}"),
    ([("store.water_litres", "-inf")], f"store.water_litres: -inf: a finite number; {LITRES}"),
    (
        [("store.water_litres", "true")],
        f"store.water_litres: true: a number or text with a unit; {LITRES}",
    ),
    ([("store.water_litres", '"40 gal"')], f'store.water_litres: "40 gal": {GALLONS}; {LITRES}'),
    (
        [("store.water_litres", '"8 furlongs"')],
        'store.water_litres: "8 furlongs": a number in L, or with one of the units '
        f"{L_WORDS}; {LITRES}",
    ),
    ([("store.covered", '"yes"')], 'store.covered: "yes": true or false'),
    ([("coil.rows", "2.5")], "coil.rows: 2.5: a whole number from 1 to 12"),
    ([("room.people", "-1")], "room.people: -1: from 0 to 30"),
    ([("site.name", '""')], 'site.name: "": text of 1 to 80 characters'),
    (
        [("room.construction", '"brick"')],
        'room.construction: "brick": one of light, medium, heavy',
    ),
    ([("schedule.charging", '["23-7"]')], f'schedule.charging: ["23-7"]: {HOURS}'),
    ([("schedule.charging", '"23:00-07:00"')], f'schedule.charging: "23:00-07:00": {HOURS}'),
    (
        [("schedule.full_by", '"25:00"')],
        'schedule.full_by: "25:00": a time from "00:00" to "23:59"',
    ),
    (
        [("sensors.ice_point_checked", '["fridge"]')],
        'sensors.ice_point_checked: ["fridge"]: a list of store_low, store_high, room, coil_in, '
        "coil_air",
    ),
    ([("settings.deep_target_c", '"30 °F"')], 'settings.deep_target_c: "30 °F": from -1 to 15 °C'),
    ([("settings.band_k", '"30 °F"')], 'settings.band_k: "30 °F": from 0.2 to 6 K'),
    (
        [("settings.starts_per_hour", "6")],
        "settings.starts_per_hour: 6: a whole number from 1 to 4",
    ),
    (
        [("freezer.capacity_w", '{ value = 200, grade = "guess" }')],
        f'freezer.capacity_w: {{"value": 200, "grade": "guess"}}: {GRADES}',
    ),
    (
        [("freezer.capacity_w", '{ value = 200, grade = "measured", low = 250 }')],
        'freezer.capacity_w: {"value": 200, "grade": "measured", "low": 250}: low <= value <= high',
    ),
    (
        [("weather.source", '"paris"')],
        'weather.source: "paris": one of greensboro-tmy3, miami-tmy2, sand-point-tmy3',
    ),
    # missing and misspelt keys: one line a mistake
    ([("freezer.label_input_w", "")], "freezer.label_input_w: missing: from 20 to 1500 W"),
    (
        [("store.water_litres", ""), ("store.water_litre", "150")],
        "store.water_litre: 150: no such key; the nearest valid key is water_litres",
    ),
    (
        [("settings.bnad_k", "1")],
        "settings.bnad_k: 1: no such key; the nearest valid key is band_k",
    ),
    # keys that contradict each other
    (
        [("store.ice_bank", "true"), ("sensors.store_high", '"absent"')],
        'store.ice_bank: true: false, or sensors.store_high = "fitted" at the wall',
    ),
    (
        [("store.ice_bank", "true"), ("protection.independent_freeze_cutout", "false")],
        "store.ice_bank: true: false, or protection.independent_freeze_cutout = true",
    ),
    (
        [("store.ice_bank", "true"), ("store.probe_high_wall_mm", "60")],
        "store.probe_high_wall_mm: 60: at most 20 mm from the wall for an ice bank",
    ),
    (
        [("store.ice_limit_kg", "5")],
        "store.ice_limit_kg: 5: at most 2 kg, or store.ice_bank = true",
    ),
    ([("sensors.tray", '"absent"')], 'sensors.tray: "absent": fitted, or tray.open_drain = true'),
    (
        [("sensors.room", '"absent"')],
        'sensors.room: "absent": fitted: without a room probe nothing decides on cooling',
    ),
    (
        [("sensors.store_low", '"absent"'), ("sensors.store_high", '"absent"')],
        'sensors.store_low: "absent": at least one store probe must be fitted',
    ),
    (
        [("battery.kind", '"none"')],
        'sensors.battery: "fitted": absent while battery.kind = "none"',
    ),
    (
        [("settings.deep_target_c", "13")],
        "settings.deep_target_c: 13: at most shallow_target_c, 12 °C",
    ),
    (
        [("settings.deep_target_c", "0.6")],
        "settings.deep_target_c: 0.6: above 0.7 °C: the freeze guard stops the compressor there",
    ),
    (
        [("sensors.store_high", '"absent"')],
        "settings.deep_target_c: 2.5: above 4.2 °C: the only store probe hangs at the bottom, "
        "where 4 °C water may lie under ice",
    ),
    (
        [("settings.freeze_guard_c", "-1")],
        "settings.freeze_guard_c: -1: at least 0 °C, or store.ice_bank = true",
    ),
    ([("settings.room_limit_c", "24")], "settings.room_limit_c: 24: above room_target_c, 25 °C"),
    ([("settings.useful_k", "1.5")], "settings.useful_band_k: 2: below useful_k, 1.5 K"),
    (
        [("settings.fan_full_percent", "40")],
        "settings.fan_quiet_percent: 60: at most fan_full_percent, 40 %",
    ),
    (
        [("promises.room_below_c", "24")],
        "promises.room_below_c: 24: above settings.room_target_c, 25 °C",
    ),
    (
        [("schedule.no_start", '["22:00-08:00"]')],
        'schedule.charging: "23:00-07:00": hours outside schedule.no_start',
    ),
    (
        [("schedule.charging", '["23:00-07:00", "06:00-08:00"]')],
        'schedule.charging: "06:00-08:00": hours outside 23:00-07:00',
    ),
    ([("schedule.charging", f"[{NINE}]")], "schedule.charging: 9 windows: at most 8"),
    (
        [("store.probe_high_m", "0.6")],
        "store.probe_high_m: 0.6: below the water surface, 0.50 m",
    ),
    (
        [("store.water_litres", "240")],
        "store.water_litres: 240: at most 197.9 L: what the freezer holds, less headroom for "
        "ice_limit_kg",
    ),
    (
        [("freezer.capacity_w", "900")],
        "freezer.capacity_w: 900: from 87 to 348 W for a label input of 150 W, its range 720 to "
        "1080 W included",
    ),
    (
        [("tray.float_opens_litres", "7")],
        "tray.float_opens_litres: 7: below tray.capacity_litres, 6 L",
    ),
    (
        [("room.window_side", '"none"')],
        'room.window_area_m2: 1.2: above 0, or window_side = "none" and 0',
    ),
    (
        [("tariff.cheap_hours", "")],
        "tariff.cheap_hours: missing: hours while cheap_price_per_kwh is given",
    ),
    (
        [("freezer.cabinet_ua_w_k", "-0.6")],
        "freezer.cabinet_ua_w_k: -0.6: from 0.05 to 20 W/K",
    ),
    ([("loop.tube_bore_mm", "0")], "loop.tube_bore_mm: 0: from 2 to 50 mm"),
    ([("loop.pump_head_m", "")], "loop.pump_head_m: missing: from 0.2 to 60 m"),
    ([("loop.pump_free_l_min", "")], "loop.pump_free_l_min: missing: from 0.2 to 60 L/min"),
    (
        [("freezer.pull_down_from_c", "20")],
        "freezer.pull_down_from_c: 20: nothing unless pull_down_h is given",
    ),
    (
        [
            ("freezer.pull_down_h", "20"),
            ("freezer.pull_down_from_c", "8"),
            ("freezer.pull_down_to_c", "12"),
            ("freezer.pull_down_place_c", "25"),
        ],
        "freezer.pull_down_from_c: 8: above pull_down_to_c, 12 °C",
    ),
    (
        [("freezer.capacity_coefficients", "[1, 2, 3]")],
        "freezer.capacity_coefficients: [1, 2, 3]: a list of 10 numbers from -1e+06 to 1e+06",
    ),
    (
        [("sensors.mains", '"absent"')],
        'sensors.mains: "absent": fitted unless battery.kind = "none": the board outlives the '
        "mains, and without it the freezer restarts seconds after a blink",
    ),
    (
        [("battery.cell_mah", "20000")],
        'battery.cell_mah: 20000: nothing unless battery.kind = "power_bank"',
    ),
    (
        [("battery.least_load_w", "1")],
        'battery.least_load_w: 1: 0 unless battery.kind = "power_bank"',
    ),
    ([("store.supercooling_k", "20")], "store.supercooling_k: 20: from 0 to 8 K"),
    ([("tariff.standing_per_day", "-1")], "tariff.standing_per_day: -1: from 0 to 1e+06"),
    (
        [("tariff.price_per_kwh", "")],
        "tariff.price_per_kwh: missing: from 0 to 1e+06, or prices_csv",
    ),
    (
        [
            ("weather.source", ""),
            ("weather.design_highest_c", "34"),
            ("weather.latitude_degrees", "36"),
            ("weather.longitude_degrees", "-80"),
            ("weather.utc_offset_h", "-5"),
        ],
        "weather.design_dew_point_c: missing: a number on a design day",
    ),
    (
        [("weather.csv", '"mine.csv"')],
        'weather.source: "greensboro-tmy3": one of source, csv, file and design_highest_c',
    ),
]


@pytest.mark.parametrize(("changes", "line"), ONE_LINE, ids=lambda case: str(case)[:60])
def test_one_mistake_one_line(tmp_path, changes: list[Change], line: str) -> None:
    assert lines_of(tmp_path, edited(*changes)) == [f"site.toml: {line}"]


@pytest.mark.parametrize(
    ("text", "line"),
    [
        (b"\xff", "site.toml: byte 0: not UTF-8 text"),
        ("a = ", "site.toml: not valid TOML: Invalid value (at end of document)"),
        ("x = " + "[" * 5000, "site.toml: not valid TOML: nested too deeply, at most 32 deep"),
        ("#" * 300_001, "site.toml: more than 300000 bytes: too long"),
        (
            BASE.replace("[loop]", "[lop]"),
            "site.toml: lop: a table: no such table; the nearest valid table is [loop]",
        ),
        (
            BASE.replace("[tray]", "[trays]").replace("capacity_litres = 6", "capacity_litres = 0"),
            "site.toml: trays: a table: no such table; the nearest valid table is [tray]\n"
            "site.toml: tray.capacity_litres: 0: from 0.1 to 100 L",
        ),
        (
            BASE[: BASE.index("[tray]")] + BASE[BASE.index("[battery]") :],
            "site.toml: [tray]: missing: a table with capacity_litres, float_opens_litres",
        ),
    ],
    ids=["binary", "no TOML", "deep", "huge", "misspelt table", "wrong within it", "no table"],
)
def test_files_that_are_wrong_as_a_whole(tmp_path, text: str | bytes, line: str) -> None:
    assert lines_of(tmp_path, text) == line.split("\n")


@pytest.mark.parametrize("name", ["nowhere.toml", "."])
def test_files_that_cannot_be_read(tmp_path, name: str) -> None:
    with pytest.raises(SiteError) as refused:
        load_site(tmp_path / name)
    assert [line.split(": ")[1] for line in refused.value.lines] == ["cannot be read"]


def test_every_mistake_is_named_in_one_go(tmp_path) -> None:
    text = edited(
        ("freezer.climate_class", '"Q"'),
        ("store.water_litres", '"40 gal"'),
        ("loop.tube_bore_mm", ""),
        ("sensors.tray", '"absent"'),
        ("settings.deep_target_c", "13"),
    )
    assert [line.split(": ")[1] for line in lines_of(tmp_path, text)] == [
        "freezer.climate_class",
        "store.water_litres",
        "loop.tube_bore_mm",
        "sensors.tray",
        "settings.deep_target_c",
    ]


@given(
    key=st.sampled_from([line.split("=")[0].strip() for line in BASE.splitlines() if "=" in line]),
    value=st.one_of(
        st.integers(-(10**400), 10**400),
        st.floats(allow_nan=True, allow_infinity=True),
        st.booleans(),
        st.sampled_from(['"x"', "[]", "{}", "1979-05-27", '["mon 01:00-02:00"]', '"3 gal"']),
    ),
)
@settings(max_examples=300)
def test_any_value_is_accepted_or_refused_line_by_line(tmp_path_factory, key, value) -> None:
    if isinstance(value, float) and math.isinf(value):
        value = "inf" if value > 0 else "-inf"
    text = str(value).lower() if isinstance(value, bool) else str(value)
    table = next(
        line[1:].split("]")[0]
        for line in reversed(BASE[: BASE.index(f"\n{key} =")].splitlines())
        if line.startswith("[")
    )
    path = tmp_path_factory.mktemp("any") / "site.toml"
    path.write_text(edited((f"{table}.{key}", text)), "utf-8")
    try:
        site = load_site(path)
        site.variants()
    except SiteError as refused:
        assert refused.lines
        for line in refused.lines:
            assert line.startswith(str(path))
            assert "\n" not in line

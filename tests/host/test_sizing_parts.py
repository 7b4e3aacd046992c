"""Loop, coil, surfaces, running and limits of the sizing sheet, and variants side by side.

Checks against hydraulics, heat-exchanger and envelope values by their ids; the rest is arithmetic
on other figures of the sheet.
"""

import json
from dataclasses import fields
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from site_text import BASE, edited, site_of
from springhouse_host import cli
from springhouse_host.errors import SiteError
from springhouse_host.sheet import advice, charge, curves, explain, running, sizing, surfaces
from springhouse_host.site import load_site
from springhouse_host.site.variant import changes_of, site_with
from springhouse_sim.plant import hydraulics
from springhouse_sim.world.days import hottest
from springhouse_sim.world.prices import read_prices
from springhouse_sim.world.tariff import two_rate
from springhouse_sim.world.windows import Window


@pytest.fixture(scope="module")
def base(tmp_path_factory):
    return site_of(tmp_path_factory.mktemp("base"), BASE)


@pytest.fixture(scope="module")
def result(base) -> sizing.Sizing:
    return sizing.size(base, variants=("mid",))


@pytest.fixture(scope="module")
def sheet(result) -> sizing.Sheet:
    return result.sheets["mid"]


def test_operating_point_lies_on_both_curves(base, sheet) -> None:
    """H9's method: the system head at the operating flow is the pump's own there."""
    loop = base.plant().loop
    c = sheet.loop
    pump_m = hydraulics.pump_head_m(c.operating_l_min, loop.pump_head_m, loop.pump_free_l_min, 1.0)
    assert c.operating_m == pytest.approx(pump_m, rel=1e-4)
    assert np.interp(c.operating_l_min, c.flow_l_min, c.system_m) == pytest.approx(
        c.operating_m, rel=0.02
    )
    assert c.pump_m[0] == pytest.approx(loop.pump_head_m)
    assert c.pump_m[-1] == pytest.approx(0.0, abs=1e-9)
    assert np.all(np.diff(c.system_m) > 0.0)
    # H15: Re from the same velocity, 1.18 m/s in 6 mm at 2 L/min is Re 4659 (H9).
    assert hydraulics.reynolds(2.0, 0.006, 5.0) == pytest.approx(4659, rel=0.01)
    assert c.reynolds == pytest.approx(hydraulics.reynolds(c.operating_l_min, 0.01, 5.0))


def test_tube_surface_of_e2() -> None:
    """E2: foam of 13 mm on a 4 mm radius, water 5, air 25 °C: surface 22.2 °C, E6: dry at P4."""
    loop = site_loop(tube_bore_mm=6.0, tube_wall_mm=1.0, insulation_mm=13.0, tube_w_m_k=400.0)
    surface_c = surfaces.tube_surface_c(loop, 5.0, 25.0)
    assert surface_c == pytest.approx(22.2, abs=0.05)
    assert not surfaces.Surface("tube", surface_c, 25.0, 13.86).sweats
    assert surfaces.Surface("bare tube", 5.0, 25.0, 13.86).sweats


def site_loop(**change: float):
    from dataclasses import replace

    return replace(load_site("demo").plant().loop, **change)


def test_bare_joints_and_pump_sweat_and_the_tube_does_not(sheet) -> None:
    sweating = {s.name: s.sweats for s in sheet.surfaces}
    assert sweating["pump body"]
    assert sweating["bare joints in the room"]
    assert sweating["coil"]
    assert not sweating["tube where the freezer stands"]


def test_store_that_keeps_the_coil_dry(result, sheet) -> None:
    """X16: no condensate while the whole surface is at or above the dew point."""
    assert sheet.dry_store_c is not None
    # The surface lies between water and air, so the water may be a little under the dew point.
    assert result.dew_point_c - 3.0 < sheet.dry_store_c <= result.dew_point_c
    assert sheet.coil_duty[0].latent_w > 0.0


def test_coil_duty_falls_with_the_store(sheet) -> None:
    duties = sheet.coil_duty
    assert len(duties) == 3
    assert [d.sensible_w for d in duties] == sorted((d.sensible_w for d in duties), reverse=True)
    assert duties[0].air_off_c < duties[1].air_off_c < duties[2].air_off_c
    assert duties[0].store_c == 2.5


def test_second_probe_buys_what_lies_under_four_degrees(base, sheet) -> None:
    """W14's way: 150 L between 2.5 °C and 4.2 °C (0.2 K of probe error) at 4.21 kJ/(kg K)."""
    assert sheet.second_probe_kwh == pytest.approx(150 * 4.21 * (4.2 - 2.5) / 3600.0, rel=0.01)


def test_gain_peak_and_mean(sheet) -> None:
    gain = sheet.gain
    assert gain.peak_w >= gain.mean_w
    assert gain.day_w * 24.0 / 1000.0 == pytest.approx(sum(gain.kwh_day.values()), rel=1e-9)
    # L1, L4: at 25 °C a seated person gives off 65.3 W sensible and 49.7 W latent.
    assert gain.latent_w["people"] == pytest.approx(115.0 - 65.3, abs=0.5)


def test_hours_until_the_tray_is_full(base, sheet) -> None:
    """Litres at the float over litres an hour of delivery."""
    per_h = sheet.condensate_l_day / min(4.0, sheet.discharge_h)
    assert sheet.tray_full_h == pytest.approx(base.file.tray.float_opens_litres / per_h, rel=1e-6)


def test_energy_and_cost_of_the_day(base, sheet) -> None:
    """Compressor in the cheap hours, delivery in the dear ones, the board around the clock."""
    day, work = sheet.design_day, sheet.at_work
    assert day.run_h == pytest.approx(1000.0 * day.store_kwh / work.net_w)
    assert day.compressor_kwh == pytest.approx(day.run_h * work.input_w / 1000.0)
    # base.toml: 0.21 from 23:00 to 07:00, 0.34 else; a board of 1 W through 85 %.
    board = (8 * 0.21 + 16 * 0.34) / 24.0 * 24.0 / 0.85 / 1000.0
    by_hand = 0.21 * day.compressor_kwh + 0.34 * day.delivery_kwh + board
    assert day.cost == pytest.approx(by_hand, rel=1e-6)


def test_mean_price_of_windows_and_of_hourly_files(tmp_path) -> None:
    night = (Window(23 * 60, 7 * 60),)
    two = two_rate(0.20, 0.40, (Window(0, 12 * 60),))
    assert running.mean_price(two, 0, ()) == pytest.approx(0.30)
    # 23:00 to 24:00 at 0.40, 0:00 to 7:00 at 0.20
    assert running.mean_price(two, 0, night) == pytest.approx((0.40 + 7 * 0.20) / 8.0)
    path = tmp_path / "p.csv"
    first = datetime(2025, 7, 7)
    rows = [f"{first + timedelta(hours=i):%Y-%m-%dT%H:%M},{i / 100}" for i in range(24)]
    path.write_text("time,price_per_kwh\n" + "\n".join(rows) + "\n", "utf-8")
    hourly = read_prices(path)
    expected = (0.23 + sum(i / 100 for i in range(7))) / 8.0
    assert running.mean_price(hourly, 0, night) == pytest.approx(expected)


def test_continuous_running_balances(sheet) -> None:
    """Where cooling and heat meet, supply air lies between water and room."""
    for steady in (sheet.mean_day, sheet.worst_day):
        assert steady.water_c < steady.supply_c < 26.0
        assert steady.keeps_up == (steady.room_w >= steady.gain_w)
    assert sheet.worst_day.gain_w > sheet.mean_day.gain_w


def test_place_against_its_climate_class() -> None:
    """Class limits as in summaries of EN 62552, from memory: SN, N 32, ST 38, T 43 °C."""
    assert [running.highest_c(c) for c in ("SN", "N", "ST", "T", "SN-T", "N-ST")] == [
        32.0,
        32.0,
        38.0,
        43.0,
        43.0,
        38.0,
    ]


def test_the_tightest_limit_comes_first(sheet) -> None:
    ratios = [limit.ratio for limit in sheet.limits]
    assert ratios == sorted(ratios)
    by_name = {limit.name: limit.ratio for limit in sheet.limits}
    assert by_name["cold of one charge for the wanted hours"] == pytest.approx(
        sheet.discharge_h / 4.0
    )
    assert all(limit.change for limit in sheet.limits)


def test_freezer_in_the_cooled_room_is_said_plainly(sheet) -> None:
    lines = advice.standing(True, sheet.at_work, "SN-T", sheet.mean_day, 300.0)
    assert "stands in the room it is to cool" in lines[0]
    assert f"{sheet.at_work.rejected_w:.0f} W" in lines[0]
    # First law: what it rejects is what it takes up and its input, but for what still warms up.
    work = sheet.at_work
    assert work.rejected_w == pytest.approx(work.net_w + work.gains_w + work.input_w, rel=1e-3)


def test_the_motor_that_would_trip_is_said_so(base) -> None:
    """Place, shell and winding in series by hand: rises of 40 and 12 K at the label's input.

    The place rises with the heat over its conductance; the hottest hour is held.
    """
    weather = base.read_weather()
    case = sizing.case_for(base, "low", base.plant("low"), weather, hottest(weather, 1))
    work = running.charging(case, 8.0, base.file.schedule.charging)
    assert work.place_hottest_c > work.place_mean_c
    # The hot place raises condensing temperature and input above those of the mean.
    least_c = work.place_hottest_c + 52.0 * work.input_w / 150.0
    assert least_c < work.winding_hottest_c < least_c + 15.0
    lines = advice.standing(False, work, "SN-T", running_all_day(case), 300.0)
    assert any("protector" in line for line in lines) == (work.winding_hottest_c > 120.0)


def running_all_day(case) -> running.Continuous:
    return running.continuous(case, "design day", 100.0)


def test_every_figure_is_explained() -> None:
    explained = {figure.field.split(".")[0] for figure in explain.FIGURES}
    assert explained == {field.name for field in fields(sizing.Sheet)}
    assert all(f.formula and f.source for f in explain.FIGURES)


def test_size_writes_all_it_is_asked_for(tmp_path, base, capsys) -> None:
    json_path, plot_path = tmp_path / "s.json", tmp_path / "s.png"
    command = ["size", base.path, "--explain", "--units", "us"]
    assert cli.run([*command, "--json", str(json_path), "--plot", str(plot_path)]) == 0
    shown = capsys.readouterr().out
    for words in ("first limit", "sweats", "always on", "how it is worked out", "°F", "high probe"):
        assert words in shown
    assert plot_path.read_bytes()[:4] == b"\x89PNG"
    assert json.loads(json_path.read_text("utf-8"))["sheets"]["mid"]["loop"]["operating_l_min"] > 0


def test_compare_puts_variants_side_by_side(tmp_path, base, capsys) -> None:
    """More fans or rows deliver more; more water lasts longer; each in its own column.

    Four fans instead of two move a third more air through the same fins, see below; sensible
    cooling gains less than that, and not nothing.
    """
    path = tmp_path / "c.json"
    variants = ("coil.fans=4", "coil.rows=6", "store.water_litres=170")
    options = [text for variant in variants for text in ("--with", variant)]
    options += ["--json", str(path)]
    assert cli.run(["compare", base.path, *options]) == 0
    shown = capsys.readouterr().out
    assert "A: coil.fans=4\n" in shown
    assert "first limit" in shown
    found = {k: v["sheets"]["mid"] for k, v in json.loads(path.read_text("utf-8")).items()}
    plain, fans, rows, water = (found[name] for name in ("as it is", *variants))
    assert 1.1 * plain["cooling_w"] < fans["cooling_w"] < 1.33 * plain["cooling_w"]
    assert rows["cooling_w"] > 1.1 * plain["cooling_w"]
    assert rows["air_off_c"] < plain["air_off_c"] - 1.0
    assert water["discharge_h"] > 1.05 * plain["discharge_h"]
    assert water["cooling_w"] == pytest.approx(plain["cooling_w"], rel=0.01)


@pytest.mark.parametrize(
    ("fans", "in_series", "m3_h"),
    [(1, False, 113.4), (2, False, 170.2), (4, False, 227.0), (2, True, 136.1)],
)
def test_fans_share_the_same_fins(tmp_path, fans: int, in_series: bool, m3_h: float) -> None:
    """Straight fan curve q = qf (1 - p / ps) against p = R q, worked out by hand for qf 170 m3/h.

    One fan keeps 0.667: R qf / ps = 0.4993. n side by side: n qf / (1 + 0.4993 n); two in series:
    qf / (1 + 0.4993 / 2).
    """
    word = "true" if in_series else "false"
    site = site_of(tmp_path, edited(("coil.fans", str(fans)), ("coil.fans_in_series", word)))
    assert site.known["coil.air_m3_h"].mid == pytest.approx(m3_h, rel=1e-3)


def test_three_rows_span_a_small_coil_observed_once(tmp_path) -> None:
    """One observed set, no source: 1.33 to 1.42 transfer units, inside what three rows may have.

    Six rows have about twice the tube and fins; a deep bank's rows are somewhat poorer.
    """
    three, six = (
        site_of(tmp_path, edited(("coil.rows", str(rows)))).known["coil.ua_w_k"] for rows in (3, 6)
    )
    air_w_k = 1.2 * 1006.0 * 170.0 / 3600.0
    assert three.low / air_w_k < 1.33 < 1.42 < three.high / air_w_k
    assert 1.7 * three.mid < six.mid < 2.05 * three.mid


def test_a_coil_too_small_runs_all_the_time(tmp_path) -> None:
    """Its charge is spent at full delivery, and the first figures say what it cannot cover."""
    text = edited(("coil.fan_m3_h", "20"), ("coil.fans", "1"))
    found = sizing.size(site_of(tmp_path, text), variants=("mid",)).sheets["mid"]
    assert found.coil_share == pytest.approx(found.cooling_w / found.gain.mean_w)
    assert found.coil_share < 0.6
    assert found.discharge_h > 4.0
    # What it took from the room is less than its full duty all the while.
    assert found.design_day.store_kwh > 0.5 * found.cooling_w * 4.0 / 1000.0
    by_name = {limit.name: limit.ratio for limit in found.limits}
    coil = by_name["coil with a full store against the hottest wanted hour"]
    assert coil == pytest.approx(found.cooling_w / found.gain.peak_w)


def test_a_coil_that_stays_dry_is_said_so_in_json(tmp_path) -> None:
    """Air whose dew point lies under the store's target: no condensate, no hours, no infinity."""
    path = tmp_path / "dry.json"
    changes = (
        ("weather.source", ""),
        ("weather.design_highest_c", "32"),
        ("weather.design_dew_point_c", "1"),
        ("weather.latitude_degrees", "36"),
        ("weather.longitude_degrees", "-80"),
        ("weather.utc_offset_h", "-5"),
        ("room.people", "0"),
        ("settings.deep_target_c", "10"),
    )
    site = site_of(tmp_path, edited(*changes))
    assert cli.run(["size", site.path, "--json", str(path)]) == 0
    sheets = json.loads(path.read_text("utf-8"))["sheets"]
    assert all(found["tray_full_h"] is None for found in sheets.values())


def test_the_envelope_counts_once_where_the_freezer_stands_in_the_room(tmp_path) -> None:
    """First law: all it draws ends in the room, and always on it can only lose."""
    text = edited(("place.is_cooled_room", "true"))
    site = site_of(tmp_path, text)
    assert site.plant().place.ua_w_k == pytest.approx(0.1)
    found = sizing.size(site, variants=("mid",)).sheets["mid"]
    assert found.worst_day.room_w < 0.0
    assert not found.worst_day.keeps_up
    with pytest.raises(SiteError, match=r"place\.ua_w_k: 40: nothing while place\.is_cooled_room"):
        site_of(tmp_path, edited(("place.is_cooled_room", "true"), ("place.ua_w_k", "40")))


def test_always_on_the_coil_dries_the_room(base, sheet) -> None:
    """A coil colder than the dew point leaves the room drier than the air outdoors, by balance."""
    case = sizing.case_for(
        base, "mid", base.plant(), base.read_weather(), hottest(base.read_weather(), 1)
    )
    outdoors_c = case.day.mean_dew_c
    assert sheet.worst_day.water_c < sheet.worst_day.dew_point_c < outdoors_c


def test_changes_are_read_as_in_a_site_file() -> None:
    changes = changes_of(["coil.fans=2", " tray.open_drain = true", "place.vented=closed"])
    assert changes == {"coil.fans": 2, "tray.open_drain": True, "place.vented": "closed"}
    with pytest.raises(SiteError, match=r"table\.key=value"):
        changes_of(["fans=2"])
    with pytest.raises(SiteError, match=r"coil\.fans: 40"):
        site_with("demo", ["coil.fans=40"])


def csv_weather(path: Path, hours: int, spoil: tuple[int, str] = (0, "")) -> None:
    """Write July hours, one of them spoilt."""
    first = datetime(2001, 7, 1)
    rows = ["time,temp_air_c,relative_humidity_percent,pressure_pa,ghi_w_m2,dni_w_m2,dhi_w_m2"]
    for i in range(hours):
        rows.append(f"{first + timedelta(hours=i):%Y-%m-%dT%H:%M},28,60,101325,0,0,0")
    if spoil[0]:
        rows[spoil[0] - 1 : spoil[0]] = [spoil[1]] if spoil[1] else []
    path.write_text("\n".join(rows) + "\n", "utf-8")


CSV_SITE = (
    ("weather.source", ""),
    ("weather.csv", '"w.csv"'),
    ("weather.latitude_degrees", "36"),
    ("weather.longitude_degrees", "-80"),
    ("weather.utc_offset_h", "-5"),
)


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        ((30, ""), "line 30, column time: 2001-07-02 05:00:00 where 2001-07-02 04:00:00 is due"),
        (
            (12, "2001-07-01T10:00,28,140,101325,0,0,0"),
            "line 12, column relative_humidity_percent: 140 is outside 1 to 100 %",
        ),
        (
            (12, "2001-07-01T10:00,82,60,101325,0,0,0"),
            "line 12, column temp_air_c: 82 is outside -60 to 60 °C",
        ),
    ],
    ids=["a gap", "RH of 140 %", "°F"],
)
def test_bad_weather_is_one_line_and_exit_2(tmp_path, capsys, spoil, words: str) -> None:
    csv_weather(tmp_path / "w.csv", 240, spoil)
    path = tmp_path / "site.toml"
    path.write_text(edited(*CSV_SITE), "utf-8")
    assert cli.run(["size", str(path)]) == 2
    lines = capsys.readouterr().err.strip().splitlines()
    assert len(lines) == 1
    assert "weather" in lines[0]
    assert words in lines[0]


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (("freezer.cabinet_ua_w_k", "-0.6"), "freezer.cabinet_ua_w_k: -0.6: from 0.05 to 20 W/K"),
        (("loop.tube_bore_mm", "0"), "loop.tube_bore_mm: 0: from 2 to 50 mm"),
        (("loop.pump_head_m", ""), "loop.pump_head_m: missing: from 0.2 to 60 m"),
    ],
)
def test_bad_site_values_are_one_line_and_exit_2(tmp_path, capsys, change, words: str) -> None:
    path = tmp_path / "site.toml"
    path.write_text(edited(change), "utf-8")
    json_path = tmp_path / "out.json"
    assert cli.run(["size", str(path), "--json", str(json_path)]) == 2
    assert capsys.readouterr().err.strip() == f"{path}: {words}"
    assert not json_path.exists()


def test_curves_of_a_pump_that_cannot_lift() -> None:
    c = curves.curves(site_loop(static_lift_m=4.0))
    assert not c.lifts


@given(
    st.lists(st.integers(-40, 320), min_size=2, max_size=9, unique=True).map(sorted),
    st.lists(st.floats(-500.0, 500.0), min_size=9, max_size=9),
    st.floats(-10.0, 50.0),
)
def test_lines_between_points_are_those_of_numpy(eighths, ys, x) -> None:
    xs = [n / 8.0 for n in eighths]
    ys = ys[: len(xs)]
    for at in (x, *xs):
        assert charge.line(at, xs, ys) == pytest.approx(float(np.interp(at, xs, ys)), abs=1e-9)

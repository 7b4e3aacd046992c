"""Fitting: known numbers come back from simulated logs, and a log that tells nothing is refused."""

import json
import re
import shutil
import struct
import tomllib
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import simulated_logs as logs
from springhouse_host import cli, fit, load_site
from springhouse_host.errors import KnownError
from springhouse_host.fitting import fit as fitting
from springhouse_host.fitting import parameters
from springhouse_host.fitting import problem as problems
from springhouse_host.fitting.log import read_log
from springhouse_host.fitting.model import Guess, Model, make_model
from springhouse_host.fitting.parameters import FITTED, parameter
from springhouse_host.notebook import Run

SITE = load_site(logs.PLACE)
ROOM_KEYS = ("room.envelope_ua_w_k", "room.heat_capacity_kj_k")


TRUE = logs.truth(np.random.default_rng(3))


@pytest.fixture(scope="module")
def two_days() -> Run:
    """The room is as the site says: two days are too few to tell it."""
    return logs.true_run({k: v for k, v in TRUE.items() if k not in ROOM_KEYS}, 2)


def recovered(found: fitting.Fitted, true: dict[str, float]) -> pd.DataFrame:
    table = found.table.assign(true=[true[key] for key in found.table.index])
    table["inside"] = (table["low"] <= table["true"]) & (table["true"] <= table["high"])
    return table


def test_csv_log_of_a_random_site(tmp_path: Path, capsys, two_days: Run) -> None:
    """With noise, 1/16 K, constant probe errors, gaps; the command end to end."""
    rng = np.random.default_rng(2)
    log = tmp_path / "log.csv"
    logs.with_gaps(logs.as_read(two_days.minutes, rng), rng).to_csv(log, index_label="local_time")
    old = tmp_path / "site.toml"
    shutil.copy(logs.PLACE, old)
    before = old.read_bytes()
    out = ["--plot", str(tmp_path / "fit.png"), "--json", str(tmp_path / "fit.json")]
    held = [part for key in ROOM_KEYS for part in ("--hold", key)]
    assert cli.run(["fit", str(old), "--log", str(log), *held, *out]) == 0
    said = capsys.readouterr().out
    assert "held out" in said
    assert "not settled" not in said
    assert old.read_bytes() == before
    assert (tmp_path / "fit.png").read_bytes().startswith(b"\x89PNG")
    made = load_site(tmp_path / "site-2.toml")
    known = {k: made.known[k] for k in FITTED if k in made.known and k not in ROOM_KEYS}
    assert {k.grade for k in known.values()} == {"fitted"}
    assert len(known) == 4  # the water is a bare number
    inside = [k.low <= TRUE[key] <= k.high for key, k in known.items()]
    assert sum(inside) >= 3  # of 95 % intervals
    assert made.file.store.water_litres == pytest.approx(TRUE["store.water_litres"], rel=0.03)
    record = pd.read_json(tmp_path / "fit.json", typ="series")
    for channel in ("store_low_c", "room_c", "coil_air_c", "freezer_w"):
        assert record["rms"][channel]["held_out_after"] < record["rms"][channel]["held_out_before"]
    assert record["rms"]["store_low_c"]["held_out_after"] < 0.1


@pytest.mark.slow
def test_black_box_of_a_random_site(tmp_path: Path, two_days: Run) -> None:
    """No meter, no place, outdoors from another thermometer; two days are too few for the room."""
    rng = np.random.default_rng(4)
    log = logs.box_log(tmp_path / "box.txt", two_days, rng)
    outdoor = logs.outdoor_csv(tmp_path / "outdoor.csv", two_days)
    found = fit(SITE, log, outdoor=outdoor, hold=ROOM_KEYS)
    table = recovered(found, TRUE)
    assert list(table.index) == [k for k in FITTED if k not in (*ROOM_KEYS, "freezer.input_factor")]
    assert table["inside"].sum() >= 3, table
    assert any("no column freezer_w" in note for note in found.notes)
    assert found.rms.loc["store_low_c", "held_out_after"] < 0.15


def missed(model: Model) -> np.ndarray:
    """Root mean square by channel of what the model of a true site misses, 0 without a reading."""
    miss = model.shown(Guess.plain({}, 1))[0] - model.stretches[0].measured
    count = np.isfinite(miss).sum(axis=0)
    return np.sqrt(np.nansum(miss**2, axis=0) / np.maximum(count, 1))


def test_the_log_drives_the_plant_as_its_controller_did(tmp_path: Path, two_days: Run) -> None:
    """Followed with the true numbers, two days apart by no more than switches half a minute off."""
    two_days.minutes.to_csv(tmp_path / "log.csv", index_label="local_time")
    model = make_model(two_days.site, read_log(tmp_path / "log.csv", two_days.site))
    miss = missed(model)
    assert (miss < [0.05, 0.05, 0.05, 0.1, 0.12, 1.0]).all(), miss
    assert model.flow_factor == pytest.approx(1.0, abs=0.01)


def test_a_black_box_drives_it_too(tmp_path: Path, two_days: Run) -> None:
    """Apart by the probes' errors and resolution, and by a freezer's place that is modelled."""
    log = read_log(logs.box_log(tmp_path / "b.txt", two_days, np.random.default_rng(4)), SITE)
    weather = logs.outdoor_csv(tmp_path / "outdoor.csv", two_days)
    model = make_model(two_days.site, fitting._with_outdoor(log, weather))
    miss = missed(model)
    assert miss[:5].min() > 0.02
    assert miss[:5].max() < 0.5, miss
    assert np.isnan(model.stretches[0].measured[:, 5]).all()  # no meter
    assert any("no place_c" in note for note in model.notes)


def test_no_reading_jumps_with_a_parameter(tmp_path: Path) -> None:
    """Slopes by steps of 0.2 and of 0.5 % agree, so that least squares has a slope to go by.

    Three days of a site whose store overturns: with the low probe's readings meanwhile they differ.
    """
    true = logs.truth(np.random.default_rng(5))
    logs.true_run(true, 3).minutes.to_csv(tmp_path / "log.csv", index_label="local_time")
    model = make_model(SITE, read_log(tmp_path / "log.csv", SITE))
    compared = np.isfinite(model.stretches[0].measured)

    def shown(key: str, step: float) -> np.ndarray:
        values = {**true, key: true[key] * (1.0 + step)}
        seen = model.shown(Guess.plain(values, 1))[0]
        return np.where(compared, seen, 0.0)

    for key in ("freezer.capacity_w", "store.water_litres"):
        here = shown(key, 0.0)
        short, long = ((shown(key, step) - here) / step for step in (0.002, 0.005))
        apart = np.sqrt(np.mean((short - long) ** 2, axis=0) / np.mean(short**2, axis=0))
        assert apart[:2].max() < 0.1, (key, apart)


def test_correlation_time_of_a_first_order_process() -> None:
    """(1 + r) / (1 - r) for a correlation r from step to step (e.g. Sokal 1997, from memory)."""
    rng = np.random.default_rng(1)
    series = np.zeros(40_000)
    for i in range(1, len(series)):
        series[i] = 0.9 * series[i - 1] + rng.normal()
    assert problems.correlation_time(series) == pytest.approx(19.0, rel=0.15)
    assert problems.correlation_time(rng.normal(size=40_000)) < 1.2
    assert problems.correlation_time(np.full(100, 0.3)) > 50.0  # a constant miss is one reading


def refused(log: Path, **kwargs: object) -> list[str]:
    with pytest.raises(KnownError) as error:
        fit(SITE, log, **kwargs)  # type: ignore[arg-type]
    return [line.replace(f"{log.parent}/", "") for line in error.value.lines]


def test_no_discharge_names_coil_and_water(tmp_path: Path, two_days: Run) -> None:
    seen = two_days.minutes.assign(out=two_days.minutes["out"].astype(int) & logs.COMPRESSOR)
    seen.to_csv(tmp_path / "log.csv", index_label="local_time")
    lines = refused(tmp_path / "log.csv", hold=ROOM_KEYS)
    assert [line.split(": ")[1] for line in lines] == ["store.water_litres", "coil.ua_w_k"]
    assert "0.0 h of discharge (coil and room cannot be told), at least 2 needed" in lines[1]
    assert "log an afternoon with pump and fans on" in lines[1]
    assert "--hold coil.ua_w_k" in lines[1]


def test_a_short_calm_log_names_every_other_need(tmp_path: Path, two_days: Run) -> None:
    calm = two_days.minutes.iloc[600:960].assign(out=0.0, outdoor_c=30.0)
    calm.to_csv(tmp_path / "log.csv", index_label="local_time")
    keys = {line.split(": ")[1] for line in refused(tmp_path / "log.csv")}
    assert keys == set(FITTED)


def test_too_wide_and_at_the_edge_are_refused(tmp_path: Path, two_days: Run) -> None:
    path = tmp_path / "log.csv"
    two_days.minutes.to_csv(path, index_label="local_time")
    log = read_log(path, SITE)
    keys = ("freezer.cabinet_ua_w_k", "coil.ua_w_k")
    problem = problems.Problem(make_model(SITE, log), [parameter(SITE, k) for k in keys], {})
    v = np.zeros(len(problem.low))
    twin = np.eye(len(v))
    fitting._refuse_untold(log, problem, v, np.array([0.1, 0.1]), twin)  # good enough
    v[0] = problem.high[0]
    twin[0, 1] = twin[1, 0] = 0.99
    with pytest.raises(KnownError) as error:
        fitting._refuse_untold(log, problem, v, np.array([0.1, 0.6]), twin)
    edge, wide = error.value.lines
    assert "cabinet_ua_w_k: ends at" in edge
    wanted = r"coil\.ua_w_k: [\d.]+ W/K ±60 %, hardly told from freezer\.cabinet_ua_w_k"
    assert re.match(".*" + wanted, wide)


def test_a_typical_year_is_not_the_weather_of_a_log(tmp_path: Path, two_days: Run) -> None:
    log = logs.box_log(tmp_path / "box.txt", two_days, np.random.default_rng(4))
    (line,) = refused(log)
    assert "typical year" in line
    assert "--outdoor" in line
    outdoor = logs.outdoor_csv(tmp_path / "outdoor.csv", two_days)
    outdoor.write_text("\n".join(outdoor.read_text().splitlines()[:20]))
    (line,) = refused(log, outdoor=outdoor)
    assert line.startswith("outdoor.csv: from 2001-07-09")
    outdoor.write_text("local_time,outdoor_c\n2001-07-08,\n2001-07-19,\n")
    assert refused(log, outdoor=outdoor) == ["outdoor.csv: column outdoor_c: not one number"]
    outdoor.write_text("local_time,outdoor_c\n2001-07-08,20\n2001-07-19,30\n")
    model = make_model(SITE, fitting._with_outdoor(read_log(log, SITE), outdoor))
    assert any("the sun is the typical year's" in note for note in model.notes)
    assert any("outdoor_c: a straight line over 264.0 h" in note for note in model.notes)


def test_black_box_times_and_damage(tmp_path: Path, two_days: Run) -> None:
    path = logs.box_log(tmp_path / "box.txt", two_days, np.random.default_rng(4))
    lines = path.read_text().splitlines()
    path.write_text("\n".join([*lines[:5], '{"log":"0011"}', "garb", *lines[5:]]))
    log = read_log(path, SITE)
    assert log.notes == ("2 damaged lines passed over",)
    apart = abs(log.table.index[0] - two_days.minutes.index[0])
    assert apart < pd.Timedelta(seconds=60)
    out = log.table["out"].astype(int) & logs.COMPRESSOR
    starts = out.index[(out > 0) & (out.shift(fill_value=0) == 0)]
    told = two_days.changes["out"].astype(int) & logs.COMPRESSOR
    true = told.index[(told > 0) & (told.shift(fill_value=0) == 0)]
    assert len(starts) == len(true)
    assert max(abs((starts - apart) - true)) < pd.Timedelta(seconds=61)


UNITS = "local_time,out,room_probe_c,room_relative_humidity,outdoor_c\n2001-01-01,0,20,0.5,20\n"
UNITS += "2001-01-02,"


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("local_time,out\n2001-01-01,0\n2001-01-02,0\n", "line 1: no column room_probe_c"),
        ("local_time,out,room_probe_c\nnow,0,20\n2001-01-02,0,20\n", "line 2, column local_time"),
        ("local_time,out,room_probe_c\n2001-01-02,0,20\n2001-01-01,0,20\n", "line 3, column local"),
        (
            "local_time,out,room_probe_c\n2001-01-01,0,warm\n2001-01-02,0,20\n",
            "column room_probe_c",
        ),
        (
            "local_time,out,room_probe_c\n2001-01-01,0,20\n2001-01-02,0,20\n",
            "no reading of a store",
        ),
        (UNITS + "0,20,55,25\n", "line 3, column room_relative_humidity: '55': 0 to 1.05, as a"),
        (UNITS + "0,20,0.5,77\n", "line 3, column outdoor_c: '77': -60 to 60, °C"),
        (UNITS + "1.5,20,0.5,25\n", "line 3, column out: '1.5': 0 to 31, whole"),
        (UNITS.replace("01,", "01T00+02:00,") + "0,20,0.5,25\n", "without an offset"),
        ('{"up":1}\n', "no black-box record"),
        ("", "no table"),
        (b"\xff\xfe", "not UTF-8"),
    ],
)
def test_a_bad_log_is_one_line(tmp_path: Path, text: str | bytes, says: str) -> None:
    path = tmp_path / "log.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    (line,) = refused(path)
    assert says in line
    assert "\n" not in line


def box(path: Path, *records: tuple[int, int, int, float]) -> Path:
    """A black box of (boot, true or wrong minute, uptime, degrees of every probe)."""
    lines = []
    for boot, minute, up_s, c in records:
        centi = [round(100 * c)] * 5
        packed = struct.pack(
            logs.BOX_FORMAT, 0, boot, 0, minute, up_s, *centi, *[0] * 6, 0, 0x11, 0x1F, 0, 0, 0
        )
        lines.append(json.dumps({"log": packed.hex()}))
    path.write_text("\n".join(lines), "utf-8")
    return path


def test_a_black_box_is_raw_and_gets_the_sites_offsets(tmp_path: Path) -> None:
    """Calibration is added to the raw reading (springhouse.setting), which is what a box keeps."""
    site = load_site(
        logs.PLACE, {"settings.room_offset_k": 0.4, "settings.store_low_offset_k": -0.3}
    )
    log = read_log(box(tmp_path / "b.txt", (7, 30_000_000, 60, 20.0)), site)
    shown = log.table[["store_low_c", "store_high_c", "room_c"]].iloc[0]
    assert list(shown) == pytest.approx([19.7, 20.0, 20.4])


def test_a_clock_that_was_wrong(tmp_path: Path) -> None:
    """Set back an hour in boot 9; boot 8 would reach into it; boot 7 never knew the time."""
    m = 30_000_000
    log = read_log(
        box(
            tmp_path / "b.txt",
            (7, 0, 60, 5.0),
            (8, m + 20, 60, 6.0),
            (8, m + 80, 3660, 6.0),
            (9, m + 100, 60, 7.0),
            (9, m + 101, 120, 7.0),
            (9, m + 42, 180, 7.0),
            (9, m + 43, 240, 7.0),
        ),
        SITE,
    )
    assert list(log.table["room_c"]) == [7.0] * 4
    steps = np.diff(log.table.index) / np.timedelta64(1, "s")
    assert list(steps) == [60.0] * 3
    ahead_min = 60.0 * SITE.read_weather().place.utc_offset_h + SITE.file.weather.clock_ahead_min
    assert log.table.index[-1] == pd.Timestamp((m + 43 + ahead_min) * 60.0, unit="s")
    said = " ".join(log.notes)
    assert "boot 9: its clock was set meanwhile" in said
    assert "boot 8: 2 records passed over" in said
    assert "1 records of boots without a clock" in said


def test_what_nothing_tells_has_no_narrow_interval() -> None:
    """Of two columns the second is told by no residual, of three twins only the sum."""
    told = problems.covariance_of(np.array([[2.0, 0.0], [0.0, 0.0]]))
    assert told[0, 0] == pytest.approx(0.25)
    assert told[1, 1] > 1e6
    rows = np.random.default_rng(1).normal(size=(20, 3))
    assert problems.covariance_of(rows) == pytest.approx(np.linalg.inv(rows.T @ rows))
    rows[:, 2] = rows[:, 1]
    assert problems.covariance_of(rows).diagonal()[1:].min() > 1e6


def test_a_meter_read_every_ten_seconds_is_no_longer_known_for_it() -> None:
    seconds = np.arange(0.0, 700.0, 10.0)
    column = np.where(seconds < 305.0, np.nan, 60.0)
    assert parameters._known_h(seconds, column) == pytest.approx(390.0 / 3600.0)


def test_an_unknown_hold_and_an_old_file_are_refused(tmp_path: Path, capsys) -> None:
    assert cli.run(["new", str(tmp_path)]) == 0
    site = str(tmp_path / "site.toml")
    capsys.readouterr()
    assert cli.run(["fit", site, "--log", "no.csv", "--out", site]) == 2
    assert "a new version never replaces a file" in capsys.readouterr().err
    assert cli.run(["fit", site, "--log", "no.csv", "--hold", "coil.ua"]) == 2
    assert "--hold coil.ua: one of freezer.cabinet_ua_w_k" in capsys.readouterr().err
    assert tomllib.loads((tmp_path / "site.toml").read_text("utf-8"))


@pytest.mark.slow
def test_ten_random_sites(tmp_path: Path) -> None:
    """Prints the table; of seventy 95 % intervals at least 66 must hold the truth."""
    inside = 0
    for seed in range(1, 11):
        rng = np.random.default_rng(seed)
        true = logs.truth(rng)
        found = fit(SITE, logs.csv_log(tmp_path / f"{seed}.csv", true, rng, 4))
        table = recovered(found, true)
        inside += int(table["inside"].sum())
        shown = table[["before", "true", "value", "low", "high", "inside"]].round(3)
        print(f"site {seed}\n{shown.to_string()}", flush=True)
        for channel in ("store_low_c", "room_c", "freezer_w"):
            row = found.rms.loc[channel]
            assert row["held_out_after"] < row["held_out_before"]
    print(f"{inside} of 70 inside")
    assert inside >= 66

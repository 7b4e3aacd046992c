"""`springhouse sweep`: points, table, going on after a kill, refusals."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import psutil
import pytest
from patience import HANG_S
from springhouse_host import cli, runners, sweeping
from springhouse_host.errors import KnownError
from springhouse_host.proof import running, scenarios
from springhouse_host.report import sweep_page
from springhouse_host.runners import Runners
from springhouse_host.site import load_site
from springhouse_host.sweeping import Axis, Job

AXES = (Axis("settings.deep_target_c", 2.0, 4.0, 3), Axis("settings.min_off_s", 300, 900, 4))
ONE_DAY = ("sweep", "demo", "--days", "1", "--jobs", "1")
SWEEP = "import sys; from springhouse_host.cli import main; main(sys.argv[1:])"


def test_a_grid_has_every_corner_and_whole_numbers_where_asked() -> None:
    found = sweeping.lay_out(AXES, "grid", 0)
    assert len(found) == 12
    assert {found[0], found[-1]} == {(2.0, 300), (4.0, 900)}
    assert all(isinstance(seconds, int) for _, seconds in found)


@pytest.mark.parametrize(
    ("key", "whole"),
    [
        ("coil.fans", True),
        ("settings.starts_per_hour", True),
        ("settings.rest_min", True),
        ("settings.flow_least_l_min", False),  # litres a minute, no minutes
        ("coil.rated_l_min", False),
    ],
)
def test_counts_and_waits_are_whole_numbers(key: str, whole: bool) -> None:
    assert Axis(key, 1.0, 2.0, 2).whole is whole


@pytest.mark.filterwarnings("error")
def test_any_number_of_points_can_be_drawn() -> None:
    assert len(sweeping.lay_out((Axis("store.band_k", 0.0, 16.0, 2),), "sobol", 100)) == 100


@pytest.mark.parametrize("method", ["latin", "sobol"])
def test_spread_points_fill_each_axis(method: sweeping.Method) -> None:
    """One point in each of 16 equal slices of each axis: what both sequences promise."""
    found = sweeping.lay_out((Axis("store.band_k", 0.0, 16.0, 2),) * 2, method, 16)
    for axis in range(2):
        assert sorted(int(p[axis]) for p in found) == list(range(16))


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("settings.deep_target_c=1:2", "expected TABLE.KEY=FROM:TO:COUNT"),
        ("settings.deep_target_c=2:1:3", "FROM below TO"),
        ("settings.deep_target_c=2:inf:3", "FROM below TO"),
        ("settings.deep_targt_c=1:2:3", "the nearest is settings.deep_target_c"),
        ("room.window_area_m2=1:2:3", "the same for all points"),
    ],
)
def test_a_bad_axis_is_one_clear_line(text: str, says: str) -> None:
    with pytest.raises(KnownError, match=says):
        sweeping.read_axis(text)


def test_a_key_that_is_varied_twice_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    vary = ("--vary", "settings.band_k=1:2:2", "--vary", "settings.band_k=2:3:2")
    assert cli.run([*ONE_DAY, *vary, "--out", str(tmp_path / "t.parquet")]) == 2
    assert capsys.readouterr().err == "--vary settings.band_k: more than once\n"


def test_a_row_is_what_a_run_leaves(tmp_path: Path) -> None:
    table = tmp_path / "t.parquet"
    vary = ("--vary", "settings.room_target_c=25:26:2", "--out", str(table))
    assert (
        cli.run(
            [
                *ONE_DAY,
                *vary,
                "--plot",
                str(tmp_path / "map.png"),
                "--report",
                str(tmp_path / "map.html"),
            ]
        )
        == 0
    )
    assert (tmp_path / "map.html").read_text("utf-8").endswith("</html>")
    assert (tmp_path / "map.png").read_bytes().startswith(b"\x89PNG")
    rows = {row["settings.room_target_c"]: row for row in sweeping.read_table(table).values()}
    site = load_site("demo", {"settings.room_target_c": 25.0})
    trace = running.bench(site, scenarios.single(site, None, 1)).run(1)
    alone = trace.summary(running.room_limit_c(site))
    assert {k: rows[25.0][k] for k in ("cost", "starts", "winding_max_c", "room_hours_over")} == {
        k: alone[k] for k in ("cost", "starts", "winding_max_c", "room_hours_over")
    }
    assert rows[26.0]["wanted_mean_c"] > rows[25.0]["wanted_mean_c"]


KEYS = ("settings.deep_target_c", "settings.room_target_c")


def point(deep: float, room: float, hours: float, cost: float, refused: str = "") -> sweeping.Row:
    return dict(zip(KEYS, (deep, room), strict=True)) | {
        "room_hours_over": hours, "cost": cost, "max_ice_kg": 0.1, "refused": refused,
    }  # fmt: skip


POINTS = [
    point(2, 25, 0.0, 0.5),
    point(2, 27, 3.0, 0.25),
    point(4, 25, 0.0, 0.4),
    point(9, 25, 0.0, 0.0, "demo: settings.deep_target_c: 9: too warm"),
]


def test_a_map_is_told_in_words() -> None:
    hours, cost = sweep_page.figures("EUR")
    assert sweep_page.told(POINTS[:3], KEYS, hours) == (
        "From 0 h at deep_target_c 2, room_target_c 25 (and 1 other) to 3 h at deep_target_c 2, "
        "room_target_c 27. The larger the disc, the more."
    )
    assert sweep_page.told(POINTS[:3], KEYS[:1], cost).startswith(
        "From 0.25 EUR at deep_target_c 2"
    )
    assert sweep_page.told(POINTS[:1], KEYS, cost) == "0.5 EUR at every point."
    least, middle, most = sweep_page.discs_px([1.0, 2.0, 3.0])
    assert (least, most) == sweep_page.DISC_PX
    assert middle == pytest.approx((least + most) / 2)


@pytest.mark.parametrize("keys", [KEYS[:1], KEYS])
def test_the_page_holds_every_point_and_a_text_for_each_map(keys: tuple[str, ...]) -> None:
    page = sweep_page.render(load_site("demo"), POINTS, keys, "demo: one day")
    own = page.partition("<script")[0]
    assert own.count("<tr><td") == 3  # the refused one is told, not drawn
    assert "not drawn: 1, the first: demo: settings.deep_target_c" in own
    assert own.count('role="img"') == own.count("<figcaption") == 2
    assert "http" not in own.replace("http-equiv", "")
    none = sweep_page.render(load_site("demo"), POINTS[3:], keys, "demo: one day")
    assert 'role="img"' not in none


def test_a_refused_point_is_a_row_that_says_so() -> None:
    scenario = scenarios.single(load_site("demo"), None, 1)
    row = sweeping.run_job(Job("demo", (("settings.deep_target_c", 90.0),), scenario))
    assert "settings.deep_target_c" in row[sweeping.REFUSED]


def test_a_killed_sweep_goes_on_where_it_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    table = tmp_path / "t.parquet"
    axis = Axis("settings.room_target_c", 24.0, 27.0, 400)
    vary = f"{axis.key}={axis.low}:{axis.high}:{axis.count}"
    command = [sys.executable, "-c", SWEEP, *ONE_DAY, "--vary", vary, "--out", str(table)]
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL)
    limit = time.monotonic() + HANG_S
    while not table.exists() and process.poll() is None and time.monotonic() < limit:
        time.sleep(0.05)
    os.kill(process.pid, signal.SIGKILL)
    process.wait()
    kept = sweeping.read_table(table)
    assert 0 < len(kept) < axis.count
    again: list[Job] = []

    def counted(job: Job) -> sweeping.Row:
        again.append(job)
        return {"refused": "not run in this test"}

    monkeypatch.setattr(sweeping, "run_job", counted)
    assert cli.run([*ONE_DAY, "--vary", vary, "--out", str(table)]) == 0
    assert len(again) == axis.count - len(kept)
    after = sweeping.read_table(table)
    assert len(after) == axis.count
    assert all(after[name] == row for name, row in kept.items())
    assert not {sweeping_id(job) for job in again} & kept.keys()


def sweeping_id(job: Job) -> str:
    site = load_site("demo")
    return job.identity(site.firmware_sha256, site.site_sha256)


def test_rows_of_another_simulator_are_not_taken(monkeypatch: pytest.MonkeyPatch) -> None:
    job = Job("demo", (), scenarios.single(load_site("demo"), None, 1))
    before = sweeping_id(job)
    monkeypatch.setattr(sweeping, "simulation_sha256", lambda: "another")
    assert sweeping_id(job) != before


def test_another_file_is_not_overwritten(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    other = tmp_path / "letter.parquet"
    other.write_text("not a table")
    assert cli.run([*ONE_DAY, "--vary", "settings.band_k=1:2:2", "--out", str(other)]) == 2
    assert other.read_text() == "not a table"
    assert "is no table of a sweep" in capsys.readouterr().err


# Beyond one machine.


def test_a_killed_worker_loses_no_point_and_none_is_there_twice(tmp_path: Path) -> None:
    """Two real workers, processes of their own; one dies with points in its hands."""
    from distributed import LocalCluster

    site = load_site("demo")
    scenario = scenarios.single(site, None, 1)
    keys = [("settings.useful_k", 1.0 + n / 100.0) for n in range(24)]
    jobs = {
        job.identity(site.firmware_sha256, site.site_sha256): job
        for job in (Job("demo", (key,), scenario) for key in keys)
    }
    seen: list[int] = []
    with LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None
    ) as cluster:
        victim = next(iter(cluster.workers.values())).pid

        def on_done(done: int) -> None:
            seen.append(done)
            if done == 3:
                os.kill(victim, signal.SIGKILL)

        where = Runners(1, cluster.scheduler_address)
        rows = sweeping.sweep(jobs, tmp_path / "t.parquet", where, on_done)
    assert seen == list(range(len(jobs) + 1))  # each handed over once
    assert [row["settings.useful_k"] for row in rows] == [value for _, value in keys]
    kept = sweeping.read_table(tmp_path / "t.parquet")
    assert len(kept) == len(jobs)
    assert set(kept) == set(jobs)
    alone = sweeping.run_job(jobs[rows[7][sweeping.ID]])
    assert {k: rows[7][k] for k in alone} == alone
    assert not psutil.pid_exists(victim)


def test_a_scheduler_that_is_not_there_is_one_clear_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(runners, "CONNECT_S", 0.2)
    vary = ("--vary", "settings.band_k=1:2:2", "--out", str(tmp_path / "t.parquet"))
    assert cli.run([*ONE_DAY, *vary, "--scheduler", "tcp://127.0.0.1:9"]) == 2
    told = capsys.readouterr().err.splitlines()
    assert len(told) == 1
    assert told[0].startswith("--scheduler tcp://127.0.0.1:9: cannot be reached")
    assert not (tmp_path / "t.parquet").exists()

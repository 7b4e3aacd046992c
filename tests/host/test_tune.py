"""`springhouse tune`: the points, the search, the lower bound, the new version of the file."""

import json
from array import array
from concurrent.futures import Future
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from springhouse import setting
from springhouse_host import cli
from springhouse_host.errors import KnownError
from springhouse_host.proof import placing, running, scenarios
from springhouse_host.site import load_site
from springhouse_host.site.version import changed_text, text_of, write_changed
from springhouse_host.tuning import bound, knobs, search, trying
from springhouse_host.tuning import tune as tuning
from springhouse_sim.world.thermostat import PlainThermostat

DEMO = load_site("demo")
TURNED = knobs.knobs(DEMO)
WEEK = replace(scenarios.single(DEMO, None, 7), name="a week")


def with_values(**values: float) -> tuple[float, ...]:
    """The site's own point with some knobs turned, by the end of their names."""
    return knobs.rounded(
        TURNED, [values.get(k.name.split(".")[-1].replace(" ", "_"), k.now) for k in TURNED]
    )


@settings(max_examples=30)
@given(st.lists(st.floats(0.0, 1.0), min_size=len(TURNED), max_size=len(TURNED)))
def test_a_point_means_the_same_in_the_file_and_on_the_board(shares: list[float]) -> None:
    point = knobs.rounded(
        TURNED, [k.low + s * (k.high - k.low) for k, s in zip(TURNED, shares, strict=True)]
    )
    assert point == knobs.rounded(TURNED, point)
    changes = knobs.changes_of(DEMO, TURNED, point)
    if changes is None:
        return
    expected = array("i", DEMO.settings())
    for slot, value in changes:
        expected[slot] = value
    assert load_site("demo", knobs.keys_of(DEMO, TURNED, point)).settings() == expected


def test_the_site_as_it_is_changes_nothing() -> None:
    assert knobs.changes_of(DEMO, TURNED, [k.now for k in TURNED]) == ()


def test_what_the_owner_may_change_stays_in_range() -> None:
    owner = {"room_target_lowest_c": 25.5, "room_target_highest_c": 26.5, "charging_move_min": 30}
    site = load_site("demo", {f"owner_range.{key}": value for key, value in owner.items()})
    found = {k.name: k for k in knobs.knobs(site)}
    room = found["settings.room_target_c"]
    assert (room.low, room.high) == (25.5, 26.5)
    assert not {knobs.BEGINS, knobs.ENDS} & set(found)


def test_charging_that_begins_the_day_before_moves_its_days() -> None:
    site = load_site("demo", {"schedule.charging": ["mon 00:30-06:30"]})
    turned = knobs.knobs(site)
    point = [-60.0 if k.name == knobs.BEGINS else k.now for k in turned]
    assert knobs.keys_of(site, turned, point)["schedule.charging"] == ["sun 23:30-06:30"]


def test_promises_come_before_cost() -> None:
    kept, broken = trying.Tried((), 0.0, 9.0, 0.0), trying.Tried((), 0.01, 1.0, 0.0)
    assert kept.energy(10.0) < broken.energy(10.0) < replace(broken, violation=0.1).energy(10.0)


def test_the_search_finds_a_known_least(monkeypatch: pytest.MonkeyPatch) -> None:
    """A bowl with a promise across it; its least by hand: deep target 4, room target 26.5."""

    def bowl(task: trying.Task, point: tuple[float, ...]) -> trying.Tried:
        deep, room = point[0], point[2]
        return trying.Tried(point, max(0.0, room - 26.5), (deep - 4.0) ** 2 + 28.0 - room, 0.0)

    class Here:
        map = staticmethod(map)

    monkeypatch.setattr(search, "try_point", bowl)
    task = trying.Task("demo", TURNED, (), WEEK, 1e3, 0)
    trials = search.search(task, 480, Here(), lambda n: None)  # type: ignore[arg-type]
    best = trials.best()[0]
    assert best.point[2] == pytest.approx(26.5, abs=0.2)
    assert best.point[0] == pytest.approx(4.0, abs=0.6)
    assert tuple(k.now for k in TURNED) in trials.found
    assert len(trials.found) <= 480


# The lower bound.


@pytest.fixture(scope="module")
def programme() -> bound.BoundProgramme:
    return bound.BoundProgramme(DEMO, WEEK)


def test_where_interior_points_give_up_the_simplex_finds_the_same(programme, monkeypatch) -> None:
    from scipy import optimize

    least, solve, asked = programme.solve(2.0), optimize.linprog, []

    def gives_up(*arguments, method, **more):
        asked.append(method)
        if method == "highs-ipm":
            return SimpleNamespace(status=4, message="(HiGHS Status 0: Not Set)")
        return solve(*arguments, method=method, **more)

    monkeypatch.setattr(optimize, "linprog", gives_up)
    assert programme.solve(2.0).cost == pytest.approx(least.cost, rel=1e-6)
    assert asked == [*bound.METHODS]


@pytest.mark.parametrize(
    "values",
    [
        {},
        {"room_target_c": 27.5, "room_band_k": 0.2},
        {"room_target_c": 27.7, "deep_target_c": 9.0, "shallow_target_c": 20.0},
        {"charging_begins": 300.0, "shallow_target_c": 20.0, "room_target_c": 27.4},
    ],
)
def test_no_simulated_week_costs_less_than_the_bound(
    programme: bound.BoundProgramme, values: dict[str, float]
) -> None:
    found = tuning.season_point("demo", TURNED, WEEK, with_values(**values))
    least = programme.solve(found.hours_over)
    assert least is not None
    assert least.cost <= found.cost
    if not values:  # with the promise kept the bound is no mere formality
        assert least.cost > 0.05 * found.cost
        # its cold is a share of what the plant needs, and its energy is charged for all of it
        cold = tuning.cold_of("demo", TURNED, WEEK, with_values())
        assert 0.0 < least.to_room_kwh < cold.to_room
        assert 0.0 <= least.lost_kwh < cold.lost
        made_kwh = least.to_room_kwh + least.lost_kwh - float(programme.bands.start_kwh.sum())
        assert least.kwh > made_kwh / float(programme.ratio.max())


def test_the_bound_falls_with_every_hour_allowed(programme: bound.BoundProgramme) -> None:
    free_h = float(programme.free.wanted.sum()) * bound.STEP_H
    costs = [solved.cost for h in (1.0, 8.0, free_h) if (solved := programme.solve(h))]
    assert costs == sorted(costs, reverse=True)
    assert costs[0] > costs[1] > costs[2]
    # with every hour allowed nothing is chilled: board and standby remain, 1 W over 0.85
    standing = programme.free.constant_kw * bound.STEP_H * float(programme.free.price.sum())
    assert costs[2] == pytest.approx(standing, rel=1e-6)


def test_the_room_answers_the_bound_as_the_plant_does() -> None:
    """Steady state by hand: 1 kW on the air node, the mass towards outdoors and house behind it."""
    from springhouse_sim.bench import parameters
    from springhouse_sim.plant import param

    p = parameters(DEMO.plant())
    after, by_kw, mean, mean_by_kw = bound.room_steps(p)
    steady = np.linalg.solve(np.eye(2) - after, by_kw)
    inner, outer = p[param.AIR_MASS_UA_W_K], p[param.ENVELOPE_MASS_UA_W_K] + p[param.HOUSE_UA_W_K]
    fresh_w_k = 1200.0 * p[param.INFILTRATION_M3_S]
    w_k = p[param.ENVELOPE_AIR_UA_W_K] + fresh_w_k + 1.0 / (1.0 / inner + 1.0 / outer)
    assert steady[0] == pytest.approx(1000.0 / w_k, rel=0.02)
    assert mean @ steady + mean_by_kw == pytest.approx(steady[0], rel=1e-6)


def test_a_freezer_in_the_cooled_room_has_no_bound(tmp_path: Path) -> None:
    inside = load_site("demo", {"place.is_cooled_room": True})
    with pytest.raises(KnownError, match="is_cooled_room"):
        bound.free_run(inside, WEEK)


# The plain thermostat.


def test_the_plain_thermostat_switches_at_its_temperatures() -> None:
    two = replace(WEEK, days=2)
    plain = PlainThermostat(7.0, 5.0, 26.4, 26.0, DEMO.file.schedule.wanted)

    def make(plant: Any, settings: Any, world: Any, **rest: Any) -> Any:
        return tuning.Bench(plant, settings, replace(world, actors=(*world.actors, plain)), **rest)

    trace = running.bench(DEMO, scenarios.without_store(two), kind=make).run(2)
    probe, on = trace.column("store_low_probe_c"), trace.column("freezer_w") > 20.0
    begun = np.flatnonzero(on[1:] & ~on[:-1])
    ended = np.flatnonzero(~on[1:] & on[:-1])
    assert len(ended) >= 2
    assert np.abs(probe[ended] - 5.0).max() < 0.3
    assert np.abs(probe[begun[1:]] - 7.0).max() < 0.3
    wanted = trace.wanted()
    rest = ~wanted[1:] & ~wanted[:-1]  # the water comes to rest in the first minute after
    assert trace.column("flow_l_min")[1:][rest].max() < 0.2


def test_a_thermostat_that_does_not_see_its_ice_has_no_figures() -> None:
    """Water is densest at 4 °C: the probe at the bottom does not reach 0 °C before all is ice."""
    plain = tuning.thermostat("demo", replace(WEEK, days=9), 7.0, 0.0)
    assert plain.point is None
    assert plain.frozen_after_days is not None
    # by hand: 150 kg to 0.75 of ice with 0.1 to 0.3 kW; latent heat 334 kJ/kg (handbook value)
    assert 1.0 < plain.frozen_after_days < 8.0


# The new version.


def test_a_version_keeps_every_comment_and_changes_only_what_it_must(tmp_path: Path) -> None:
    new = tmp_path / "new.toml"
    changes = {"settings.deep_target_c": 4.5, "settings.full_lead_min": 300}
    written = write_changed(DEMO, new, changes, "Tuned.")
    assert written.settings()[setting.DEEP_MC] == 4500
    before, after = text_of(DEMO).splitlines(), new.read_text("utf-8").splitlines()
    assert [line for line in before if line not in after] == ["deep_target_c = 3.5"]
    added = [line for line in after if line not in before]
    assert added == ["# Tuned.", "deep_target_c = 4.5", "full_lead_min = 300"]
    with pytest.raises(KnownError, match="exists already"):
        write_changed(DEMO, new, changes, "Tuned.")


def test_a_comment_beside_a_value_stays() -> None:
    text = changed_text("[a]\nb = 1 # why\n", {"a.b": 2, "c.d": "x"}, "New.")
    assert text == '# New.\n[a]\nb = 2 # why\n\n[c]\nd = "x"\n'


def test_a_version_that_the_rules_refuse_is_not_written(tmp_path: Path) -> None:
    with pytest.raises(KnownError, match="deep_target_c"):
        write_changed(DEMO, tmp_path / "n.toml", {"settings.deep_target_c": 0.1}, "")
    assert list(tmp_path.iterdir()) == []


def test_the_subset_is_what_comes_nearest_to_breaking_a_promise() -> None:
    days = replace(WEEK, days=1)
    lax = running.run_one("demo", days)
    hot = replace(lax, scenario=replace(days, name="hot"), summary={**lax.summary})
    hot.summary["wanted_share_within"] = 0.5
    cold = replace(lax, scenario=replace(days, name="cold"), summary={**lax.summary})
    cold.summary["wanted_share_within"] = 0.99
    names = [s.name for s in trying.binding(DEMO, [lax, hot, cold])]
    assert names[0] == "hot"
    assert trying.violation(DEMO.promises(), [lax]) == 0.0
    assert trying.violation(DEMO.promises(), [lax, hot]) == pytest.approx(40.0 / 90.0)


@pytest.mark.parametrize(
    ("arguments", "line"),
    [
        (("--budget", "3"), "--budget"),
        (("--days", "1"), "--days"),
        (("--out", "nowhere/new.toml"), "nowhere/new.toml: cannot be written"),
        (("--out", "there.toml"), "there.toml: exists already: nothing was tuned"),
    ],
)
def test_bad_input_is_one_line(
    arguments: tuple[str, ...],
    line: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "there.toml").write_text("mine")
    assert cli.run(["tune", "demo", *arguments]) == 2
    out = capsys.readouterr()
    assert (out.out, len(out.err.splitlines())) == ("", 1)
    assert line in out.err
    assert (tmp_path / "there.toml").read_text() == "mine"


class Serial:
    """A pool that runs at once and here."""

    def __init__(self, processes: int) -> None:
        pass

    def __enter__(self) -> "Serial":
        return self

    def __exit__(self, *_: object) -> None:
        pass

    map = staticmethod(map)

    def submit(self, call: Any, *arguments: Any) -> Any:
        done: Future[Any] = Future()
        done.set_result(call(*arguments))
        return done


@pytest.fixture
def made_up(monkeypatch: pytest.MonkeyPatch) -> None:
    """Runs by formula instead of the plant: colder costs more and breaks no promise.

    Faults come when they do under the site's own settings, on the middle reading.
    """
    short = replace(WEEK, days=1)
    real = running.run_one("demo", short)

    def run_one(path: str, scenario: scenarios.Scenario, *_: Any) -> running.Result:
        settings = array("i", DEMO.settings())
        for slot, value in scenario.changes:
            settings[slot] = value
        room_c = settings[setting.ROOM_TARGET_MC] / 1000.0
        deep_c = settings[setting.DEEP_MC] / 1000.0
        weak = scenario.name.startswith("compressor 20 %")
        kept = 1.0 - 0.05 * max(0.0, room_c - (26.2 if weak else 26.6))
        over = 264.0 * (1.0 - kept)
        cost = scenario.days * (0.1 + 0.01 * (28.0 - room_c) + 0.004 * (12.0 - deep_c))
        summary = {**real.summary, "cost": cost, "room_hours_over": over}
        summary |= {"wanted_share_within": kept if kept > 0.99 else kept - 0.1}
        return replace(real, scenario=scenario, summary=summary)

    class Fixed:
        wanted_h = 264.0

        def __init__(self, *_: object) -> None:
            pass

        def solve(self, hours: float) -> bound.Bound:
            return bound.Bound(hours, 5.0, 20.0, 12.0, 3.0)

    own = placing.places

    def places(path: str, changed: str, sha256: str, _: Any, variant: str) -> placing.Places:
        return own(path, changed, sha256, (), "mid") if variant == "mid" else ()

    monkeypatch.setattr(placing, "places", places)
    monkeypatch.setattr(running, "run_one", run_one)
    monkeypatch.setattr(tuning, "cold_of", lambda *_: tuning.Cold(30.0, 20.0, 10.0))
    monkeypatch.setattr(tuning, "Workers", Serial)
    monkeypatch.setattr(tuning, "BoundProgramme", Fixed)
    plain = tuning._point("plain", {}, real.summary)
    monkeypatch.setattr(tuning, "thermostat", lambda *_: tuning.Plain("plain", plain))


@pytest.mark.usefixtures("made_up")
def test_from_search_to_new_version(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The made-up plant keeps its promise up to a room target of 26.2 °C in its worst corner."""
    monkeypatch.chdir(tmp_path)
    arguments = ("tune", "demo", "--no-prove", "--plot", "t.png", "--json", "t.json")
    assert cli.run([*arguments, "--budget", "96", "--days", "3"]) == 0
    screen = capsys.readouterr().out
    assert "not proven: run springhouse prove" in screen
    assert "lower bound with the 26.4 h" in screen
    assert "30.0 kWh (12.0) to the warmth of the room" in screen
    told = json.loads(Path("t.json").read_text())
    new = load_site("demo-2.toml").settings()
    assert 26_000 <= new[setting.ROOM_TARGET_MC] <= 26_200 + 500
    assert told["tuned"]["cost"] < told["own"]["cost"]
    assert told["tuned"]["bound"] == 5.0
    hours = [point["hours_over"] for point in told["curve"]]
    assert len(hours) >= 2
    assert hours == sorted(hours)
    assert Path("t.png").read_bytes().startswith(b"\x89PNG")
    # once more: the first version stays
    before = Path("demo-2.toml").read_text()
    assert cli.run([*arguments, "--budget", "32"]) in (0, 1)
    assert Path("demo-2.toml").read_text() == before

"""The bench as a whole: it repeats, does not see the tick origin, meters and records rightly."""

from array import array
from datetime import datetime
from pathlib import Path
from typing import ClassVar

import numpy as np
import pytest
from bench_rig import MONDAY, bench, plant, settings
from springhouse import memory as cell
from springhouse import output, reading, setting, statechart
from springhouse_sim import bench as bench_module
from springhouse_sim import gauge
from springhouse_sim.bench import World
from springhouse_sim.plant import given, moist_air, param, state
from springhouse_sim.plant.battery import Battery
from springhouse_sim.trace import Trace, column_names
from springhouse_sim.virtual_board import on_board
from springhouse_sim.world import tariff
from springhouse_sim.world.faults import Fault
from springhouse_sim.world.outage import Outage
from springhouse_sim.world.stage import Calendar
from springhouse_sim.world.windows import Window

AFTERNOON = datetime(2025, 7, 7, 12)
NIGHT = Window(23 * 60, 7 * 60)


def column_of(trace: Trace, name: str) -> np.ndarray:
    return trace.column(name)


def busy(**options: object) -> Trace:
    return bench(
        Fault("prime_lost", 3 * 3600, duration_s=60),
        weather=True,
        compile_ticks=True,
        start=AFTERNOON,
        **options,  # type: ignore[arg-type]
    ).run(1.0)


@pytest.fixture(scope="module")
def day() -> Trace:
    return busy(seed=1)


def test_same_seed_same_trace(day: Trace) -> None:
    again = busy(seed=1)
    np.testing.assert_array_equal(day.events, again.events)
    np.testing.assert_array_equal(day.samples, again.samples)
    np.testing.assert_array_equal(day.ended, again.ended)
    assert day.cost == again.cost
    other = busy(seed=2)
    assert not np.array_equal(day.samples, other.samples)


@pytest.mark.parametrize("origin", [1, 2**29 - 7, 2**30 - 5000, 2**30 - 4 * 3_600_000])
def test_tick_origin_changes_nothing(day: Trace, origin: int) -> None:
    """Invariant 23: also with the wrap just after power-up and in the middle of delivery."""
    shifted = busy(seed=1, tick_origin=origin)
    np.testing.assert_array_equal(day.events, shifted.events)
    np.testing.assert_array_equal(day.samples, shifted.samples)


def test_the_day_is_busy_and_keeps_the_invariants(day: Trace) -> None:
    assert set(day.events[:, 2]) >= {
        statechart.WAITING,
        statechart.DISCHARGE,
        statechart.DRY_RUN_STOP,
        statechart.CONDENSATE_STOP,
    }
    assert {statechart.HOLD, statechart.CHARGE} <= set(day.events[:, 1])
    assert [side.sum() for side in day.state_seconds()] == [86_400, 86_400]
    assert day.violations.sum() == 0
    assert all(day.cases[[1, 2, 3, 4, 5, 6, 7, 8, 9, 12, 15, 16]] > 0)


def test_samples_and_events_are_consistent(day: Trace) -> None:
    """A minute sample carries the states of the latest event row."""
    table = day.transitions()
    assert len(day.samples) == 1440
    assert len(day.samples[0]) == len(column_names())
    at_ms = day.samples[:, 0] * 1000
    latest = np.searchsorted(table["ms"].to_numpy(), at_ms, side="right") - 1
    for name in ("store_state", "room_state", "out"):
        np.testing.assert_array_equal(column_of(day, name), table[name].to_numpy()[latest])
    minutes = day.minutes()
    assert str(minutes.index[0]) == "2025-07-07 12:00:00"
    assert minutes.loc["2025-07-07 13:00", "outdoor_c"] > 25.0


def test_metrics_agree_with_the_events() -> None:
    """Starts and off gaps of three days once more, from the event rows alone."""
    day = bench(weather=True, compile_ticks=True, settings=settings(BAND_MK=300)).run(3.0)
    on = day.events[:, 3] & output.COMPRESSOR != 0
    rises = day.events[1:][on[1:] & ~on[:-1], 0]
    falls = day.events[1:][~on[1:] & on[:-1], 0]
    assert day.counts[gauge.STARTS] == len(rises) > 2
    gaps = [rise - max([0, *falls[falls < rise]]) for rise in rises]
    assert day.off_gap_min_s() == min(gaps) / 1000
    in_hour = [int(np.sum((rises > r - 3_600_000) & (rises <= r))) for r in rises]
    assert day.summary(27.0)["starts_per_hour_max"] == max(in_hour)


def test_lost_prime_shows_as_dry_seconds(day: Trace) -> None:
    """Flow dies with a lag of 3 s; the pump must stop within 5 s of the last flow."""
    assert 4 <= day.summary(27.0)["dry_seconds_max"] <= 8


def test_recorded_energy_is_the_integral_of_power(day: Trace) -> None:
    """Minute samples of power by the trapezoid rule, against the meter and the fine totals."""
    kw = day.column("mains_w") / 1000.0
    assert np.trapezoid(kw, dx=1 / 60) == pytest.approx(day.energy_kwh()["mains"], rel=0.02)
    energy = day.energy_kwh()
    assert sum(day.kwh_by_rate.values()) == pytest.approx(energy["mains"], rel=1e-9)
    assert day.cost == pytest.approx(0.30 * energy["mains"], rel=1e-9)
    # fans, pump and board run behind a supply of 85 %, the battery stays full
    behind = (energy["pump"] + energy["fans"] + energy["board"]) / 0.85
    assert energy["freezer"] + behind == pytest.approx(energy["mains"], rel=1e-6)


def test_cost_by_hand() -> None:
    """Without controller only the board's 1 W runs, behind a supply of 85 %: 28.235 Wh a day.

    A third of the day is cheap: 28.235e-3 x (0.18 / 3 + 0.34 x 2 / 3).
    """
    two = tariff.two_rate(0.18, 0.34, (NIGHT,))
    trace = bench(rates=two, with_controller=False, compile_ticks=True).run(1.0)
    assert trace.energy_kwh()["mains"] == pytest.approx(24.0 / 0.85 / 1000, rel=1e-6)
    assert trace.cost == pytest.approx(24.0 / 0.85 / 1000 * (0.06 + 0.68 / 3), rel=1e-4)
    assert trace.kwh_by_rate["cheap"] == pytest.approx(8.0 / 0.85 / 1000, rel=1e-4)


def test_without_the_store_nothing_is_driven() -> None:
    trace = bench(weather=True, with_controller=False, compile_ticks=True).run(0.5)
    assert not trace.column("out").any()
    assert (
        trace.total(state.FREEZER_J) == trace.total(state.PUMP_J) == trace.total(state.FAN_J) == 0.0
    )
    assert trace.off_gap_min_s() is None
    assert trace.cases.sum() == 0


def test_outage_stops_the_compressor_and_delays_its_return() -> None:
    """Invariants 5 and 16. On with the store at 10 °C after 600 s; away 1000 to 1300 s."""
    warm = plant(store_c=10.0)
    trace = bench(Outage(1000, 300), plant=warm, compile_ticks=True, start=MONDAY).run(0.05)
    table = trace.transitions()
    on = table["out"].to_numpy() & output.COMPRESSOR != 0
    ms = table["ms"].to_numpy()
    assert ms[on][0] == 600_000
    assert ms[~on & (ms > 600_000)][0] == 1_000_000
    back = ms[on & (ms > 1_000_000)][0]
    assert back == 1_300_000 + 600_000  # mains returned, then the whole off time
    assert trace.off_gap_min_s() == 600
    assert (table["alive"] == 1).all()  # the battery carries the board


def test_without_battery_the_board_dies_and_boots_again() -> None:
    base = plant(store_c=10.0)
    bare = type(base)(**{**vars(base), "battery": Battery(kind="none")})
    fitted = settings()
    fitted[setting.FITTED] &= ~2048  # no battery to sense
    b = bench(Outage(1000, 300), plant=bare, settings=fitted, start=MONDAY)
    trace = b.run(1800 / 86_400)
    table = trace.transitions()
    dead = table[table["alive"] == 0]
    assert list(dead["ms"]) == [1_000_000]
    assert dead["out"].iloc[0] == 0
    assert trace.counts[gauge.BOOTS] == 2
    assert b.board.memory[cell.BOOTED] == 1
    starts = table["ms"].to_numpy()[table["out"].to_numpy() & output.COMPRESSOR != 0]
    assert starts[0] == 600_000
    assert not np.any((starts >= 1_000_000) & (starts < 1_900_000))


def test_given_slots_hold_throughout() -> None:
    """A compressor of 80 % takes less heat from the same water in the same time."""
    heat = [
        bench(plant=plant(store_c=10.0), compile_ticks=True, given_slots=slots)
        .run(0.1)
        .store_heat_kwh()["evaporator"]
        for slots in ({}, {given.CAPACITY_FACTOR: 0.8})
    ]
    assert 0.75 < heat[1] / heat[0] < 0.95


def test_a_run_can_go_on_from_where_another_ended() -> None:
    """One day in one go and in two halves: same room and store, without controller."""
    options = {"weather": True, "with_controller": False, "compile_ticks": True}
    whole = bench(start=MONDAY, **options).run(1.0)
    first = bench(start=MONDAY, **options).run(0.5)
    second = bench(start=MONDAY.replace(hour=12), initial=first.ended, **options).run(0.5)
    np.testing.assert_allclose(second.ended[:40], whole.ended[:40], atol=1e-3)
    assert second.total(state.SUN_J) == pytest.approx(
        whole.total(state.SUN_J) - first.total(state.SUN_J)
    )


def test_balances_of_the_recorded_heat(day: Trace) -> None:
    """The room's heat by cause closes with what its air, mass and moisture hold."""
    heat_j = sum(day.room_heat_kwh().values()) * 3.6e6
    p = bench().tank.parameters
    grew = day.ended - day.begun
    stored_j = (
        p[param.ROOM_AIR_J_K] * grew[state.ROOM_AIR_C]
        + p[param.ROOM_MASS_J_K] * grew[state.ROOM_MASS_C]
    )
    stored_j += p[param.MOISTURE_KG] * moist_air.LATENT_J_KG * grew[state.ROOM_HUMIDITY_RATIO]
    assert heat_j == pytest.approx(stored_j, abs=1e-6 * abs(day.total(state.SUN_J)))


def test_wanted_hours_and_limits() -> None:
    """Wanted 14 to 18 h on weekdays: from Friday noon on, four hours in two and a half days."""
    friday = datetime(2025, 7, 11, 12)
    trace = bench(weather=True, with_controller=False, compile_ticks=True, start=friday).run(2.5)
    assert trace.wanted().sum() == 4 * 60
    room = trace.column("room_air_c")[120:360]
    assert trace.hours_over(27.0) == pytest.approx(np.sum(room > 27.0) / 60)
    assert trace.share_within(27.0) == pytest.approx(np.mean(room <= 27.0))
    assert trace.hours_over(-50.0) == 4.0


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"settings": [0] * setting.SIZE}, "settings: slot 0 is out of bounds"),
        ({"seed": -1}, "Bench: seed -1"),
        ({"tick_origin": 2**30}, "Bench: seed 0 or tick_origin 1073741824"),
    ],
)
def test_bad_bench_is_refused(options: dict[str, object], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        bench(**options)  # type: ignore[arg-type]


def test_a_bench_runs_once() -> None:
    b = bench()
    b.run(10 / 86_400)
    with pytest.raises(RuntimeError, match="runs once"):
        b.run(10 / 86_400)


def test_a_full_log_is_emptied_and_nothing_is_lost(monkeypatch: pytest.MonkeyPatch) -> None:
    """Logs of a few rows give the same trace as long ones."""
    whole = bench(start=AFTERNOON, compile_ticks=True).run(0.5)
    monkeypatch.setattr(bench_module, "EVENT_ROWS", 3)
    monkeypatch.setattr(bench_module, "MOST_SAMPLE_ROWS", 7)
    pieces = bench(start=AFTERNOON, compile_ticks=True).run(0.5)
    np.testing.assert_array_equal(whole.events, pieces.events)
    np.testing.assert_array_equal(whole.samples, pieces.samples)


def test_progress_is_reported() -> None:
    shares: list[float] = []
    bench(weather=True).run(60 / 86_400, shares.append)
    assert shares[-1] == 1.0
    assert shares == sorted(shares)


def test_a_virtual_board_has_its_supply_at_the_first_tick(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As the board in process, which starts at 0 s; what it then does is no matter here."""

    class Dummy:
        process: object = None
        begun: ClassVar[list[int]] = []

        def __init__(self, *_: object) -> None:
            pass

        def power(self, readings: array) -> None:
            self.process = self
            self.begun.append(readings[reading.NOW_MS])

        def tick(self, *_: object) -> None:
            pass

        off = fill_memory = tick

        def out(self) -> int:
            return 0

    monkeypatch.setattr(on_board, "BoardController", Dummy)
    around = World(Calendar(MONDAY), (), tariff.flat(0.30))
    board = on_board.OnBoardBench(
        plant(), settings(), around, flash=tmp_path, tick_origin=5000, compile_ticks=False
    )
    board.run(5 / 86_400)
    assert Dummy.begun == [5000]
    assert board.followed[0][0] == 0

"""The plant under the outputs a real run recorded: half the step, and another integrator.

A bench run of controller, weather, sun, people and gear leaves what acted on the plant, second by
second. The plant alone is then driven by that record, so that a difference is the integrator's
and not a controller's that changed its mind a tick later.
"""

import itertools
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from functools import cache

import bench_rig as rig
import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp
from springhouse import setting
from springhouse_sim import compiled, ticks
from springhouse_sim.plant import balance, given, integrate, state, tap
from springhouse_sim.world.stage import Events, Stage

Array = NDArray[np.float64]
SIM = "springhouse_sim.plant"
DOORS = ((f"{SIM}.integrate", "advance"), (f"{SIM}.rates", "rates"), (f"{SIM}.rates", "switch"))
WORLD_S = 600  # world processes write at most every ten minutes, half a second before
TEMPERATURES = [
    *range(state.WATER_C, state.WATER_C + state.LAYERS),
    state.EVAPORATOR_C,
    state.CONDENSER_C,
    state.WINDING_C,
    state.SHELL_C,
    state.PLACE_C,
    state.SUPPLY_C,
    state.RETURN_C,
    state.COIL_C,
    state.ROOM_AIR_C,
    state.ROOM_MASS_C,
]


@dataclass
class Recorder:
    """Copies what the world has written, half a minute after it wrote."""

    rows: list[Array] = field(default_factory=list)
    ages_s: list[float] = field(default_factory=list)  # of the weather when the world wrote

    def act(self, stage: Stage) -> Events:
        """Copy every ten minutes."""
        while True:
            yield stage.until(len(self.rows) * WORLD_S * 1000 + 30_000)
            late_s = stage.env.now / 1000.0 - wrote_s(len(self.rows))
            self.rows.append(np.array(stage.given, np.float64))
            self.ages_s.append(float(stage.state[state.WEATHER_AGE_S]) - late_s)


def wrote_s(row: int) -> float:
    """Return when the world wrote what a row holds."""
    return max(0.0, row * WORLD_S - 0.5)


@dataclass(frozen=True)
class Piece:
    """A stretch during which nothing outside changed but along straight lines."""

    begin_s: float
    end_s: float
    given: Array
    weather_age_s: float  # at its begin


@dataclass(frozen=True)
class Record:
    """What acted on the plant from when on, and how the run ended."""

    begun: Array
    ended: Array
    p: Array
    pieces: tuple[Piece, ...]


def pieces(recorder: Recorder, events: Array, settings: list[int], end_s: float) -> Iterator[Piece]:
    """Yield the stretches during which nothing outside changed, with what acted then."""
    world = [wrote_s(row) for row in range(len(recorder.rows))]
    driven = [float(ms) / 1000.0 for ms in events[:, ticks.AT_MS]]
    edges = sorted({*world, *driven, end_s})
    sense = rig.bench().sense  # an intact relay
    for begin, end in itertools.pairwise(edges):
        last = max(i for i, t in enumerate(world) if t <= begin)
        u = recorder.rows[last].copy()
        row = int(np.searchsorted(driven, begin, side="right")) - 1
        ticks.drive(u, settings, sense, int(events[row, ticks.OUT]))  # type: ignore[arg-type]
        yield Piece(begin, end, u, recorder.ages_s[last] + begin - world[last])


@cache
def record(days: float, ice_kg: float, store_c: float) -> Record:
    """Return the record of a run in Greensboro's July, compiled."""
    recorder = Recorder()
    bench = rig.bench(
        recorder,
        compile_ticks=True,
        weather=True,
        plant=rig.plant(store_c, 27.0, ice_kg),
    )
    trace = bench.run(days)
    settings = [int(v) for v in trace.settings]
    found = tuple(pieces(recorder, trace.events, settings, days * 86400.0))
    return Record(trace.begun, trace.ended, np.array(bench.tank.parameters), found)


def play(r: Record, step_s: float, look: Callable[[float, Array], None]) -> Array:
    """Drive the plant by a record with a fixed step; ``look`` sees each piece's end."""
    code = compiled.load(True, DOORS)
    x, t = r.begun.copy(), np.zeros(tap.SIZE)
    work = np.zeros(integrate.work_size())
    for piece in r.pieces:
        now, end, u = piece.begin_s, piece.end_s, piece.given
        x[state.WEATHER_AGE_S] = piece.weather_age_s
        while now < end - 1e-9:
            # As the bench does: up to the next whole second first, then whole steps.
            to_tick = min(end, np.floor(now + 1e-9) + 1.0) - now
            short = to_tick < 1.0 - 1e-9
            steps = 1 if short else int((end - now) // 1.0)
            length = to_tick if short else 1.0
            halves = round(1.0 / step_s)
            code.sim("plant.integrate").advance(x, u, r.p, work, t, length / halves, steps * halves)
            now += length * steps
        look(end, x)
    return x


def test_the_record_reproduces_the_run() -> None:
    """Driven by its own record at its own step, the plant ends where the run ended."""
    r = record(3.0, 0.0, 6.0)
    ended = play(r, 1.0, lambda _, x: None)
    # The world wrote once more at the end.
    ended[state.WEATHER_AGE_S] = r.ended[state.WEATHER_AGE_S]
    assert np.abs(ended - r.ended)[: state.TOTALS].max() < 1e-5
    # The run was no idle one: it charged and delivered on each of its days.
    assert ended[state.COMPRESSOR_STARTS] >= 3.0
    assert ended[state.ROOM_TO_COIL_SENSIBLE_J] > 5e6


def test_halving_the_step_changes_three_days_by_less_than_a_fiftieth_kelvin() -> None:
    """No outside value: the error falls with the step squared, so half the step shows it."""
    r = record(3.0, 0.0, 6.0)
    seen: list[list[Array]] = [[], []]
    for rows, step_s in zip(seen, (1.0, 0.5), strict=True):
        play(r, step_s, lambda _, x, rows=rows: rows.append(x[TEMPERATURES].copy()))  # type: ignore[misc]
    worst = np.abs(np.array(seen[0]) - np.array(seen[1])).max()
    print(f"halving the step: {worst:.5f} K at most, 3 days, {len(seen[0])} looks")
    assert 0.0 < worst < 0.02


def test_against_an_independent_integrator() -> None:
    """scipy's DOP853 at rtol 1e-9 on the same right-hand side and record: 0.05 K, ice 1 %."""
    r = record(1.0, 2.0, 0.5)
    ours: dict[float, Array] = {}
    play(r, 1.0, lambda end, x: ours.__setitem__(end, x.copy()))
    code = compiled.load(True, DOORS)
    rates, switch = code.sim("plant.rates").rates, code.sim("plant.rates").switch
    x, dx, t = r.begun.copy(), np.zeros(state.SIZE), np.zeros(tap.SIZE)
    worst_k = worst_ice = most_ice_kg = 0.0
    for piece in r.pieces:
        end = piece.end_s
        x[state.WEATHER_AGE_S] = piece.weather_age_s
        switch(x, piece.given, r.p, t)

        def slope(_: float, y: Array, u: Array = piece.given) -> Array:
            rates(y, u, r.p, dx, t)
            return dx.copy()

        solved = solve_ivp(slope, (piece.begin_s, end), x, method="DOP853", rtol=1e-9, atol=1e-8)
        assert solved.success
        x = solved.y[:, -1].copy()
        mine = ours[end]
        worst_k = max(worst_k, float(np.abs(mine[TEMPERATURES] - x[TEMPERATURES]).max()))
        ice_kg, other_kg = (
            float(y[state.ICE_KG : state.ICE_KG + state.LAYERS].sum()) for y in (mine, x)
        )
        most_ice_kg = max(most_ice_kg, other_kg)
        worst_ice = max(worst_ice, abs(ice_kg - other_kg))
    print(f"against DOP853: {worst_k:.5f} K, ice {worst_ice:.6f} of {most_ice_kg:.2f} kg")
    assert worst_k < 0.05
    assert most_ice_kg > 0.5
    assert worst_ice < 0.01 * most_ice_kg


def test_balances_of_the_recorded_run() -> None:
    """First law and water over three days: residual over turnover under 1e-6."""
    r = record(3.0, 0.0, 6.0)
    gained_j = balance.stored_energy_j(r.ended, r.p) - balance.stored_energy_j(r.begun, r.p)
    turnover_j = sum(
        abs(r.ended[slot])
        for slot in (
            state.MAINS_J,
            state.OUTDOOR_TO_PLACE_J,
            state.OUTDOOR_TO_ROOM_J,
            state.SUN_J,
            state.EQUIPMENT_J,
        )
    )
    energy = abs(gained_j - balance.energy_in_j(r.ended)) / turnover_j
    gained_kg = balance.stored_water_kg(r.ended, r.p) - balance.stored_water_kg(r.begun, r.p)
    turned_kg = r.ended[state.PEOPLE_MOISTURE_KG] + abs(r.ended[state.INFILTRATION_MOISTURE_KG])
    moisture = abs(gained_kg - balance.water_in_kg(r.ended)) / turned_kg
    print(f"balances over 3 days: energy {energy:.1e}, water {moisture:.1e}")
    assert energy < 1e-6
    assert moisture < 1e-6


def test_setting_of_the_rig_is_what_the_record_drives_with() -> None:
    """Guard of the method: fans at full duty in the record are the settings' full duty."""
    r = record(3.0, 0.0, 6.0)
    duties = {float(piece.given[given.FAN_DUTY]) for piece in r.pieces}
    full = rig.settings()[setting.FAN_FULL_PM] / 1000.0
    assert full in duties
    assert 0.0 in duties

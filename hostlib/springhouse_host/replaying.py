"""Plays a run's inputs and outputs again with solvers that are not ours, to compare and to time.

The plant's right-hand side is the project's, compiled; the solvers are those of scipy. A run is cut
at every outside event and at every change of the outputs, as anyone would script it.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp
from springhouse_sim import compiled, ticks
from springhouse_sim.bench import Bench
from springhouse_sim.plant import state as state_slot
from springhouse_sim.plant import tap
from springhouse_sim.trace import Trace

DOORS: compiled.Doors = (
    ("springhouse_sim.plant.rates", "rates"),
    ("springhouse_sim.plant.rates", "switch"),
)
TEMPERATURES = tuple(
    sorted(
        {
            slot
            for name, slot in vars(state_slot).items()
            if name.endswith("_C") and isinstance(slot, int) and slot < state_slot.TOTALS
        }
    )
)

# What the controller and the promises see.
SEEN = (
    *range(state_slot.WATER_C, state_slot.WATER_C + state_slot.LAYERS),
    state_slot.STORE_LOW_PROBE_C,
    state_slot.STORE_HIGH_PROBE_C,
    state_slot.ROOM_AIR_C,
    state_slot.ROOM_MASS_C,
    state_slot.ROOM_PROBE_C,
)

State = NDArray[np.float64]


@dataclass(frozen=True)
class Cut:
    """From ``ms`` on these inputs held; ``state`` is what the run had there."""

    ms: int
    given: State
    state: State


class RecordingBench(Bench):
    """A bench that keeps state and inputs at every outside event."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.cuts: list[Cut] = []

    def _advance(self, from_ms: int, to_ms: int) -> None:
        self.cuts.append(Cut(from_ms, np.array(self.tank.given), np.array(self.tank.state)))
        super()._advance(from_ms, to_ms)


def pieces(bench: RecordingBench, trace: Trace) -> list[tuple[int, int, State]]:
    """Return (begin, end, given) [ms] of every stretch with constant inputs and outputs."""
    marks = {cut.ms: cut.given for cut in bench.cuts}
    outs = {int(row[ticks.AT_MS]): int(row[ticks.OUT]) for row in trace.events}
    times = sorted({*marks, *outs, trace.end_ms})
    found = []
    given: State = bench.cuts[0].given
    out = 0
    for begin, end in pairwise(times):
        out = outs.get(begin, out)
        given = marks.get(begin, given).copy()
        ticks.drive(given, trace.settings, bench.sense, out)
        found.append((begin, end, given))
    return found


def rates_of(
    plant_params: State, given: State, compile_rates: bool = True
) -> Callable[[float, State], State]:
    """Return the right-hand side as scipy wants it."""
    rates = compiled.load(compile_rates, DOORS).sim("plant.rates").rates
    taps = np.zeros(tap.SIZE)

    def f(_: float, x: State) -> State:
        dx = np.zeros(state_slot.SIZE)
        rates(x, given, plant_params, dx, taps)
        return dx

    return f


def replay(
    bench: RecordingBench,
    trace: Trace,
    params: State,
    method: str,
    rtol: float,
    events: Sequence[Callable[[float, State], float]] = (),
    compile_rates: bool = True,
) -> State:
    """Return the states at every outside event, replayed; shape (events, state.SIZE).

    ``events`` are functions whose zeros the solver is to find on its way. Without
    ``compile_rates`` the right-hand side runs interpreted.
    """
    switch = compiled.load(True, DOORS).sim("plant.rates").switch
    taps = np.zeros(tap.SIZE)
    ages_s = {cut.ms: cut.state[state_slot.WEATHER_AGE_S] for cut in bench.cuts}
    x = bench.cuts[0].state.copy()
    found = []
    for begin, end, given in pieces(bench, trace):
        if begin in ages_s:
            x[state_slot.WEATHER_AGE_S] = ages_s[begin]
            found.append(x.copy())
        switch(x, given, params, taps)
        run = solve_ivp(
            rates_of(params, given, compile_rates),
            (begin / 1000.0, end / 1000.0),
            x,
            method=method,
            rtol=rtol,
            atol=rtol,
            events=list(events) or None,
        )
        x = run.y[:, -1].copy()
    return np.array(found)


def errors_k(
    bench: RecordingBench, trace: Trace, params: State, slots: Sequence[int] = TEMPERATURES
) -> tuple[float, float]:
    """Return largest and root-mean-square difference of temperatures from DOP853 [K]."""
    exact = replay(bench, trace, params, "DOP853", 1e-10)
    ours = np.array([cut.state for cut in bench.cuts])
    apart = (ours - exact)[:, list(slots)]
    return float(np.abs(apart).max()), float(np.sqrt(np.mean(apart**2)))

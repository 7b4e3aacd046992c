"""A lower bound on the cost: perfect foresight over the season, as a linear programme.

No controller that delivers in the wanted hours only can cost less, as far as these hold, each of
them in favour of the bound:

- the whole season is known ahead, and compressor, pump and fans follow any schedule;
- the machine works in its steady state, its place never warmed by its own heat, no film of water
  between wall and store (`best_parts.at_work`); cold is charged in the warmest layer there is;
- the store gains heat through its sides only, none through lid, floor and tubes at the freezer;
- nothing condenses at the coil, its fans neither draw nor heat, the tubes in the room cool it;
- people give off what they do in the room without a store, the least there is;
- flows are constant within half an hour, and within two hours while nothing is delivered.

The room is the plant's own two nodes, which are linear: only its distance from the room without
the store is solved for. Hours too warm may be split, so that an hour counts half where the room
is half as far over the limit as without the store.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.linalg import expm
from springhouse_sim.bench import parameters
from springhouse_sim.plant import param, state
from springhouse_sim.trace import Trace
from springhouse_sim.world.tariff import Prices

from ..errors import KnownError
from ..proof import running
from ..proof.scenarios import Scenario, without_store
from ..site.owner_prices import each_minute
from ..site.site import Site
from . import best_parts
from .best_parts import Array

STEP_MIN = 30
STEP_H = STEP_MIN / 60.0
# Interior points are quicker by far; where they give up the simplex method goes on.
METHODS = ("highs-ipm", "highs-ds")
NO_SCHEDULE = 2  # of scipy's words: infeasible
LONGEST_STEPS = 4  # taken as one while nothing is delivered and the price stays
STILL_AIR_M3_KG = 0.87  # fresh air of 25 °C a little above the sea


@dataclass(frozen=True)
class Free:
    """The season without a store, in steps: what the bound is worked out against."""

    mean_c: Array  # of the room's air
    highest_c: Array
    place_c: Array
    wanted: Array  # share of the step
    price: Array
    constant_kw: float  # board and standby, which nobody can save


def free_run(site: Site, scenario: Scenario, prices: Prices | None = None) -> Free:
    """Simulate the season without a store; ``prices`` in place of the site's own tariff.

    Raises:
        KnownError: where the freezer stands in the cooled room, which the bound does not cover.
    """
    if site.file.place.is_cooled_room:
        raise KnownError(
            f"{site.path}: place.is_cooled_room: no lower bound where the freezer warms the room"
        )
    trace = running.bench(site, without_store(scenario)).run(scenario.days)
    p = parameters(site.plant())
    steps = len(trace.samples) // STEP_MIN
    board_kw = p[param.BOARD_W] / p[param.SUPPLY_EFFICIENCY] / 1000.0
    return Free(
        mean_c=_steps(trace, "room_air_c").mean(axis=1),
        highest_c=_steps(trace, "room_air_c").max(axis=1),
        place_c=_steps(trace, "place_c").min(axis=1) * (1.0 - best_parts.place_drop(p)),
        wanted=trace.wanted()[: steps * STEP_MIN].reshape(steps, STEP_MIN).mean(axis=1),
        price=each_minute(prices or site.tariff(), trace.calendar, steps * STEP_MIN)
        .reshape(steps, STEP_MIN)
        .min(axis=1),
        constant_kw=float(board_kw + p[param.FREEZER_STANDBY_W] / 1000.0),
    )


def _steps(trace: Trace, name: str) -> Array:
    column = trace.column(name)
    steps = len(column) // STEP_MIN
    return column[: steps * STEP_MIN].reshape(steps, STEP_MIN)


def room_steps(p: Array, step_min: int = STEP_MIN) -> tuple[Array, Array, Array, float]:
    """Return how far air and mass are cooled after a step, and the air's mean over it.

    Returns:
        the matrix from before to after, what 1 kW of cooling adds to it [K], the row from before
        to the mean, and what 1 kW adds to the mean [K].
    """
    fresh_w_k = p[param.INFILTRATION_M3_S] / STILL_AIR_M3_KG * 1006.0
    inner, air_j, mass_j = p[param.AIR_MASS_UA_W_K], p[param.ROOM_AIR_J_K], p[param.ROOM_MASS_J_K]
    a = np.zeros((4, 4))  # air, mass, cooling, integral of the air
    a[0, :3] = (
        np.array([-(p[param.ENVELOPE_AIR_UA_W_K] + fresh_w_k + inner), inner, 1000.0]) / air_j
    )
    a[1, :2] = (
        np.array([inner, -(p[param.ENVELOPE_MASS_UA_W_K] + p[param.HOUSE_UA_W_K] + inner)]) / mass_j
    )
    a[3, 0] = 1.0
    s = step_min * 60.0
    e = expm(a * s)
    return e[:2, :2], e[:2, 2], e[3, :2] / s, float(e[3, 2] / s)


def blocks(free: Free) -> "np.ndarray[Any, np.dtype[np.intp]]":
    """Return the first step of each block: a step that delivers, or a few alike that do not."""
    first = [0]
    for step in range(1, len(free.price)):
        begun = first[-1]
        alike = free.price[step] == free.price[begun] and not free.wanted[[begun, step]].any()
        if not alike or step - begun >= LONGEST_STEPS:
            first.append(step)
    return np.array(first)


@dataclass(frozen=True)
class Bound:
    """A lower bound on a season's cost with so many wanted hours too warm.

    ``to_room_kwh`` and ``lost_kwh`` are the cold that its schedule delivers and loses on the way.
    """

    hours_over: float
    cost: float
    kwh: float
    to_room_kwh: float
    lost_kwh: float


class BoundProgramme:
    """The linear programme of a site and season; solved for any number of hours too warm."""

    def __init__(self, site: Site, scenario: Scenario, prices: Prices | None = None) -> None:
        from scipy.sparse import lil_matrix

        self.free = free_run(site, scenario, prices)
        plant = site.plant()
        p = parameters(plant)
        self.limit_c = running.room_limit_c(site)
        water_kg = float(plant.initial()[state.STORE_KG])
        ice = next(q.limit for q in site.promises() if q.measure == "ice_kg")
        self.bands = best_parts.bands(p, water_kg, plant.store.initial_c, ice, self.limit_c)
        ua_w_k = best_parts.wall_w_k(p, water_kg)
        self.first = blocks(self.free)
        self.hours = np.diff(np.append(self.first, len(self.free.price))) * STEP_H
        self.place_c = np.minimum.reduceat(self.free.place_c, self.first)
        self.price = self.free.price[self.first]
        at = [best_parts.over_places(p, ua_w_k, float(t), self.place_c) for t in self.bands.high_c]
        self.cooling_kw = np.array([cooling for cooling, _ in at]) / 1000.0
        self.ratio = np.array([ratio for _, ratio in at])
        self.p = p
        self._sparse = lil_matrix
        self._lay_out()

    @property
    def wanted_h(self) -> float:
        """Wanted hours of the season."""
        return float(self.free.wanted.sum() * STEP_H)

    def _lay_out(self) -> None:
        """Number the variables: charged, mixed and held by step and band; then the room's."""
        steps, count = len(self.first), self.bands.count
        self.delivering = np.flatnonzero(self.free.wanted > 0.0)
        shape = (steps, count)
        self.charged = np.arange(steps * count).reshape(shape)
        self.mixed = self.charged + steps * count
        self.held = self.mixed + steps * count
        begin = 3 * steps * count
        n = len(self.delivering)
        self.taken = begin + np.arange(n * count).reshape(n, count)
        begin += n * count
        self.cooled = begin + np.arange(2 * n).reshape(n, 2)  # air and mass after the step
        self.over = begin + 2 * n + np.arange(n)
        self.size = begin + 3 * n

    def solve(self, hours_over: float) -> Bound | None:
        """Return the bound, None where no schedule at all keeps to so few hours.

        Raises:
            RuntimeError: when the solver gives up for another reason.
        """
        from scipy.optimize import linprog

        low, high = self._limits()
        equal, equals = self._equalities()
        upper, uppers = self._inequalities(hours_over)
        cost, kwh = self._costs()
        for method in METHODS:
            solved = linprog(
                cost, upper, uppers, equal, equals, np.stack([low, high], axis=1), method=method
            )
            if solved.status == NO_SCHEDULE:
                return None
            if solved.status == 0:
                break
        else:
            raise RuntimeError(f"linear programme: {solved.message}")
        constant_kwh = self.free.constant_kw * STEP_H
        fixed = float(self.free.price.sum()) * constant_kwh
        used = float(kwh @ solved.x) + constant_kwh * len(self.free.price)
        to_room_kwh = float(solved.x[self.taken].sum())
        left_kwh = float(solved.x[self.held[-1]].sum() - self.bands.start_kwh.sum())
        lost_kwh = float(solved.x[self.charged].sum()) - to_room_kwh - left_kwh
        return Bound(hours_over, float(solved.fun) + fixed, used, to_room_kwh, lost_kwh)

    def _limits(self) -> tuple[Array, Array]:
        low, high = np.zeros(self.size), np.full(self.size, np.inf)
        high[self.held] = self.bands.kwh
        high[self.mixed[:, -1]] = 0.0  # there is nothing warmer to mix into
        high[self.over] = 1.0
        return low, high

    def _costs(self) -> tuple[Array, Array]:
        kwh = np.zeros(self.size)
        kwh[self.charged] = 1.0 / self.ratio.T
        warmest_k = max(1.0, float(self.free.highest_c.max()))
        most_kw = best_parts.coil_w_k(self.p) * warmest_k / 1000.0
        pump_kw = self.p[param.PUMP_POWER_W] / self.p[param.SUPPLY_EFFICIENCY] / 1000.0
        kwh[self.taken] = pump_kw / most_kw
        price = np.zeros(self.size)
        price[self.charged] = self.price[:, None]
        price[self.taken] = self.free.price[self.delivering, None]
        return price * kwh, kwh

    def _equalities(self) -> tuple[Any, Array]:
        """Return the balances of every band, and of the room from one delivery to the next."""
        steps, count = self.charged.shape
        n = len(self.delivering)
        a = self._sparse((steps * count + 2 * n, self.size))
        b = np.zeros(steps * count + 2 * n)
        at = {int(b): k for k, b in enumerate(np.searchsorted(self.first, self.delivering))}
        width_k = self.bands.high_c - self.bands.low_c
        gain = best_parts.gain_w_k(self.p) / 1000.0 * width_k / np.maximum(1e-9, self.bands.kwh)
        for t in range(steps):
            warm = self.place_c[t] >= self.bands.high_c
            lost = np.where(warm, gain, 0.0) * self.hours[t] / 2.0
            for j in range(count):
                row = t * count + j
                a[row, self.held[t, j]] = 1.0 + lost[j]
                a[row, self.charged[t, j]] = -1.0
                a[row, self.mixed[t, j]] = 1.0
                if j:
                    a[row, self.mixed[t, j - 1]] = -1.0
                if t in at:
                    a[row, self.taken[at[t], j]] = 1.0
                if t:
                    a[row, self.held[t - 1, j]] = lost[j] - 1.0
                else:
                    b[row] = self.bands.start_kwh[j] * (1.0 - lost[j])
        after, by_kw, _, _ = room_steps(self.p)
        for k, step in enumerate(self.delivering):
            gap = int(step - self.delivering[k - 1]) if k else 0
            past = after @ np.linalg.matrix_power(after, gap - 1) if k else np.zeros((2, 2))
            for i in range(2):
                row = steps * count + 2 * k + i
                a[row, self.cooled[k, i]] = 1.0
                a[row, self.taken[k]] = -by_kw[i] / STEP_H
                if k:
                    a[row, self.cooled[k - 1]] = -past[i]
        return a.tocsr(), b

    def _inequalities(self, hours_over: float) -> tuple[Any, Array]:
        """Return the machine's time, the coil's reach, the room's limit and the hours allowed."""
        steps = len(self.first)
        n = len(self.delivering)
        a = self._sparse((steps + 2 * n + 1, self.size))
        b = np.zeros(steps + 2 * n + 1)
        for t in range(steps):
            a[t, self.charged[t]] = 1.0 / self.cooling_kw[:, t]
            b[t] = self.hours[t]
        after, _, mean, mean_by_kw = room_steps(self.p)
        reach = best_parts.coil_w_k(self.p) / 1000.0
        for k, step in enumerate(self.delivering):
            gap = int(step - self.delivering[k - 1]) if k else 1
            past = mean @ np.linalg.matrix_power(after, gap - 1)
            coil, room = steps + k, steps + n + k
            a[coil, self.taken[k]] = 1.0 / STEP_H + reach * mean_by_kw / STEP_H
            b[coil] = reach * self.free.mean_c[step]
            over_k = self.free.highest_c[step] - self.limit_c
            if over_k > 0.0 and self.free.wanted[step] >= 1.0:
                a[room, self.taken[k]] = -mean_by_kw / STEP_H
                a[room, self.over[k]] = -over_k
                b[room] = self.limit_c - self.free.mean_c[step]
                a[steps + 2 * n, self.over[k]] = STEP_H
            if k:
                a[coil, self.cooled[k - 1]] = reach * past
                if over_k > 0.0 and self.free.wanted[step] >= 1.0:
                    a[room, self.cooled[k - 1]] = -past
        b[-1] = hours_over
        return a.tocsr(), b

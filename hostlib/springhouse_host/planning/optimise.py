"""The least cost of charging what the room will ask for, as a linear programme.

Variables a quarter hour: heat taken out of the store, its temperature, and how far it is too warm
for the coil to give what is asked. The balance of the store is exact for its one temperature;
machine, place and coil are those of `reduced`. HiGHS solves it.
"""

from dataclasses import dataclass

import numpy as np

from .ahead import Ahead, Aim, PlanAsked, ask
from .around import QUARTER_H, Array
from .blocks import Charge, blocks, planned_charges
from .clock import DAY_QUARTERS
from .reduced import Reduced
from .store import ReducedStore

ROUNDS = 4  # between what the room asks for and how cold the store then is
NEARLY_K = 0.1
NEARLY_SPENT_K = 0.2
SPARE_ROOM_K = 0.1  # of the room below its limit, when programmes are compared
WARMER_PRICE = 40.0  # dear enough that comfort goes first: mean prices for a store 1 K too warm
LATER = 1e-6  # mean prices a kWh and quarter hour: of hours alike, the later


@dataclass(frozen=True, eq=False)
class Ideal:
    """What would be best: share of each quarter hour in which the machine runs, what follows."""

    runs: Array
    store_c: Array  # nodes
    asked: PlanAsked
    lacks_k: Array  # how far the store is too warm
    cost: float  # of what the machine draws


@dataclass(frozen=True, eq=False)
class Programme:
    """Charges in whole quarter hours, and what comes of them where the controller carries them out.

    ``kwh`` is electricity each quarter hour, board and standby included; ``score`` is cost, cold
    left and what the store lacks, by which programmes are compared.
    """

    charges: tuple[Charge, ...]
    runs: Array
    store_c: Array  # nodes
    asked: PlanAsked
    kwh: Array
    cost: float
    score: float


def ideal(
    model: Reduced,
    ahead: Ahead,
    aim: Aim,
    store: ReducedStore,
    depth: tuple[float, float] = (0.0, 0.0),
    *,
    to_shallow: bool = False,
) -> Ideal:
    """Return the best as the linear programme sees it.

    With ``to_shallow`` a charge ends no warmer than the owner's shallow target.

    Raises:
        RuntimeError: when the solver gives up.
    """
    store_c = np.full(ahead.quarters + 1, min(store.now_c, 0.5 * (store.deep_c + store.shallow_c)))
    cooling, drawn = model.machine(ahead.place_c)
    ended: set[int] = set()
    for _ in range(ROUNDS):
        asked = ask(model, ahead, aim, depth, store_c)
        charged, store_c, lacks = _solve(model, ahead, store, asked, aim.margin_k, sorted(ended))
        runs = np.clip(charged / (cooling * QUARTER_H), 0.0, 1.0)
        if to_shallow:
            ends = [behind for _, behind in blocks(runs, ahead.may_run)]
            ended |= {k for k in ends if store_c[k] > store.shallow_c + NEARLY_K}
    cost = float((runs * drawn * ahead.price).sum()) * QUARTER_H
    return Ideal(runs, store_c, asked, lacks, cost)


def best(
    model: Reduced,
    ahead: Ahead,
    aim: Aim,
    store: ReducedStore,
    depth: tuple[float, float] = (0.0, 0.0),
) -> Programme:
    """Return the cheapest programme as the controller carries it out.

    Once it charges it goes down to the shallow target, whatever the plan says then, which no linear
    programme can say: so one is asked with charges that end there and one without, and what comes
    of either is compared.

    Raises:
        RuntimeError: when the solver gives up.
    """
    found = []
    for to_shallow in (False, True):
        wish = ideal(model, ahead, aim, store, depth, to_shallow=to_shallow)
        charges = planned_charges(wish.runs, wish.store_c, ahead.may_run, store)
        runs, store_c = carried_out(model, ahead, store, wish.asked, charges)
        asked = ask(model, ahead, aim, depth, store_c, store.warmest_c + NEARLY_SPENT_K)
        found.append(_counted(model, ahead, aim, store, asked, charges, runs, store_c))
    return min(found, key=lambda programme: programme.score)


def _counted(
    model: Reduced,
    ahead: Ahead,
    aim: Aim,
    store: ReducedStore,
    asked: PlanAsked,
    charges: tuple[Charge, ...],
    runs: Array,
    store_c: Array,
) -> Programme:
    """Return a programme with its cost and score."""
    _, drawn = model.machine(ahead.place_c)
    mean_c = 0.5 * (asked.room_c[:-1] + asked.room_c[1:])
    full = np.maximum(1e-3, model.reach_kw_k * (mean_c - store_c[:-1]) * QUARTER_H)
    pumped = np.clip(asked.sensible_kwh / full, 0.0, 1.0)
    kwh = (runs * drawn + pumped * model.pump_kw + model.idle_kw) * QUARTER_H
    cost = float(kwh @ ahead.price)
    over_k = np.maximum(asked.room_c[:-1], asked.room_c[1:]) - aim.limit_c
    lacks_k = np.where(ahead.wanted, np.maximum(0.0, over_k + SPARE_ROOM_K), 0.0)
    lacks_k += np.maximum(0.0, store_c[1:] - store.warmest_c - NEARLY_SPENT_K)
    worth = worth_of_cold(model, ahead, store) * model.store_kwh_k * float(store_c[-1])
    dear = WARMER_PRICE * _mean_price(ahead) * QUARTER_H * float(lacks_k.sum())
    return Programme(charges, runs, store_c, asked, kwh, cost, cost + worth + dear)


def carried_out(
    model: Reduced, ahead: Ahead, store: ReducedStore, asked: PlanAsked, charges: tuple[Charge, ...]
) -> tuple[Array, Array]:
    """Return what the controller makes of charges: share of each quarter hour, store at nodes."""
    cooling, _ = model.machine(ahead.place_c)
    targets = np.full(ahead.quarters, np.nan)
    for charge in charges:
        targets[charge.first : charge.behind] = charge.target_mc / 1000.0
    runs = np.zeros(ahead.quarters)
    store_c = np.full(ahead.quarters + 1, store.now_c)
    on = False
    for k in range(ahead.quarters):
        before_c = store_c[k]
        waits = bool(np.isnan(targets[k]))
        until_c = store.shallow_c if waits else float(targets[k])
        on = before_c > until_c if on else not waits and before_c > until_c + store.band_k
        gain = model.gain_kw_k * QUARTER_H * (ahead.place_c[k] - before_c)
        taken = gain + asked.sensible_kwh[k] + asked.latent_kwh[k]
        full_kwh = cooling[k] * QUARTER_H
        if on:
            to_target = (before_c - until_c) * model.store_kwh_k + taken
            runs[k] = min(1.0, max(0.0, to_target / full_kwh))
            on = runs[k] >= 1.0
        store_c[k + 1] = before_c + (taken - runs[k] * full_kwh) / model.store_kwh_k
    return runs, store_c


def _mean_price(ahead: Ahead) -> float:
    return max(1e-6, float(np.abs(ahead.price).mean()))


def worth_of_cold(model: Reduced, ahead: Ahead, store: ReducedStore) -> float:
    """Return what a kWh of cold left at the end is worth: it replaces the cheapest hours.

    It fades as the store warms up until the room is next wanted, taken to be a day after it was.
    """
    cooling, drawn = model.machine(ahead.place_c)
    each = np.sort((ahead.price * drawn / cooling)[ahead.may_run])
    if not len(each):
        return 0.0
    cheapest = float(each[: max(1, len(each) // 8)].mean())
    wanted = np.flatnonzero(ahead.wanted)
    next_h = 24.0 if not len(wanted) else (wanted[0] - ahead.quarters) % DAY_QUARTERS * QUARTER_H
    fades_h = model.store_kwh_k / model.gain_kw_k
    return max(0.0, cheapest) * float(np.exp(-next_h / fades_h)) * 0.8


def _solve(
    model: Reduced,
    ahead: Ahead,
    store: ReducedStore,
    asked: PlanAsked,
    spare_k: float,
    ended: list[int],
) -> tuple[Array, Array, Array]:
    """Return heat charged [kWh], temperatures of the store and what it lacks [K]."""
    from scipy.optimize import linprog
    from scipy.sparse import coo_array

    n = ahead.quarters
    cooling, drawn = model.machine(ahead.place_c)
    mean_c = 0.5 * (asked.room_c[:-1] + asked.room_c[1:])
    taken = asked.sensible_kwh + asked.latent_kwh
    gain = model.gain_kw_k * QUARTER_H
    at = np.arange(n)
    # C (T' - T) = gain (place - (T + T') / 2) + taken - charged
    rows = np.concatenate([at, at, at])
    columns = np.concatenate([at, n + at, n + at + 1])
    values = np.concatenate(
        [
            np.ones(n),
            np.full(n, -model.store_kwh_k + gain / 2),
            np.full(n, model.store_kwh_k + gain / 2),
        ]
    )
    size = n + n + 1 + n
    equal = coo_array((values, (rows, columns)), shape=(n, size))
    equals = gain * ahead.place_c + taken
    # the coil gives what is asked: T <= room - asked / reach, at the end of the quarter hour
    most_c = np.full(n, np.inf)
    cooled = asked.cooled & (asked.sensible_kwh > 0.0)
    asked_k = asked.sensible_kwh / QUARTER_H / model.reach_kw_k
    most_c[cooled] = (mean_c - asked_k - spare_k)[cooled]
    most_c = np.minimum(most_c, store.warmest_c)
    for k in ended:
        most_c[k - 1] = min(most_c[k - 1], store.shallow_c)
    needed = np.flatnonzero(np.isfinite(most_c))
    m = len(needed)
    upper = coo_array(
        (
            np.concatenate([np.ones(m), -np.ones(m)]),
            (np.tile(np.arange(m), 2), np.concatenate([n + needed + 1, 2 * n + 1 + needed])),
        ),
        shape=(m, size),
    )
    uppers = most_c[needed]
    mean_price = _mean_price(ahead)
    cost = np.zeros(size)
    cost[:n] = ahead.price * drawn / cooling - LATER * mean_price * at
    cost[2 * n + 1 :] = WARMER_PRICE * mean_price * QUARTER_H
    cost[2 * n] = worth_of_cold(model, ahead, store) * model.store_kwh_k
    low, high = np.zeros(size), np.full(size, np.inf)
    high[:n] = np.where(ahead.may_run, cooling * QUARTER_H, 0.0)
    low[n : 2 * n + 1] = min(store.deep_c, store.now_c, float(ahead.place_c.min()))
    low[n] = high[n] = store.now_c
    found = linprog(
        cost, upper if m else None, uppers if m else None, equal, equals,
        np.stack([low, high], axis=1), method="highs",
    )  # fmt: skip
    if found.status != 0:
        raise RuntimeError(f"linear programme: {found.message}")
    return found.x[:n], found.x[n : 2 * n + 1], found.x[2 * n + 1 :]

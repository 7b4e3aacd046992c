"""Makes a plan and tries it: the real controller in the full plant, over errors of the forecast."""

from dataclasses import dataclass

import numpy as np
from springhouse.ahead import QUARTER_MIN, QUARTERS
from springhouse_sim.plant import state
from springhouse_sim.trace import Trace
from springhouse_sim.world.plan import Quarter
from springhouse_sim.world.weather import Weather

from . import ahead as board_ahead
from . import around, misforecast, optimise, quarters, reduced
from .around import Around, Array
from .case import PlanCase, mean_store_c
from .clock import DAY_QUARTERS, Flags
from .optimise import Programme
from .reduced import Reduced

DAYS = QUARTERS / DAY_QUARTERS
MARGINS_K = (0.3, 0.7, 1.2, 2.0)  # how much warmer than forecast the room is taken to become
SEEDS = (1, 2)  # draws beside the forecast itself, and both its sides
WORSE_MIN = 5  # so many minutes more too warm in two days are still no worse
BETTER_MIN = 15  # so many fewer, in the mean, may cost more


@dataclass(frozen=True)
class Came:
    """What a way came to in one weather; ``cost`` with what is left in the store counted."""

    cost: float
    kwh: float
    over_min: int
    mean_c: float | None  # of the wanted hours
    starts: int


@dataclass(frozen=True)
class TriedPlan:
    """The three ways in one weather; ``perfect`` is the best of them all, known beforehand."""

    weather: str
    fixed: Came
    planned: Came
    perfect: Came


@dataclass(frozen=True)
class Misfit:
    """How far the reduced model was off the full plant in the forecast's own weather."""

    store_k: float  # root mean square
    room_k: float
    kwh_percent: float


@dataclass(frozen=True, eq=False)
class Made:
    """A plan and what speaks for it; ``quarters`` is empty where the fixed schedule is better."""

    quarters: tuple[Quarter, ...]
    programme: Programme
    margin_k: float
    tried: tuple[TriedPlan, ...]
    misfit: Misfit
    refused: str = ""  # why no plan is handed out


@dataclass(frozen=True, eq=False)
class Maker:
    """Plans a case; ``cold_price`` is what a kWh of cold left at the end is worth."""

    case: PlanCase
    model: Reduced
    cold_price: float

    def known(self, weather: Weather) -> board_ahead.Ahead:
        """Return the horizon in some weather."""
        case = self.case
        free = around.without_store(case.site, self._around(weather), DAYS, case.initial)
        return board_ahead.of_trace(free, case.price, case.wanted, case.may_run)

    def planned(
        self, ahead: board_ahead.Ahead, margin_k: float
    ) -> tuple[tuple[Quarter, ...], Programme]:
        """Return the plan for what is known."""
        aim, store = self.case.aim(margin_k), self.case.store()
        found = optimise.best(self.model, ahead, aim, store)
        return quarters.advice(found, aim.plan_tells), found

    def follow(self, weather: Weather, plan: tuple[Quarter, ...]) -> Trace:
        """Run the real controller in the full plant."""
        return around.follow(self.case.site, self._around(weather), DAYS, plan, self.case.initial)

    def came(self, trace: Trace) -> Came:
        """Return what a run came to."""
        case = self.case
        metered = np.append(trace.column("mains_j"), trace.ended[state.MAINS_J])
        kwh = np.diff(metered) / 3.6e6
        price = np.repeat(case.price, QUARTER_MIN)[: len(kwh)]
        room_c = trace.column("room_air_c")
        wanted = np.repeat(case.wanted, QUARTER_MIN)[: len(room_c)]
        left_k = mean_store_c(np.array(trace.ended)) - case.store().shallow_c
        return Came(
            cost=float(kwh @ price) + left_k * self.model.store_kwh_k * self.cold_price,
            kwh=float(kwh.sum()),
            over_min=int((wanted & (room_c > case.aim(0.0).limit_c)).sum()),
            mean_c=float(room_c[wanted].mean()) if wanted.any() else None,
            starts=int(trace.summary(0.0)["starts"]),
        )

    def _around(self, weather: Weather) -> Around:
        return self.case.around.with_weather(weather)


def weathers(case: PlanCase) -> list[tuple[str, Weather]]:
    """Return the forecast's own weather first, then what may come instead."""
    lead_h = case.lead_h
    spread = misforecast.spread_k(lead_h)
    found = [("as forecast", case.weather)]
    found += [
        (word, misforecast.erring(case.weather, sign * spread))
        for word, sign in (("warmer", 1.0), ("colder", -1.0))
    ]
    for seed in SEEDS:
        by_k = misforecast.errors_k(lead_h, seed)
        found.append((f"draw {seed}", misforecast.erring(case.weather, by_k)))
    return found


def make(case: PlanCase) -> Made:
    """Make the plan with the least margin that leaves the room as good as the fixed schedule."""
    model = reduced.identify(case.site, case.around)
    maker = Maker(case, model, 0.0)
    store = case.store()
    skies = weathers(case)
    known = [maker.known(weather) for _, weather in skies]
    maker = Maker(case, model, optimise.worth_of_cold(model, known[0], store))
    fixed = [maker.came(maker.follow(weather, ())) for _, weather in skies]
    refused = ""
    for margin_k in MARGINS_K:
        plan, programme = maker.planned(known[0], margin_k)
        traces = [maker.follow(weather, plan) for _, weather in skies]
        planned = [maker.came(trace) for trace in traces]
        refused = _worse(fixed, planned)
        if not refused:
            break
    perfect = []
    for n, (_, weather) in enumerate(skies):
        own, _ = maker.planned(known[n], MARGINS_K[0])
        ways = (fixed[n], planned[n], maker.came(maker.follow(weather, own)))
        as_good = [way for way in ways if way.over_min <= fixed[n].over_min + WORSE_MIN]
        perfect.append(min(as_good, key=lambda way: way.cost))
    tried = tuple(
        TriedPlan(word, *ways)
        for (word, _), *ways in zip(skies, fixed, planned, perfect, strict=True)
    )
    misfit = _misfit(programme, traces[0], case.wanted)
    return Made(() if refused else plan, programme, margin_k, tried, misfit, refused)


def _worse(fixed: list[Came], planned: list[Came]) -> str:
    """Return why the fixed schedule is to be preferred, "" if it is not."""
    more = [b.over_min - a.over_min for a, b in zip(fixed, planned, strict=True)]
    if max(more) > WORSE_MIN:
        return f"in one of the weathers tried the room would be too warm {max(more)} minutes longer"
    dearer = np.mean([c.cost for c in planned]) > np.mean([c.cost for c in fixed])
    if dearer and np.mean(more) > -BETTER_MIN:
        return "it would cost more"
    return ""


def _misfit(programme: Programme, trace: Trace, wanted: Flags) -> Misfit:
    store_c = trace.column("store_mean_c")[::QUARTER_MIN]
    room_c = trace.column("room_air_c")[::QUARTER_MIN]
    n = min(len(store_c), len(programme.store_c))
    off_store = programme.store_c[:n] - store_c[:n]
    at = np.flatnonzero(wanted[:n])
    off_room: Array = (programme.asked.room_c[:n] - room_c[:n])[at]
    used = (trace.ended[state.MAINS_J] - trace.begun[state.MAINS_J]) / 3.6e6
    return Misfit(
        float(np.sqrt(np.mean(off_store**2))),
        float(np.sqrt(np.mean(off_room**2))) if len(at) else 0.0,
        100.0 * (float(programme.kwh.sum()) / float(used) - 1.0) if used > 0.0 else 0.0,
    )

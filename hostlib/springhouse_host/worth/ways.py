"""The ways to spend a season: with the store and without, each simulated on the same weather."""

from array import array
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import as_completed
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from springhouse import setting, week
from springhouse_sim.bench import Bench, World
from springhouse_sim.plant import state
from springhouse_sim.plant.plant import Plant
from springhouse_sim.plant.store import Store
from springhouse_sim.trace import Trace
from springhouse_sim.world.night_air import LOOK_MS, NightAir
from springhouse_sim.world.stage import MINUTE_MS, Calendar

from ..errors import KnownError
from ..proof import running
from ..proof.scenarios import Scenario, without_store
from ..site.owner_prices import Array, Stated, stated
from ..site.site import Site, load_site
from ..workers import Workers

STORE, NOTHING, NIGHT_AIR, DIRECT = (
    "the store",
    "doing nothing",
    "night ventilation",
    "no storage",
)
SIMULATED = (STORE, DIRECT, NIGHT_AIR, NOTHING)
LEAST_SIDE_M = 0.2  # of the smallest vessel that the plant model takes
LEAST_LID_W_K = 0.01
LEAST_CABINET_W_K = 0.05


@dataclass(frozen=True, eq=False)
class Season:
    """What one way left: electricity and cold each minute [kW], shape (minutes,), and comfort.

    ``cold_kw`` is what coil and tubes took out of the room, moisture included.
    """

    kw: Array
    cold_kw: Array
    wanted: NDArray[np.bool_]
    calendar: Calendar
    hours_over: float
    share_within: float
    wanted_mean_c: float | None  # None without wanted hours

    @property
    def kwh(self) -> float:
        """Electricity of the season."""
        return float(self.kw.sum() / 60.0)

    @property
    def cold_kwh(self) -> float:
        """Heat that coil and tubes took out of the room, moisture included."""
        return float(self.cold_kw.sum() / 60.0)


def season_of(trace: Trace, limit_c: float) -> Season:
    """Return what is kept of a run.

    The heat of the run is spread over the minutes as the coil's samples have it: the tubes in the
    room are cold when the coil is.
    """
    metered = np.append(trace.column("mains_j"), trace.ended[state.MAINS_J])
    taken_w = trace.column("coil_sensible_w") + trace.column("coil_latent_w")
    cold_kw = np.maximum(0.0, taken_w) / 1000.0
    sampled_kwh = float(cold_kw.sum()) / 60.0
    heat = trace.room_heat_kwh()
    taken_kwh = -sum(heat[name] for name in ("coil_sensible", "coil_latent", "tubes"))
    if sampled_kwh > 0.0:
        cold_kw *= max(0.0, taken_kwh) / sampled_kwh
    return Season(
        kw=np.diff(metered) / 60.0 / 1000.0,
        cold_kw=cold_kw,
        wanted=trace.wanted(),
        calendar=trace.calendar,
        hours_over=trace.hours_over(limit_c),
        share_within=trace.share_within(limit_c),
        wanted_mean_c=trace.wanted_mean_c(),
    )


def season(site: Site, scenario: Scenario, way: str) -> Season:
    """Simulate one way.

    Doing nothing and night ventilation have no controller and no board, so nothing is metered but
    a fan, if the owner names one.
    """
    limit_c = running.room_limit_c(site)
    if way == STORE:
        return season_of(running.bench(site, scenario).run(scenario.days), limit_c)
    if way == DIRECT:
        bench = running.bench(site, scenario, kind=_direct)
        return season_of(bench.run(scenario.days), limit_c)
    prices = stated(site)
    air = NightAir(
        site.file.room.length_m * site.file.room.width_m * site.file.room.height_m,
        prices["night_air_per_h"] if way == NIGHT_AIR else 0.0,
        prices.night_hours,
    )
    trace = running.bench(site, without_store(scenario), kind=_aired(air)).run(scenario.days)
    found = season_of(trace, limit_c)
    return replace(found, kw=_fan_kw(air, len(found.kw), prices) * (way == NIGHT_AIR))


def _fan_kw(air: NightAir, minutes: int, prices: Stated) -> Array:
    kw = np.zeros(minutes)
    for ms in air.opened:
        begin = ms // MINUTE_MS
        kw[begin : begin + LOOK_MS // MINUTE_MS] = prices["night_fan_w"] / 1000.0
    return kw


def _aired(air: NightAir) -> Callable[..., Bench]:
    """Return a maker of benches whose room is aired."""

    def make(plant: Plant, settings: Sequence[int], world: World, **rest: Any) -> Bench:
        bench = Bench(plant, settings, replace(world, actors=(*world.actors, air)), **rest)
        air.params = bench.tank.parameters
        return bench

    return make


def _direct(plant: Plant, settings: Sequence[int], world: World, **rest: Any) -> Bench:
    """Make the bench without storage: the same machine, loop and coil, chilling only at need."""
    return Bench(
        replace(plant, store=small_store(plant.store)), settings_at_need(settings), world, **rest
    )


def small_store(store: Store) -> Store:
    """Return a vessel as high and with as much conductance to the evaporator, but hardly any water.

    Its walls gain heat in proportion to their smaller area.
    """
    length_m = min(LEAST_SIDE_M, store.inner_length_m)
    width_m = min(LEAST_SIDE_M, store.inner_width_m)
    plan = length_m * width_m / (store.inner_length_m * store.inner_width_m)
    round_ = (length_m + width_m) / (store.inner_length_m + store.inner_width_m)
    return replace(
        store,
        water_l=store.water_l * plan,
        inner_length_m=length_m,
        inner_width_m=width_m,
        inner_depth_m=store.depth_m,
        cabinet_ua_w_k=max(LEAST_CABINET_W_K, store.cabinet_ua_w_k * round_),
        lid_ua_w_k=max(LEAST_LID_W_K, store.lid_ua_w_k * plan),
        evaporator_wall_w_m2_k=store.evaporator_wall_w_m2_k / round_,
        initial_ice_kg=0.0,
    )


def settings_at_need(settings: Sequence[int]) -> "array[int]":
    """Return settings that chill in the wanted hours only, and then as deep as ever.

    The hours in which the compressor should keep quiet are given up with the store.

    Raises:
        KnownError: when the wanted hours need more windows than two kinds of them can have.
    """
    found = array("i", settings)
    bases = range(setting.WINDOW_1_KIND, setting.SIZE, setting.WINDOW_STRIDE)
    wanted = [tuple(found[b + 1 : b + 4]) for b in bases if found[b] == week.WANTED]
    if 2 * len(wanted) > setting.WINDOWS:
        raise KnownError(
            f"schedule.wanted: {len(wanted)} windows: at most {setting.WINDOWS // 2} to compare "
            "with chilling at need"
        )
    for base in bases:
        found[base : base + 4] = array("i", [week.UNUSED, 0, 0, 0])
    rows = [(kind, *hours) for hours in wanted for kind in (week.WANTED, week.CHARGE)]
    for base, row in zip(bases, rows, strict=False):
        found[base : base + 4] = array("i", row)
    found[setting.FULL_BY_MIN] = -1
    warmest_mc = found[setting.WARM_FILL_MC] - found[setting.BAND_MK] - 1
    found[setting.SHALLOW_MC] = min(warmest_mc, setting.row(setting.SHALLOW_MC)[2])
    return found


def run_way(path: str, changes: Mapping[str, Any], scenario: Scenario, way: str) -> Season:
    """Simulate one way, in any process."""
    return season(load_site(path, changes), scenario, way)


def seasons(
    site: Site,
    changes: Mapping[str, Any],
    scenario: Scenario,
    processes: int,
    on_done: Callable[[], None],
) -> dict[str, Season]:
    """Return what every way leaves, so many at a time; calls ``on_done`` after each."""
    found: dict[str, Season] = {}
    with Workers(processes) as pool:
        jobs = {pool.submit(run_way, site.path, changes, scenario, way): way for way in SIMULATED}
        for job in as_completed(jobs):
            found[jobs[job]] = job.result()
            on_done()
    return found

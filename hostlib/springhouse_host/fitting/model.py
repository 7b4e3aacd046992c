"""The plant under a log: what probes and meter should have shown for given parameters."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from itertools import pairwise

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from springhouse import output
from springhouse_sim import compiled, follow, ticks
from springhouse_sim import sense as sense_slot
from springhouse_sim.bench import parameters
from springhouse_sim.plant import given, integrate, loop, moist_air, param, tap
from springhouse_sim.plant import state as state_slot

from ..errors import KnownError
from ..site import Site, plant_parts
from . import filling
from .log import Log

Array = NDArray[np.float64]

CHANNELS = ("store_low_c", "store_high_c", "room_c", "coil_in_c", "coil_air_c", "freezer_w")
GAP_S = 600.0  # a longer silence begins another stretch
LEAST_STRETCH_S = 4 * 3600.0
MOST_STRETCHES = 8
SETTLING_S = 1800.0  # of a stretch: what it began with is only roughly known
SWITCHED_S = 360.0  # after a switch of pump or compressor their own readings are passed over
REST_S = 1800.0  # a stretch begins after so long with compressor and pump off
ICE_FREE_C = 1.0  # a stretch begins where no probe is colder: the log does not show ice
# Water is densest at 3.98 °C. When layers on either side of it change places, and the low probe
# with them, is as good as chance: below this its readings are passed over, the high one's kept.
OVERTURN_C = 4.5
START_HUMIDITY = 0.5
# How slow probes are [s], by the name under which that is fitted.
LAGS = {
    "lag of the store probes": (param.STORE_PROBE_S,),
    "lag of the room probe": (param.ROOM_PROBE_S,),
    "lag of the coil probes": (param.COIL_AIR_PROBE_S, param.COIL_IN_PROBE_S),
}
FLOW_PLAUSIBLE = (0.67, 1.5)  # measured over modelled; common practice, no source
DRIVEN = {
    follow.MAINS: "mains",
    follow.OUTDOOR_C: "outdoor_c",
    follow.OUTDOOR_HUMIDITY_RATIO: "outdoor_ratio",
    follow.SUN_W: "sun_w",
    follow.PEOPLE_W: "people_w",
    follow.EQUIPMENT_W: "equipment_w",
    follow.ROOM_HUMIDITY_RATIO: "humidity_ratio",
    follow.PLACE_C: "place_c",
}


@dataclass(frozen=True, eq=False)
class Stretch:
    """A part of the log without a gap, ready to be followed."""

    seconds: Array  # of its samples, since the log's first
    drive: Array  # shape (rows, follow.COLUMNS)
    measured: Array  # shape (samples, channels), NaN where nothing is to be compared
    start: Mapping[str, float]  # readings it begins with


@dataclass(frozen=True, eq=False)
class Guess:
    """What a log is followed with: values by key, and what else may be off.

    ``mass_k`` is how much warmer the room's mass begins than its air and ``water_k`` the water than
    a straight line between its probes, of each stretch; ``offset`` what each channel shows too
    much; ``unlogged_w`` heat in the room all the time of which the log says nothing.
    """

    values: Mapping[str, float]
    mass_k: Array
    water_k: Array
    offset: Array
    unlogged_w: float = 0.0

    @staticmethod
    def plain(values: Mapping[str, float], stretches: int) -> "Guess":
        """Return values with nothing else off."""
        zeros = np.zeros(stretches)
        return Guess(values, zeros, zeros, np.zeros(len(CHANNELS)))


@dataclass(frozen=True, eq=False)
class Model:
    """Site and log together; `shown` is what least squares looks at."""

    site: Site
    stretches: tuple[Stretch, ...]
    flow_factor: float  # measured over modelled flow
    pressure_pa: float
    tubes: loop.Loop
    base: Array  # parameter record of the site's middle reading
    picked: Mapping[str, float]
    x0: Array
    notes: list[str]
    _work: Array = field(default_factory=lambda: np.zeros(integrate.work_size()), repr=False)

    def first(self, share: float) -> "Model":
        """Return the same over the first part of the samples."""
        left = round(share * sum(len(s.seconds) for s in self.stretches))
        kept = []
        for s in self.stretches:
            n = min(left, len(s.seconds))
            left -= n
            if n > 1:
                kept.append(replace(s, seconds=s.seconds[:n], drive=s.drive[: 2 * n - 1],
                                    measured=s.measured[:n]))  # fmt: skip
        return replace(self, stretches=tuple(kept))

    def ratio(self, values: Mapping[str, float], key: str) -> float:
        """Return a value over the site's own, 1 where it is not among ``values``."""
        return values[key] / self.picked[key] if key in values else 1.0

    def params(self, values: Mapping[str, float]) -> Array:
        """Return the parameter record with some values of the site replaced, by key."""
        file, p = self.site.file, self.base.copy()
        picked = {**self.picked, **values}
        plant_parts.store(file, picked).put_gain(p)
        plant_parts.coil(file, picked).put(p, self.tubes)
        plant_parts.room(file, picked).put(p)
        p[param.CONDENSER_UA_W_K] = picked["freezer.condenser_ua_w_k"]
        p[param.PLACE_UA_W_K] = picked["place.ua_w_k"]
        # Both tables are in proportion to the rating, see `plant.freezer`.
        for key, slots in LAGS.items():
            p[list(slots)] *= picked[key] / self.picked[key]
        for first, last, key in (
            (param.CAPACITY_W, param.INPUT_W, "freezer.capacity_w"),
            (param.INPUT_W, param.FLOW_L_MIN, "freezer.input_factor"),
        ):
            p[first:last] *= picked[key] / self.picked[key]
        return p

    def state(self, i: int, water_kg: float, guess: Guess) -> Array:
        """Return the state that stretch ``i`` begins with."""
        x, seen, offset = self.x0.copy(), self.stretches[i].start, guess.offset
        low_c, high_c = seen["store_low_c"] - offset[0], seen["store_high_c"] - offset[1]
        if np.isnan(low_c) or np.isnan(high_c):
            low_c = high_c = float(np.nanmax([low_c, high_c]))
        room_c = seen["room_c"] - offset[2]
        height = (np.arange(state_slot.LAYERS) + 0.5) / state_slot.LAYERS
        bulge_k = 6.0 * height * (1.0 - height) * float(guess.water_k[i])  # its mean is water_k
        x[state_slot.WATER_C : state_slot.WATER_C + state_slot.LAYERS] = (
            np.linspace(low_c, high_c, state_slot.LAYERS) + bulge_k
        )
        x[state_slot.STORE_LOW_PROBE_C], x[state_slot.STORE_HIGH_PROBE_C] = low_c, high_c
        x[state_slot.EVAPORATOR_C] = 0.5 * (low_c + high_c)
        x[state_slot.STORE_KG] = water_kg
        x[state_slot.ICE_KG : state_slot.ICE_KG + state_slot.LAYERS] = 0.0
        x[state_slot.ROOM_AIR_C] = x[state_slot.ROOM_PROBE_C] = room_c
        for slot in (state_slot.COIL_C, state_slot.COIL_IN_PROBE_C, state_slot.COIL_AIR_PROBE_C):
            x[slot] = room_c
        x[state_slot.ROOM_MASS_C] = room_c + float(guess.mass_k[i])
        for slot in (
            state_slot.PLACE_C,
            state_slot.CONDENSER_C,
            state_slot.WINDING_C,
            state_slot.SHELL_C,
            state_slot.SUPPLY_C,
            state_slot.RETURN_C,
        ):
            x[slot] = seen["place_c"]
        x[state_slot.ROOM_HUMIDITY_RATIO] = seen["humidity_ratio"]
        return x

    def shown(self, guess: Guess, only: int | None = None) -> list[Array]:
        """Return what probes and meter would have shown, an array (samples, channels) a stretch.

        Args:
            guess: what differs from the site and what is off.
            only: number of the one stretch to follow; the others are left NaN.
        """
        values = guess.values
        code = compiled.load(True, follow.DOORS).sim("follow")
        p = self.params(values)
        water_kg = self.x0[state_slot.STORE_KG] * self.ratio(values, "store.water_litres")
        sun = self.ratio(values, "room.sun_share_percent")
        found = []
        for i, stretch in enumerate(self.stretches):
            seen = np.full((len(stretch.seconds), follow.SEEN), np.nan)
            if only is None or only == i:
                u, t = given.neutral_given(), np.zeros(tap.SIZE)
                u[given.FLOW_FACTOR] = self.flow_factor
                u[given.PRESSURE_PA] = self.pressure_pa
                u[given.GROUND_C] = stretch.start["ground_c"]
                drive = stretch.drive.copy()
                drive[:, follow.SUN_W] *= sun
                drive[:, follow.EQUIPMENT_W] += guess.unlogged_w
                x = self.state(i, water_kg, guess)
                code.follow(x, u, p, self._work, t, drive, seen)
            found.append(seen + guess.offset)
        return found


def _duties(table: pd.DataFrame, site: Site) -> Array:
    """Return relay, pump and fan duty of every sample, shape (samples, 3)."""
    settings = site.settings()
    sense = compiled.load(False, (("springhouse_sim.sense", "fill_neutral"),)).ints(sense_slot.SIZE)
    sense_slot.fill_neutral(sense)
    u, found = given.neutral_given(), {}
    words = table["out"].to_numpy(np.int64)
    for out in np.unique(words):
        ticks.drive(u, settings, sense, int(out))
        found[int(out)] = (u[given.COMPRESSOR_RELAY], u[given.PUMP_DUTY], u[given.FAN_DUTY])
    return np.array([found[int(out)] for out in words])


def _drive(table: pd.DataFrame, duties: Array, seconds: Array) -> Array:
    """Return the rows of a stretch: a first one at once, then two from each sample to the next.

    Outputs change half-way between two samples, unless the second one was taken at the change.
    """
    n = len(table)
    rows = np.zeros((2 * n - 1, follow.COLUMNS))
    rows[1:, follow.SECONDS] = np.repeat(np.diff(seconds) / 2.0, 2)
    rows[:, follow.SAMPLE] = -1.0
    rows[::2, follow.SAMPLE] = np.arange(n)
    source = np.arange(2 * n - 1) // 2
    for slot, name in DRIVEN.items():
        rows[:, slot] = table[name].to_numpy(np.float64)[source]
    at_change = np.flatnonzero(table["exact"].to_numpy() > 0.0)
    at_change = at_change[at_change > 0]
    source[2 * at_change] = at_change - 1
    rows[:, follow.RELAY : follow.FAN_DUTY + 1] = duties[source]
    return rows


def _compared(table: pd.DataFrame, duties: Array, seconds: Array) -> Array:
    """Return the readings to compare, NaN where one says nothing."""
    measured = table[list(CHANNELS)].to_numpy(np.float64).copy()
    measured[seconds - seconds[0] < SETTLING_S] = np.nan
    measured[np.fmin(measured[:, 0], measured[:, 1]) < OVERTURN_C, 0] = np.nan
    for column, duty in ((3, 1), (4, 1), (4, 2), (5, 0)):
        on = duties[:, duty] > 0.0
        changed = np.concatenate([[True], on[1:] != on[:-1]])
        since = seconds - np.maximum.accumulate(np.where(changed, seconds, -np.inf))
        measured[~on | (since < SWITCHED_S), column] = np.nan
    return measured


def _flow_factor(table: pd.DataFrame, duties: Array, base: Array) -> float:
    """Return measured over modelled flow, from the samples with the pump well on; 1 if unknown."""
    steady = (duties[:, 1] > 0.0) & np.concatenate([[False], duties[:-1, 1] > 0.0])
    flow = table["flow_l_min"].to_numpy()[steady]
    water_c = table["coil_in_c"].fillna(8.0).to_numpy()[steady]
    flow, water_c = flow[flow > 0.0], water_c[flow > 0.0]
    if len(flow) < 5:
        return 1.0
    modelled = [loop.steady_l_min(base, float(c), 1.0) for c in water_c]
    return float(np.median(flow / np.array(modelled)))


def make_model(site: Site, log: Log) -> Model:
    """Return the model of a site under a log.

    Raises:
        KnownError: when nothing in the log can be followed.
    """
    pressure_pa = float(np.mean(site.read_weather().pressure_pa))
    table = filling.humidity(
        filling.people(filling.outdoors(log.table, site, log.path), site), pressure_pa
    )
    duties = _duties(table, site)
    plant = site.plant()
    base, x0 = parameters(plant), plant.initial()
    picked = {key: value.mid for key, value in site.known.items()}
    picked.setdefault("freezer.input_factor", 1.0)
    picked["store.water_litres"] = site.file.store.water_litres
    picked |= {key: float(base[slots[0]]) for key, slots in LAGS.items()}
    seconds = (table.index - table.index[0]).total_seconds().to_numpy()
    cuts = [0, *(np.flatnonzero(np.diff(seconds) > GAP_S) + 1), len(table)]
    notes = list(log.notes)
    stretches = []
    for begin, end in pairwise(cuts):
        made = _stretch(table.iloc[begin:end], duties[begin:end], seconds[begin:end])
        if made is None:
            hours = (seconds[end - 1] - seconds[begin]) / 3600.0
            notes.append(f"{hours:.1f} h from {table.index[begin]:%d %B %H:%M} cannot be used")
        else:
            stretches.append(made)
    if not stretches:
        raise KnownError(
            f"{log.path}: needed: {LEAST_STRETCH_S / 3600:g} h without a gap, begun after "
            f"{REST_S / 60:g} min with compressor and pump off and the store above "
            f"{ICE_FREE_C:g} °C: log on, a row a minute"
        )
    if len(stretches) > MOST_STRETCHES:
        notes.append(f"the {MOST_STRETCHES} longest of {len(stretches)} stretches are used")
    longest = sorted(stretches, key=lambda s: -len(s.seconds))[:MOST_STRETCHES]
    stretches = [s for s in stretches if s in longest]
    if not log.has("humidity"):
        notes.append("no room humidity in the log: moisture on the coil is guessed")
    if not log.has("place_c"):
        notes.append("the freezer's place is modelled, for the log has no place_c")
    if not log.has("sun_w") and site.read_weather().cyclic:
        notes.append("no sun_w in the log: the sun is the typical year's, not that of these days")
    factor = _flow_factor(table, duties, base)
    if not FLOW_PLAUSIBLE[0] <= factor <= FLOW_PLAUSIBLE[1]:
        notes.append(
            f"flow_l_min is {factor:.2f} times what pump and tubes should give, and believed: "
            "bucket and stopwatch (springhouse commission SITE --only flow)"
        )
    return Model(site, tuple(stretches), factor, pressure_pa, plant.loop, base, picked, x0, notes)


def _stretch(table: pd.DataFrame, duties: Array, seconds: Array) -> Stretch | None:
    """Return a stretch from where its beginning is known, None if too little is left.

    At rest for a while the evaporator is as warm as the water and the layers are even.
    """
    store = table[["store_low_c", "store_high_c"]]
    good = ((store.min(axis=1) >= ICE_FREE_C) & table["room_c"].notna()).to_numpy()
    busy = np.append(True, duties[1:, :2].any(axis=1))  # nothing is known of before
    rested_s = seconds - np.maximum.accumulate(np.where(busy, seconds, -np.inf))
    good = good & (rested_s >= REST_S)
    if not good.any():
        return None
    first = int(np.argmax(good))
    table, duties, seconds = table.iloc[first:], duties[first:], seconds[first:]
    if len(table) < 2 or seconds[-1] - seconds[0] < LEAST_STRETCH_S:
        return None
    row = table.iloc[0]
    start = {name: float(row[name]) for name in ("store_low_c", "store_high_c", "room_c")}
    start["ground_c"] = float(row["ground_c"])
    start["place_c"] = float(row["outdoor_c"] if np.isnan(row["place_c"]) else row["place_c"])
    ratio = float(row["humidity_ratio"])
    if np.isnan(ratio):
        vapour_pa = START_HUMIDITY * moist_air.saturation_pressure_pa(start["room_c"])
        ratio = moist_air.humidity_ratio(vapour_pa, moist_air.STANDARD_PA)
    start["humidity_ratio"] = ratio
    rows = _drive(table, duties, seconds)
    return Stretch(seconds, rows, _compared(table, duties, seconds), start)


def hours_of(model: Model, bit: int) -> float:
    """Return the hours for which an output was on."""
    slot = {
        output.COMPRESSOR: follow.RELAY,
        output.PUMP: follow.PUMP_DUTY,
        output.FAN: follow.FAN_DUTY,
    }[bit]
    return (
        sum(float(s.drive[s.drive[:, slot] > 0.0, follow.SECONDS].sum()) for s in model.stretches)
        / 3600.0
    )

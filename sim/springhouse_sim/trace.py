"""What a run leaves: minute samples, events, totals and the figures a proof is made of."""

from array import array
from dataclasses import dataclass
from functools import cache, cached_property, lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray
from springhouse import memory as cell
from springhouse import week

from . import gauge, ticks
from .plant import given, moist_air, state, tap
from .plant import state as state_slot
from .records import IntRecord
from .world.stage import MINUTE_MS, WEEK_MIN, Calendar

if TYPE_CHECKING:
    import pandas as pd

J_PER_KWH = 3.6e6
LONGEST_DAILY_ICE_S = 86_400  # ice that stands longer has not melted back daily

CONSUMERS = {
    "mains": state_slot.MAINS_J,
    "freezer": state_slot.FREEZER_J,
    "pump": state_slot.PUMP_J,
    "fans": state_slot.FAN_J,
    "board": state_slot.BOARD_J,
}
# Heat into the room and into the store, by cause; negative leaves.
ROOM_HEAT = {
    "envelope": (state_slot.OUTDOOR_TO_ROOM_J, 1.0),
    "infiltration_sensible": (state_slot.INFILTRATION_SENSIBLE_J, 1.0),
    "infiltration_latent": (state_slot.INFILTRATION_LATENT_J, 1.0),
    "sun": (state_slot.SUN_J, 1.0),
    "people_sensible": (state_slot.PEOPLE_SENSIBLE_J, 1.0),
    "people_latent": (state_slot.PEOPLE_LATENT_J, 1.0),
    "equipment": (state_slot.EQUIPMENT_J, 1.0),
    "fans": (state_slot.FAN_J, 1.0),
    "freezer_place": (state_slot.PLACE_TO_ROOM_J, 1.0),
    "coil_sensible": (state_slot.ROOM_TO_COIL_SENSIBLE_J, -1.0),
    "coil_latent": (state_slot.ROOM_TO_COIL_LATENT_J, -1.0),
    "tubes": (state_slot.ROOM_TO_TUBE_J, -1.0),
}
STORE_HEAT = {
    "cabinet": (state_slot.CABINET_TO_STORE_J, 1.0),
    "lid": (state_slot.LID_TO_STORE_J, 1.0),
    "coil": (state_slot.COIL_TO_WATER_J, 1.0),
    "pump": (state_slot.PUMP_TO_WATER_J, 1.0),
    "tubes_in_room": (state_slot.ROOM_TO_TUBE_J, 1.0),
    "tubes_in_place": (state_slot.PLACE_TO_TUBE_J, 1.0),
    "evaporator": (state_slot.EVAPORATOR_J, -1.0),
}


def _slot_names(module: Any) -> dict[int, str]:
    """Return the names of a record's slots in lower case, units and all."""
    return {
        value: name.lower()
        for name, value in reversed(list(vars(module).items()))
        if name.isupper() and isinstance(value, int) and not isinstance(value, bool)
    }


@cache
def column_names() -> tuple[str, ...]:
    """Return the names of the sample columns: time, then slot names of the records they copy."""
    states, taps, givens = _slot_names(state), _slot_names(tap), _slot_names(given)
    memory = {cell.STORE_STATE: "store_state", cell.ROOM_STATE: "room_state", cell.OUT: "out"}
    return (
        "time_s",
        *(states[slot] for slot in ticks.STATE_COLUMNS),
        *(taps[slot] for slot in ticks.TAP_COLUMNS),
        *(givens[slot] for slot in ticks.GIVEN_COLUMNS),
        *(memory[slot] for slot in ticks.MEMORY_COLUMNS),
    )


@lru_cache(maxsize=64)
def wanted_minutes(settings: bytes) -> NDArray[np.bool_]:
    """Return for each minute of the week whether a settings record wants the room cooled."""
    record = array("i", settings)
    table = np.zeros(WEEK_MIN, np.bool_)
    minute = 0
    while minute < WEEK_MIN:
        ahead = min(week.minutes_to_edge(record, minute), WEEK_MIN - minute)
        table[minute : minute + ahead] = week.plan_at(record, minute) & week.PLAN_WANTED != 0
        minute += ahead
    table.flags.writeable = False
    return table


@dataclass(frozen=True, eq=False)
class Trace:
    """One run. Arrays are as the tick loop wrote them; see the methods for what they mean."""

    calendar: Calendar
    end_ms: int
    seed: int
    settings: IntRecord
    events: NDArray[np.int64]  # shape (events, ticks.EVENT_SIZE)
    samples: NDArray[np.float64]  # shape (minutes, ticks.COLUMNS)
    counts: NDArray[np.int64]  # slots of gauge.py
    peaks: NDArray[np.float64]
    begun: NDArray[np.float64]  # plant state at the start, shape (state.SIZE,)
    ended: NDArray[np.float64]
    kwh_by_rate: dict[str, float]
    cost: float  # in the currency of the tariff
    cases: NDArray[np.int64]  # by invariant number
    violations: NDArray[np.int64]

    @property
    def days(self) -> float:
        """Length of the run."""
        return self.end_ms / 86_400_000

    def column(self, name: str) -> NDArray[np.float64]:
        """Return one sample column, one value a minute.

        Raises:
            ValueError: on a name that is not one of `column_names`, or when the run handed its
                samples on instead of keeping them.
        """
        self._check_kept()
        return np.asarray(self.samples[:, column_names().index(name)])

    def minutes(self) -> "pd.DataFrame":
        """Return the samples, one row a minute, indexed by local time.

        ``room_relative_humidity`` (0 to 1) follows from three of the columns and is put beside.
        """
        import pandas as pd

        begin = pd.Timestamp(self.calendar.local(0))
        index = begin + pd.to_timedelta(self.samples[:, 0], unit="s")
        frame = pd.DataFrame(self.samples, index=index, columns=list(column_names()))
        frame["room_relative_humidity"] = np.vectorize(moist_air.relative_humidity, otypes="d")(
            frame["room_air_c"], frame["room_humidity_ratio"], frame["pressure_pa"]
        )
        return frame

    def transitions(self) -> "pd.DataFrame":
        """Return the events: when a state, output, latch, mode or the supply changed; the words."""
        import pandas as pd

        columns = ["ms", "store_state", "room_state", "out", "latch", "mode", "alive"]
        columns += ["store_word", "room_word", "lock_word"]
        return pd.DataFrame(self.events, columns=columns)

    def latched(self) -> int:
        """Return the bits of every fault that was latched at any time of the run."""
        return int(np.bitwise_or.reduce(self.events[:, ticks.LATCH], initial=0))

    def total(self, slot: int) -> float:
        """Return how much a running total of the plant state grew over the run."""
        return float(self.ended[slot] - self.begun[slot])

    def energy_kwh(self) -> dict[str, float]:
        """Return electricity by consumer; ``mains`` is what the meter counted."""
        return {name: self.total(slot) / J_PER_KWH for name, slot in CONSUMERS.items()}

    def room_heat_kwh(self) -> dict[str, float]:
        """Return heat into the room by cause."""
        return {n: sign * self.total(s) / J_PER_KWH for n, (s, sign) in ROOM_HEAT.items()}

    def store_heat_kwh(self) -> dict[str, float]:
        """Return heat into the store by cause."""
        return {n: sign * self.total(s) / J_PER_KWH for n, (s, sign) in STORE_HEAT.items()}

    def _check_kept(self) -> None:
        if not len(self.samples):
            raise ValueError("Trace: this run has handed its samples on")

    @cached_property
    def _wanted(self) -> NDArray[np.bool_]:
        self._check_kept()
        table = wanted_minutes(bytes(self.settings))
        minutes = (self.samples[:, 0] * 1000 // MINUTE_MS).astype(np.int64)
        return np.asarray(table[(self.calendar.week_s() // 60 + minutes) % WEEK_MIN])

    def wanted(self) -> NDArray[np.bool_]:
        """Return for each sample whether the settings want the room cooled, by true local time."""
        return self._wanted

    def hours_over(self, limit_c: float) -> float:
        """Return the wanted hours with the room's air above ``limit_c``."""
        return float(np.sum(self.wanted() & (self.column("room_air_c") > limit_c)) / 60.0)

    def share_within(self, limit_c: float) -> float:
        """Return the share of wanted hours with the air at or below ``limit_c``; 1 if none."""
        wanted = self.wanted()
        if not wanted.any():
            return 1.0
        return float(np.mean(self.column("room_air_c")[wanted] <= limit_c))

    def wanted_mean_c(self) -> float | None:
        """Return the mean air temperature of the wanted hours [°C], None if there are none."""
        wanted = self.wanted()
        return float(self.column("room_air_c")[wanted].mean()) if wanted.any() else None

    def state_seconds(self) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Return the seconds spent in each state, store side and room side."""
        store = self.counts[gauge.STORE_STATE_S_0 : gauge.ROOM_STATE_S_0]
        return store, self.counts[gauge.ROOM_STATE_S_0 : gauge.COUNTS]

    def off_gap_min_s(self) -> int | None:
        """Return the shortest time the compressor was off before a start, None without a start."""
        gap = int(self.counts[gauge.OFF_GAP_MIN_S])
        return None if gap >= gauge.NEVER else gap

    def summary(self, limit_c: float) -> dict[str, Any]:
        """Return the figures of the run by the names of the verdict, for a room limit [°C]."""
        return {
            "days": self.days,
            "seed": self.seed,
            "min_store_true_c": float(self.peaks[gauge.STORE_MIN_C]),
            "max_ice_kg": float(self.peaks[gauge.ICE_MAX_KG]),
            "longest_ice_h": float(self.counts[gauge.ICE_MAX_S] / 3600.0),
            "ice_melts_daily": bool(self.counts[gauge.ICE_MAX_S] <= LONGEST_DAILY_ICE_S),
            "room_hours_over": self.hours_over(limit_c),
            "wanted_share_within": self.share_within(limit_c),
            "wanted_mean_c": self.wanted_mean_c(),
            "starts": int(self.counts[gauge.STARTS]),
            "starts_per_hour_max": int(self.counts[gauge.STARTS_PER_HOUR_MAX]),
            "off_gap_min_s": self.off_gap_min_s(),
            "dry_seconds_max": int(self.counts[gauge.DRY_MAX_S]),
            "spill_l": self.total(state_slot.SPILL_L),
            "condensate_l": self.total(state_slot.CONDENSATE_KG),
            "winding_max_c": float(self.peaks[gauge.WINDING_MAX_C]),
            "energy_kwh": self.energy_kwh()["mains"],
            "cost": self.cost,
        }

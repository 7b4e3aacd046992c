"""One scan of a controller about which nothing is known but the hypothesis.

Memory, settings, fitting, readings and the time since the last scan are free within their ranges;
the week plan is any plan. Ghosts are clocks and counts that measure what really happened; the
controller does not know them.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from springhouse import condition as C
from springhouse import controller
from springhouse import events as E
from springhouse import memory as M
from springhouse import mode as W
from springhouse import probes as P
from springhouse import reading as R
from springhouse import setting as S
from springhouse import statechart as K
from springhouse import timekeeping as T

from springhouse_host.induction.terms import Bits, Number, Terms, Truth, Value
from springhouse_host.induction.time_left import Clock
from springhouse_host.induction.translate import Duty, Record, Run, StandIn, State

HOUR_MS = 3600000
DAY_MS = 86400000
LONG_AGO_MS = T.HALF  # ghosts count no further

RAW_MC = (-2_100_000, 2_100_000)  # a 16-bit probe register in sixteenths of a degree
SEQUENCE = (0, (1 << 30) - 1)

# Flag words and how many bits they have.
WORDS = {
    M.OUT: 5,
    M.STORE_WORD: C.STORE_BITS,
    M.ROOM_WORD: C.ROOM_BITS,
    M.LOCK_WORD: C.LOCK_BITS,
    M.LATCH: 7,
    M.FLAGS: 9,
    M.PLAN: 4,
    M.VALID: 5,
    M.PROGRESS_BY: 2,
}

RANGES: dict[int, tuple[int, int]] = {
    M.BOOTED: (1, 1),
    M.STORE_STATE: (0, K.STORE_STATES - 1),
    M.ROOM_STATE: (0, K.ROOM_STATES - 1),
    M.MODE: (0, W.SIZE - 1),
    M.ACK_SEEN: SEQUENCE,
    M.MODE_SEEN: SEQUENCE,
    M.PLAN_SINCE_MIN: (-1, 10079),
    M.PLAN_LENGTH_MIN: (0, 10080),
    **{M.STORE_LOW_GOOD + i: (0, P.TRUST_FRAMES) for i in range(R.PROBES)},
    **{M.STORE_LOW_SEEN_MS + i: (0, T.LAST) for i in range(R.PROBES)},
    **{
        M.STORE_LOW_ANCHOR_MC + i: (P.LOWEST_MC[i] - 3000, P.HIGHEST_MC[i] + 3000)
        for i in range(R.PROBES)
    },
    **{
        slot: (0, E.COUNT_MOST) for slot in (M.DRY_COUNT, M.TRAY_COUNT, M.REST_COUNT, M.STILL_COUNT)
    },
    M.PROGRESS_MC: (-200_000, 200_000),
    M.PROGRESS_MADE_MK: (-E.MADE_MOST_MK, E.MADE_MOST_MK),
    **{
        slot: (0, T.LONGEST_MS)
        for slot in (
            M.PROGRESS_LEFT_MS,
            M.ICE_LEFT_MS,
            M.STORE_LOW_STUCK_LEFT_MS,
            M.STORE_HIGH_STUCK_LEFT_MS,
        )
    },
    **{slot: (T.DUE, T.LONGEST_MS) for slot in range(M.TIMERS, M.SIZE)},
}

READINGS: dict[int, tuple[int, int]] = {
    R.NOW_MS: (0, T.LAST),
    R.WEEK_MIN: (-1, 10079),
    **{R.STORE_LOW_MC + i: RAW_MC for i in range(R.PROBES)},
    **{R.STORE_LOW_AT_MS + i: (0, T.LAST) for i in range(R.PROBES)},
    **{R.STORE_LOW_FAULT + i: (0, 15) for i in range(R.PROBES)},
    R.FLOW_ML_MIN: (0, 1 << 20),
    R.FAN_RPM: (0, 1 << 20),
    R.BATTERY_MV: (0, 1 << 20),
    **{slot: (0, 1) for slot in (R.MAINS_OK, R.TRAY_OK, R.LEVEL_OK, R.FLOOR_DRY, R.SETTINGS_OK)},
    R.ACK_SEQ: SEQUENCE,
    R.MODE: (-4, 12),
    R.MODE_MIN: (-10, 100_000),
    R.MODE_SEQ: SEQUENCE,
}

NAMES = {
    value: name
    for name, value in vars(M).items()
    if name.isupper() and name not in ("SIZE", "TIMERS") and not name.startswith("FLAG_")
}
SETTING_NAMES = {
    v: n
    for n, v in vars(S).items()
    if n.isupper()
    and isinstance(v, int)
    and n not in ("SIZE", "WINDOWS", "WINDOW_STRIDE", "SCHEMA_NOW")
}
READING_NAMES = {v: n for n, v in vars(R).items() if n.isupper() and n not in ("SIZE", "PROBES")}


@dataclass
class Scene:
    """What stands before a scan and after it."""

    terms: Terms
    before: list[Any]
    after: list[Any]
    settings: list[Any]
    readings: list[Any]
    gone_ms: Number
    ages_ms: list[Number]  # of each probe's frame, true age
    out: Any
    premises: list[Truth]
    duties: list[Duty] = field(default_factory=list)
    calls: int = 0

    def out_bits(self) -> tuple[Truth, ...]:
        """The outputs after the scan, bit by bit."""
        return self.out.bits if isinstance(self.out, Bits) else ()

    def fitted(self, bit: int) -> Truth:
        """Whether a sensor is fitted."""
        return self.terms.true(self.terms.bit_and(self.settings[S.FITTED], bit))

    def has(self, word: Value, bit: int) -> Truth:
        """Whether any of these bits is set."""
        return self.terms.true(self.terms.bit_and(word, bit))  # type: ignore[arg-type]

    def on(self, bit: int) -> Truth:
        """Whether an output is on after the scan."""
        return self.has(self.out, bit)

    def was_on(self, bit: int) -> Truth:
        """Whether an output was on before the scan."""
        return self.has(self.before[M.OUT], bit)

    def starts(self, bit: int) -> Truth:
        """Whether an output goes on in this scan."""
        return self.terms.both(self.on(bit), self.terms.no(self.was_on(bit)))

    def stops(self, bit: int) -> Truth:
        """Whether an output goes off in this scan."""
        return self.terms.both(self.was_on(bit), self.terms.no(self.on(bit)))


def free_memory(t: Terms, real_ticks: bool = False) -> list[Any]:
    """A memory record about which only the ranges are known; timers hold time left, or ticks."""
    memory: list[Any] = []
    for slot in range(M.SIZE):
        name = f"memory.{NAMES[slot]}"
        if slot in WORDS:
            memory.append(t.word(name, WORDS[slot]))
        elif real_ticks and slot >= M.TIMERS:
            memory.append(t.integer(name, T.DUE, T.LAST))
        else:
            memory.append(t.integer(name, *RANGES[slot]))
    return memory


def free_settings(t: Terms) -> list[Any]:
    """A settings record within its bounds."""
    settings: list[Any] = []
    for slot in range(S.SIZE):
        low, high, _ = S.bound(slot)
        name = f"settings.{SETTING_NAMES.get(slot, slot)}"
        settings.append(t.word(name, 12) if slot == S.FITTED else t.integer(name, low, high))
    return settings


def free_readings(t: Terms) -> list[Any]:
    """A readings record within what drivers can deliver."""
    return [t.integer(f"readings.{READING_NAMES[n]}", *READINGS[n]) for n in range(R.SIZE)]


def any_plan(t: Terms) -> StandIn:
    """Stands in for the week: whatever plan there may be."""

    def plan(run: Run, state: State, arguments: list[Any]) -> Value:
        memory = state.slots["memory"]
        memory[M.PLAN] = t.word("any.plan", WORDS[M.PLAN])
        memory[M.PLAN_SINCE_MIN] = t.integer("any.since", *RANGES[M.PLAN_SINCE_MIN])
        memory[M.PLAN_LENGTH_MIN] = t.integer("any.length", *RANGES[M.PLAN_LENGTH_MIN])
        return None

    return plan


def scan(t: Terms, powered_up: bool = False, sound: bool = True) -> Scene:
    """Translate one scan: of a controller at work, or the first after power-up.

    `sound` settings are those that `first_fault` accepts; otherwise they are anything.
    """
    settings, readings = free_settings(t), free_readings(t)
    gone = t.integer("gone_ms", 0, T.LONGEST_MS)
    premises: list[Truth] = []
    ages: list[Number] = []
    shown: list[Any] = list(readings)
    clock = Clock(gone, readings[R.NOW_MS])
    for i in range(R.PROBES):
        # A stamp stands for its age; where it is compared with another stamp only equality counts.
        age = t.integer(f"age_ms.{i}", 0, T.LONGEST_MS)
        ages.append(age)
        clock.ages[id(readings[R.STORE_LOW_AT_MS + i])] = age
    slots: dict[str, Any] = {"memory": [], "settings": settings, "readings": shown}
    run = Run(t, {**clock.stand_ins(), E.plan: any_plan(t)})  # type: ignore[dict-item]
    if powered_up:
        slots["memory"] = [0] * M.SIZE
        run.call(controller.power_up, [Record("memory")], slots)  # type: ignore[arg-type]
    else:
        slots["memory"] = free_memory(t)
        premises.append(t.no(t.true(t.bit_and(slots["memory"][M.FLAGS], M.FLAG_INVALID))))
    before = list(slots["memory"])
    if sound:
        fault = Run(t, {}).call(S.first_fault, [Record("settings")], {"settings": settings})  # type: ignore[arg-type]
        premises.append(t.less(fault, 0))  # type: ignore[arg-type]
    records = [Record("memory"), Record("settings"), Record("readings")]
    out = run.call(controller.step, records, slots)  # type: ignore[arg-type]
    return Scene(
        t,
        before,
        slots["memory"],
        settings,
        readings,
        gone,
        ages,
        out,
        premises,
        run.duties,
        run.calls,
    )


def example_text(example: Mapping[str, int]) -> list[str]:
    """The symbols of a counterexample that are not 0, in order."""
    return [f"{name} = {value}" for name, value in sorted(example.items()) if value]

"""One scan of a controller about which nothing is known but the hypothesis.

Memory, settings, fitting, readings and the time since the last scan are free within their ranges;
the week plan is any plan. Ghosts are clocks and counts that measure what really happened; the
controller does not know them.
"""

from dataclasses import dataclass, field
from itertools import pairwise
from types import ModuleType
from typing import Any

from springhouse import (
    advice,
    condition,
    controller,
    events,
    latch,
    mode,
    output,
    probes,
    reading,
    setting,
    statechart,
    timekeeping,
    week,
)
from springhouse import fitted as fitted_bits
from springhouse import memory as cell

from springhouse_host.induction.program import Duty, SlotRecord, StandIn, State
from springhouse_host.induction.term import Bits, Number, Truth, Value
from springhouse_host.induction.terms import Terms
from springhouse_host.induction.time_left import Clock
from springhouse_host.induction.translate import Run

LONG_AGO_MS = timekeeping.HALF  # ghosts count no further

RAW_MC = (-2_100_000, 2_100_000)  # a 16-bit probe register in sixteenths of a degree
SEQUENCE = (0, (1 << 30) - 1)


def _bits(*words: int) -> int:
    """How many bits it takes to hold any of these."""
    return max(words).bit_length()


def _slots(module: ModuleType, *endings: str) -> list[int]:
    """Slots of a record by how their names end."""
    return [v for n, v in vars(module).items() if n.isupper() and n.endswith(endings)]


# Flag words and how many bits they have.
WORDS = {
    cell.OUT: _bits(output.ALARM),
    cell.STORE_WORD: condition.STORE_BITS,
    cell.ROOM_WORD: condition.ROOM_BITS,
    cell.LOCK_WORD: condition.LOCK_BITS,
    cell.LATCH: _bits(latch.STORE | latch.ROOM),
    cell.FLAGS: _bits(*(v for n, v in vars(cell).items() if n.startswith("FLAG_"))),
    cell.PLAN: _bits(*(v for n, v in vars(week).items() if n.startswith("PLAN_"))),
    cell.VALID: reading.PROBES,
    cell.PROGRESS_BY: _bits(fitted_bits.STORE_LOW | fitted_bits.STORE_HIGH),
    cell.REST_BY: _bits(fitted_bits.STORE_LOW | fitted_bits.STORE_HIGH),
}
FITTED_BITS = _bits(setting.row(setting.FITTED)[2])

RANGES: dict[int, tuple[int, int]] = {
    cell.BOOTED: (1, 1),
    cell.STORE_STATE: (0, statechart.STORE_STATES - 1),
    cell.ROOM_STATE: (0, statechart.ROOM_STATES - 1),
    cell.MODE: (0, mode.SIZE - 1),
    cell.ACK_SEEN: SEQUENCE,
    cell.MODE_SEEN: SEQUENCE,
    cell.DROP_SEEN: SEQUENCE,
    cell.ADVICE_SEEN: SEQUENCE,
    cell.ADVICE: (0, advice.SIZE - 1),
    cell.ADVICE_WANTED: (0, 1),
    cell.ADVICE_MC: (-200_000, 200_000),
    cell.PLAN_SINCE_MIN: (-1, week.WEEK_MIN - 1),
    cell.PLAN_LENGTH_MIN: (0, week.WEEK_MIN),
    **{slot: (0, probes.TRUST_FRAMES) for slot in _slots(cell, "_GOOD")},
    **{cell.STORE_LOW_SEEN_MS + i: (0, timekeeping.LAST) for i in range(reading.PROBES)},
    **{
        cell.STORE_LOW_ANCHOR_MC + i: (probes.LOWEST_MC[i] - 3000, probes.HIGHEST_MC[i] + 3000)
        for i in range(reading.PROBES)
    },
    **{slot: (0, events.COUNT_MOST) for slot in _slots(cell, "_COUNT")},
    **{
        slot: (-200_000, 200_000)
        for slot in (cell.PROGRESS_MC, cell.TOP_LEAST_MC, cell.CHILL_LOW_MC, cell.REST_MC)
    },
    cell.PROGRESS_MADE_MK: (-events.MADE_MOST_MK, events.MADE_MOST_MK),
    **{slot: (0, timekeeping.LONGEST_MS) for slot in _slots(cell, "_LEFT_MS")},
    cell.MODE_LEFT_MS: (0, 0),  # used up by the first scan
    **{slot: (timekeeping.DUE, timekeeping.LONGEST_MS) for slot in range(cell.TIMERS, cell.SIZE)},
}

READINGS: dict[int, tuple[int, int]] = {
    reading.NOW_MS: (0, timekeeping.LAST),
    reading.WEEK_MIN: (-1, week.WEEK_MIN - 1),
    **{reading.STORE_LOW_MC + i: RAW_MC for i in range(reading.PROBES)},
    **{reading.STORE_LOW_AT_MS + i: (0, timekeeping.LAST) for i in range(reading.PROBES)},
    **{reading.STORE_LOW_FAULT + i: (0, 15) for i in range(reading.PROBES)},
    reading.FLOW_ML_MIN: (0, 1 << 20),
    reading.FAN_RPM: (0, 1 << 20),
    reading.BATTERY_MV: (0, 1 << 20),
    **{slot: (0, 1) for slot in _slots(reading, "_OK", "_DRY", "_OPEN")},
    **{slot: SEQUENCE for slot in _slots(reading, "_SEQ")},
    reading.MODE: (-4, 12),
    reading.MODE_MIN: (-10, 100_000),
    reading.ADVICE: (-4, 12),
    reading.ADVICE_WANTED: (-1, 2),
    reading.ADVICE_MC: (-200_000, 200_000),
    reading.ADVICE_MIN: (-10, 100_000),
}

NAMES = {
    value: name
    for name, value in vars(cell).items()
    if name.isupper() and name not in ("SIZE", "TIMERS") and not name.startswith("FLAG_")
}
SETTING_NAMES = {
    v: n
    for n, v in vars(setting).items()
    if n.isupper()
    and isinstance(v, int)
    and n not in ("SIZE", "WINDOWS", "WINDOW_STRIDE", "SCHEMA_NOW")
}
READING_NAMES = {
    v: n for n, v in vars(reading).items() if n.isupper() and n not in ("SIZE", "PROBES")
}


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
    powered_up: bool = False
    duties: list[Duty] = field(default_factory=list)

    def out_bits(self) -> tuple[Truth, ...]:
        """The outputs after the scan, bit by bit."""
        return self.out.bits if isinstance(self.out, Bits) else ()

    def fitted(self, bit: int) -> Truth:
        """Whether a sensor is fitted."""
        return self.terms.true(self.terms.bit_and(self.settings[setting.FITTED], bit))

    def has(self, word: Any, bit: int) -> Truth:
        """Whether any of these bits is set."""
        return self.terms.true(self.terms.bit_and(word, bit))

    def on(self, bit: int) -> Truth:
        """Whether an output is on after the scan."""
        return self.has(self.out, bit)

    def contact(self, slot: int) -> Truth:
        """Whether a contact reads good."""
        return self.terms.no(self.terms.equal(self.readings[slot], 0))

    @property
    def dropped(self) -> Truth:
        """Whether the drive reports that the outputs dropped by themselves since the last scan."""
        return self._counted(cell.DROP_SEEN, reading.DROP_SEQ)

    @property
    def pressed(self) -> Truth:
        """Whether faults were acknowledged since the last scan."""
        return self._counted(cell.ACK_SEEN, reading.ACK_SEQ)

    @property
    def asked(self) -> Truth:
        """Whether the owner asked for a mode since the last scan."""
        return self._counted(cell.MODE_SEEN, reading.MODE_SEQ)

    @property
    def advised(self) -> Truth:
        """Whether a plan gave advice since the last scan."""
        return self._counted(cell.ADVICE_SEEN, reading.ADVICE_SEQ)

    def _counted(self, seen: int, number: int) -> Truth:
        """Whether a count moved; what came before power-up does not count."""
        t = self.terms
        moved = t.no(t.equal(self.before[seen], self.readings[number]))
        return False if self.powered_up else moved

    def had_on(self, bit: int) -> Truth:
        """Whether the last scan left an output on."""
        return self.has(self.before[cell.OUT], bit)

    def was_on(self, bit: int) -> Truth:
        """Whether an output was on when this scan began."""
        return self.terms.both(self.had_on(bit), self.terms.no(self.dropped))

    def starts(self, bit: int) -> Truth:
        """Whether an output goes on in this scan."""
        return self.terms.both(self.on(bit), self.terms.no(self.was_on(bit)))

    def stops(self, bit: int) -> Truth:
        """Whether an output went off since the last scan, or does in this one."""
        t = self.terms
        return t.both(self.had_on(bit), t.either(self.dropped, t.no(self.on(bit))))


def free_memory(t: Terms, real_ticks: bool = False) -> list[Any]:
    """A memory record about which only the ranges are known; timers hold time left, or ticks."""
    memory: list[Any] = []
    for slot in range(cell.SIZE):
        name = f"memory.{NAMES[slot]}"
        if slot in WORDS:
            memory.append(t.word(name, WORDS[slot]))
        elif real_ticks and slot >= cell.TIMERS:
            memory.append(t.integer(name, timekeeping.DUE, timekeeping.LAST))
        else:
            memory.append(t.integer(name, *RANGES[slot]))
    return memory


def restored_memory(t: Terms, run: Run) -> tuple[list[Any], list[Truth]]:
    """A memory just made by `power_up` with what was kept from before, and what is known of that.

    Kept are the starts of the last hour, latches, counts, the float, and the owner's stops with
    their time left; see `restart.py`. Nothing kept is one of the cases.
    """
    slots: dict[str, Any] = {"memory": [0] * cell.SIZE}
    run.call(controller.power_up, [SlotRecord("memory")], slots)
    memory: list[Any] = slots["memory"]
    stopped, off = t.truth("kept.stopped"), t.truth("kept.off")
    left_min = t.integer(
        "kept.left_min", 1, max(mode.LIMIT_MIN[mode.OFF], mode.LIMIT_MIN[mode.SERVICE])
    )
    limit = t.choose(off, mode.LIMIT_MIN[mode.OFF], mode.LIMIT_MIN[mode.SERVICE])
    memory[cell.MODE] = t.choose(stopped, t.choose(off, mode.OFF, mode.SERVICE), mode.AUTOMATIC)
    memory[cell.MODE_LEFT_MS] = t.choose(stopped, t.times(left_min, 60000), 0)
    memory[cell.LATCH] = t.word("kept.latch", WORDS[cell.LATCH])
    for slot in _slots(cell, "_COUNT"):
        memory[slot] = t.integer(f"kept.{NAMES[slot]}", 0, events.COUNT_MOST)
    for slot in range(cell.START_1_T, cell.START_4_T + 1):
        memory[slot] = t.choose(t.truth(f"kept.{NAMES[slot]}"), timekeeping.DUE, timekeeping.IDLE)
    memory[cell.FLAGS] = t.choose(t.truth("kept.tray"), cell.FLAG_TRAY, 0)
    # `kept.py` counts the starts and fills the ring from its first place.
    ring = [
        t.equal(memory[slot], timekeeping.DUE) for slot in range(cell.START_1_T, cell.START_4_T + 1)
    ]
    filled = (t.implies(later, place) for place, later in pairwise(ring))
    latched = t.true(t.bit_and(memory[cell.LATCH], latch.DRY))
    dry = t.implies(t.less(len(events.DRY_WAIT_MS), memory[cell.DRY_COUNT]), latched)
    return memory, [t.at_most(left_min, limit), dry, *filled]


def free_settings(t: Terms) -> list[Any]:
    """A settings record within its bounds."""
    settings: list[Any] = []
    for slot in range(setting.SIZE):
        _, low, high, _ = setting.row(slot)
        name = f"settings.{SETTING_NAMES.get(slot, slot)}"
        settings.append(
            t.word(name, FITTED_BITS) if slot == setting.FITTED else t.integer(name, low, high)
        )
    return settings


def free_readings(t: Terms) -> list[Any]:
    """A readings record within what drivers can deliver."""
    return [t.integer(f"readings.{READING_NAMES[n]}", *READINGS[n]) for n in range(reading.SIZE)]


def any_plan(t: Terms) -> StandIn:
    """Stands in for the week: whatever plan there may be."""

    def plan(run: Run, state: State, arguments: list[Any]) -> Value:
        memory = state.slots["memory"]
        memory[cell.PLAN] = t.word("any.plan", WORDS[cell.PLAN])
        memory[cell.PLAN_SINCE_MIN] = t.integer("any.since", *RANGES[cell.PLAN_SINCE_MIN])
        memory[cell.PLAN_LENGTH_MIN] = t.integer("any.length", *RANGES[cell.PLAN_LENGTH_MIN])
        return None

    return plan


def scan(t: Terms, powered_up: bool = False) -> Scene:
    """Translate one scan: of a controller at work, or the first after power-up."""
    settings, readings = free_settings(t), free_readings(t)
    gone = 0 if powered_up else t.integer("gone_ms", 0, timekeeping.LONGEST_MS)
    ages: list[Number] = []
    clock = Clock(gone, readings[reading.NOW_MS])
    for i in range(reading.PROBES):
        # A stamp stands for its age; where it is compared with another stamp only equality counts.
        age = t.integer(f"age_ms.{i}", 0, timekeeping.LONGEST_MS)
        ages.append(age)
        clock.ages[id(readings[reading.STORE_LOW_AT_MS + i])] = age
    run = Run(t, {**clock.stand_ins(), events.plan: any_plan(t)})
    if powered_up:
        memory, premises = restored_memory(t, run)
    else:
        memory = free_memory(t)
        premises = [t.no(t.true(t.bit_and(memory[cell.FLAGS], cell.FLAG_INVALID)))]
    fault = Run(t, {}).call(setting.first_fault, [SlotRecord("settings")], {"settings": settings})
    premises.append(t.less(fault, 0))
    slots: dict[str, Any] = {"memory": memory, "settings": settings, "readings": list(readings)}
    before = list(memory)
    records = [SlotRecord("memory"), SlotRecord("settings"), SlotRecord("readings")]
    out = run.call(controller.step, records, slots)
    after = slots["memory"]
    return Scene(
        t, before, after, settings, readings, gone, ages, out, premises, powered_up, run.duties
    )

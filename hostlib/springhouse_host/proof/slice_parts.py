"""What slices of the controller are made of: kept fields, dials of the adversary, shorthand."""

from array import array
from collections.abc import Mapping
from dataclasses import dataclass, field

from springhouse import controller, fault, reading, setting, timekeeping, week
from springhouse import memory as cell
from springhouse_sim.abstract import env, fields
from springhouse_sim.abstract.search import ENV, MEMORY, READING

NOW_MS = 1_000_000
WEEK_MIN = 100

Write = tuple[int, int, int, int]

TRUST_ENV = (
    env.LOW_TRUSTED,
    env.HIGH_TRUSTED,
    env.ROOM_TRUSTED,
    env.COIL_IN_TRUSTED,
    env.COIL_AIR_TRUSTED,
)
VALUE_ENV = (env.LOW_MC, env.HIGH_MC, env.ROOM_MC, env.COIL_IN_MC, env.COIL_AIR_MC)


@dataclass(frozen=True)
class KeptSlots:
    """A part of the memory that a slice remembers from step to step."""

    name: str
    slot: int
    kind: int
    size: int = 2
    argument: int = 0
    left_ms: int = 1

    def row(self) -> tuple[int, int, int, int, int]:
        """Return it as `fields.py` wants it."""
        return self.slot, self.kind, self.size, self.argument, self.left_ms


@dataclass(frozen=True)
class Option:
    """One choice of the adversary and what it writes."""

    name: str
    writes: tuple[Write, ...] = ()


@dataclass(frozen=True)
class Dial:
    """What the adversary may choose anew before every step."""

    name: str
    options: tuple[Option, ...]


@dataclass(frozen=True)
class Slice:
    """One exploration: a part of the controller under one set of fitted sensors.

    ``fair`` are the option numbers, one a dial, of a healthy input that asks for service;
    ``served`` the output that must then come on, 0 if the slice has none. ``reaches_store`` and
    ``reaches_room`` are bits of the states that must be met.
    """

    number: int
    name: str
    settings: "array[int]"
    kept: tuple[KeptSlots, ...]
    dials: tuple[Dial, ...]
    fair: tuple[int, ...] = ()
    served: int = 0
    reaches_store: int = 0
    reaches_room: int = 0
    now_ms: int = NOW_MS
    base_writes: tuple[Write, ...] = field(default=())

    def base(self) -> "tuple[array[int], array[int]]":
        """Return memory and readings that each step begins from, before kept part and dials."""
        memory = array("i", [0] * cell.SIZE)
        readings = array("i", [0] * reading.SIZE)
        controller.power_up(memory)
        memory[cell.BOOTED] = 1
        memory[cell.PLAN] = week.PLAN_CHARGE | week.PLAN_WANTED
        memory[cell.PLAN_SINCE_MIN] = WEEK_MIN
        memory[cell.PLAN_LENGTH_MIN] = week.WEEK_MIN - 1
        memory[cell.FLAGS] = cell.FLAG_MAINS
        memory[cell.PROGRESS_LEFT_MS] = self.settings[setting.PROGRESS_MIN] * 60000
        for i in range(2):
            memory[cell.STORE_LOW_STUCK_LEFT_MS + i] = self.settings[setting.STUCK_MIN] * 60000
        readings[reading.NOW_MS] = self.now_ms
        readings[reading.WEEK_MIN] = WEEK_MIN
        for i in range(reading.PROBES):
            readings[reading.STORE_LOW_AT_MS + i] = self.now_ms
            readings[reading.STORE_LOW_FAULT + i] = fault.ABSENT
        for slot in range(reading.MAINS_OK, reading.SETTINGS_OK + 1):
            readings[slot] = 1
        readings[reading.RELAY_OPEN] = 1
        readings[reading.BATTERY_MV] = self.settings[setting.BATTERY_CUT_MV] + 1000
        readings[reading.FAN_RPM] = 1000
        for record, slot, value, _ in self.base_writes:
            (memory, readings)[record][slot] = value
        return memory, readings


def one_of_both(first: Dial, second: Dial) -> Dial:
    """Return a dial that turns either of two away from its first option, never both."""
    together = (*first.options, *second.options[1:])
    return Dial(f"{first.name} or {second.name}", together)


def settings(fitted: int, **changes: int) -> "array[int]":
    """Return default settings with these sensors and changes by slot name.

    Raises:
        ValueError: when the record contradicts its bounds.
    """
    made = array("i", [0] * setting.SIZE)
    setting.fill_defaults(made)
    made[setting.FITTED] = fitted
    for name, value in changes.items():
        made[getattr(setting, name)] = value
    if setting.first_fault(made) >= 0:
        raise ValueError(f"settings: slot {setting.first_fault(made)}")
    return made


def mem(slot: int, value: int) -> Write:
    """Write a free memory slot."""
    return MEMORY, slot, value, 0


def mem_or(slot: int, bits: int) -> Write:
    """Set bits of a memory slot whose other bits are kept."""
    return MEMORY, slot, bits, 1


def shown(slot: int, value: int) -> Write:
    """Write a reading."""
    return READING, slot, value, 0


def means(slot: int, value: int = 1) -> Write:
    """Tell the judges of the invariants what an input means: a slot of `abstract.env`."""
    return ENV, slot, value, 0


def seen(i: int, mc: int) -> tuple[Write, ...]:
    """Probe `i` trusted at a calibrated temperature; calibration is 0 in every slice."""
    return (
        mem(cell.STORE_LOW_GOOD + i, 3),
        mem(cell.STORE_LOW_ANCHOR_MC + i, mc),
        shown(reading.STORE_LOW_MC + i, mc),
        shown(reading.STORE_LOW_FAULT + i, fault.NONE),
        means(TRUST_ENV[i]),
        means(VALUE_ENV[i], mc),
    )


def fitting(fit: int, words: Mapping[int, str]) -> str:
    """Name the sensors of a fitting, by their bits."""
    return ", ".join(word for b, word in words.items() if fit & b) or "no sensor"


def running(now_ms: int, ms: int) -> int:
    """Return the tick of a timer with ``ms`` to go."""
    return timekeeping.ticks_add(now_ms, ms)


def wait(name: str, slot: int, left_ms: int) -> KeptSlots:
    """A timer that is asked whether it runs."""
    return KeptSlots(name, slot, fields.WAIT, 2, 0, left_ms)


def trip(name: str, slot: int, left_ms: int) -> KeptSlots:
    """A timer that is asked whether it ran out."""
    return KeptSlots(name, slot, fields.TRIP, 3, 0, left_ms)


def bit(name: str, slot: int, bits: int) -> KeptSlots:
    """One bit of a slot."""
    return KeptSlots(name, slot, fields.BIT, 2, bits)


def number(name: str, slot: int, size: int) -> KeptSlots:
    """A small number."""
    return KeptSlots(name, slot, fields.RAW, size)


def switch(name: str, off: str, on: str, *writes: Write) -> Dial:
    """A dial of two options, of which the first writes nothing."""
    return Dial(name, (Option(off), Option(on, writes)))

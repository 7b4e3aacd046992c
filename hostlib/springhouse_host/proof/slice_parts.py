"""What slices of the controller are made of: kept fields, dials of the adversary, shorthand."""

from array import array
from collections.abc import Mapping
from dataclasses import dataclass, field

from springhouse import controller, fault
from springhouse import memory as M
from springhouse import reading as R
from springhouse import setting as S
from springhouse import timekeeping as T
from springhouse import week as N
from springhouse_sim.abstract import env as V
from springhouse_sim.abstract import fields as F
from springhouse_sim.abstract.search import ENV, MEMORY, READING

NOW_MS = 1_000_000
WEEK_MIN = 100

Write = tuple[int, int, int, int]

TRUST_ENV = (
    V.LOW_TRUSTED,
    V.HIGH_TRUSTED,
    V.ROOM_TRUSTED,
    V.COIL_IN_TRUSTED,
    V.COIL_AIR_TRUSTED,
)
VALUE_ENV = (V.LOW_MC, V.HIGH_MC, V.ROOM_MC, V.COIL_IN_MC, V.COIL_AIR_MC)


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
        memory = array("i", [0] * M.SIZE)
        readings = array("i", [0] * R.SIZE)
        controller.power_up(memory)
        memory[M.BOOTED] = 1
        memory[M.PLAN] = N.PLAN_CHARGE | N.PLAN_WANTED
        memory[M.PLAN_SINCE_MIN] = WEEK_MIN
        memory[M.PLAN_LENGTH_MIN] = N.WEEK_MIN - 1
        memory[M.FLAGS] = M.FLAG_MAINS
        memory[M.PROGRESS_LEFT_MS] = self.settings[S.PROGRESS_MIN] * 60000
        for i in range(2):
            memory[M.STORE_LOW_STUCK_LEFT_MS + i] = self.settings[S.STUCK_MIN] * 60000
        readings[R.NOW_MS] = self.now_ms
        readings[R.WEEK_MIN] = WEEK_MIN
        for i in range(R.PROBES):
            readings[R.STORE_LOW_AT_MS + i] = self.now_ms
            readings[R.STORE_LOW_FAULT + i] = fault.ABSENT
        for slot in range(R.MAINS_OK, R.SETTINGS_OK + 1):
            readings[slot] = 1
        readings[R.RELAY_OPEN] = 1
        readings[R.BATTERY_MV] = self.settings[S.BATTERY_CUT_MV] + 1000
        readings[R.FAN_RPM] = 1000
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
    made = array("i", [0] * S.SIZE)
    S.fill_defaults(made)
    made[S.FITTED] = fitted
    for name, value in changes.items():
        made[getattr(S, name)] = value
    if S.first_fault(made) >= 0:
        raise ValueError(f"settings: slot {S.first_fault(made)}")
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
        mem(M.STORE_LOW_GOOD + i, 3),
        mem(M.STORE_LOW_ANCHOR_MC + i, mc),
        shown(R.STORE_LOW_MC + i, mc),
        shown(R.STORE_LOW_FAULT + i, fault.NONE),
        means(TRUST_ENV[i]),
        means(VALUE_ENV[i], mc),
    )


def fitting(fit: int, words: Mapping[int, str]) -> str:
    """Name the sensors of a fitting, by their bits."""
    return ", ".join(word for b, word in words.items() if fit & b) or "no sensor"


def running(now_ms: int, ms: int) -> int:
    """Return the tick of a timer with ``ms`` to go."""
    return T.ticks_add(now_ms, ms)


def wait(name: str, slot: int, left_ms: int) -> KeptSlots:
    """A timer that is asked whether it runs."""
    return KeptSlots(name, slot, F.WAIT, 2, 0, left_ms)


def trip(name: str, slot: int, left_ms: int) -> KeptSlots:
    """A timer that is asked whether it ran out."""
    return KeptSlots(name, slot, F.TRIP, 3, 0, left_ms)


def bit(name: str, slot: int, bits: int) -> KeptSlots:
    """One bit of a slot."""
    return KeptSlots(name, slot, F.BIT, 2, bits)


def number(name: str, slot: int, size: int) -> KeptSlots:
    """A small number."""
    return KeptSlots(name, slot, F.RAW, size)


def switch(name: str, off: str, on: str, *writes: Write) -> Dial:
    """A dial of two options, of which the first writes nothing."""
    return Dial(name, (Option(off), Option(on, writes)))

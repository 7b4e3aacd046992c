"""Kept fields of the controller's memory <-> one integer, the key of an abstract state.

A field is a row of `FIELD_WIDTH` integers: slot, kind, size, argument, left_ms. A running timer is
kept as "running" only; when a state is unpacked it gets `left_ms` to go, so what a step does with
the time left can be judged, and any running timer may fall due at any time.
"""

from typing import TypeAlias

import numpy as np
import numpy.typing as npt
from springhouse import timekeeping

from springhouse_sim.records import IntRecord

IntTable: TypeAlias = npt.NDArray[np.int64]

FIELD_WIDTH = 5
SLOT, KIND, SIZE, ARGUMENT, LEFT_MS = range(FIELD_WIDTH)

# Kinds of field.
(
    RAW,  # value - argument, 0 .. size - 1
    BIT,  # bits `argument` of the slot: any set or none
    WAIT,  # timer: not running, running
    TRIP,  # timer: idle, due, running
    LEFT,  # time left in a bank: none, some
    RING,  # start stamps: how many run
) = range(6)

START_STAMPS = 4


def left_ms(memory: IntRecord, slot: int, now: int) -> int:
    """Time until a timer falls due by wrapped ticks, -1 if it does not run."""
    if memory[slot] < 0:
        return -1
    d = memory[slot] - now
    return d + (1 << 30) if d < 0 else d


def digit(memory: IntRecord, field: npt.NDArray[np.int64], now: int) -> int:
    """The abstract value of a field, 0 .. size - 1.

    A timer armed with no time at all is due already: the next step will find it so.
    """
    slot = field[SLOT]
    kind = field[KIND]
    value = memory[slot]
    if kind == RAW:
        return int(value - field[ARGUMENT])
    if kind == BIT:
        return 1 if value & field[ARGUMENT] else 0
    if kind == WAIT:
        return 1 if value >= 0 and value != now else 0
    if kind == TRIP:
        if value == now or value == timekeeping.DUE:
            return 1
        return 2 if value >= 0 else 0
    if kind == LEFT:
        return 1 if value > 0 else 0
    running = 0
    for n in range(START_STAMPS):
        if memory[slot + n] >= 0:
            running += 1
    return running


def pack(memory: IntRecord, fields: IntTable, now: int) -> int:
    """Key of a memory; -1 if a field has left its size (which is a mistake of the slice)."""
    key = 0
    for f in range(len(fields)):
        d = digit(memory, fields[f], now)
        if d < 0 or d >= fields[f][SIZE]:
            return -1
        key = key * fields[f][SIZE] + d
    return key


def unpack(key: int, fields: IntTable, now: int, memory: IntRecord) -> None:
    """Write the kept fields of a state into a memory that holds the free ones."""
    rest = key
    for k in range(len(fields)):
        f = len(fields) - 1 - k
        size = fields[f][SIZE]
        d = rest % size
        rest = rest // size
        slot = fields[f][SLOT]
        kind = fields[f][KIND]
        at = timekeeping.ticks_add(now, fields[f][LEFT_MS])
        if kind == RAW:
            memory[slot] = d + fields[f][ARGUMENT]
        elif kind == BIT:
            memory[slot] &= ~fields[f][ARGUMENT]
            if d:
                memory[slot] |= fields[f][ARGUMENT]
        elif kind == WAIT:
            memory[slot] = at if d else timekeeping.DUE
        elif kind == TRIP:
            memory[slot] = at if d == 2 else (timekeeping.DUE if d == 1 else timekeeping.IDLE)
        elif kind == LEFT:
            memory[slot] = fields[f][LEFT_MS] if d else 0
        else:
            for n in range(START_STAMPS):
                memory[slot + n] = at if n < d else timekeeping.DUE


def fallen_due(key: int, fields: IntTable, which: int) -> int:
    """Key after the timer of field `which` fell due, -1 if it does not run."""
    weight = 1
    for k in range(len(fields) - 1 - which):
        weight *= fields[len(fields) - 1 - k][SIZE]
    d = key // weight % fields[which][SIZE]
    kind = fields[which][KIND]
    if (kind == WAIT and d == 1) or (kind == TRIP and d == 2) or (kind == RING and d > 0):
        return key - weight
    return -1


def all_fallen_due(key: int, fields: IntTable) -> int:
    """Key after every running timer has fallen due."""
    for which in range(len(fields)):
        later = fallen_due(key, fields, which)
        while later >= 0:
            key = later
            later = fallen_due(key, fields, which)
    return key

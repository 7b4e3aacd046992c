"""Advice of a plan made elsewhere: what is best for now, and for how long it holds.

It shifts charging, and where the owner allows it the hours in which the room is wanted. It lapses
by itself; unreadable, late or outside the owner's range it is not there, and the week plan goes on.
No guard, latch, wait or no-start window of the owner knows it. Nor does it wait till the store is
so warm that only a first pull-down could chill it again: there the week plan goes on.
"""

from array import array

from springhouse import memory as cell
from springhouse import near, probes, reading, setting, timekeeping

# What the owner lets a plan decide: setting ADVISED.
NOTHING, CHARGING, CHARGING_AND_ROOM = range(3)

# A piece of advice.
NONE, WAIT, CHARGE, SIZE = range(4)

LONGEST_MIN = 1440
WARM_MK = 500  # so far below the warm-fill limit no plan waits any longer
OUTSIDE_MC = 100000  # of any owner's range; keeps what a plan asks for inside 31 bits


def _taken(memory: "array[int]", readings: "array[int]") -> None:
    """A new piece of advice stands in place of the old one, or of none if it cannot be meant."""
    memory[cell.ADVICE] = NONE
    memory[cell.ADVICE_T] = timekeeping.IDLE
    advice = readings[reading.ADVICE]
    minutes = readings[reading.ADVICE_MIN]
    if advice > NONE and advice < SIZE and minutes > 0 and minutes <= LONGEST_MIN:
        memory[cell.ADVICE] = advice
        memory[cell.ADVICE_WANTED] = 1 if readings[reading.ADVICE_WANTED] else 0
        memory[cell.ADVICE_MC] = min(max(readings[reading.ADVICE_MC], -OUTSIDE_MC), OUTSIDE_MC)
        timekeeping.arm(memory, cell.ADVICE_T, readings[reading.NOW_MS], minutes * 60000)


def _fits(memory: "array[int]", settings: "array[int]", readings: "array[int]") -> bool:
    """Whether the owner lets a plan ask for this store target, or wait with a store so warm."""
    if settings[setting.ADVISED] == NOTHING:
        return False
    if memory[cell.ADVICE] == WAIT:  # the shallow target stays in force
        which = probes.store_trust(memory)
        if not which:
            return True
        mean = probes.mean_of(memory, settings, readings, which)
        warm_mc = settings[setting.WARM_FILL_MC] - WARM_MK
        return not near.store_at_least(readings, 0, which, mean, warm_mc)
    target_mc = memory[cell.ADVICE_MC]
    return settings[setting.DEEP_MC] <= target_mc and target_mc <= settings[setting.SHALLOW_MC]


def update(memory: "array[int]", settings: "array[int]", readings: "array[int]") -> None:
    """Take new advice; drop it when its time is over or the owner's range leaves it out."""
    if readings[reading.ADVICE_SEQ] != memory[cell.ADVICE_SEEN]:
        memory[cell.ADVICE_SEEN] = readings[reading.ADVICE_SEQ]
        _taken(memory, readings)
    if memory[cell.ADVICE] == NONE:
        return
    if not timekeeping.waiting(memory, cell.ADVICE_T) or not _fits(memory, settings, readings):
        memory[cell.ADVICE] = NONE
        memory[cell.ADVICE_T] = timekeeping.IDLE


def tells_room(memory: "array[int]", settings: "array[int]") -> bool:
    """Whether a plan says when the room is wanted, in place of the week plan."""
    return memory[cell.ADVICE] != NONE and settings[setting.ADVISED] == CHARGING_AND_ROOM

"""What outlives a reset: starts of the last hour, latches, counts, and the owner's stops.

`forget` makes of a memory what the next run may know of it: the age of everything is unknown then,
so each counts as having happened just now. `resume` lets its waits begin in the first step. A mode
other than off and service ends with the run.
"""

from array import array

from springhouse import events, setting, timekeeping
from springhouse import memory as cell
from springhouse import mode as modes

HOUR_MS = 3600000


def mode_left_ms(memory: "array[int]", now: int) -> int:
    """Time left of an owner's stop; 0 if none is in force."""
    mode = memory[cell.MODE]
    if mode != modes.OFF and mode != modes.SERVICE:
        return 0
    if not timekeeping.waiting(memory, cell.MODE_T):
        return memory[cell.MODE_LEFT_MS]  # no step has been made since power-up
    left = timekeeping.ticks_diff(memory[cell.MODE_T], now)
    return left if left > 0 else 0


def started(memory: "array[int]", n: int) -> bool:
    """Whether place `n` of the ring holds a start that still counts."""
    if memory[cell.BOOTED]:
        return timekeeping.waiting(memory, cell.START_1_T + n)
    return timekeeping.due(memory, cell.START_1_T + n)


def forget(memory: "array[int]", now: int) -> None:
    """Lose at tick `now` all that a reset loses: see `controller.power_up` for what is left."""
    left_ms = mode_left_ms(memory, now)
    tray = memory[cell.FLAGS] & cell.FLAG_TRAY
    for n in range(cell.START_4_T - cell.START_1_T + 1):
        memory[cell.START_1_T + n] = timekeeping.DUE if started(memory, n) else timekeeping.IDLE
    for slot in range(cell.SIZE):
        if slot >= cell.START_1_T and slot <= cell.START_4_T:
            continue
        if slot == cell.LATCH or (slot >= cell.DRY_COUNT and slot <= cell.STILL_COUNT):
            continue
        if slot == cell.MODE and left_ms:
            continue
        memory[slot] = timekeeping.IDLE if slot >= cell.TIMERS else 0
    memory[cell.MODE_LEFT_MS] = left_ms
    memory[cell.FLAGS] = tray
    memory[cell.PLAN_SINCE_MIN] = -1


def resume(memory: "array[int]", settings: "array[int]", now: int) -> None:
    """Begin the waits of all that is known from before."""
    for n in range(cell.START_4_T - cell.START_1_T + 1):
        if timekeeping.due(memory, cell.START_1_T + n):
            timekeeping.arm(memory, cell.START_1_T + n, now, HOUR_MS)
    if memory[cell.MODE_LEFT_MS]:
        timekeeping.arm(memory, cell.MODE_T, now, memory[cell.MODE_LEFT_MS])
        memory[cell.MODE_LEFT_MS] = 0
    if memory[cell.DRY_COUNT]:
        timekeeping.arm(memory, cell.DRY_DAY_T, now, events.DAY_MS)
        wait_ms = events.DRY_WAIT_MS[min(memory[cell.DRY_COUNT], 3) - 1]
        timekeeping.arm(memory, cell.DRY_WAIT_T, now, wait_ms)
    if memory[cell.TRAY_COUNT]:
        timekeeping.arm(memory, cell.TRAY_DAY_T, now, events.DAY_MS)
    if memory[cell.REST_COUNT]:
        timekeeping.arm(memory, cell.REST_DAY_T, now, events.DAY_MS)
        timekeeping.arm(memory, cell.REST_T, now, settings[setting.REST_MIN] * 60000)
    if memory[cell.STILL_COUNT]:
        timekeeping.arm(memory, cell.STILL_DAY_T, now, events.DAY_MS)
        timekeeping.arm(memory, cell.COIL_T, now, settings[setting.COIL_WAIT_S] * 1000)

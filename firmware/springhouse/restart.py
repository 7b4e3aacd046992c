"""What outlives a reset: starts of the last hour, latches, counts, and the owner's stops.

`forget` makes of a memory what the next run may know of it: the age of everything is unknown then,
so each counts as having happened just now. `resume` lets its waits begin in the first step. A mode
other than off and service ends with the run.
"""

from array import array

from springhouse import events as E
from springhouse import memory as M
from springhouse import mode as W
from springhouse import setting as S
from springhouse import timekeeping as T

HOUR_MS = 3600000


def mode_left_ms(memory: "array[int]", now: int) -> int:
    """Time left of an owner's stop; 0 if none is in force."""
    mode = memory[M.MODE]
    if mode != W.OFF and mode != W.SERVICE:
        return 0
    if not T.waiting(memory, M.MODE_T):
        return memory[M.MODE_LEFT_MS]  # no step has been made since power-up
    left = T.ticks_diff(memory[M.MODE_T], now)
    return left if left > 0 else 0


def started(memory: "array[int]", n: int) -> bool:
    """Whether place `n` of the ring holds a start that still counts."""
    if memory[M.BOOTED]:
        return T.waiting(memory, M.START_1_T + n)
    return T.due(memory, M.START_1_T + n)


def forget(memory: "array[int]", now: int) -> None:
    """Lose at tick `now` all that a reset loses: see `controller.power_up` for what is left."""
    left_ms = mode_left_ms(memory, now)
    tray = memory[M.FLAGS] & M.FLAG_TRAY
    for n in range(M.START_4_T - M.START_1_T + 1):
        memory[M.START_1_T + n] = T.DUE if started(memory, n) else T.IDLE
    for slot in range(M.SIZE):
        if slot >= M.START_1_T and slot <= M.START_4_T:
            continue
        if slot == M.LATCH or (slot >= M.DRY_COUNT and slot <= M.STILL_COUNT):
            continue
        if slot == M.MODE and left_ms:
            continue
        memory[slot] = T.IDLE if slot >= M.TIMERS else 0
    memory[M.MODE_LEFT_MS] = left_ms
    memory[M.FLAGS] = tray
    memory[M.PLAN_SINCE_MIN] = -1


def resume(memory: "array[int]", settings: "array[int]", now: int) -> None:
    """Begin the waits of all that is known from before."""
    for n in range(M.START_4_T - M.START_1_T + 1):
        if T.due(memory, M.START_1_T + n):
            T.arm(memory, M.START_1_T + n, now, HOUR_MS)
    if memory[M.MODE_LEFT_MS]:
        T.arm(memory, M.MODE_T, now, memory[M.MODE_LEFT_MS])
        memory[M.MODE_LEFT_MS] = 0
    if memory[M.DRY_COUNT]:
        T.arm(memory, M.DRY_DAY_T, now, E.DAY_MS)
        T.arm(memory, M.DRY_WAIT_T, now, E.DRY_WAIT_MS[min(memory[M.DRY_COUNT], 3) - 1])
    if memory[M.TRAY_COUNT]:
        T.arm(memory, M.TRAY_DAY_T, now, E.DAY_MS)
    if memory[M.REST_COUNT]:
        T.arm(memory, M.REST_DAY_T, now, E.DAY_MS)
        T.arm(memory, M.REST_T, now, settings[S.REST_MIN] * 60000)
    if memory[M.STILL_COUNT]:
        T.arm(memory, M.STILL_DAY_T, now, E.DAY_MS)
        T.arm(memory, M.COIL_T, now, settings[S.COIL_WAIT_S] * 1000)

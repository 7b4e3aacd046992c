"""Wrapped ticks and timers.

Ticks run 0 .. 2**30 - 1 and start again. On a 32-bit board 2**30 itself is already a big
integer, so it is never formed: every step below stays inside +-(2**30 - 1).

A timer is one memory slot: IDLE, DUE, or the tick at which it falls due. `expire` turns a passed
tick into DUE once a step, so no raw tick outlives its meaning. "Wait" timers are asked
`waiting()`, "trip" timers are asked `due()`.
"""

from array import array

from springhouse import memory as cell

HALF = 1 << 29
LAST = HALF - 1 + HALF  # 2**30 - 1
LONGEST_MS = 1 << 28  # 3.1 days: nothing is armed for longer

IDLE = -1
DUE = -2


def ticks_diff(late: int, early: int) -> int:
    """Signed ms from `early` to `late`, right for distances below 2**29 ms (6.2 days)."""
    d = late - early
    if d >= HALF:
        return d - HALF - HALF
    if d < -HALF:
        return d + HALF + HALF
    return d


def ticks_add(tick: int, ms: int) -> int:
    """The tick `ms` (0 .. 2**28) after `tick`."""
    left = LAST - tick
    if ms > left:
        return ms - left - 1
    return tick + ms


def arm(memory: "array[int]", slot: int, now: int, ms: int) -> None:
    """Start or restart a timer."""
    if ms > LONGEST_MS:
        ms = LONGEST_MS
    memory[slot] = ticks_add(now, ms)


def arm_longer(memory: "array[int]", slot: int, now: int, ms: int) -> None:
    """Start a timer, or push it back; never bring a running one forward."""
    if memory[slot] < 0 or ticks_diff(memory[slot], now) < ms:
        arm(memory, slot, now, ms)


def waiting(memory: "array[int]", slot: int) -> bool:
    """Whether the timer is still running."""
    return memory[slot] >= 0


def due(memory: "array[int]", slot: int) -> bool:
    """Whether the timer has run out and was not stopped since."""
    return memory[slot] == DUE


def hold(memory: "array[int]", slot: int, now: int, wanted: bool, ms: int) -> bool:
    """Run a timer while `wanted`, stop it otherwise; True once it ran out without a break."""
    if not wanted:
        memory[slot] = IDLE
        return False
    if memory[slot] == IDLE:
        arm(memory, slot, now, ms)
    return memory[slot] == DUE


def bank(memory: "array[int]", slot: int, left_slot: int, now: int, running: bool) -> bool:
    """Like `hold`, but a break keeps the time left in `left_slot`; True once it is used up."""
    if running:
        if memory[slot] == IDLE:
            arm(memory, slot, now, memory[left_slot])
    elif memory[slot] >= 0:
        memory[left_slot] = ticks_diff(memory[slot], now)
        memory[slot] = IDLE
    return memory[slot] == DUE


def refill(memory: "array[int]", slot: int, left_slot: int, ms: int) -> None:
    """Give a banked timer its whole time back."""
    memory[slot] = IDLE
    memory[left_slot] = ms


def expire(memory: "array[int]", now: int) -> None:
    """Mark every timer whose tick has come as DUE."""
    for slot in range(cell.TIMERS, cell.SIZE):
        at = memory[slot]
        if at >= 0 and ticks_diff(now, at) >= 0:
            memory[slot] = DUE

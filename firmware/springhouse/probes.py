"""Which probe readings to believe, and what stands in for a lost frame.

A probe is trusted after three good frames in a row and until its frames are older than AGE_MS,
or bad for BAD_MS, or it stays where it is while the heat balance says it must move. An untrusted
reading never becomes a number.
"""

from array import array

from springhouse import fitted as fitted_bits
from springhouse import memory as cell
from springhouse import near, output, reading, setting, timekeeping

LOW, HIGH, ROOM, COIL_IN, COIL_AIR = range(5)  # probe numbers, in the order of reading.py

TRUST_FRAMES = 3
AGE_MS = 10000
BAD_MS = 8000  # with a frame each 2 s: untrusted at most 10 s after the last good one
POWER_ON_MC = 85000  # the probe's register before its first conversion; in no range below

LOWEST_MC = (-5000, -5000, -10000, -10000, -10000)
HIGHEST_MC = (45000, 45000, 60000, 60000, 60000)
# Water and room air cannot move faster between two frames; the coil probes can.
# A move: one step of a 12-bit store probe, or a store that swings a little between chilling and
# delivery would be taken for a stuck probe. The others are not judged: two steps.
ANCHOR_MK = (62, 62, 125, 125, 125)
JUMP_MK = (5000, 5000, 5000, 70000, 70000)

# The bottom of a cooled store rests at 4 °C (greatest density) while the layers above go on
# cooling, and the wall rests at 0 °C while ice grows: a flat reading there proves nothing.
DENSEST_LOW_MC = 3500
DENSEST_HIGH_MC = 4500
ICE_FLAT_MC = 1500


def fitted(settings: "array[int]", i: int) -> bool:
    """Whether probe `i` is fitted (the first five bits of fitted.py are the probes)."""
    return settings[setting.FITTED] & (fitted_bits.STORE_LOW << i) != 0


def value_mc(memory: "array[int]", settings: "array[int]", readings: "array[int]", i: int) -> int:
    """Calibrated temperature; the anchor stands in for a rejected frame (at most BAD_MS)."""
    if memory[cell.VALID] & (1 << i):
        return readings[reading.STORE_LOW_MC + i] + settings[setting.STORE_LOW_OFFSET_MK + i]
    return memory[cell.STORE_LOW_ANCHOR_MC + i]


def trusted(memory: "array[int]", i: int) -> bool:
    """Whether probe `i` may be used at all."""
    if memory[cell.STORE_LOW_GOOD + i] < TRUST_FRAMES:
        return False
    return i > HIGH or not timekeeping.due(memory, cell.STORE_LOW_STUCK_T + i)


def frame_good(readings: "array[int]", i: int) -> bool:
    """Whether the latest frame passes the checks that need no history, age aside."""
    if readings[reading.STORE_LOW_FAULT + i] != 0:
        return False
    slot = reading.STORE_LOW_MC + i
    return near.inside(readings, 0, slot, readings[slot], LOWEST_MC[i], HIGHEST_MC[i])


def frame_fresh(readings: "array[int]", i: int) -> bool:
    """Whether the latest frame, good or bad, is recent: a dead driver task shows here."""
    age = timekeeping.ticks_diff(readings[reading.NOW_MS], readings[reading.STORE_LOW_AT_MS + i])
    return 0 <= age <= AGE_MS


def _forget(memory: "array[int]", i: int) -> None:
    memory[cell.STORE_LOW_GOOD + i] = 0
    memory[cell.VALID] &= ~(1 << i)
    memory[cell.STORE_LOW_BAD_T + i] = timekeeping.IDLE


def _begin(memory: "array[int]", readings: "array[int]", i: int, mc: int) -> None:
    """Count a first good frame."""
    memory[cell.STORE_LOW_GOOD + i] = 1
    memory[cell.STORE_LOW_SEEN_MS + i] = readings[reading.STORE_LOW_AT_MS + i]
    memory[cell.STORE_LOW_ANCHOR_MC + i] = mc


def _accept(memory: "array[int]", readings: "array[int]", i: int, mc: int) -> bool:
    """Count a frame that passed `frame_good`; False if it jumps away from a trusted anchor."""
    good = memory[cell.STORE_LOW_GOOD + i]
    if good == 0:
        _begin(memory, readings, i, mc)
        return True
    gone = mc - memory[cell.STORE_LOW_ANCHOR_MC + i]
    if not near.inside(readings, 0, reading.STORE_LOW_MC + i, gone, -JUMP_MK[i], JUMP_MK[i]):
        if good == TRUST_FRAMES:
            return False
        _begin(memory, readings, i, mc)
        return True
    at = readings[reading.STORE_LOW_AT_MS + i]
    if good < TRUST_FRAMES and at != memory[cell.STORE_LOW_SEEN_MS + i]:
        memory[cell.STORE_LOW_GOOD + i] = good + 1
        memory[cell.STORE_LOW_SEEN_MS + i] = at
    return True


def must_move(memory: "array[int]", settings: "array[int]", i: int, mc: int) -> bool:
    """Whether an honest store probe cannot stay where it is: chilled, and nothing delivered."""
    chilled = memory[cell.OUT] & (output.COMPRESSOR | output.PUMP) == output.COMPRESSOR
    if not chilled or not trusted(memory, i):
        return False
    if settings[setting.ICE_BANK] and mc < ICE_FLAT_MC:
        return False
    return i != LOW or not trusted(memory, HIGH) or not DENSEST_LOW_MC <= mc < DENSEST_HIGH_MC


def update(memory: "array[int]", settings: "array[int]", readings: "array[int]", i: int) -> None:
    """Judge the latest frame of probe `i` and keep its trust, anchor and timers."""
    if not fitted(settings, i) or not frame_fresh(readings, i):
        _forget(memory, i)
        return
    now = readings[reading.NOW_MS]
    mc = readings[reading.STORE_LOW_MC + i] + settings[setting.STORE_LOW_OFFSET_MK + i]
    moved = False
    if frame_good(readings, i) and _accept(memory, readings, i, mc):
        memory[cell.VALID] |= 1 << i
        memory[cell.STORE_LOW_BAD_T + i] = timekeeping.IDLE
        gone = mc - memory[cell.STORE_LOW_ANCHOR_MC + i]
        least = ANCHOR_MK[i] - 1
        moved = not near.inside(
            readings, near.ANCHOR, reading.STORE_LOW_MC + i, gone, -least, least
        )
        if moved:
            memory[cell.STORE_LOW_ANCHOR_MC + i] = mc
    else:
        memory[cell.VALID] &= ~(1 << i)
        if memory[cell.STORE_LOW_GOOD + i] < TRUST_FRAMES:
            _forget(memory, i)
        elif timekeeping.hold(memory, cell.STORE_LOW_BAD_T + i, now, True, BAD_MS):
            _forget(memory, i)
    if i <= HIGH:
        if moved or memory[cell.STORE_LOW_GOOD + i] < TRUST_FRAMES:
            full_ms = settings[setting.STUCK_MIN] * 60000
            timekeeping.refill(
                memory, cell.STORE_LOW_STUCK_T + i, cell.STORE_LOW_STUCK_LEFT_MS + i, full_ms
            )
        elif not timekeeping.due(memory, cell.STORE_LOW_STUCK_T + i):
            judged = must_move(memory, settings, i, memory[cell.STORE_LOW_ANCHOR_MC + i])
            timekeeping.bank(
                memory,
                cell.STORE_LOW_STUCK_T + i,
                cell.STORE_LOW_STUCK_LEFT_MS + i,
                now,
                judged,
            )


# What the store probes say together. Only to be asked while one of them is trusted.


def store_trust(memory: "array[int]") -> int:
    """Bits of the trusted store probes, as in fitted.py."""
    low = fitted_bits.STORE_LOW if trusted(memory, LOW) else 0
    return low | (fitted_bits.STORE_HIGH if trusted(memory, HIGH) else 0)


def mean_of(
    memory: "array[int]", settings: "array[int]", readings: "array[int]", which: int
) -> int:
    """Mean of these store probes, trusted or not; a lost one stays where it was."""
    if not which & fitted_bits.STORE_HIGH:
        return value_mc(memory, settings, readings, LOW)
    if not which & fitted_bits.STORE_LOW:
        return value_mc(memory, settings, readings, HIGH)
    low = value_mc(memory, settings, readings, LOW)
    return (low + value_mc(memory, settings, readings, HIGH)) >> 1


def coldest_mc(memory: "array[int]", settings: "array[int]", readings: "array[int]") -> int:
    """Coldest that a trusted store probe may really be: reading less error budget."""
    coldest = HIGHEST_MC[LOW]
    for i in range(ROOM):
        if trusted(memory, i):
            mc = value_mc(memory, settings, readings, i) - settings[setting.STORE_LOW_ERR_MK + i]
            coldest = min(coldest, mc)
    return coldest


def draw(memory: "array[int]") -> int:
    """Probe that tells what water the pump draws: the low one, else the high one."""
    return LOW if trusted(memory, LOW) else HIGH


def store_seen(memory: "array[int]") -> bool:
    """Whether any store probe is trusted."""
    return trusted(memory, LOW) or trusted(memory, HIGH)

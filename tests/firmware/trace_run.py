"""Runs on CPython and MicroPython alike: random steps and horizons, prints hashes of everything.

argv: origin tick, number of steps, seed, 1 to ask for the reasons too. Where the interpreter can,
the heap stays locked from the first step to the last (but for the reasons, which may allocate). The
random numbers are made here, for libraries differ between interpreters.
"""

import hashlib
import sys
from array import array

from springhouse import controller, horizon, near, reading, reason, setting, timekeeping, why
from springhouse import memory as cell

try:
    from micropython import heap_lock, heap_unlock
except ImportError:

    def heap_lock():
        pass

    def heap_unlock():
        pass


STORE = (-600, 400, 900, 1000, 1500, 3000, 3600, 4400, 4500, 6000, 6900, 9000, 85000, 21000)
ROOM = (2800, 22000, 23900, 24000, 24500, 26000, 27000, 30000, 85000)
SCAN_MS = (1000, 1000, 1000, 1000, 2000, 5000, 20000, 60000, 300000)

HEALTHY = (
    reading.MAINS_OK,
    reading.TRAY_OK,
    reading.LEVEL_OK,
    reading.FLOOR_DRY,
    reading.SETTINGS_OK,
)
MINUTES = (1, 10, 120)

_state = [1]


def pick(n):
    """A number below `n`, from a 15-bit generator that never leaves small integers."""
    x = _state[0]
    x ^= x << 7 & 0xFFFF
    x ^= x >> 9
    x ^= x << 8 & 0xFFFF
    _state[0] = x
    return x % n


def warm(r):
    """A temperature changes."""
    what = pick(12)
    if what < 5:
        mc = STORE[pick(len(STORE))]
        r[reading.STORE_LOW_MC] = r[reading.STORE_HIGH_MC] = r[reading.COIL_IN_MC] = mc
    elif what < 7:
        r[reading.STORE_LOW_MC + pick(2)] = STORE[pick(len(STORE))]
    elif what < 11:
        r[reading.ROOM_MC] = ROOM[pick(len(ROOM))]
    else:
        r[reading.COIL_AIR_MC] = ROOM[pick(len(ROOM))]


def heal(r):
    """Everything is well and the store warm."""
    for slot in HEALTHY:
        r[slot] = 1
    for i in range(reading.PROBES):
        r[reading.STORE_LOW_FAULT + i] = 0
    r[reading.STORE_LOW_MC] = r[reading.STORE_HIGH_MC] = r[reading.COIL_IN_MC] = 9000
    r[reading.COIL_AIR_MC] = 20000


def change(r, m):
    """One thing happens."""
    what = pick(24)
    if what < 12:
        warm(r)
    elif what < 14:
        r[reading.MAINS_OK + pick(5)] = pick(2)
    elif what < 15:
        r[reading.STORE_LOW_FAULT + pick(5)] = pick(3)
    elif what < 16:
        r[reading.MODE] = pick(9)
        r[reading.MODE_MIN] = MINUTES[pick(3)]
        r[reading.MODE_SEQ] += 1
    elif what < 17:
        r[reading.ACK_SEQ] += 1
    elif what < 18:
        r[reading.WEEK_MIN] = pick(10080) if pick(4) else -1
    elif what < 19:
        r[reading.BATTERY_MV] = 11000 + pick(2500)
    elif what < 23:
        heal(r)
    elif pick(8) == 0:
        controller.power_up(m)


def main(origin, steps, seed, with_reasons):
    _state[0] = seed
    settings = array("i", [0] * setting.SIZE)
    setting.fill_defaults(settings)
    settings[setting.FITTED] = 4095
    for n, value in enumerate((1, 127, 1380, 420, 3, 127, 480, 1320, 2, 31, 1000, 1200)):
        settings[setting.WINDOW_1_KIND + n] = value
    memory = array("i", [0] * cell.SIZE)
    readings = array("i", [0] * near.SIZE)
    watch = array("i", [0] * (2 * reading.SIZE))
    controller.power_up(memory)
    readings[reading.NOW_MS] = origin
    for slot in HEALTHY:
        readings[slot] = 1
    given = array("i", [0] * 2)  # outputs, horizon
    told = array("i", [0] * 4)  # two reasons with their times
    digest, of_told = hashlib.sha256(), hashlib.sha256()
    step, look = controller.step, horizon.horizon
    seen = 0
    heap_lock()
    for _ in range(steps):
        if pick(3) == 0:
            change(readings, memory)
        now = timekeeping.ticks_add(readings[reading.NOW_MS], SCAN_MS[pick(len(SCAN_MS))])
        readings[reading.NOW_MS] = now
        for i in range(reading.PROBES):
            readings[reading.STORE_LOW_AT_MS + i] = now
        if pick(20):
            readings[reading.FLOW_ML_MIN] = 1000 if memory[cell.OUT] & 2 else 0
            readings[reading.FAN_RPM] = 900 if memory[cell.OUT] & 4 else 0
        given[0] = step(memory, settings, readings)
        given[1] = look(memory, settings, readings, watch)
        if with_reasons:
            heap_unlock()
            told[0], told[1] = reason.store_reason(memory, settings, readings)
            told[2], told[3] = reason.room_reason(memory, settings, readings)
            assert why.text(told[0], told[1])
            assert why.text(told[2], told[3])
            heap_lock()
            of_told.update(told)
        digest.update(memory)
        digest.update(watch)
        digest.update(given)
        seen |= 1 << memory[cell.STORE_STATE] | 32 << memory[cell.ROOM_STATE]
    heap_unlock()
    reasons = of_told.digest().hex() if with_reasons else ""
    print(digest.digest().hex(), seen, readings[reading.NOW_MS] < origin, reasons)


main(int(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]), int(sys.argv[4]))

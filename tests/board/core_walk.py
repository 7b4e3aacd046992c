"""A random walk of the control core with the heap locked: same text on three interpreters.

Prints a checksum of memory and outputs each CHUNK steps. Readings wander in ranges where
states change often; the scan is mostly 1 s, sometimes minutes, so that long waits run out too.
"""

from array import array

from springhouse import controller, mode, reading, setting, timekeeping, week
from springhouse import memory as cell

try:
    from micropython import heap_lock, heap_unlock
except ImportError:  # CPython has no such lock

    def heap_lock() -> None:
        pass

    def heap_unlock() -> None:
        pass


CHUNK = 1000
FITS = (0xFFF, 0x025, 0xFDF, 0x7FF, 0x02F, 0x12D, 0xEFB, 0x063, 0x92B, 0xFFF)

LOWEST = (-500, -500, 20000, 1000, 12000)
HIGHEST = (14000, 14000, 30000, 15000, 30000)

seed = array("i", [1])


def draw(n: int) -> int:
    """A number below `n` (at most 4000): a small congruential generator inside 31 bits."""
    seed[0] = (seed[0] * 421 + 54773) % 259200
    return seed[0] * n // 259200


def toggle(readings: "array[int]", slot: int, rarity: int) -> None:
    if draw(rarity) == 0:
        readings[slot] = 1 - readings[slot]


def wander(readings: "array[int]", i: int) -> None:
    """One more frame of probe `i`, or none."""
    if draw(400) == 0:
        readings[reading.STORE_LOW_FAULT + i] = draw(7)
    elif draw(20) == 0:
        readings[reading.STORE_LOW_FAULT + i] = 0
    if draw(3):
        mc = readings[reading.STORE_LOW_MC + i] + (draw(301) - 150)
        if draw(2000) == 0:
            mc += draw(2) * 12000 - 6000
        if draw(3000) == 0:
            mc = 85000
        if not LOWEST[i] <= mc <= HIGHEST[i] and mc != 85000:
            mc = (LOWEST[i] + HIGHEST[i]) // 2
        readings[reading.STORE_LOW_MC + i] = mc
        readings[reading.STORE_LOW_AT_MS + i] = readings[reading.NOW_MS]


def next_readings(readings: "array[int]") -> None:
    """Readings of the next scan."""
    ms = 1000
    if draw(12) == 0:
        ms = draw(200) * 50
    if draw(300) == 0:
        ms = draw(3000) * 400
    readings[reading.NOW_MS] = timekeeping.ticks_add(readings[reading.NOW_MS], ms)
    if draw(60) == 0:
        readings[reading.WEEK_MIN] = (readings[reading.WEEK_MIN] + 1 + draw(30)) % week.WEEK_MIN
    if draw(4000) == 0:
        readings[reading.WEEK_MIN] = -1
    for i in range(reading.PROBES):
        wander(readings, i)
    readings[reading.FLOW_ML_MIN] = draw(1500) if draw(6) else 0
    readings[reading.FAN_RPM] = draw(2000) if draw(10) else 0
    readings[reading.BATTERY_MV] = 11400 + draw(2000)
    toggle(readings, reading.MAINS_OK, 900)
    toggle(readings, reading.TRAY_OK, 900)
    toggle(readings, reading.LEVEL_OK, 2500)
    toggle(readings, reading.FLOOR_DRY, 2500)
    toggle(readings, reading.SETTINGS_OK, 3500)
    if draw(50) == 0:
        readings[reading.MAINS_OK] = readings[reading.TRAY_OK] = readings[reading.LEVEL_OK] = 1
        readings[reading.FLOOR_DRY] = readings[reading.SETTINGS_OK] = 1
    if draw(400) == 0:
        readings[reading.ACK_SEQ] = (readings[reading.ACK_SEQ] + 1) & 0xFFFF
    if draw(1200) == 0:
        readings[reading.MODE] = draw(mode.SIZE + 2) - 1
        readings[reading.MODE_MIN] = draw(200)
        readings[reading.MODE_SEQ] = (readings[reading.MODE_SEQ] + 1) & 0xFFFF


def settle(settings: "array[int]", k: int) -> None:
    """Settings of chapter `k`: other sensors and windows, an ice bank or a brine now and then."""
    setting.fill_defaults(settings)
    settings[setting.FITTED] = FITS[k % len(FITS)]
    settings[setting.ICE_BANK] = 1 if k % 4 == 3 else 0
    settings[setting.ICE_RUN_MIN] = 60
    settings[setting.BRINE] = 1 if k % 5 == 4 else 0
    settings[setting.MIN_OFF_S] = 300
    settings[setting.FULL_BY_MIN] = 420 if k % 3 == 1 else -1
    for w in range(k % 5):
        base = setting.WINDOW_1_KIND + w * setting.WINDOW_STRIDE
        settings[base] = 1 + w % 3
        settings[base + 1] = 127 >> w
        settings[base + 2] = 1380 - 100 * w
        settings[base + 3] = 420 + 60 * w


def add(total: int, record: "array[int]", size: int) -> int:
    """The checksum with a record in it."""
    for slot in range(size):
        total = (total * 31 + (record[slot] & 0x3FFFFF)) & 0x3FFFFF
    return total


def begin(start_tick: int, readings: "array[int]") -> None:
    """Readings of a board that is switched on at a tick."""
    readings[reading.NOW_MS] = start_tick
    for i in range(reading.PROBES):
        readings[reading.STORE_LOW_MC + i] = (LOWEST[i] + HIGHEST[i]) // 2
        readings[reading.STORE_LOW_AT_MS + i] = start_tick


def walk(start_tick: int, chunks: int, chapter: int, say) -> None:
    """Take `chunks` x CHUNK steps; `say` gets each line.

    Each `chapter` chunks a fresh board is switched on at `start_tick`. The line says number of the
    chunk, checksum, steps with an output on, times that the ticks wrapped.
    """
    memory = array("i", [0] * cell.SIZE)
    settings = array("i", [0] * setting.SIZE)
    readings = array("i", [0] * reading.SIZE)
    seed[0] = 1
    total = 1
    for n in range(chunks):
        if n % chapter == 0:
            settle(settings, n // chapter)
            begin(start_tick, readings)
            controller.power_up(memory)
        on = 0
        wraps = 0
        heap_lock()
        for _ in range(CHUNK):
            before = readings[reading.NOW_MS]
            next_readings(readings)
            if readings[reading.NOW_MS] < before:
                wraps += 1
            out = controller.step(memory, settings, readings)
            total = (total * 31 + out) & 0x3FFFFF
            total = add(total, memory, cell.SIZE)
            if out:
                on += 1
        heap_unlock()
        say(f"{n} {total} {on} {wraps}")

"""A random adversary: drives the controller with inputs no plant would give, under the observer.

Episodes of random settings within bounds; temperatures follow the outputs roughly, everything
else comes and goes as the dice fall. Plain functions over flat arrays: they compile with the
rest. The dice are a 31-bit linear congruential generator, so every run repeats exactly.
"""

from springhouse import controller, fitted, mode, output, reading, restart, setting, timekeeping
from springhouse import memory as cell

from springhouse_sim.records import IntRecord
from springhouse_sim.watch import observe

# Slots of the adversary's own record (int64).
(
    DICE,
    LOW_MC,
    HIGH_MC,
    ROOM_MC,
    COIL_AIR_DROP_MK,  # air at the coil colder than the room by so much
    PULL_MK,  # most a second of chilling lowers the store
    WARM_MK,  # most a second of rest warms it
    CALM,  # faults come so many times more rarely
    FRAMES,  # 0 = the store probes' driver is dead
    FLOWING,  # 0 = the pump turns without flow, and at times the sensor counts crosstalk
    GONE_MS,  # since the episode began: what comes by time must not depend on the tick origin
    HASH,
    SIZE,
) = range(13)

WELDED_FROM_MS, AGAIN_MS = 10800000, 14400000  # in each four hours the relay sticks for one

STATES_SEEN = 13  # 5 store states, then 8 room states


def first_throw(seed: int) -> int:
    """The dice for episode `seed`."""
    return (seed * 7919 + 1) & 0x7FFFFFFF


def throw(own: IntRecord, n: int) -> int:
    """A number in 0 .. n - 1."""
    own[DICE] = (own[DICE] * 1103515245 + 12345) & 0x7FFFFFFF
    return (own[DICE] >> 8) % n


def happens(own: IntRecord, n: int) -> bool:
    """Once in `n` throws, more rarely in a calm episode."""
    return throw(own, n * own[CALM]) == 0


def between(own: IntRecord, low: int, high: int) -> int:
    """A number in low .. high."""
    return low + throw(own, high - low + 1)


def draw_settings(own: IntRecord, settings: IntRecord) -> None:
    """Random settings: bounds of every slot, contradictions repaired, short waits preferred."""
    for slot in range(setting.SIZE):
        b = setting.row(slot)
        low = b[1]
        high = b[2]
        if slot == setting.FLOW_MOST_ML_MIN or slot == setting.CHILLS_MK or slot == setting.ADVISED:
            continue
        if slot == setting.FITTED:
            high = fitted.RELAY - 1
        if slot >= setting.MIN_OFF_S and slot <= setting.TRAY_RETURN_S and throw(own, 3):
            high = low + (high - low) // 8
        settings[slot] = between(own, low, high)
    settings[setting.FLOW_MOST_ML_MIN] = 2 * settings[setting.FLOW_LEAST_ML_MIN] + 800
    settings[setting.ADVISED] = settings[setting.FLOW_LEAST_ML_MIN] % 3
    settings[setting.CHILLS_MK] = 150 + settings[setting.FLOW_LEAST_ML_MIN] % 300
    if settings[setting.FLOW_LEAST_ML_MIN] % 2:
        settings[setting.FITTED] |= fitted.RELAY
    settings[setting.FITTED] |= fitted.ROOM | (
        fitted.STORE_LOW if throw(own, 2) else fitted.STORE_HIGH
    )
    if throw(own, 2):
        settings[setting.FITTED] = 8191
    for slot in range(setting.STORE_LOW_OFFSET_MK, setting.COIL_AIR_OFFSET_MK + 1):
        settings[slot] = settings[slot] // 10
    for slot in range(setting.STORE_LOW_ERR_MK, setting.COIL_AIR_ERR_MK + 1):
        settings[slot] = between(own, 50, 800)
    settings[setting.DEEP_MC] = between(own, 500, 6000)
    settings[setting.SHALLOW_MC] = settings[setting.DEEP_MC] + throw(own, 4000)
    settings[setting.FREEZE_MC] = throw(own, 2000)
    settings[setting.ICE_BANK] = 1 if throw(own, 4) == 0 else 0
    settings[setting.ROOM_LIMIT_MC] = settings[setting.ROOM_TARGET_MC] + between(own, 500, 4000)
    settings[setting.USEFUL_MK] = between(own, 3000, 12000)
    settings[setting.USEFUL_BAND_MK] = between(own, 200, 2500)
    settings[setting.FAN_QUIET_PM] = between(own, 100, settings[setting.FAN_FULL_PM])
    settings[setting.WARM_FILL_MC] = between(own, 12000, 30000)
    settings[setting.BATTERY_CUT_MV] = 12000
    for w in range(setting.WINDOWS):
        if throw(own, 3):
            settings[setting.WINDOW_1_KIND + w * setting.WINDOW_STRIDE] = 0
    if throw(own, 2):
        settings[setting.STUCK_MIN] = 720


def begin(own: IntRecord, settings: IntRecord, readings: IntRecord) -> None:
    """Healthy readings to start an episode from."""
    for slot in range(reading.WEEK_MIN, reading.SIZE):
        readings[slot] = 0
    for slot in range(reading.MAINS_OK, reading.SETTINGS_OK + 1):
        readings[slot] = 1
    readings[reading.RELAY_OPEN] = 1
    readings[reading.WEEK_MIN] = throw(own, 10080)
    readings[reading.BATTERY_MV] = between(own, 11800, 12600)
    readings[reading.FAN_RPM] = 1000
    own[LOW_MC] = between(own, 2000, 14000)
    own[HIGH_MC] = own[LOW_MC] + between(own, -1500, 1500)
    own[ROOM_MC] = settings[setting.ROOM_TARGET_MC] + between(own, -1000, 4000)
    own[COIL_AIR_DROP_MK] = 0
    own[PULL_MK] = throw(own, 4) * 5
    own[WARM_MK] = throw(own, 3) * 3
    own[CALM] = 1 if throw(own, 2) else 40
    own[FRAMES] = 1
    own[FLOWING] = 1


def _temperatures(own: IntRecord, readings: IntRecord, out: int) -> None:
    """A rough plant: chilling lowers the store, delivery warms it and cools the room."""
    move = throw(own, 3) - 1
    if out & output.COMPRESSOR or own[GONE_MS] % AGAIN_MS >= WELDED_FROM_MS:
        move -= throw(own, own[PULL_MK] + 1)
    else:
        move += throw(own, own[WARM_MK] + 1)
    if out & output.PUMP:
        move += throw(own, 3)
        own[ROOM_MC] -= throw(own, 3)
    else:
        own[ROOM_MC] += throw(own, 2)
    own[LOW_MC] += move
    own[HIGH_MC] += move + throw(own, 3) - 1
    if happens(own, 4000):
        own[HIGH_MC] += between(own, -4000, 4000)
    if happens(own, 4000):
        own[ROOM_MC] += between(own, -3000, 3000)
    if happens(own, 3000):
        own[COIL_AIR_DROP_MK] = between(own, 0, 30000) if throw(own, 2) else 0
    own[LOW_MC] = min(max(own[LOW_MC], -800), 26000)
    own[HIGH_MC] = min(max(own[HIGH_MC], -800), 26000)
    own[ROOM_MC] = min(max(own[ROOM_MC], 500), 36000)
    readings[reading.STORE_LOW_MC] = own[LOW_MC]
    readings[reading.STORE_HIGH_MC] = own[HIGH_MC]
    readings[reading.ROOM_MC] = own[ROOM_MC]
    readings[reading.COIL_IN_MC] = own[LOW_MC] if out & output.PUMP else own[ROOM_MC]
    readings[reading.COIL_AIR_MC] = own[ROOM_MC] - own[COIL_AIR_DROP_MK]


def _frames(own: IntRecord, readings: IntRecord) -> None:
    """Probe frames: mostly good and on time, at times late, faulty, or plainly wrong."""
    now = readings[reading.NOW_MS]
    if happens(own, 3000):
        own[FRAMES] = 1 - own[FRAMES] if throw(own, 3) == 0 else 1
    for i in range(reading.PROBES):
        if own[FRAMES] or i > 1:
            readings[reading.STORE_LOW_AT_MS + i] = now
        if readings[reading.STORE_LOW_FAULT + i]:
            if throw(own, 15) == 0:
                readings[reading.STORE_LOW_FAULT + i] = 0
        elif happens(own, 4000):
            readings[reading.STORE_LOW_FAULT + i] = 1 + throw(own, 6)
        if happens(own, 6000):
            readings[reading.STORE_LOW_MC + i] = (
                85000 if throw(own, 2) else between(own, -20000, 90000)
            )


def _switch(own: IntRecord, readings: IntRecord, slot: int, fail: int, mend: int) -> None:
    """A two-valued input that fails once in `fail` scans and mends once in `mend`."""
    if readings[slot]:
        if happens(own, fail):
            readings[slot] = 0
    elif throw(own, mend) == 0:
        readings[slot] = 1


def _inputs(own: IntRecord, settings: IntRecord, readings: IntRecord, out: int) -> None:
    """Floats, mains, flow, battery, clock, owner."""
    _switch(own, readings, reading.MAINS_OK, 5000, 200)
    _switch(own, readings, reading.TRAY_OK, 5000, 100)
    _switch(own, readings, reading.LEVEL_OK, 9000, 100)
    _switch(own, readings, reading.FLOOR_DRY, 15000, 100)
    _switch(own, readings, reading.SETTINGS_OK, 15000, 30)
    least = settings[setting.FLOW_LEAST_ML_MIN]
    if throw(own, 2000) == 0:
        own[FLOWING] = 1 if throw(own, 4) else 0
    if throw(own, 2) == 0:
        flowing = out & output.PUMP and own[FLOWING] and throw(own, 300)
        ghost = not out & output.PUMP and throw(own, 100) == 0
        readings[reading.FLOW_ML_MIN] = least + throw(own, 800) if flowing or ghost else 0
    gone = own[GONE_MS]
    if out & output.PUMP and not own[FLOWING] and gone >> 17 & 1:  # crosstalk for two minutes
        readings[reading.FLOW_ML_MIN] = settings[setting.FLOW_MOST_ML_MIN] + 1 + gone % 90000
    welded = gone >> 19 & 15 == 9  # for nine minutes
    readings[reading.RELAY_OPEN] = 0 if welded or out & output.COMPRESSOR else 1
    if happens(own, 1000):
        readings[reading.FAN_RPM] = throw(own, 2) * 1000
    if throw(own, 20) == 0:
        readings[reading.BATTERY_MV] += between(own, -60, 60)
        readings[reading.BATTERY_MV] = min(max(readings[reading.BATTERY_MV], 11600), 13400)
    if throw(own, 60) == 0 and readings[reading.WEEK_MIN] >= 0:
        readings[reading.WEEK_MIN] = (readings[reading.WEEK_MIN] + 1) % 10080
    if happens(own, 9000):
        readings[reading.WEEK_MIN] = throw(own, 10081) - 1
    if happens(own, 1200):
        readings[reading.ACK_SEQ] += 1
    if happens(own, 2500):
        readings[reading.MODE] = throw(own, mode.SIZE + 1)
        readings[reading.MODE_MIN] = throw(own, 40)
        readings[reading.MODE_SEQ] += 1
    if happens(own, 12000):
        readings[reading.DROP_SEQ] += 1
    if happens(own, 600):
        _advise(own, settings, readings)


def _advise(own: IntRecord, settings: IntRecord, readings: IntRecord) -> None:
    """A plan made by a fool: any advice, target and time, most of it such as can be meant."""
    readings[reading.ADVICE] = throw(own, 6) - 1
    readings[reading.ADVICE_WANTED] = throw(own, 2)
    low = settings[setting.DEEP_MC] - 300
    readings[reading.ADVICE_MC] = between(own, low, max(low, settings[setting.SHALLOW_MC]) + 300)
    readings[reading.ADVICE_MIN] = throw(own, 50) if throw(own, 5) else between(own, -5, 3000)
    readings[reading.ADVICE_SEQ] += 1


def episode(
    own: IntRecord,
    memory: IntRecord,
    settings: IntRecord,
    readings: IntRecord,
    shadow: IntRecord,
    steps: int,
    origin_ms: int,
    cases: IntRecord,
    violations: IntRecord,
    seen: IntRecord,
) -> int:
    """One life of a controller. Returns the scan of the first violation, -1 if none.

    `seen` counts scans per state (5 store states, then 8 room states); `own[HASH]` folds the
    outputs of every scan.
    """
    draw_settings(own, settings)
    while setting.first_fault(settings) >= 0:
        draw_settings(own, settings)
    begin(own, settings, readings)
    controller.power_up(memory)
    observe.clear(shadow)
    readings[reading.NOW_MS] = origin_ms
    first = -1
    for k in range(steps):
        readings[reading.NOW_MS] = timekeeping.ticks_add(readings[reading.NOW_MS], 1000)
        own[GONE_MS] += 1000
        out = memory[cell.OUT]
        _temperatures(own, readings, out)
        _frames(own, readings)
        _inputs(own, settings, readings, out)
        if happens(own, 8000):
            restart.forget(memory, readings[reading.NOW_MS])
            observe.reboot(shadow)
        out = controller.step(memory, settings, readings)
        broken = 0
        for n in range(observe.COUNTS):
            broken -= violations[n]
        observe.observe(shadow, memory, settings, readings, out, cases, violations)
        for n in range(observe.COUNTS):
            broken += violations[n]
        if broken and first < 0:
            first = k
        seen[memory[cell.STORE_STATE]] += 1
        seen[5 + memory[cell.ROOM_STATE]] += 1
        own[HASH] = (own[HASH] * 31 + out) & 0x7FFFFFFF
    return first

"""Readings + settings + memory -> the three condition words. Every threshold lives here.

Nothing here writes but `update_flags`, which keeps the conditions that have a hysteresis of
their own. Readings are compared through `near.py` alone.
"""

from array import array

from springhouse import (
    advice,
    condition,
    fitted,
    latch,
    near,
    output,
    probes,
    reading,
    setting,
    statechart,
    timekeeping,
    vouching,
    week,
)
from springhouse import memory as cell
from springhouse import mode as modes

HOT_BAND_MK = 300  # a room over its limit counts as such until so far below it
WATER_ICE_MC = 0  # plain water: pump barred if water-in plus error is below ...
WATER_AIR_MC = 3000  # ... or air at the coil less error is below
COIL_CLEAR_MK = 300  # and free again so far above
COOL_NOW_BAND_MK = 200  # three steps of a probe: its dither alone starts nothing
SPENT_MK = 1000  # delivery ends so far below the warm-fill limit


def has(settings: "array[int]", bit: int) -> bool:
    """Whether a sensor is fitted."""
    return settings[setting.FITTED] & bit != 0


def flag(memory: "array[int]", bit: int) -> bool:
    """Whether a hysteresis or edge flag is set."""
    return memory[cell.FLAGS] & bit != 0


def put_flag(memory: "array[int]", bit: int, on: bool) -> None:
    """Set or clear a flag."""
    if on:
        memory[cell.FLAGS] |= bit
    else:
        memory[cell.FLAGS] &= ~bit


def mains_good(settings: "array[int]", readings: "array[int]") -> bool:
    """Mains present as far as the board can tell; without a sensor a running board has mains."""
    return not has(settings, fitted.MAINS) or readings[reading.MAINS_OK] != 0


def power_good(memory: "array[int]", settings: "array[int]", readings: "array[int]") -> bool:
    """Whether pump and fans have a supply: mains, or a battery above its cut-off."""
    if has(settings, fitted.BATTERY):
        return not flag(memory, cell.FLAG_BATTERY_LOW)
    return mains_good(settings, readings)


# Thresholds in force.


def tariff_waived(memory: "array[int]", settings: "array[int]") -> bool:
    """Whether charging may ignore the tariff: owner's wish, or the room is over its limit."""
    if memory[cell.MODE] == modes.CHARGE_NOW or memory[cell.MODE] == modes.FIRST_PULL_DOWN:
        return True
    return settings[setting.TARIFF_OVERRIDE] != 0 and flag(memory, cell.FLAG_HOT)


def store_target_mc(memory: "array[int]", settings: "array[int]") -> int:
    """Store temperature to charge down to now."""
    if tariff_waived(memory, settings):
        return settings[setting.DEEP_MC]
    if memory[cell.ADVICE] == advice.CHARGE:
        return memory[cell.ADVICE_MC]
    if memory[cell.ADVICE] == advice.WAIT:
        return settings[setting.SHALLOW_MC]
    both = week.PLAN_CHARGE | week.PLAN_LEAD
    if memory[cell.PLAN] & both == both:
        return settings[setting.DEEP_MC]
    return settings[setting.SHALLOW_MC]


def store_start_mc(memory: "array[int]", settings: "array[int]") -> int:
    """Store temperature from which charging starts now."""
    band = settings[setting.BAND_MK]
    if memory[cell.MODE] == modes.CHARGE_NOW or memory[cell.MODE] == modes.FIRST_PULL_DOWN:
        band >>= 2
    return store_target_mc(memory, settings) + band


def room_start_mc(memory: "array[int]", settings: "array[int]") -> int:
    """Room temperature from which delivery starts."""
    band = settings[setting.ROOM_BAND_MK]
    if memory[cell.MODE] == modes.COOL_NOW and band > COOL_NOW_BAND_MK:
        band = COOL_NOW_BAND_MK
    return settings[setting.ROOM_TARGET_MC] + band


def useful_mk(memory: "array[int]", settings: "array[int]") -> int:
    """How much colder than the room the drawn water must be."""
    if memory[cell.ROOM_STATE] == statechart.DISCHARGE:
        return settings[setting.USEFUL_MK] - settings[setting.USEFUL_BAND_MK]
    return settings[setting.USEFUL_MK]


def store_above(
    memory: "array[int]", settings: "array[int]", readings: "array[int]", why: int, mc: int
) -> bool:
    """Whether the mean of the trusted store probes, one at least, is at or above `mc`."""
    which = probes.store_trust(memory)
    mean = probes.mean_of(memory, settings, readings, which)
    return near.store_at_least(readings, why, which, mean, mc)


def too_warm(memory: "array[int]", settings: "array[int]", readings: "array[int]") -> bool:
    """Whether only a first pull-down may start with so warm a store."""
    mc = settings[setting.WARM_FILL_MC]
    return store_above(memory, settings, readings, condition.BAR_START, mc)


def spent(memory: "array[int]", settings: "array[int]", readings: "array[int]") -> bool:
    """Whether the store is spent: any warmer, and only a first pull-down could chill it again."""
    mc = settings[setting.WARM_FILL_MC] - SPENT_MK
    if memory[cell.ROOM_STATE] != statechart.DISCHARGE:
        mc -= SPENT_MK
    return store_above(memory, settings, readings, condition.USEFUL * near.ROOM, mc)


def full_fan_mc(memory: "array[int]", settings: "array[int]") -> int:
    """Room temperature from which the fans run at full speed."""
    if memory[cell.OUT] & output.FAN_FULL:
        return settings[setting.ROOM_TARGET_MC] + (settings[setting.FAN_BOOST_MK] >> 1)
    return settings[setting.ROOM_TARGET_MC] + settings[setting.FAN_BOOST_MK]


def coil_air_probe(memory: "array[int]") -> int:
    """Probe that stands for the air at the coil, -1 if none is trusted."""
    if probes.trusted(memory, probes.COIL_AIR):
        return probes.COIL_AIR
    return probes.ROOM if probes.trusted(memory, probes.ROOM) else -1


def coil_water_probe(memory: "array[int]") -> int:
    """Probe that stands for the water entering the coil, -1 if none is trusted."""
    if memory[cell.OUT] & output.PUMP and probes.trusted(memory, probes.COIL_IN):
        return probes.COIL_IN
    if probes.trusted(memory, probes.LOW):
        return probes.LOW
    return probes.HIGH if probes.trusted(memory, probes.HIGH) else -1


def coil_water_limit_mc(memory: "array[int]", settings: "array[int]", i: int) -> int:
    """Reading of probe `i` below which the water threatens to freeze in the coil.

    Plain water near 0 °C into a warm room is the normal way to melt ice, so its error counts
    towards running; a brine has a limit of its own and its error counts against.
    """
    clear = COIL_CLEAR_MK if flag(memory, cell.FLAG_COIL) else 0
    if settings[setting.BRINE]:
        return settings[setting.BRINE_LIMIT_MC] + settings[setting.STORE_LOW_ERR_MK + i] + clear
    return WATER_ICE_MC - settings[setting.STORE_LOW_ERR_MK + i] + clear


def coil_unseen(memory: "array[int]", settings: "array[int]") -> bool:
    """Whether nothing trusted tells that the coil is safe; of plain water or air one is enough."""
    if coil_water_probe(memory) >= 0:
        return False
    return settings[setting.BRINE] != 0 or coil_air_probe(memory) < 0


def coil_cold(memory: "array[int]", settings: "array[int]", readings: "array[int]") -> bool:
    """Whether water in the coil threatens to freeze."""
    i = coil_water_probe(memory)
    if i >= 0:
        limit_mc = coil_water_limit_mc(memory, settings, i)
        water_mc = probes.value_mc(memory, settings, readings, i)
        if not near.at_least(readings, 0, reading.STORE_LOW_MC + i, water_mc, limit_mc):
            return True
    i = coil_air_probe(memory)
    if settings[setting.BRINE] or i < 0:
        return False
    air_mc = probes.value_mc(memory, settings, readings, i) - settings[setting.STORE_LOW_ERR_MK + i]
    limit_mc = WATER_AIR_MC + (COIL_CLEAR_MK if flag(memory, cell.FLAG_COIL) else 0)
    return not near.at_least(readings, 0, reading.STORE_LOW_MC + i, air_mc, limit_mc)


def inlet_follows(memory: "array[int]", settings: "array[int]", readings: "array[int]") -> bool:
    """Whether the coil inlet is as cold as the store: stands in for a flow sensor."""
    if not probes.trusted(memory, probes.COIL_IN) or not probes.store_seen(memory):
        return False
    i = probes.draw(memory)
    gap = probes.value_mc(memory, settings, readings, probes.COIL_IN)
    gap -= probes.value_mc(memory, settings, readings, i)
    most = settings[setting.FOLLOW_MK]
    return near.apart_within(readings, 0, reading.COIL_IN_MC, reading.STORE_LOW_MC + i, gap, most)


def flow_shown(settings: "array[int]", readings: "array[int]") -> bool:
    """Whether the flow sensor shows what the pump can deliver; more is no evidence of flow."""
    least = settings[setting.FLOW_LEAST_ML_MIN]
    most = settings[setting.FLOW_MOST_ML_MIN]
    return near.inside(readings, 0, reading.FLOW_ML_MIN, readings[reading.FLOW_ML_MIN], least, most)


def spells_only(settings: "array[int]") -> bool:
    """Whether nothing fitted can show flow, so that the pump may run in bounded spells only."""
    return not has(settings, fitted.FLOW) and not has(settings, fitted.COIL_IN)


def update_flags(memory: "array[int]", settings: "array[int]", readings: "array[int]") -> None:
    """Keep the conditions that have a hysteresis of their own."""
    vouching.update(memory, settings, readings)
    if probes.store_seen(memory):
        above = settings[setting.FREEZE_CLEAR_MK] if flag(memory, cell.FLAG_FREEZE) else 1
        put_flag(memory, cell.FLAG_FREEZE, vouching.freezing(memory, settings, readings, above))
    hot = False
    if probes.trusted(memory, probes.ROOM) and wanted(memory, settings):
        limit = settings[setting.ROOM_LIMIT_MC]
        if flag(memory, cell.FLAG_HOT):
            limit -= HOT_BAND_MK
        room = probes.value_mc(memory, settings, readings, probes.ROOM)
        hot = near.at_least(readings, 0, reading.ROOM_MC, room, limit)
    put_flag(memory, cell.FLAG_HOT, hot)
    low = False
    on_mains = has(settings, fitted.MAINS) and readings[reading.MAINS_OK] != 0
    if has(settings, fitted.BATTERY) and not on_mains:
        limit = settings[setting.BATTERY_CUT_MV]
        if flag(memory, cell.FLAG_BATTERY_LOW):
            limit += settings[setting.BATTERY_REARM_MV] + 1
        low = not near.at_least(
            readings, 0, reading.BATTERY_MV, readings[reading.BATTERY_MV], limit
        )
    put_flag(memory, cell.FLAG_BATTERY_LOW, low)


def wanted(memory: "array[int]", settings: "array[int]") -> bool:
    """Whether the room is to be cooled now."""
    if memory[cell.MODE] == modes.COOL_NOW:
        return True
    if advice.tells_room(memory, settings):
        return memory[cell.ADVICE_WANTED] != 0
    return memory[cell.PLAN] & week.PLAN_WANTED != 0


# The words.


def starts_left(memory: "array[int]", settings: "array[int]") -> bool:
    """Whether another start fits into the hour."""
    for n in range(settings[setting.STARTS_PER_HOUR]):
        if not timekeeping.waiting(memory, cell.START_1_T + n):
            return True
    return False


def useful(
    memory: "array[int]", settings: "array[int]", readings: "array[int]", room_mc: int
) -> bool:
    """Whether the store is seen, not spent, and the drawn water so much colder than the room."""
    if not probes.store_seen(memory) or spent(memory, settings, readings):
        return False
    why = condition.USEFUL * near.ROOM
    i = probes.draw(memory)
    gap = room_mc - probes.value_mc(memory, settings, readings, i)
    least = useful_mk(memory, settings)
    return near.apart_at_least(readings, why, reading.ROOM_MC, reading.STORE_LOW_MC + i, gap, least)


def store_word(memory: "array[int]", settings: "array[int]", readings: "array[int]") -> int:
    """Condition word of the store side."""
    word = 0
    mode = memory[cell.MODE]
    if probes.store_seen(memory):
        word |= condition.STORE_SEEN
        start = store_start_mc(memory, settings)
        target = store_target_mc(memory, settings)
        if store_above(memory, settings, readings, condition.STORE_WARM, start):
            word |= condition.STORE_WARM
        if not store_above(memory, settings, readings, condition.STORE_FULL, target + 1):
            word |= condition.STORE_FULL
    if timekeeping.due(memory, cell.ICE_T):
        word |= condition.STORE_FULL
    if flag(memory, cell.FLAG_FREEZE):
        word |= condition.FREEZE
    if not timekeeping.waiting(memory, cell.OFF_T) and starts_left(memory, settings):
        word |= condition.MAY_START
    if timekeeping.waiting(memory, cell.ON_T) and not timekeeping.due(memory, cell.ICE_T):
        word |= condition.MUST_RUN
    if mains_good(settings, readings):
        word |= condition.MAINS
    if memory[cell.LATCH] & latch.STORE:
        word |= condition.STORE_LOCK
    if mode == modes.OFF or mode == modes.SERVICE or timekeeping.waiting(memory, cell.REST_T):
        word |= condition.BAR_RUN
    if memory[cell.OUT] & output.COMPRESSOR:
        word |= condition.RUNNING
    if mode == modes.QUIET or mode == modes.PURGE:
        word |= condition.BAR_START
    later = memory[cell.PLAN] & week.PLAN_NO_START != 0 or memory[cell.ADVICE] == advice.WAIT
    if later and not tariff_waived(memory, settings):
        word |= condition.BAR_START
    free = word & (condition.STORE_SEEN | condition.BAR_START) == condition.STORE_SEEN
    if free and mode != modes.FIRST_PULL_DOWN:
        if too_warm(memory, settings, readings):
            word |= condition.BAR_START
    return word


def room_word(memory: "array[int]", settings: "array[int]", readings: "array[int]") -> int:
    """Condition word of the room side."""
    word = 0
    mode = memory[cell.MODE]
    if probes.trusted(memory, probes.ROOM):
        word |= condition.ROOM_SEEN
        room = probes.value_mc(memory, settings, readings, probes.ROOM)
        start = room_start_mc(memory, settings)
        target = settings[setting.ROOM_TARGET_MC]
        if near.at_least(readings, condition.ROOM_WARM * near.ROOM, reading.ROOM_MC, room, start):
            word |= condition.ROOM_WARM
        why = condition.ROOM_COOL * near.ROOM
        if not near.at_least(readings, why, reading.ROOM_MC, room, target + 1):
            word |= condition.ROOM_COOL
        if useful(memory, settings, readings, room):
            word |= condition.USEFUL
    if wanted(memory, settings):
        word |= condition.WANTED
    if power_good(memory, settings, readings):
        word |= condition.POWER
    if has(settings, fitted.TRAY) and (
        not readings[reading.TRAY_OK] or timekeeping.waiting(memory, cell.TRAY_T)
    ):
        word |= condition.TRAY
    if timekeeping.waiting(memory, cell.DRY_WAIT_T) or timekeeping.due(memory, cell.GHOST_T):
        word |= condition.DRY
    if flag(memory, cell.FLAG_COIL) or timekeeping.waiting(memory, cell.COIL_T):
        word |= condition.COIL
    if memory[cell.LATCH] & latch.ROOM:
        word |= condition.ROOM_LOCK
    if mode == modes.OFF or mode == modes.SERVICE:
        word |= condition.BAR_ROOM
    if mode == modes.PURGE and not coil_unseen(memory, settings):
        word |= condition.PURGE_ASKED
    if spells_only(settings):
        if memory[cell.OUT] & output.PUMP:
            if timekeeping.due(memory, cell.SPELL_T):
                word |= condition.SPELL
        elif timekeeping.waiting(memory, cell.SPELL_T):
            word |= condition.SPELL
    if timekeeping.waiting(memory, cell.DELIVERY_OFF_T):
        word |= condition.PAUSE
    if timekeeping.waiting(memory, cell.DELIVERY_ON_T) and probes.store_seen(memory):
        word |= condition.MUST_DELIVER
    return word


def fans_capped(memory: "array[int]", settings: "array[int]", readings: "array[int]") -> bool:
    """Whether the fans stay at the quiet level."""
    if memory[cell.MODE] == modes.QUIET or not probes.trusted(memory, probes.ROOM):
        return True
    if memory[cell.MODE] == modes.COOL_NOW:
        return False
    room = probes.value_mc(memory, settings, readings, probes.ROOM)
    full = full_fan_mc(memory, settings)
    return not near.at_least(readings, near.FAN_CAP, reading.ROOM_MC, room, full)


def lock_word(memory: "array[int]", settings: "array[int]", readings: "array[int]") -> int:
    """Condition word of the interlock."""
    word = 0
    if flag(memory, cell.FLAG_FREEZE):
        word |= condition.LOCK_FREEZE
    if not probes.store_seen(memory):
        word |= condition.LOCK_BLIND
    if timekeeping.waiting(memory, cell.OFF_T) or not starts_left(memory, settings):
        word |= condition.LOCK_START
    if not mains_good(settings, readings):
        word |= condition.LOCK_MAINS
    if memory[cell.LATCH] & latch.STORE:
        word |= condition.LOCK_STORE
    if timekeeping.waiting(memory, cell.REST_T):
        word |= condition.LOCK_REST
    room = room_word(memory, settings, readings)
    if room & condition.TRAY:
        word |= condition.LOCK_TRAY
    if room & (condition.DRY | condition.SPELL):
        word |= condition.LOCK_DRY
    if room & condition.COIL or coil_unseen(memory, settings):
        word |= condition.LOCK_COIL
    if not room & condition.POWER:
        word |= condition.LOCK_BATTERY
    if room & condition.ROOM_LOCK:
        word |= condition.LOCK_ROOM
    if fans_capped(memory, settings, readings):
        word |= condition.LOCK_FAN_CAP
    if timekeeping.waiting(memory, cell.SPACING_T):
        word |= condition.LOCK_SPACING
    if room & condition.PAUSE:
        word |= condition.LOCK_PAUSE
    mode = memory[cell.MODE]
    if not readings[reading.SETTINGS_OK] or mode == modes.OFF or mode == modes.SERVICE:
        word |= condition.LOCK_ALL
    return word

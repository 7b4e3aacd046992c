"""Readings + settings + memory -> the three condition words. Every threshold lives here.

Nothing here writes but `update_flags`, which keeps the conditions that have a hysteresis of
their own. Readings are compared through `near.py` alone.
"""

from array import array

from springhouse import advice as D
from springhouse import condition as C
from springhouse import fitted as F
from springhouse import latch as L
from springhouse import memory as M
from springhouse import mode as W
from springhouse import near
from springhouse import output as O
from springhouse import probes as P
from springhouse import reading as R
from springhouse import setting as S
from springhouse import statechart as K
from springhouse import timekeeping as T
from springhouse import vouching as V
from springhouse import week as N

HOT_BAND_MK = 300  # a room over its limit counts as such until so far below it
WATER_ICE_MC = 0  # plain water: pump barred if water-in plus error is below ...
WATER_AIR_MC = 3000  # ... or air at the coil less error is below
COIL_CLEAR_MK = 300  # and free again so far above
COOL_NOW_BAND_MK = 200  # three steps of a probe: its dither alone starts nothing
SPENT_MK = 1000  # delivery ends so far below the warm-fill limit


def has(settings: "array[int]", bit: int) -> bool:
    """Whether a sensor is fitted."""
    return settings[S.FITTED] & bit != 0


def flag(memory: "array[int]", bit: int) -> bool:
    """Whether a hysteresis or edge flag is set."""
    return memory[M.FLAGS] & bit != 0


def put_flag(memory: "array[int]", bit: int, on: bool) -> None:
    """Set or clear a flag."""
    if on:
        memory[M.FLAGS] |= bit
    else:
        memory[M.FLAGS] &= ~bit


def mains_good(settings: "array[int]", readings: "array[int]") -> bool:
    """Mains present as far as the board can tell; without a sensor a running board has mains."""
    return not has(settings, F.MAINS) or readings[R.MAINS_OK] != 0


def power_good(memory: "array[int]", settings: "array[int]", readings: "array[int]") -> bool:
    """Whether pump and fans have a supply: mains, or a battery above its cut-off."""
    if has(settings, F.BATTERY):
        return not flag(memory, M.FLAG_BATTERY_LOW)
    return mains_good(settings, readings)


# Thresholds in force.


def tariff_waived(memory: "array[int]", settings: "array[int]") -> bool:
    """Whether charging may ignore the tariff: owner's wish, or the room is over its limit."""
    if memory[M.MODE] == W.CHARGE_NOW or memory[M.MODE] == W.FIRST_PULL_DOWN:
        return True
    return settings[S.TARIFF_OVERRIDE] != 0 and flag(memory, M.FLAG_HOT)


def store_target_mc(memory: "array[int]", settings: "array[int]") -> int:
    """Store temperature to charge down to now."""
    if tariff_waived(memory, settings):
        return settings[S.DEEP_MC]
    if memory[M.ADVICE] == D.CHARGE:
        return memory[M.ADVICE_MC]
    if memory[M.ADVICE] == D.WAIT:
        return settings[S.SHALLOW_MC]
    both = N.PLAN_CHARGE | N.PLAN_LEAD
    if memory[M.PLAN] & both == both:
        return settings[S.DEEP_MC]
    return settings[S.SHALLOW_MC]


def store_start_mc(memory: "array[int]", settings: "array[int]") -> int:
    """Store temperature from which charging starts now."""
    band = settings[S.BAND_MK]
    if memory[M.MODE] == W.CHARGE_NOW or memory[M.MODE] == W.FIRST_PULL_DOWN:
        band >>= 2
    return store_target_mc(memory, settings) + band


def room_start_mc(memory: "array[int]", settings: "array[int]") -> int:
    """Room temperature from which delivery starts."""
    band = settings[S.ROOM_BAND_MK]
    if memory[M.MODE] == W.COOL_NOW and band > COOL_NOW_BAND_MK:
        band = COOL_NOW_BAND_MK
    return settings[S.ROOM_TARGET_MC] + band


def useful_mk(memory: "array[int]", settings: "array[int]") -> int:
    """How much colder than the room the drawn water must be."""
    if memory[M.ROOM_STATE] == K.DISCHARGE:
        return settings[S.USEFUL_MK] - settings[S.USEFUL_BAND_MK]
    return settings[S.USEFUL_MK]


def store_above(
    memory: "array[int]", settings: "array[int]", readings: "array[int]", why: int, mc: int
) -> bool:
    """Whether the mean of the trusted store probes, one at least, is at or above `mc`."""
    which = P.store_trust(memory)
    mean = P.mean_of(memory, settings, readings, which)
    return near.store_at_least(readings, why, which, mean, mc)


def too_warm(memory: "array[int]", settings: "array[int]", readings: "array[int]") -> bool:
    """Whether only a first pull-down may start with so warm a store."""
    return store_above(memory, settings, readings, C.BAR_START, settings[S.WARM_FILL_MC])


def spent(memory: "array[int]", settings: "array[int]", readings: "array[int]") -> bool:
    """Whether the store is spent: any warmer, and only a first pull-down could chill it again."""
    mc = settings[S.WARM_FILL_MC] - SPENT_MK
    if memory[M.ROOM_STATE] != K.DISCHARGE:
        mc -= SPENT_MK
    return store_above(memory, settings, readings, C.USEFUL * near.ROOM, mc)


def full_fan_mc(memory: "array[int]", settings: "array[int]") -> int:
    """Room temperature from which the fans run at full speed."""
    if memory[M.OUT] & O.FAN_FULL:
        return settings[S.ROOM_TARGET_MC] + (settings[S.FAN_BOOST_MK] >> 1)
    return settings[S.ROOM_TARGET_MC] + settings[S.FAN_BOOST_MK]


def coil_air_probe(memory: "array[int]") -> int:
    """Probe that stands for the air at the coil, -1 if none is trusted."""
    if P.trusted(memory, P.COIL_AIR):
        return P.COIL_AIR
    return P.ROOM if P.trusted(memory, P.ROOM) else -1


def coil_water_probe(memory: "array[int]") -> int:
    """Probe that stands for the water entering the coil, -1 if none is trusted."""
    if memory[M.OUT] & O.PUMP and P.trusted(memory, P.COIL_IN):
        return P.COIL_IN
    if P.trusted(memory, P.LOW):
        return P.LOW
    return P.HIGH if P.trusted(memory, P.HIGH) else -1


def coil_water_limit_mc(memory: "array[int]", settings: "array[int]", i: int) -> int:
    """Reading of probe `i` below which the water threatens to freeze in the coil.

    Plain water near 0 °C into a warm room is the normal way to melt ice, so its error counts
    towards running; a brine has a limit of its own and its error counts against.
    """
    clear = COIL_CLEAR_MK if flag(memory, M.FLAG_COIL) else 0
    if settings[S.BRINE]:
        return settings[S.BRINE_LIMIT_MC] + settings[S.STORE_LOW_ERR_MK + i] + clear
    return WATER_ICE_MC - settings[S.STORE_LOW_ERR_MK + i] + clear


def coil_unseen(memory: "array[int]", settings: "array[int]") -> bool:
    """Whether nothing trusted tells that the coil is safe; of plain water or air one is enough."""
    if coil_water_probe(memory) >= 0:
        return False
    return settings[S.BRINE] != 0 or coil_air_probe(memory) < 0


def coil_cold(memory: "array[int]", settings: "array[int]", readings: "array[int]") -> bool:
    """Whether water in the coil threatens to freeze."""
    i = coil_water_probe(memory)
    if i >= 0:
        limit_mc = coil_water_limit_mc(memory, settings, i)
        water_mc = P.value_mc(memory, settings, readings, i)
        if not near.at_least(readings, 0, R.STORE_LOW_MC + i, water_mc, limit_mc):
            return True
    i = coil_air_probe(memory)
    if settings[S.BRINE] or i < 0:
        return False
    air_mc = P.value_mc(memory, settings, readings, i) - settings[S.STORE_LOW_ERR_MK + i]
    limit_mc = WATER_AIR_MC + (COIL_CLEAR_MK if flag(memory, M.FLAG_COIL) else 0)
    return not near.at_least(readings, 0, R.STORE_LOW_MC + i, air_mc, limit_mc)


def inlet_follows(memory: "array[int]", settings: "array[int]", readings: "array[int]") -> bool:
    """Whether the coil inlet is as cold as the store: stands in for a flow sensor."""
    if not P.trusted(memory, P.COIL_IN) or not P.store_seen(memory):
        return False
    i = P.draw(memory)
    gap = P.value_mc(memory, settings, readings, P.COIL_IN)
    gap -= P.value_mc(memory, settings, readings, i)
    most = settings[S.FOLLOW_MK]
    return near.apart_within(readings, 0, R.COIL_IN_MC, R.STORE_LOW_MC + i, gap, most)


def flow_shown(settings: "array[int]", readings: "array[int]") -> bool:
    """Whether the flow sensor shows what the pump can deliver; more is no evidence of flow."""
    least = settings[S.FLOW_LEAST_ML_MIN]
    most = settings[S.FLOW_MOST_ML_MIN]
    return near.inside(readings, 0, R.FLOW_ML_MIN, readings[R.FLOW_ML_MIN], least, most)


def spells_only(settings: "array[int]") -> bool:
    """Whether nothing fitted can show flow, so that the pump may run in bounded spells only."""
    return not has(settings, F.FLOW) and not has(settings, F.COIL_IN)


def update_flags(memory: "array[int]", settings: "array[int]", readings: "array[int]") -> None:
    """Keep the conditions that have a hysteresis of their own."""
    V.update(memory, settings, readings)
    if P.store_seen(memory):
        above = settings[S.FREEZE_CLEAR_MK] if flag(memory, M.FLAG_FREEZE) else 1
        put_flag(memory, M.FLAG_FREEZE, V.freezing(memory, settings, readings, above))
    hot = False
    if P.trusted(memory, P.ROOM) and wanted(memory, settings):
        limit = settings[S.ROOM_LIMIT_MC]
        if flag(memory, M.FLAG_HOT):
            limit -= HOT_BAND_MK
        room = P.value_mc(memory, settings, readings, P.ROOM)
        hot = near.at_least(readings, 0, R.ROOM_MC, room, limit)
    put_flag(memory, M.FLAG_HOT, hot)
    low = False
    if has(settings, F.BATTERY) and not (has(settings, F.MAINS) and readings[R.MAINS_OK] != 0):
        limit = settings[S.BATTERY_CUT_MV]
        if flag(memory, M.FLAG_BATTERY_LOW):
            limit += settings[S.BATTERY_REARM_MV] + 1
        low = not near.at_least(readings, 0, R.BATTERY_MV, readings[R.BATTERY_MV], limit)
    put_flag(memory, M.FLAG_BATTERY_LOW, low)


def wanted(memory: "array[int]", settings: "array[int]") -> bool:
    """Whether the room is to be cooled now."""
    if memory[M.MODE] == W.COOL_NOW:
        return True
    if D.tells_room(memory, settings):
        return memory[M.ADVICE_WANTED] != 0
    return memory[M.PLAN] & N.PLAN_WANTED != 0


# The words.


def starts_left(memory: "array[int]", settings: "array[int]") -> bool:
    """Whether another start fits into the hour."""
    for n in range(settings[S.STARTS_PER_HOUR]):
        if not T.waiting(memory, M.START_1_T + n):
            return True
    return False


def useful(
    memory: "array[int]", settings: "array[int]", readings: "array[int]", room_mc: int
) -> bool:
    """Whether the store is seen, not spent, and the drawn water so much colder than the room."""
    if not P.store_seen(memory) or spent(memory, settings, readings):
        return False
    why = C.USEFUL * near.ROOM
    i = P.draw(memory)
    gap = room_mc - P.value_mc(memory, settings, readings, i)
    least = useful_mk(memory, settings)
    return near.apart_at_least(readings, why, R.ROOM_MC, R.STORE_LOW_MC + i, gap, least)


def store_word(memory: "array[int]", settings: "array[int]", readings: "array[int]") -> int:
    """Condition word of the store side."""
    word = 0
    mode = memory[M.MODE]
    if P.store_seen(memory):
        word |= C.STORE_SEEN
        start = store_start_mc(memory, settings)
        target = store_target_mc(memory, settings)
        if store_above(memory, settings, readings, C.STORE_WARM, start):
            word |= C.STORE_WARM
        if not store_above(memory, settings, readings, C.STORE_FULL, target + 1):
            word |= C.STORE_FULL
    if T.due(memory, M.ICE_T):
        word |= C.STORE_FULL
    if flag(memory, M.FLAG_FREEZE):
        word |= C.FREEZE
    if not T.waiting(memory, M.OFF_T) and starts_left(memory, settings):
        word |= C.MAY_START
    if T.waiting(memory, M.ON_T) and not T.due(memory, M.ICE_T):
        word |= C.MUST_RUN
    if mains_good(settings, readings):
        word |= C.MAINS
    if memory[M.LATCH] & L.STORE:
        word |= C.STORE_LOCK
    if mode == W.OFF or mode == W.SERVICE or T.waiting(memory, M.REST_T):
        word |= C.BAR_RUN
    if memory[M.OUT] & O.COMPRESSOR:
        word |= C.RUNNING
    if mode == W.QUIET or mode == W.PURGE:
        word |= C.BAR_START
    later = memory[M.PLAN] & N.PLAN_NO_START != 0 or memory[M.ADVICE] == D.WAIT
    if later and not tariff_waived(memory, settings):
        word |= C.BAR_START
    if word & (C.STORE_SEEN | C.BAR_START) == C.STORE_SEEN and mode != W.FIRST_PULL_DOWN:
        if too_warm(memory, settings, readings):
            word |= C.BAR_START
    return word


def room_word(memory: "array[int]", settings: "array[int]", readings: "array[int]") -> int:
    """Condition word of the room side."""
    word = 0
    mode = memory[M.MODE]
    if P.trusted(memory, P.ROOM):
        word |= C.ROOM_SEEN
        room = P.value_mc(memory, settings, readings, P.ROOM)
        start = room_start_mc(memory, settings)
        target = settings[S.ROOM_TARGET_MC]
        if near.at_least(readings, C.ROOM_WARM * near.ROOM, R.ROOM_MC, room, start):
            word |= C.ROOM_WARM
        if not near.at_least(readings, C.ROOM_COOL * near.ROOM, R.ROOM_MC, room, target + 1):
            word |= C.ROOM_COOL
        if useful(memory, settings, readings, room):
            word |= C.USEFUL
    if wanted(memory, settings):
        word |= C.WANTED
    if power_good(memory, settings, readings):
        word |= C.POWER
    if has(settings, F.TRAY) and (not readings[R.TRAY_OK] or T.waiting(memory, M.TRAY_T)):
        word |= C.TRAY
    if T.waiting(memory, M.DRY_WAIT_T) or T.due(memory, M.GHOST_T):
        word |= C.DRY
    if flag(memory, M.FLAG_COIL) or T.waiting(memory, M.COIL_T):
        word |= C.COIL
    if memory[M.LATCH] & L.ROOM:
        word |= C.ROOM_LOCK
    if mode == W.OFF or mode == W.SERVICE:
        word |= C.BAR_ROOM
    if mode == W.PURGE and not coil_unseen(memory, settings):
        word |= C.PURGE_ASKED
    if spells_only(settings):
        if memory[M.OUT] & O.PUMP:
            if T.due(memory, M.SPELL_T):
                word |= C.SPELL
        elif T.waiting(memory, M.SPELL_T):
            word |= C.SPELL
    if T.waiting(memory, M.DELIVERY_OFF_T):
        word |= C.PAUSE
    if T.waiting(memory, M.DELIVERY_ON_T) and P.store_seen(memory):
        word |= C.MUST_DELIVER
    return word


def fans_capped(memory: "array[int]", settings: "array[int]", readings: "array[int]") -> bool:
    """Whether the fans stay at the quiet level."""
    if memory[M.MODE] == W.QUIET or not P.trusted(memory, P.ROOM):
        return True
    if memory[M.MODE] == W.COOL_NOW:
        return False
    room = P.value_mc(memory, settings, readings, P.ROOM)
    full = full_fan_mc(memory, settings)
    return not near.at_least(readings, near.FAN_CAP, R.ROOM_MC, room, full)


def lock_word(memory: "array[int]", settings: "array[int]", readings: "array[int]") -> int:
    """Condition word of the interlock."""
    word = 0
    if flag(memory, M.FLAG_FREEZE):
        word |= C.LOCK_FREEZE
    if not P.store_seen(memory):
        word |= C.LOCK_BLIND
    if T.waiting(memory, M.OFF_T) or not starts_left(memory, settings):
        word |= C.LOCK_START
    if not mains_good(settings, readings):
        word |= C.LOCK_MAINS
    if memory[M.LATCH] & L.STORE:
        word |= C.LOCK_STORE
    if T.waiting(memory, M.REST_T):
        word |= C.LOCK_REST
    room = room_word(memory, settings, readings)
    if room & C.TRAY:
        word |= C.LOCK_TRAY
    if room & (C.DRY | C.SPELL):
        word |= C.LOCK_DRY
    if room & C.COIL or coil_unseen(memory, settings):
        word |= C.LOCK_COIL
    if not room & C.POWER:
        word |= C.LOCK_BATTERY
    if room & C.ROOM_LOCK:
        word |= C.LOCK_ROOM
    if fans_capped(memory, settings, readings):
        word |= C.LOCK_FAN_CAP
    if T.waiting(memory, M.SPACING_T):
        word |= C.LOCK_SPACING
    if room & C.PAUSE:
        word |= C.LOCK_PAUSE
    mode = memory[M.MODE]
    if not readings[R.SETTINGS_OK] or mode == W.OFF or mode == W.SERVICE:
        word |= C.LOCK_ALL
    return word

"""Slots of the settings record: the integers that are proven, hashed and flashed.

`BOUNDS` holds (lowest, highest, default) a slot, in slot order; `first_fault` is what the board
asks before it believes a record.
"""

from array import array

from springhouse import fitted

WINDOWS = 16
WINDOW_STRIDE = 4  # kind, days, start minute of the day, end minute of the day

_PLAIN = 66
SCHEMA_NOW = 3

(
    SCHEMA,
    FITTED,  # bits of fitted.py
    STORE_LOW_ERR_MK,  # error budget a probe; part of every comparison that protects something
    STORE_HIGH_ERR_MK,
    ROOM_ERR_MK,
    COIL_IN_ERR_MK,
    COIL_AIR_ERR_MK,
    STORE_LOW_OFFSET_MK,  # calibration, added to the raw reading
    STORE_HIGH_OFFSET_MK,
    ROOM_OFFSET_MK,
    COIL_IN_OFFSET_MK,
    COIL_AIR_OFFSET_MK,
    DEEP_MC,  # store target inside charging windows
    SHALLOW_MC,  # store target outside
    BAND_MK,  # charging starts this far above the target
    FULL_BY_MIN,  # minute of the day by which the store is to be full; -1 = as soon as allowed
    FULL_LEAD_MIN,  # the deep target holds for so long before that
    TARIFF_OVERRIDE,  # 1 = a room over its limit may charge at any price
    WARM_FILL_MC,  # above this only the first pull-down may start the compressor
    FREEZE_MC,  # freeze guard, on the coldest trusted store probe less its error
    FREEZE_CLEAR_MK,  # the guard ends this far above
    FLOOR_MC,  # the guard when nothing watches the top and the wall
    ICE_BANK,  # 1 = a deliberate ice bank
    ICE_RUN_MIN,  # ice bank: compressor-on minutes in the ice zone until seen melted
    ICE_ZONE_MC,
    MELTED_MC,
    ROOM_TARGET_MC,
    ROOM_BAND_MK,
    ROOM_LIMIT_MC,
    FAN_BOOST_MK,  # fans go to full this far above the target
    USEFUL_MK,  # delivery starts only with the store so much colder than the room
    USEFUL_BAND_MK,
    MIN_OFF_S,
    MIN_ON_S,
    STARTS_PER_HOUR,
    RESTART_STAGGER_S,  # added after power-up and after mains returns
    PROGRESS_MK,
    PROGRESS_MIN,
    REST_MIN,
    PULL_DOWN_RUN_MIN,
    PULL_DOWN_REST_MIN,
    STUCK_MIN,
    DISAGREE_MK,
    DISAGREE_MIN,
    PRIME_S,
    FLOW_GAP_S,
    FLOW_LEAST_ML_MIN,
    FOLLOW_MK,  # without a flow sensor the coil inlet must come this near the store ...
    FOLLOW_S,  # ... within this time
    SPELL_ON_S,  # with neither: the pump runs in spells
    SPELL_OFF_S,
    TRAY_RETURN_S,
    BRINE,  # 0 = plain water
    BRINE_LIMIT_MC,
    COIL_WAIT_S,
    FAN_FULL_PM,
    FAN_QUIET_PM,
    FAN_STILL_S,
    FAN_LEAST_RPM,
    BATTERY_CUT_MV,
    BATTERY_REARM_MV,
    DELIVERY_ON_S,  # pump and fan: least time on, unless a guard or the owner ends it ...
    DELIVERY_OFF_S,  # ... and least time off, whatever ended it
    FLOW_MOST_ML_MIN,  # more than the pump can deliver is no evidence of flow
    CHILLS_MK,  # a store gets so much colder in half an hour if it is chilled, and only then
    ADVISED,  # what a plan made elsewhere may decide: 0 nothing, 1 charging, 2 wanted hours too
) = range(_PLAIN)

WINDOW_1_KIND = _PLAIN
SIZE = _PLAIN + WINDOWS * WINDOW_STRIDE

BOUNDS = (
    (SCHEMA_NOW, SCHEMA_NOW, SCHEMA_NOW),  # SCHEMA
    (0, 8191, 0b000000100101),  # FITTED
    (50, 2000, 500),  # STORE_LOW_ERR_MK
    (50, 2000, 500),  # STORE_HIGH_ERR_MK
    (50, 2000, 500),  # ROOM_ERR_MK
    (50, 2000, 500),  # COIL_IN_ERR_MK
    (50, 2000, 500),  # COIL_AIR_ERR_MK
    (-3000, 3000, 0),  # STORE_LOW_OFFSET_MK
    (-3000, 3000, 0),  # STORE_HIGH_OFFSET_MK
    (-3000, 3000, 0),  # ROOM_OFFSET_MK
    (-3000, 3000, 0),  # COIL_IN_OFFSET_MK
    (-3000, 3000, 0),  # COIL_AIR_OFFSET_MK
    (-1000, 15000, 3000),  # DEEP_MC
    (-1000, 20000, 6000),  # SHALLOW_MC
    (200, 6000, 800),  # BAND_MK
    (-1, 1439, -1),  # FULL_BY_MIN
    (0, 1440, 480),  # FULL_LEAD_MIN
    (0, 1, 1),  # TARIFF_OVERRIDE
    (10000, 35000, 22000),  # WARM_FILL_MC
    (-3000, 4000, 500),  # FREEZE_MC
    (200, 5000, 1000),  # FREEZE_CLEAR_MK
    (4000, 8000, 4000),  # FLOOR_MC
    (0, 1, 0),  # ICE_BANK
    (0, 2880, 0),  # ICE_RUN_MIN
    (200, 3000, 1000),  # ICE_ZONE_MC
    (2000, 8000, 4000),  # MELTED_MC
    (15000, 35000, 24000),  # ROOM_TARGET_MC
    (100, 3000, 500),  # ROOM_BAND_MK
    (16000, 45000, 27000),  # ROOM_LIMIT_MC
    (200, 10000, 1500),  # FAN_BOOST_MK
    (1000, 20000, 6000),  # USEFUL_MK
    (200, 10000, 2000),  # USEFUL_BAND_MK
    (300, 3600, 600),  # MIN_OFF_S
    (60, 1800, 300),  # MIN_ON_S
    (1, 4, 4),  # STARTS_PER_HOUR
    (0, 120, 0),  # RESTART_STAGGER_S
    (200, 2000, 500),  # PROGRESS_MK
    (60, 720, 360),  # PROGRESS_MIN
    (30, 240, 30),  # REST_MIN
    (30, 720, 180),  # PULL_DOWN_RUN_MIN
    (10, 120, 20),  # PULL_DOWN_REST_MIN
    (30, 720, 120),  # STUCK_MIN
    (1000, 10000, 3000),  # DISAGREE_MK
    (5, 480, 120),  # DISAGREE_MIN
    (2, 10, 10),  # PRIME_S
    (2, 5, 5),  # FLOW_GAP_S
    (50, 5000, 300),  # FLOW_LEAST_ML_MIN
    (500, 10000, 3000),  # FOLLOW_MK
    (30, 300, 180),  # FOLLOW_S
    (60, 900, 600),  # SPELL_ON_S
    (60, 3600, 300),  # SPELL_OFF_S
    (600, 3600, 600),  # TRAY_RETURN_S
    (0, 1, 0),  # BRINE
    (-20000, 5000, 500),  # BRINE_LIMIT_MC
    (60, 3600, 300),  # COIL_WAIT_S
    (100, 1000, 1000),  # FAN_FULL_PM
    (100, 1000, 600),  # FAN_QUIET_PM
    (30, 180, 180),  # FAN_STILL_S
    (60, 5000, 200),  # FAN_LEAST_RPM
    (2500, 60000, 12000),  # BATTERY_CUT_MV
    (100, 5000, 600),  # BATTERY_REARM_MV
    (30, 900, 120),  # DELIVERY_ON_S
    (60, 900, 60),  # DELIVERY_OFF_S
    (500, 60000, 20000),  # FLOW_MOST_ML_MIN
    (150, 2000, 200),  # CHILLS_MK
    (0, 2, 0),  # ADVISED
)

WINDOW_BOUNDS = ((0, 3, 0), (0, 127, 0), (0, 1439, 0), (0, 1439, 0))


def bound(slot: int) -> "tuple[int, int, int]":
    """(lowest, highest, default) of a slot."""
    if slot < _PLAIN:
        return BOUNDS[slot]
    return WINDOW_BOUNDS[(slot - _PLAIN) % WINDOW_STRIDE]


def fill_defaults(settings: "array[int]") -> None:
    """Write every default into a record of SIZE slots."""
    for slot in range(SIZE):
        settings[slot] = bound(slot)[2]


def first_fault(settings: "array[int]") -> int:
    """The first slot that is out of bounds or contradicts another, -1 if none does."""
    for slot in range(SIZE):
        b = bound(slot)
        if settings[slot] < b[0] or settings[slot] > b[1]:
            return slot
    if settings[DEEP_MC] > settings[SHALLOW_MC]:
        return SHALLOW_MC
    if settings[SHALLOW_MC] + settings[BAND_MK] >= settings[WARM_FILL_MC]:
        return WARM_FILL_MC
    if settings[ROOM_LIMIT_MC] <= settings[ROOM_TARGET_MC]:
        return ROOM_LIMIT_MC
    if settings[USEFUL_BAND_MK] >= settings[USEFUL_MK]:
        return USEFUL_BAND_MK
    if settings[FAN_QUIET_PM] > settings[FAN_FULL_PM]:
        return FAN_QUIET_PM
    if settings[FLOW_MOST_ML_MIN] <= settings[FLOW_LEAST_ML_MIN]:
        return FLOW_MOST_ML_MIN
    if not settings[ICE_BANK] and settings[FREEZE_MC] < 0:
        return FREEZE_MC
    if settings[ICE_BANK] and not settings[FITTED] & fitted.STORE_HIGH:
        return ICE_BANK  # only a probe at the wall sees the ice melt
    return -1

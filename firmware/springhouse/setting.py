"""Slots of the settings record: the integers that are proven, hashed and flashed.

`BOUNDS` holds a line a setting, (slot, lowest, highest, default), in slot order; `first_fault` is
what the board asks before it believes a record.
"""

from array import array

from springhouse import fitted

WINDOWS = 16
WINDOW_STRIDE = 4  # kind, days, start minute of the day, end minute of the day

_PLAIN = 66
SCHEMA_NOW = 3

BOUNDS = (
    (SCHEMA := 0, SCHEMA_NOW, SCHEMA_NOW, SCHEMA_NOW),
    (FITTED := 1, 0, 8191, 0b000000100101),  # bits of fitted.py
    (STORE_LOW_ERR_MK := 2, 50, 2000, 500),  # error budget a probe, in all that protects
    (STORE_HIGH_ERR_MK := 3, 50, 2000, 500),
    (ROOM_ERR_MK := 4, 50, 2000, 500),
    (COIL_IN_ERR_MK := 5, 50, 2000, 500),
    (COIL_AIR_ERR_MK := 6, 50, 2000, 500),
    (STORE_LOW_OFFSET_MK := 7, -3000, 3000, 0),  # calibration, added to the raw reading
    (STORE_HIGH_OFFSET_MK := 8, -3000, 3000, 0),
    (ROOM_OFFSET_MK := 9, -3000, 3000, 0),
    (COIL_IN_OFFSET_MK := 10, -3000, 3000, 0),
    (COIL_AIR_OFFSET_MK := 11, -3000, 3000, 0),
    (DEEP_MC := 12, -1000, 15000, 3000),  # store target inside charging windows
    (SHALLOW_MC := 13, -1000, 20000, 6000),  # store target outside
    (BAND_MK := 14, 200, 6000, 800),  # charging starts this far above the target
    (FULL_BY_MIN := 15, -1, 1439, -1),  # minute of the day; -1 = full as soon as allowed
    (FULL_LEAD_MIN := 16, 0, 1440, 480),  # the deep target holds for so long before that
    (TARIFF_OVERRIDE := 17, 0, 1, 1),  # 1 = a room over its limit may charge at any price
    (WARM_FILL_MC := 18, 10000, 35000, 22000),  # above it the first pull-down alone may start
    (FREEZE_MC := 19, -3000, 4000, 500),  # freeze guard: coldest trusted probe less its error
    (FREEZE_CLEAR_MK := 20, 200, 5000, 1000),  # the guard ends this far above
    (FLOOR_MC := 21, 4000, 8000, 4000),  # the guard when nothing watches the top and the wall
    (ICE_BANK := 22, 0, 1, 0),  # 1 = a deliberate ice bank
    (ICE_RUN_MIN := 23, 0, 2880, 0),  # of an ice bank in its zone, till seen melted
    (ICE_ZONE_MC := 24, 200, 3000, 1000),
    (MELTED_MC := 25, 2000, 8000, 4000),
    (ROOM_TARGET_MC := 26, 15000, 35000, 24000),
    (ROOM_BAND_MK := 27, 100, 3000, 500),
    (ROOM_LIMIT_MC := 28, 16000, 45000, 27000),
    (FAN_BOOST_MK := 29, 200, 10000, 1500),  # fans go to full this far above the target
    (USEFUL_MK := 30, 1000, 20000, 6000),  # delivery starts with a store so much colder
    (USEFUL_BAND_MK := 31, 200, 10000, 2000),
    (MIN_OFF_S := 32, 300, 3600, 600),
    (MIN_ON_S := 33, 60, 1800, 300),
    (STARTS_PER_HOUR := 34, 1, 4, 4),
    (RESTART_STAGGER_S := 35, 0, 120, 0),  # added after power-up and after mains returns
    (PROGRESS_MK := 36, 200, 2000, 500),
    (PROGRESS_MIN := 37, 60, 720, 360),
    (REST_MIN := 38, 30, 240, 30),
    (PULL_DOWN_RUN_MIN := 39, 30, 720, 180),
    (PULL_DOWN_REST_MIN := 40, 10, 120, 20),
    (STUCK_MIN := 41, 30, 720, 120),
    (DISAGREE_MK := 42, 1000, 10000, 3000),
    (DISAGREE_MIN := 43, 5, 480, 120),
    (PRIME_S := 44, 2, 10, 10),
    (FLOW_GAP_S := 45, 2, 5, 5),
    (FLOW_LEAST_ML_MIN := 46, 50, 5000, 300),
    (FOLLOW_MK := 47, 500, 10000, 3000),  # without a flow sensor: the inlet so near the store ...
    (FOLLOW_S := 48, 30, 300, 180),  # ... within this time
    (SPELL_ON_S := 49, 60, 900, 600),  # with neither: the pump runs in spells
    (SPELL_OFF_S := 50, 60, 3600, 300),
    (TRAY_RETURN_S := 51, 600, 3600, 600),
    (BRINE := 52, 0, 1, 0),  # 0 = plain water
    (BRINE_LIMIT_MC := 53, -20000, 5000, 500),
    (COIL_WAIT_S := 54, 60, 3600, 300),
    (FAN_FULL_PM := 55, 100, 1000, 1000),
    (FAN_QUIET_PM := 56, 100, 1000, 600),
    (FAN_STILL_S := 57, 30, 180, 180),
    (FAN_LEAST_RPM := 58, 60, 5000, 200),
    (BATTERY_CUT_MV := 59, 2500, 60000, 12000),
    (BATTERY_REARM_MV := 60, 100, 5000, 600),
    (DELIVERY_ON_S := 61, 30, 900, 120),  # pump and fan: least time on but for guards, owner ...
    (DELIVERY_OFF_S := 62, 60, 900, 60),  # ... and least time off, whatever ended it
    (FLOW_MOST_ML_MIN := 63, 500, 60000, 20000),  # more than a pump can deliver is no flow
    (CHILLS_MK := 64, 150, 2000, 200),  # colder by it in half an hour: it is chilled
    (ADVISED := 65, 0, 2, 0),  # a plan decides: 0 nothing, 1 charging, 2 wanted hours too
)

WINDOW_1_KIND = _PLAIN
SIZE = _PLAIN + WINDOWS * WINDOW_STRIDE

WINDOW_BOUNDS = ((0, 0, 3, 0), (1, 0, 127, 0), (2, 0, 1439, 0), (3, 0, 1439, 0))


def row(slot: int) -> "tuple[int, int, int, int]":
    """(slot, lowest, highest, default) of a slot; of a window its place there for the slot."""
    if slot < _PLAIN:
        return BOUNDS[slot]
    return WINDOW_BOUNDS[(slot - _PLAIN) % WINDOW_STRIDE]


def fill_defaults(settings: "array[int]") -> None:
    """Write every default into a record of SIZE slots."""
    for slot in range(SIZE):
        settings[slot] = row(slot)[3]


def first_fault(settings: "array[int]") -> int:
    """The first slot that is out of bounds or contradicts another, -1 if none does."""
    for slot in range(SIZE):
        b = row(slot)
        if settings[slot] < b[1] or settings[slot] > b[2]:
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

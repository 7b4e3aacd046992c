"""Slots of the readings record: what the drivers saw, and what time it is.

m°C, mL/min, mV, rev/min, ms. `_AT_MS` is the tick of a probe's latest frame, `_FAULT` its code
from `fault.py`. Two-valued inputs arrive debounced: 1 is the healthy position (NC loop closed).
"""

PROBES = 5  # store low, store high, room, coil inlet, air at the coil: everywhere in this order

(
    NOW_MS,  # wrapped tick, 0 .. 2**30 - 1
    WEEK_MIN,  # local minute of the week, Monday 00:00 = 0; -1 = clock unknown
    STORE_LOW_MC,
    STORE_HIGH_MC,
    ROOM_MC,
    COIL_IN_MC,
    COIL_AIR_MC,
    STORE_LOW_AT_MS,
    STORE_HIGH_AT_MS,
    ROOM_AT_MS,
    COIL_IN_AT_MS,
    COIL_AIR_AT_MS,
    STORE_LOW_FAULT,
    STORE_HIGH_FAULT,
    ROOM_FAULT,
    COIL_IN_FAULT,
    COIL_AIR_FAULT,
    FLOW_ML_MIN,
    FAN_RPM,
    BATTERY_MV,
    MAINS_OK,
    TRAY_OK,
    LEVEL_OK,
    FLOOR_DRY,
    SETTINGS_OK,  # 1 = the stored settings passed their checksum and schema
    ACK_SEQ,  # counts presses of the acknowledge button; a press is a change, never a level
    MODE,
    MODE_MIN,  # minutes the owner asks for
    MODE_SEQ,  # counts mode requests
    DROP_SEQ,  # counts how often all outputs, or the relay alone, dropped without being told to
    RELAY_OPEN,  # 1 = the freezer is dead behind its relay; a wire that came off reads 0
    ADVICE,  # a plan's advice for now, numbers of advice.py
    ADVICE_WANTED,  # 1 = the plan wants the room cooled
    ADVICE_MC,  # store target it asks for
    ADVICE_MIN,  # minutes for which it holds
    ADVICE_SEQ,  # counts pieces of advice
    SIZE,
) = range(37)

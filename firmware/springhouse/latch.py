"""Latched faults, cleared only by an acknowledgement newer than the fault."""

(
    LEVEL,  # store level low
    FLOOR,  # water on the floor
    NO_COOLING,
    PROBES,  # store probes disagree
    DRY,
    TRAY,
    STILL,  # fans commanded on, no air
    WELDED,  # the store is chilled although the compressor is switched off
) = [1 << n for n in range(8)]

FLOOD = LEVEL | FLOOR
STORE = FLOOD | NO_COOLING | PROBES | WELDED
ROOM = FLOOD | DRY | TRAY | STILL

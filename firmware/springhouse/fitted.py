"""Bits of the FITTED setting: which sensors the installation has. Unwired is not absent."""

(
    STORE_LOW,
    STORE_HIGH,
    ROOM,
    COIL_IN,
    COIL_AIR,
    TRAY,  # tray float; absent only with a declared open drain
    LEVEL,
    FLOOR,
    FLOW,
    FAN_TACH,
    MAINS,
    BATTERY,
    RELAY,  # contact that shows whether the freezer is live behind its relay
) = [1 << n for n in range(13)]

"""What an input means, for the judges: the adversary says what it did, the core is not asked.

Flags are 0 or 1. The judges see these, the memory before and after, and the outputs.
"""

(
    LOW_TRUSTED,
    HIGH_TRUSTED,
    LOW_MC,  # calibrated
    HIGH_MC,
    COIL_IN_TRUSTED,
    COIL_AIR_TRUSTED,
    ROOM_TRUSTED,
    COIL_IN_MC,
    COIL_AIR_MC,
    ROOM_MC,
    MAINS_BAD,
    FLOODED,  # level low or floor wet now
    SETTINGS_BAD,
    NO_START,
    FREE_MODE,  # the mode waives tariff windows
    OWNER_STOP,  # off or service
    PURGE,
    TRAY_OPEN,
    FLOW_SEEN,
    FAN_TURNS,
    BATTERY_MV,
    PRESSED,
    SERVICE,
    NO_FRAMES,  # probe slice: no frame for longer than allowed
    FRAME_BAD,
    FRAME_NEW,
    STEP_TOO_BIG,
    JUDGED,  # care slice: the store is seen, and not where an ice bank makes ice ...
    FALLEN,  # ... and it got colder by what counts as progress
    APART,  # the two store probes are far apart
    MELTED,  # the high probe shows that no ice is left
    BOOT,
    SIZE,
) = range(33)

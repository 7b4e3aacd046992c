"""The owner's modes. Each but AUTOMATIC runs out by itself; all stay under the interlock."""

(
    AUTOMATIC,
    OFF,
    CHARGE_NOW,
    COOL_NOW,
    QUIET,  # fans capped, no compressor start
    SERVICE,  # everything off; tray and level floats may be lifted without latching
    PURGE,  # pump only, to push air out of the loop
    FIRST_PULL_DOWN,  # the first chill from warm fill
    SIZE,
) = range(9)

# Longest time a request may ask for, minutes. 72 h still fits the 2**28 ms limit of a timer.
LIMIT_MIN = (0, 4320, 1440, 720, 720, 120, 30, 4320)

"""What a probe driver may say about its latest frame. Anything but NONE is a rejected frame."""

# A short-circuited bus answers nine zero bytes, which pass the CRC: ALL_ZERO has its own code.
NONE, ABSENT, CRC, ALL_ZERO, ALL_ONE, POWER_ON, CONFIG = range(7)

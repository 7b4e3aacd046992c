"""Output bits. De-energised (0) is the safe position of every one."""

COMPRESSOR, PUMP, FAN, FAN_FULL, ALARM = [1 << n for n in range(5)]

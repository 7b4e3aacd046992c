"""The last stage: repeats the rules that must hold whatever the table says. It can only take away.

A wrong row or output table must not get past it.
"""

from springhouse import condition, output

NO_COMPRESSOR = (
    condition.LOCK_FREEZE
    | condition.LOCK_BLIND
    | condition.LOCK_MAINS
    | condition.LOCK_STORE
    | condition.LOCK_REST
    | condition.LOCK_ALL
)
NO_FAN = condition.LOCK_TRAY | condition.LOCK_BATTERY | condition.LOCK_ROOM | condition.LOCK_ALL
NO_PUMP = NO_FAN | condition.LOCK_DRY | condition.LOCK_COIL

_MOTORS = output.COMPRESSOR | output.PUMP | output.FAN


def grant(asked: int, out: int, lock: int) -> int:
    """Output bits that may really be on.

    `asked` is what the states ask for, `out` what is on now, `lock` the interlock's word. Of
    several motors that want to start, fan goes before pump before compressor, one each 5 s.
    """
    granted = asked
    if lock & NO_COMPRESSOR:
        granted &= ~output.COMPRESSOR
    if lock & condition.LOCK_START and not out & output.COMPRESSOR:
        granted &= ~output.COMPRESSOR
    if lock & NO_PUMP:
        granted &= ~output.PUMP
    if lock & NO_FAN:
        granted &= ~output.FAN
    rising = granted & ~out & _MOTORS
    if lock & condition.LOCK_PAUSE:
        granted &= ~(rising & ~output.COMPRESSOR)
        rising &= output.COMPRESSOR
    if lock & condition.LOCK_SPACING:
        granted &= ~rising
    elif rising & output.FAN:
        granted &= ~(rising & ~output.FAN)
    elif rising & output.PUMP:
        granted &= ~(rising & ~output.PUMP)
    if lock & condition.LOCK_FAN_CAP or not granted & output.FAN:
        granted &= ~output.FAN_FULL
    return granted

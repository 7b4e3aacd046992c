"""The last stage: repeats the rules that must hold whatever the table says. It can only take away.

A wrong row or output table must not get past it.
"""

from springhouse import condition as C
from springhouse import output as O

NO_COMPRESSOR = (
    C.LOCK_FREEZE | C.LOCK_BLIND | C.LOCK_MAINS | C.LOCK_STORE | C.LOCK_REST | C.LOCK_ALL
)
NO_PUMP = C.LOCK_TRAY | C.LOCK_DRY | C.LOCK_COIL | C.LOCK_BATTERY | C.LOCK_ROOM | C.LOCK_ALL
NO_FAN = C.LOCK_TRAY | C.LOCK_BATTERY | C.LOCK_ROOM | C.LOCK_ALL

_MOTORS = O.COMPRESSOR | O.PUMP | O.FAN


def grant(asked: int, out: int, lock: int) -> int:
    """Output bits that may really be on.

    `asked` is what the states ask for, `out` what is on now, `lock` the interlock's word. Of
    several motors that want to start, fan goes before pump before compressor, one each 5 s.
    """
    granted = asked
    if lock & NO_COMPRESSOR:
        granted &= ~O.COMPRESSOR
    if lock & C.LOCK_START and not out & O.COMPRESSOR:
        granted &= ~O.COMPRESSOR
    if lock & NO_PUMP:
        granted &= ~O.PUMP
    if lock & NO_FAN:
        granted &= ~O.FAN
    rising = granted & ~out & _MOTORS
    if lock & C.LOCK_PAUSE:
        granted &= ~(rising & ~O.COMPRESSOR)
        rising &= O.COMPRESSOR
    if lock & C.LOCK_SPACING:
        granted &= ~rising
    elif rising & O.FAN:
        granted &= ~(rising & ~O.FAN)
    elif rising & O.PUMP:
        granted &= ~(rising & ~O.PUMP)
    if lock & C.LOCK_FAN_CAP or not granted & O.FAN:
        granted &= ~O.FAN_FULL
    return granted

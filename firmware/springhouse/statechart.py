"""The statechart as data: states, transition rows, output tables. No code.

Two regions run side by side. A row is (states it leads from as bits, must-have bits, must-not
bits, state it leads to); the rows of a region are tried in order and the first that fits is taken,
at most one a step. A state without a fitting row stays.
"""

from springhouse import condition as C
from springhouse import output as O

HOLD, CHARGE, FREEZE_GUARD, STORE_BLIND, STORE_LOCKED = range(5)
STORE_STATES = 5

(
    WAITING,
    DISCHARGE,
    PURGE,
    COIL_STOP,
    CONDENSATE_STOP,
    DRY_RUN_STOP,
    ROOM_BLIND,
    ROOM_LOCKED,
) = range(8)
ROOM_STATES = 8

_HOLD, _CHARGE, _GUARD, _BLIND, _LOCKED = [1 << state for state in range(STORE_STATES)]
_MUST_NOT_START = C.STORE_LOCK | C.FREEZE | C.STORE_FULL | C.BAR_RUN | C.BAR_START

STORE_ROWS = (
    (_HOLD | _CHARGE | _GUARD | _BLIND, C.STORE_LOCK, 0, STORE_LOCKED),
    (_HOLD | _CHARGE | _GUARD, 0, C.STORE_SEEN, STORE_BLIND),
    (_HOLD | _CHARGE, C.FREEZE, 0, FREEZE_GUARD),
    (_HOLD, C.STORE_SEEN | C.STORE_WARM | C.MAY_START | C.MAINS, _MUST_NOT_START, CHARGE),
    (_CHARGE, 0, C.MAINS, HOLD),
    (_CHARGE, C.BAR_RUN, 0, HOLD),
    (_CHARGE, C.BAR_START, C.RUNNING, HOLD),
    (_CHARGE, C.STORE_FULL, C.MUST_RUN, HOLD),
    (_GUARD, 0, C.FREEZE, HOLD),
    (_BLIND, C.STORE_SEEN, 0, HOLD),
    (_LOCKED, 0, C.STORE_LOCK, HOLD),
)

_RUN_MUST = C.ROOM_SEEN | C.WANTED | C.USEFUL | C.POWER
_RUN_MUST_NOT = (
    C.ROOM_LOCK | C.TRAY | C.DRY | C.COIL | C.BAR_ROOM | C.SPELL | C.PURGE_ASKED | C.PAUSE
)
_PURGE_MUST_NOT = C.ROOM_LOCK | C.TRAY | C.DRY | C.COIL | C.BAR_ROOM | C.SPELL | C.PAUSE

_WAIT, _DELIVER, _PURGE, _COIL, _WET, _DRY, _NO_ROOM, _SHUT = [1 << n for n in range(ROOM_STATES)]
_DRY_TRAY = _WAIT | _DELIVER | _PURGE | _COIL | _DRY | _NO_ROOM

ROOM_ROWS = (
    (_DRY_TRAY | _WET, C.ROOM_LOCK, 0, ROOM_LOCKED),
    (_DRY_TRAY, C.TRAY, 0, CONDENSATE_STOP),
    (_WAIT | _DELIVER | _PURGE, C.DRY, 0, DRY_RUN_STOP),
    (_DELIVER | _PURGE, C.COIL, 0, COIL_STOP),
    (_WAIT | _NO_ROOM, C.PURGE_ASKED | C.POWER, _PURGE_MUST_NOT, PURGE),
    (_WAIT | _DELIVER, 0, C.ROOM_SEEN, ROOM_BLIND),
    (_WAIT, _RUN_MUST | C.ROOM_WARM, _RUN_MUST_NOT | C.ROOM_COOL, DISCHARGE),
    (_DELIVER | _PURGE, 0, C.POWER, WAITING),
    (_DELIVER, 0, C.WANTED, WAITING),
    (_DELIVER, 0, C.USEFUL | C.MUST_DELIVER, WAITING),
    (_DELIVER, C.ROOM_COOL, C.MUST_DELIVER, WAITING),
    (_PURGE, 0, C.PURGE_ASKED, WAITING),
    (_DELIVER | _PURGE, C.BAR_ROOM, 0, WAITING),
    (_DELIVER | _PURGE, C.SPELL, 0, WAITING),
    (_DELIVER, C.PURGE_ASKED, 0, WAITING),
    (_COIL, 0, C.COIL, WAITING),
    (_WET, 0, C.TRAY, WAITING),
    (_DRY, 0, C.DRY, WAITING),
    (_NO_ROOM, C.ROOM_SEEN, 0, WAITING),
    (_SHUT, 0, C.ROOM_LOCK, WAITING),
)

# Output bits by state number.
STORE_OUTPUTS = (0, O.COMPRESSOR, 0, 0, O.ALARM)
ROOM_OUTPUTS = (0, O.PUMP | O.FAN | O.FAN_FULL, O.PUMP, 0, 0, 0, 0, O.ALARM)

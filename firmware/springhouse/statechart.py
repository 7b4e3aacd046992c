"""The statechart as data: states, transition rows, output tables. No code.

Two regions run side by side. A row is (states it leads from as bits, must-have bits, must-not
bits, state it leads to); the rows of a region are tried in order and the first that fits is taken,
at most one a step. A state without a fitting row stays.
"""

from springhouse import condition, output

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
_START_MUST = condition.STORE_SEEN | condition.STORE_WARM | condition.MAY_START | condition.MAINS
_BARRED = condition.BAR_RUN | condition.BAR_START
_START_MUST_NOT = condition.STORE_LOCK | condition.FREEZE | condition.STORE_FULL | _BARRED

STORE_ROWS = (
    (_HOLD | _CHARGE | _GUARD | _BLIND, condition.STORE_LOCK, 0, STORE_LOCKED),
    (_HOLD | _CHARGE | _GUARD, 0, condition.STORE_SEEN, STORE_BLIND),
    (_HOLD | _CHARGE, condition.FREEZE, 0, FREEZE_GUARD),
    (_HOLD, _START_MUST, _START_MUST_NOT, CHARGE),
    (_CHARGE, 0, condition.MAINS, HOLD),
    (_CHARGE, condition.BAR_RUN, 0, HOLD),
    (_CHARGE, condition.BAR_START, condition.RUNNING, HOLD),
    (_CHARGE, condition.STORE_FULL, condition.MUST_RUN, HOLD),
    (_GUARD, 0, condition.FREEZE, HOLD),
    (_BLIND, condition.STORE_SEEN, 0, HOLD),
    (_LOCKED, 0, condition.STORE_LOCK, HOLD),
)

_RUN_MUST = condition.ROOM_SEEN | condition.WANTED | condition.USEFUL | condition.POWER
_STOPS = condition.ROOM_LOCK | condition.TRAY | condition.DRY | condition.COIL
_PURGE_MUST_NOT = _STOPS | condition.BAR_ROOM | condition.SPELL | condition.PAUSE
_RUN_MUST_NOT = _PURGE_MUST_NOT | condition.PURGE_ASKED

_WAIT, _DELIVER, _PURGE, _COIL, _WET, _DRY, _NO_ROOM, _SHUT = [1 << n for n in range(ROOM_STATES)]
_DRY_TRAY = _WAIT | _DELIVER | _PURGE | _COIL | _DRY | _NO_ROOM

ROOM_ROWS = (
    (_DRY_TRAY | _WET, condition.ROOM_LOCK, 0, ROOM_LOCKED),
    (_DRY_TRAY, condition.TRAY, 0, CONDENSATE_STOP),
    (_WAIT | _DELIVER | _PURGE, condition.DRY, 0, DRY_RUN_STOP),
    (_DELIVER | _PURGE, condition.COIL, 0, COIL_STOP),
    (_WAIT | _NO_ROOM, condition.PURGE_ASKED | condition.POWER, _PURGE_MUST_NOT, PURGE),
    (_WAIT | _DELIVER, 0, condition.ROOM_SEEN, ROOM_BLIND),
    (_WAIT, _RUN_MUST | condition.ROOM_WARM, _RUN_MUST_NOT | condition.ROOM_COOL, DISCHARGE),
    (_DELIVER | _PURGE, 0, condition.POWER, WAITING),
    (_DELIVER, 0, condition.WANTED, WAITING),
    (_DELIVER, 0, condition.USEFUL | condition.MUST_DELIVER, WAITING),
    (_DELIVER, condition.ROOM_COOL, condition.MUST_DELIVER, WAITING),
    (_PURGE, 0, condition.PURGE_ASKED, WAITING),
    (_DELIVER | _PURGE, condition.BAR_ROOM, 0, WAITING),
    (_DELIVER | _PURGE, condition.SPELL, 0, WAITING),
    (_DELIVER, condition.PURGE_ASKED, 0, WAITING),
    (_COIL, 0, condition.COIL, WAITING),
    (_WET, 0, condition.TRAY, WAITING),
    (_DRY, 0, condition.DRY, WAITING),
    (_NO_ROOM, condition.ROOM_SEEN, 0, WAITING),
    (_SHUT, 0, condition.ROOM_LOCK, WAITING),
)

# Output bits by state number.
STORE_OUTPUTS = (0, output.COMPRESSOR, 0, 0, output.ALARM)
_DELIVERY = output.PUMP | output.FAN | output.FAN_FULL
ROOM_OUTPUTS = (0, _DELIVERY, output.PUMP, 0, 0, 0, 0, output.ALARM)

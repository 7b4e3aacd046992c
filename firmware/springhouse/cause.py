"""Why the board started: what its chip tells of its last reset, and what the last run left behind.

`machine.reset_cause()` alone tells little: power-on and brown-out are one to it on all three boards
(on the ESP32 the reset pin too), and on the Picos a reset by software looks like the watchdog's. So
the Picos' own registers are read where the profile names them. What cannot be told apart has one
name. docs/when-it-goes-wrong.md has a table.
"""

from springhouse.boots import ABNORMAL, FAULTED

(
    UNKNOWN,
    POWER,
    POWER_OR_SAG,
    POWER_SAG_OR_PIN,
    SAG,
    PIN,
    WATCHDOG,
    ASKED,
    FAULT,
    SOFTWARE,  # nobody asked this program: `flash`, the prompt
    SOFTWARE_OR_CRASH,  # or the interpreter crashed
    SOFT,
    SIZE,
) = range(13)
UNEXPECTED = (UNKNOWN, SAG, WATCHDOG, FAULT)

# What machine.reset_cause() returns, the same on the ports of all three boards (its constants).
_POWER_ON, _HARD, _WATCHDOG, _SOFT = 1, 2, 3, 5
# Watchdog's register REASON of both Picos' chips.
_TIMER, _FORCED = 1, 2


def tell(chip: int, reason: int, bits: int, pin: int, sag: int, left: int) -> int:
    """The cause.

    Args:
        chip: `machine.reset_cause()`.
        reason: the watchdog's register REASON, -1 where there is none.
        bits: the chip's register of power-up causes, -1 where there is none.
        pin: its bit for the reset pin.
        sag: its bit for a brown-out, 0 if it counts that as power-on.
        left: what the last run left behind, see boots.py.
    """
    if chip == _POWER_ON:
        if bits < 0:
            return POWER_SAG_OR_PIN
        if bits & sag:
            return SAG
        if bits & pin:
            return PIN
        return POWER if sag else POWER_OR_SAG
    if chip == _WATCHDOG and (reason < 0 or reason & _TIMER):
        return WATCHDOG
    if chip == _HARD or chip == _WATCHDOG and reason & _FORCED:
        if left == FAULTED:
            return FAULT
        if left != ABNORMAL:
            return ASKED
        return SOFTWARE_OR_CRASH if chip == _HARD else SOFTWARE
    return SOFT if chip == _SOFT else UNKNOWN

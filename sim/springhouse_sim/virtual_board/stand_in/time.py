# mypy: ignore-errors
"""Stand-in for `time`: virtual, wrapping at 2**30 like a 32-bit board's."""

import plant_wire

_PERIOD = 1 << 30
_HALF = 1 << 29


def ticks_ms():
    """Wrapped milliseconds."""
    return plant_wire.ticks()


def ticks_us():
    """Wrapped microseconds."""
    return plant_wire.ticks() * 1000 & _PERIOD - 1


def ticks_diff(late, early):
    """Signed wrapped difference."""
    return ((late - early + _HALF) & _PERIOD - 1) - _HALF


def ticks_add(tick, ms):
    """Wrapped sum; as on the board an overlong one raises."""
    if not -_HALF < ms < _HALF:
        raise OverflowError
    return (tick + ms) & _PERIOD - 1


def sleep_ms(ms):
    """Blocking wait."""
    plant_wire.advance(ms)


def sleep(s):
    """Blocking wait."""
    plant_wire.advance(int(s * 1000))

"""The two ways in which a step can wrong a timer, and the outputs that judges group."""

from springhouse import output

from springhouse_sim.abstract.fields import left_ms
from springhouse_sim.records import IntRecord

DELIVERY = output.PUMP | output.FAN
MOTORS = output.COMPRESSOR | DELIVERY
DAY_MS = 86400000
ACK_WAIT_MS = 60000  # from an acknowledged empty tray to delivery


def shortened(before: IntRecord, memory: IntRecord, slot: int, now: int) -> bool:
    """Whether a step brought a running wait forward, or stopped it."""
    return left_ms(memory, slot, now) < left_ms(before, slot, now)


def unlimited(before: IntRecord, memory: IntRecord, slot: int, now: int, most_ms: int) -> bool:
    """Whether a clock that limits does not run, runs for too long, or was pushed back."""
    was_ms = left_ms(before, slot, now)
    is_ms = left_ms(memory, slot, now)
    return is_ms < 0 or is_ms > most_ms or 0 <= was_ms < is_ms

"""Pulse trains: hall flow sensor and fan tachometer.

Two counters with the same `take()`: an interrupt that allocates nothing, and the hardware counter
of chips that have one. Edges lost while flash is written (tens of ms) only lower one reading.
"""

from array import array

TYPE_CHECKING = False
if TYPE_CHECKING:
    from springhouse.kinds import EdgePin, Edges, HardwareCounter

_MASK = 0x3FFFFFFF  # the count stays a small integer
_MOST = 1700  # edges a scan that are believed; more is noise, and would overflow below


class EdgeCount:
    """Counts falling edges in an interrupt."""

    def __init__(self, pin: "EdgePin") -> None:
        self._count = array("i", [0])
        self._taken = 0
        # The bound method is made once, here: making one inside an interrupt would allocate.
        pin.irq(handler=self._edge, trigger=pin.IRQ_FALLING, hard=True)

    def _edge(self, _pin: object) -> None:
        self._count[0] = (self._count[0] + 1) & _MASK

    def take(self) -> int:
        """Edges since the last call."""
        count = self._count[0]
        edges = (count - self._taken) & _MASK
        self._taken = count
        return edges


class HardwareCount:
    """The same from a hardware counter object with `value()`."""

    def __init__(self, counter: "HardwareCounter") -> None:
        self._counter = counter
        self._taken = counter.value()

    def take(self) -> int:
        """Edges since the last call."""
        count = self._counter.value()
        edges = (count - self._taken) & 0xFFFF  # right for counters of 16 bits and more
        self._taken = count
        return edges


class Flow:
    """Flow in mL/min from `pulses_l` pulses a litre (450 ... 10000)."""

    def __init__(self, count: "Edges", pulses_l: int) -> None:
        self._count = count
        self._pulses_l = pulses_l
        self.ml_min = 0

    def update(self, period_ms: int) -> int:
        """Rate over the `period_ms` since the last update; a late scan must not read as flow."""
        edges = min(self._count.take(), _MOST)
        if period_ms < 100:
            return self.ml_min
        # edges * 60e6 / (pulses_l * period), in two steps that stay inside 31 bits.
        per_min = edges * 60000 // min(period_ms, 100000)
        self.ml_min = per_min * 1000 // self._pulses_l
        return self.ml_min


class Tach:
    """Fan speed in rev/min from `pulses_rev` pulses a revolution."""

    def __init__(self, count: "Edges", pulses_rev: int) -> None:
        self._count = count
        self._pulses_rev = pulses_rev
        self.rpm = 0

    def update(self, period_ms: int) -> int:
        """Rate over the `period_ms` since the last update."""
        edges = min(self._count.take(), _MOST)
        if period_ms >= 100:
            self.rpm = edges * 60000 // (min(period_ms, 100000) * self._pulses_rev)
        return self.rpm

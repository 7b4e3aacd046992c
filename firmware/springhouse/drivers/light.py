"""Status light: how many short flashes every 4 s.

1 all well, 2 store is charged, 3 a sensor is not trusted, 4 waiting for a person, 5 settings or
proof missing; lit steadily = safe mode.
"""

TYPE_CHECKING = False
if TYPE_CHECKING:
    from springhouse.kinds import OutputPin

WELL, CHARGING, BLIND, LOCKED, UNPROVEN = range(1, 6)
SAFE = 0


class Light:
    """`show` is called every 200 ms."""

    def __init__(self, pin: "OutputPin") -> None:
        self._pin = pin
        self.code = SAFE

    def show(self, phase: int) -> None:
        """Drive the light for this 200 ms slice."""
        if self.code == SAFE:
            self._pin.value(1)
            return
        slot = phase % 20
        self._pin.value(1 if slot % 2 == 0 and slot < 2 * self.code else 0)

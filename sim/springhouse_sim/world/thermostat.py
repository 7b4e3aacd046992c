"""The plain thermostat of common practice: one probe, two temperatures, no schedule, no guard."""

from dataclasses import dataclass

from ..plant import given as U
from ..plant import state as X
from .stage import MINUTE_MS, Events, Stage
from .windows import Window

LOOK_MS = 2 * MINUTE_MS


@dataclass(frozen=True)
class PlainThermostat:
    """Switches the freezer by one probe in the water, pump and fan by one in the room.

    The compressor goes on at ``on_c`` and off at ``off_c``, at any hour; pump and fan go on in the
    wanted hours from ``room_on_c`` and off at ``room_off_c``. It looks every two minutes. For
    runs without a controller, whose outputs it writes.
    """

    on_c: float
    off_c: float
    room_on_c: float
    room_off_c: float
    wanted: tuple[Window, ...]
    probe: int = X.STORE_LOW_PROBE_C

    def act(self, stage: Stage) -> Events:
        """Look, switch, wait."""
        given, state = stage.given, stage.state
        while True:
            if state[self.probe] >= self.on_c:
                given[U.COMPRESSOR_RELAY] = 1.0
            elif state[self.probe] <= self.off_c:
                given[U.COMPRESSOR_RELAY] = 0.0
            minute = stage.calendar.week_min(stage.now_ms)
            if self.wanted and not any(window.contains(minute) for window in self.wanted):
                delivers = 0.0
            elif state[X.ROOM_PROBE_C] >= self.room_on_c:
                delivers = 1.0
            elif state[X.ROOM_PROBE_C] <= self.room_off_c:
                delivers = 0.0
            else:
                delivers = float(given[U.PUMP_DUTY])
            given[U.PUMP_DUTY] = given[U.FAN_DUTY] = delivers
            yield stage.until((stage.now_ms // LOOK_MS + 1) * LOOK_MS)

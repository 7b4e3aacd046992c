"""The plain thermostat of common practice: one probe, two temperatures, no schedule, no guard."""

from dataclasses import dataclass

from ..plant import given as given_slot
from ..plant import state as state_slot
from .stage import DAY_MS, MINUTE_MS, Events, Stage
from .windows import Window

LOOK_MS = 2 * MINUTE_MS
SOLID_SHARE = 0.75  # of the water as ice: the vessel gives way, and the plant's equations after it


class FrozenSolid(Exception):
    """The store froze through after so many ``days``; nothing that follows is worth a figure."""

    def __init__(self, days: float) -> None:
        self.days = days
        super().__init__(days)  # SimPy makes it anew from its arguments

    def __str__(self) -> str:
        return f"the store is frozen solid after {self.days:.1f} days"


@dataclass(frozen=True)
class PlainThermostat:
    """Switches the freezer by one probe in the water, pump and fan by one in the room.

    The compressor goes on at ``on_c`` and off at ``off_c``, at any hour; pump and fan go on in the
    wanted hours from ``room_on_c`` and off at ``room_off_c``. It looks every two minutes. For
    runs without a controller, whose outputs it writes.

    Raises:
        FrozenSolid: out of the run, when its probe does not see the ice that it makes.
    """

    on_c: float
    off_c: float
    room_on_c: float
    room_off_c: float
    wanted: tuple[Window, ...]
    probe: int = state_slot.STORE_LOW_PROBE_C

    def act(self, stage: Stage) -> Events:
        """Look, switch, wait."""
        given, state = stage.given, stage.state
        while True:
            ice_kg = sum(state[state_slot.ICE_KG + i] for i in range(state_slot.LAYERS))
            if ice_kg > SOLID_SHARE * state[state_slot.STORE_KG]:
                raise FrozenSolid(stage.now_ms / DAY_MS)
            if state[self.probe] >= self.on_c:
                given[given_slot.COMPRESSOR_RELAY] = 1.0
            elif state[self.probe] <= self.off_c:
                given[given_slot.COMPRESSOR_RELAY] = 0.0
            minute = stage.calendar.week_min(stage.now_ms)
            if self.wanted and not any(window.contains(minute) for window in self.wanted):
                delivers = 0.0
            elif state[state_slot.ROOM_PROBE_C] >= self.room_on_c:
                delivers = 1.0
            elif state[state_slot.ROOM_PROBE_C] <= self.room_off_c:
                delivers = 0.0
            else:
                delivers = float(given[given_slot.PUMP_DUTY])
            given[given_slot.PUMP_DUTY] = given[given_slot.FAN_DUTY] = delivers
            yield stage.until((stage.now_ms // LOOK_MS + 1) * LOOK_MS)

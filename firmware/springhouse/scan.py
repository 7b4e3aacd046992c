"""One scan: sensors -> readings -> controller -> outputs. The only caller of `Outputs.write`."""

from array import array

from springhouse import controller, output, reading, reason, setting, timekeeping
from springhouse import memory as cell
from springhouse import probes as probe_rules
from springhouse.drivers import light
from springhouse.drivers.outputs import Outputs
from springhouse.kept import Kept
from springhouse.owner import Owner

TYPE_CHECKING = False
if TYPE_CHECKING:
    from springhouse.parts import Sensors

try:
    from micropython import heap_lock, heap_unlock
except ImportError:  # tests that run under CPython

    def heap_lock() -> int:
        """Nothing to lock."""
        return 0

    def heap_unlock() -> int:
        """Nothing to unlock."""
        return 0


SCAN_MS = 1000
LATE_MS = 2000  # a gap between scans above this is late; the second in a row turns all off


def locked_step(memory: "array[int]", settings: "array[int]", readings: "array[int]") -> int:
    """The step with the heap locked: its frames stay on the stack, no collection begins inside it.

    Raises:
        MemoryError: the step tried to allocate.
    """
    heap_lock()
    try:
        return controller.step(memory, settings, readings)
    finally:
        heap_unlock()


class Scanner:
    """The three records and what feeds them."""

    def __init__(
        self, sensors: "Sensors", outputs: Outputs, owner: Owner, kept: Kept, pump_pm: int
    ) -> None:
        self.readings = array("i", [0] * reading.SIZE)
        self.memory = array("i", [0] * cell.SIZE)
        self.settings = owner.record.settings
        self._sensors = sensors
        self._outputs = outputs
        self._owner = owner
        self.kept = kept
        self._pump_pm = pump_pm
        self._scan_tick = -1  # of the last scan, -1 = none yet
        self._late = 0
        self.late_stops = 0
        self._gap_ms = 0  # longest between two scans since it was last taken
        controller.power_up(self.memory)
        kept.put(self.memory)

    def gather(self, now: int, gap_ms: int) -> None:
        """Fill the readings record. Allocates nothing."""
        readings, sensors, owner = self.readings, self._sensors, self._owner
        readings[reading.NOW_MS] = now
        readings[reading.WEEK_MIN] = owner.clock.week_min()
        probes = sensors.probes
        if probes is not None:
            for i in range(reading.PROBES):
                readings[reading.STORE_LOW_MC + i] = probes.mc[i]
                readings[reading.STORE_LOW_AT_MS + i] = probes.at_ms[i]
                readings[reading.STORE_LOW_FAULT + i] = probes.fault_of[i]
        air = sensors.air
        if sensors.room_from_air and air is not None:
            readings[reading.ROOM_MC] = air.mc
            readings[reading.ROOM_AT_MS] = air.at_ms
            readings[reading.ROOM_FAULT] = air.fault_code
        if sensors.flow is not None:
            readings[reading.FLOW_ML_MIN] = sensors.flow.update(gap_ms)
        if sensors.tach is not None:
            readings[reading.FAN_RPM] = sensors.tach.update(gap_ms)
        if sensors.battery is not None:
            readings[reading.BATTERY_MV] = sensors.battery.update()
        readings[reading.MAINS_OK] = sensors.mains.ok
        readings[reading.TRAY_OK] = sensors.tray.ok
        readings[reading.LEVEL_OK] = sensors.level.ok
        readings[reading.FLOOR_DRY] = sensors.floor.ok
        readings[reading.SETTINGS_OK] = 1 if not owner.record.fault else 0
        readings[reading.ACK_SEQ] = owner.ack_seq
        readings[reading.MODE] = owner.mode
        readings[reading.MODE_MIN] = owner.mode_min
        readings[reading.MODE_SEQ] = owner.mode_seq
        if owner.plan is not None:
            owner.plan.advise(owner.clock.utc_min, readings)
        if self._outputs.relay.take_drop():
            self._count_drop()
        readings[reading.RELAY_OPEN] = sensors.relay.ok

    def run(self, now: int) -> int:
        """Take one scan and drive the outputs; returns the output bits."""
        gap_ms = SCAN_MS if self._scan_tick < 0 else timekeeping.ticks_diff(now, self._scan_tick)
        self._scan_tick = now
        self._gap_ms = max(self._gap_ms, gap_ms)
        self._late = self._late + 1 if gap_ms > LATE_MS else 0
        if self._late >= 2:
            # Mode, latches, counts and waits stay: ticks are still true. The motors have stopped.
            self._outputs.off()
            self._count_drop()
            self._late = 0
            self.late_stops = min(self.late_stops + 1, 255)
            return 0
        self._owner.clock.advance(now)
        self.gather(now, gap_ms)
        if self._owner.changed:
            self._owner.changed = False
            self.memory[cell.PLAN_SINCE_MIN] = -1
            self.memory[cell.PLAN_LENGTH_MIN] = 0
        latched = self.memory[cell.LATCH]
        out = locked_step(self.memory, self.settings, self.readings)
        if self.memory[cell.LATCH] & ~latched:
            self._outputs.muted = False  # whoever muted the last alarm has not heard this one
        if self.kept.look(self.memory, now, out):
            self._write(out & self._outputs.bits)  # what stops does not wait for the flash
            self.kept.save()
        self._write(out)
        return out

    def _write(self, bits: int) -> None:
        """Drive the outputs."""
        self._outputs.write(
            bits,
            self._pump_pm,
            self.settings[setting.FAN_QUIET_PM],
            self.settings[setting.FAN_FULL_PM],
        )

    def _count_drop(self) -> None:
        """Tell the controller that motors stopped without its doing."""
        self.readings[reading.DROP_SEQ] = (self.readings[reading.DROP_SEQ] + 1) & 0xFFFF

    def take_gap_ms(self) -> int:
        """Longest time between two scans since the last call."""
        gap_ms, self._gap_ms = self._gap_ms, 0
        return gap_ms

    def why(self) -> "tuple[int, int, int, int]":
        """Reason and ms left of the store side and of the room side, see reason.py; -1 none.

        No outputs may depend on being able to say why.
        """
        records = (self.memory, self.settings, self.readings)
        try:
            return reason.store_reason(*records) + reason.room_reason(*records)
        except MemoryError:
            raise
        except Exception:
            return (-1, -1, -1, -1)

    def inputs(self) -> int:
        """The two-valued inputs as bits, for logs: mains, tray, level, floor, settings."""
        readings = self.readings
        word = 0
        for n in range(5):
            if readings[reading.MAINS_OK + n]:
                word |= 1 << n
        return word

    def rh_cpc(self) -> int:
        """Relative humidity in 1/100 %, 0 if not known."""
        air = self._sensors.air
        return air.rh_cpc if air is not None and air.fault_code == 0 else 0

    def light_code(self, proven: bool) -> int:
        """What the status light shows."""
        if self.memory[cell.LATCH]:
            return light.LOCKED
        if not proven:
            return light.UNPROVEN
        for i in range(reading.PROBES):
            if probe_rules.fitted(self.settings, i) and not probe_rules.trusted(self.memory, i):
                return light.BLIND
        return light.CHARGING if self.memory[cell.OUT] & output.COMPRESSOR else light.WELL

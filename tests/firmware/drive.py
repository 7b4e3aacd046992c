"""A small harness: the three records, a clock that may start anywhere, and shorthand to move on."""

from __future__ import annotations

import zlib
from array import array
from collections.abc import Callable, Mapping
from typing import TypeAlias

from springhouse import (
    condition,
    controller,
    fitted,
    horizon,
    latch,
    mode,
    near,
    output,
    reading,
    restart,
    setting,
    statechart,
    timekeeping,
    vouching,
    week,
)
from springhouse import memory as cell

Ask: TypeAlias = Callable[..., int]
EVERY_SENSOR = (1 << 13) - 1
SECOND_MS = 1000
MINUTE_MS = 60000
PROBES = ("STORE_LOW", "STORE_HIGH", "ROOM", "COIL_IN", "COIL_AIR")

HEALTHY = {
    "WEEK_MIN": 720,
    "STORE_LOW_MC": 8000,
    "STORE_HIGH_MC": 8000,
    "ROOM_MC": 20000,
    "COIL_IN_MC": 8000,
    "COIL_AIR_MC": 20000,
    "FLOW_ML_MIN": 0,
    "FAN_RPM": 0,
    "BATTERY_MV": 13200,
    "MAINS_OK": 1,
    "TRAY_OK": 1,
    "LEVEL_OK": 1,
    "FLOOR_DRY": 1,
    "SETTINGS_OK": 1,
    "RELAY_OPEN": 1,
}


class Drive:
    """One controller and the readings it is shown.

    Every probe gets a fresh frame at each tick unless its name is in `silent`. While `honest`,
    flow and fan speed follow the outputs of the step before, so that pump and fans look healthy.
    """

    def __init__(
        self,
        origin: int = 0,
        fit: int = EVERY_SENSOR,
        settings: Mapping[str, int] | None = None,
        **readings: int,
    ) -> None:
        self.settings = array("i", [0] * setting.SIZE)
        setting.fill_defaults(self.settings)
        self.settings[setting.FITTED] = fit
        for name, value in (settings or {}).items():
            self.settings[getattr(setting, name)] = value
        assert setting.first_fault(self.settings) == -1, setting.first_fault(self.settings)
        self.memory = array("i", [0] * cell.SIZE)
        self.readings = array("i", [0] * reading.SIZE)
        self.readings[reading.NOW_MS] = origin
        self.clock_ms = 0  # true time since the first tick; never wraps
        self.silent: set[str] = set()
        self.honest = True
        self.out = 0
        self.set(**{**HEALTHY, **readings})
        self.boot()

    # Making things happen.

    def boot(self) -> None:
        """A reset of a board that kept nothing: memory is lost, readings go on."""
        controller.power_up(self.memory)
        self.out = 0

    def reset(self) -> None:
        """A reset or a power cut of a board that keeps what outlives one."""
        restart.forget(self.memory, self.readings[reading.NOW_MS])
        self.out = 0

    def set(self, **changes: int) -> None:
        """Change readings by slot name."""
        for name, value in changes.items():
            self.readings[getattr(reading, name)] = value

    def store(self, mc: int) -> None:
        """Both store probes and the coil inlet at one temperature."""
        self.set(STORE_LOW_MC=mc, STORE_HIGH_MC=mc, COIL_IN_MC=mc)

    def vouch(self) -> None:
        """Below 4 °C: both store probes agreed on the way down, and the top has not risen since."""
        self.memory[cell.FLAGS] |= cell.FLAG_VOUCHED
        self.memory[cell.FLAGS] &= ~(cell.FLAG_SUNK | cell.FLAG_FREEZE)
        self.memory[cell.TOP_LEAST_MC] = vouching.FAR_MC

    def window(self, n: int, kind: int, days: int, start: int, end: int) -> None:
        """Write window `n` (0 ..) into the settings."""
        base = setting.WINDOW_1_KIND + n * setting.WINDOW_STRIDE
        for k, value in enumerate((kind, days, start, end)):
            self.settings[base + k] = value

    def ask(self, wanted: int, minutes: int = 60) -> None:
        """The owner asks for a mode."""
        self.set(MODE=wanted, MODE_MIN=minutes, MODE_SEQ=self.readings[reading.MODE_SEQ] + 1)

    def advise(self, what: int, target_mc: int, minutes: int, wanted: int = 0) -> None:
        """A plan gives advice."""
        self.set(ADVICE=what, ADVICE_MC=target_mc, ADVICE_MIN=minutes, ADVICE_WANTED=wanted)
        self.readings[reading.ADVICE_SEQ] += 1

    def press(self) -> None:
        """The owner presses acknowledge."""
        self.readings[reading.ACK_SEQ] += 1

    def show(self, dt_ms: int) -> None:
        """Time goes on; fresh frames, honest flow and fan speed."""
        self.clock_ms += dt_ms
        now = timekeeping.ticks_add(self.readings[reading.NOW_MS], dt_ms)
        self.readings[reading.NOW_MS] = now
        for name in PROBES:
            if name not in self.silent:
                self.readings[getattr(reading, name + "_AT_MS")] = now
        if self.honest:
            self.readings[reading.FLOW_ML_MIN] = 1000 if self.out & output.PUMP else 0
            self.readings[reading.FAN_RPM] = 900 if self.out & output.FAN else 0

    def tick(self, dt_ms: int = SECOND_MS, **changes: int) -> int:
        """One scan `dt_ms` after the last."""
        self.set(**changes)
        self.show(dt_ms)
        return self.scan()

    def scan(self) -> int:
        """One scan of the readings as they stand."""
        self.out = controller.step(self.memory, self.settings, self.readings)
        return self.out

    def seconds(self, n: int, **changes: int) -> int:
        """`n` scans of a second."""
        self.set(**changes)
        for _ in range(n):
            self.tick()
        return self.out

    def minutes(self, n: int, scan_ms: int = 10000, **changes: int) -> int:
        """`n` minutes at a slow scan: enough where nothing faster than `scan_ms` is at stake."""
        self.set(**changes)
        for _ in range(n * MINUTE_MS // scan_ms):
            self.tick(scan_ms)
        return self.out

    def until(self, wanted: Callable[[Drive], bool], seconds: int) -> int:
        """Scan until `wanted(self)`; the seconds it took. Fails after `seconds`."""
        for n in range(seconds + 1):
            if wanted(self):
                return n
            self.tick()
        raise AssertionError(f"not within {seconds} s: {self}")

    def settle(self) -> None:
        """Scan until a scan changes nothing but time: the fixed point a jump may start from."""
        for _ in range(100):
            before = self.memory.tobytes()
            self.tick()
            if self.memory.tobytes() == before:
                return
        raise AssertionError(f"does not settle: {self}")

    # Looking at it.

    @property
    def store_state(self) -> int:
        return self.memory[cell.STORE_STATE]

    @property
    def room_state(self) -> int:
        return self.memory[cell.ROOM_STATE]

    @property
    def compressor(self) -> bool:
        return bool(self.out & output.COMPRESSOR)

    @property
    def pump(self) -> bool:
        return bool(self.out & output.PUMP)

    @property
    def fan(self) -> bool:
        return bool(self.out & output.FAN)

    @property
    def full_fan(self) -> bool:
        return bool(self.out & output.FAN_FULL)

    def latched(self, bit: int) -> bool:
        return bool(self.memory[cell.LATCH] & bit)

    def digest(self) -> int:
        return zlib.crc32(self.memory.tobytes(), self.out)

    def horizon(self, ask: Ask = horizon.horizon) -> tuple[int, array[int]]:
        """What is said of the memory there is, with the notes of a step that comes now."""
        watch = array("i", [0] * (2 * reading.SIZE))
        memory, readings = array("i", self.memory), array("i", self.readings)
        readings.extend([0] * (near.SIZE - reading.SIZE))
        controller.step(memory, self.settings, readings)
        return ask(self.memory, self.settings, readings, watch), watch

    def __repr__(self) -> str:
        return (
            f"<{self.clock_ms / 1000:.0f} s store {self.store_state} room {self.room_state} "
            f"out {self.out:05b} latch {self.memory[cell.LATCH]:07b} mode {self.memory[cell.MODE]}>"
        )


__all__ = [
    "EVERY_SENSOR",
    "Drive",
    "cell",
    "condition",
    "fitted",
    "latch",
    "mode",
    "output",
    "reading",
    "setting",
    "statechart",
    "timekeeping",
    "week",
]

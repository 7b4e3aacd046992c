"""The bench with the real main.py on the virtual board in place of the in-process controller.

Readings become frames, pulses, levels and link commands; what the board drives becomes output
bits. The board decides during a tick and the plant obeys at the next one, as in reality.

Beside it the in-process controller follows the same readings without driving anything; the two
lists of transitions are what a comparison wants.
"""

import json
from array import array
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, TypeAlias

from springhouse import controller, fault, fitted, output, reading, restart, setting
from springhouse import memory as cell
from springhouse.boards import pico_w
from springhouse.record import Record

from .. import gauge, sensing, ticks
from .. import sense as sense_slot
from ..bench import Bench, OnRows, Pace
from ..plant import tap
from ..records import IntRecord
from ..trace import Trace
from .flash_folder import make_flash
from .inputs import POWER_ON_PAD, scratchpad, serial
from .process import BoardProcess, Reset

ROLES = ("store_low", "store_high", "room", "coil_in", "coil_air")
FLOW_PULSES_L = 5880
FAN_PULSES_REV = 2
BATTERY_RATIO_PM = 10000
MONDAY_UTC_S = 1_767_571_200  # Monday 5 January 2026, 00:00: board time with a zero offset
LOOPS = (
    (pico_w.MAINS, reading.MAINS_OK),
    (pico_w.TRAY, reading.TRAY_OK),
    (pico_w.LEVEL, reading.LEVEL_OK),
    (pico_w.FLOOR, reading.FLOOR_DRY),
    (pico_w.RELAY_CONTACT, reading.RELAY_OPEN),
)
HEAD_START_S = 2  # the board's first scan comes just before the plant's first tick


# Scan number, store state, room state, output bits, latches, owner's mode.
Transition: TypeAlias = tuple[int, int, int, int, int, int]


def _became(record: Mapping[str, Any]) -> tuple[int, int, int, int, int]:
    return (*record["st"], record["out"], record["lat"], record["md"][0])


def frame_of(mc: int, code: int) -> bytes | None:
    """Return the scratchpad that makes the driver see a reading (m°C) or a fault code."""
    good = scratchpad(mc / 1000)
    if code == fault.NONE:
        return good
    if code == fault.ALL_ZERO:
        return bytes(9)
    if code == fault.CRC:
        return bytes([good[0] ^ 1]) + good[1:]
    if code == fault.POWER_ON:
        return POWER_ON_PAD
    return None  # the line stays high


def wiring_for(settings: IntRecord) -> dict[str, object]:
    """Return the wiring of a board that has what the settings call fitted."""
    fits = settings[setting.FITTED]
    probes = {role: serial(i + 1).hex() for i, role in enumerate(ROLES) if fits & 1 << i}
    return {
        "board": pico_w.NAME,
        "probes": probes,
        "probe_s": 1,
        "flow_pulses_l": FLOW_PULSES_L if fits & fitted.FLOW else 0,
        "fan_pulses_rev": FAN_PULSES_REV if fits & fitted.FAN_TACH else 0,
        "battery_ratio_pm": BATTERY_RATIO_PM if fits & fitted.BATTERY else 0,
    }


class BoardController:
    """A virtual board that takes readings records and gives output bits and states.

    Args:
        flash: empty folder that becomes the board's flash.
        settings: settings record to store on it.
        tick: tick of the board's clock when it is switched on.
        firmware: what is flashed, as `make_flash` takes it.
    """

    def __init__(
        self, flash: Path, settings: IntRecord, tick: int = 0, firmware: Path | None = None
    ) -> None:
        record = Record()
        for slot in range(setting.SIZE):
            record.settings[slot] = int(settings[slot])
        self._full_duty = settings[setting.FAN_FULL_PM] * 65535 // 1000
        self._fits = settings[setting.FITTED]
        make_flash(flash, wiring_for(settings), record.encode(), firmware)
        self.process: BoardProcess | None = None
        self.resets: list[Reset] = []
        self.record: Mapping[str, Any] = {}
        self.transitions: list[Transition] = []
        self._flash = flash
        self._tick = tick
        self._asked: tuple[int, int] = (0, 0)
        self._clock_off_s: int | None = None

    def power(self, readings: IntRecord) -> None:
        """Switch on and let it settle on these readings."""
        self.process = BoardProcess(self._flash, tick=self._tick)
        self._asked = (readings[reading.ACK_SEQ], readings[reading.MODE_SEQ])
        self._clock_off_s = None
        self._show(readings)
        self.resets += self.process.run_slice(HEAD_START_S * 1000)
        self._read_lines()

    def off(self) -> None:
        """Take the supply away."""
        if self.process is not None:
            self.process.close()
            self.process = None

    def _show(self, readings: IntRecord) -> None:
        assert self.process is not None
        inputs = self.process.inputs
        for i in range(reading.PROBES):
            frame = frame_of(
                readings[reading.STORE_LOW_MC + i], readings[reading.STORE_LOW_FAULT + i]
            )
            inputs.pad(serial(i + 1), frame)
        for pin, slot in LOOPS:
            inputs.level(pin, 0 if readings[slot] else 1)
        inputs.pulses(pico_w.FLOW, readings[reading.FLOW_ML_MIN] * FLOW_PULSES_L / 60000)
        inputs.pulses(pico_w.TACH, readings[reading.FAN_RPM] * FAN_PULSES_REV / 60)
        pin_mv = readings[reading.BATTERY_MV] * 1000 / BATTERY_RATIO_PM
        inputs.adc(pico_w.BATTERY, round((pin_mv + 0.5) * 65536 / pico_w.ADC_FULL_MV))

    def _tell(self, readings: IntRecord, week_s: int) -> None:
        """Pass on what the owner and the world's clock say."""
        assert self.process is not None
        commands: list[dict[str, object]] = []
        if readings[reading.WEEK_MIN] >= 0:
            off_s = week_s - self.process.now_ms // 1000
            if self._clock_off_s != off_s and (self._clock_off_s or 0) - off_s != sensing.WEEK_S:
                utc_s = MONDAY_UTC_S + week_s
                commands.append({"cmd": "set-time", "utc_s": utc_s, "sure": True})
            self._clock_off_s = off_s
        asked = (readings[reading.ACK_SEQ], readings[reading.MODE_SEQ])
        if asked[0] != self._asked[0]:
            commands.append({"cmd": "ack"})
        if asked[1] != self._asked[1]:
            mode, minutes = readings[reading.MODE], readings[reading.MODE_MIN]
            commands.append({"cmd": "mode", "mode": mode, "minutes": minutes})
        self._asked = asked
        for command in commands:
            self.process.send(json.dumps(command) + "\n")

    def tick(self, readings: IntRecord, week_s: int) -> None:
        """Live for a second on these readings."""
        assert self.process is not None
        self._show(readings)
        self._tell(readings, week_s)
        self.resets += self.process.run_slice(ticks.TICK_MS)
        self._read_lines()

    def _read_lines(self) -> None:
        assert self.process is not None
        for line in self.process.lines:
            if line.startswith('{"up"'):
                self.record = json.loads(line)
                became = _became(self.record)
                if not self.transitions or self.transitions[-1][1:] != became:
                    self.transitions.append((self.record["up"], *became))
        self.process.lines.clear()

    def out(self) -> int:
        """Return the output bits as the pins stand."""
        if self.process is None:
            return 0
        pins = self.process.outputs
        bits = output.COMPRESSOR if pins.get(pico_w.RELAY) else 0
        bits |= output.PUMP if pins.get(pico_w.PUMP) else 0
        fan = pins.get(pico_w.FAN, 0)
        bits |= output.FAN if fan else 0
        bits |= output.FAN_FULL if fan and fan == self._full_duty else 0
        return bits | (int(self.record.get("out", 0)) & output.ALARM)

    def fill_memory(self, memory: IntRecord) -> None:
        """Write what the board reports of itself into a memory record."""
        if not self.record:
            return
        memory[cell.STORE_STATE], memory[cell.ROOM_STATE] = self.record["st"]
        memory[cell.STORE_WORD], memory[cell.ROOM_WORD], memory[cell.LOCK_WORD] = self.record["w"]
        memory[cell.LATCH] = self.record["lat"]
        memory[cell.MODE] = self.record["md"][0]
        memory[cell.OUT] = self.out()


class OnBoardBench(Bench):
    """A bench whose controller is a virtual board. Invariants are not observed here.

    Args as `Bench`; ``flash`` is an empty folder, ``firmware`` what is flashed.
    """

    def __init__(
        self, *args: Any, flash: Path, firmware: Path | None = None, **kwargs: Any
    ) -> None:
        kwargs["with_controller"] = False
        kwargs["pace"] = Pace.PLAIN
        super().__init__(*args, **kwargs)
        # Plain integers: those of the compiled loop's records overflow when interpreted.
        self._settings = array("i", [int(value) for value in self.board.settings])
        self._readings = array("i", bytes(4 * reading.SIZE))
        origin = int(self.sense[sense_slot.TICK_ORIGIN_MS])
        self.controller = BoardController(flash, self._settings, origin, firmware)
        self._follower = array("i", bytes(4 * cell.SIZE))
        controller.power_up(self._follower)
        self.followed: list[Transition] = []  # transitions of the in-process controller, by tick

    def run(
        self,
        days: float,
        on_progress: Callable[[float], None] | None = None,
        on_rows: OnRows | None = None,
    ) -> Trace:
        """Run once, as `Bench.run`; the board is switched off at the end."""
        try:
            return super().run(days, on_progress, on_rows)
        finally:
            self.controller.off()

    def _advance(self, from_ms: int, to_ms: int) -> None:
        """Tick the board, then let the compiled loop advance the plant to the next tick."""
        if from_ms == 0:
            ticks.settle(self.tank)  # the loop itself does it behind the first tick
        while from_ms < to_ms:
            if from_ms % ticks.TICK_MS == 0:
                self._tick(from_ms // ticks.TICK_MS)
            end = min(to_ms, from_ms - from_ms % ticks.TICK_MS + ticks.TICK_MS)
            super()._advance(from_ms, end)
            from_ms = end

    def _tick(self, tick: int) -> None:
        x, u, _, _, t = self.tank
        memory, settings, readings = self.board.memory, self._settings, self._readings
        counts = self._log.counts
        sense = array("i", [int(value) for value in self.sense])
        if t[tap.POWERED] > 0.5:
            sensing.read(readings, settings, sense, x, u, t, tick)
            if self.controller.process is None:
                self.controller.power(readings)
                counts[gauge.ALIVE] = 1
                counts[gauge.BOOTS] += 1
            self._follow(tick)
            week_s = (
                sense[sense_slot.CLOCK_S] + sense[sense_slot.CLOCK_SHIFT_S] + tick
            ) % sensing.WEEK_S
            out = self.controller.out()
            self.controller.fill_memory(memory)
            self.controller.tick(readings, week_s)
        else:
            if counts[gauge.ALIVE]:
                restart.forget(self._follower, self._readings[reading.NOW_MS])
            self.controller.off()
            counts[gauge.ALIVE] = 0
            out = 0
        ticks.cut_out(self.sense, x)
        ticks.drive(u, settings, self.sense, out)

    def _follow(self, tick: int) -> None:
        memory = self._follower
        controller.step(memory, self._settings, self._readings)
        states = (memory[cell.STORE_STATE], memory[cell.ROOM_STATE])
        became = (*states, memory[cell.OUT], memory[cell.LATCH], memory[cell.MODE])
        if not self.followed or self.followed[-1][1:] != became:
            self.followed.append((tick, *became))

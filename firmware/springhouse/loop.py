"""The running board: tasks for sensors, panel and link, and one control task that drives outputs.

Any exception, in any task, turns everything off first and ends the loop; the watchdog or an
explicit reset follows. Nothing is restarted in place.
"""

import asyncio
import gc
import time

from springhouse import beats, blackbox, timekeeping
from springhouse import memory as cell
from springhouse.beats import Beats
from springhouse.drivers.contact import SAMPLE_MS
from springhouse.drivers.outputs import PulsedRelay
from springhouse.drivers.probe import ProbeBus
from springhouse.owner import NO_RESET
from springhouse.scan import SCAN_MS
from springhouse.trial import LENGTH_S, RUNNING

TYPE_CHECKING = False
if TYPE_CHECKING:
    from springhouse.app import Board
    from springhouse.kinds import AirChip, Watchdog

AIR_MS = 2000
_COLLECT_SCANS = 10
# Bytes; with less free behind a scan what can be collected is collected now, so that what the next
# second takes (some 4 kB) does not make a collection begin inside a step.
_FREE_LEAST = 12_000
_RTC_S = 3600  # the chip keeps better time than the ticks
# A scan comes 950 ms after a probe round begins, so that it sees that round's frames (800 ms to
# convert, 13 ms to read each of five).
_FIRST_SCAN_MS = 1950
# Seven samples take 1.2 s; each may be as late as the contacts' beat allows.
_SETTLE_MS = 12000
_BATCH_S = blackbox.BATCH_MS // 1000


def ticks() -> int:
    """Milliseconds as the core counts them: 0 .. 2**30 - 1 also where the port counts further."""
    tick: int = time.ticks_ms()  # type: ignore[assignment]
    return tick & timekeeping.LAST


async def sleep_until(due: int) -> None:
    """Wait for a tick; after a hold-up all that is due goes first, or it would seem silent."""
    await asyncio.sleep_ms(max(0, timekeeping.ticks_diff(due, ticks())))
    if timekeeping.ticks_diff(ticks(), due) > SAMPLE_MS:
        await asyncio.sleep_ms(0)


class TaskFailed(Exception):
    """(code, words): a task of the loop raised or is silent; the outputs are already off."""


class Loop:
    """Holds the parts, made by app.py, and runs them."""

    def __init__(self, board: "Board") -> None:
        self.board = board
        self.failed: object = None  # what a task raised
        self.watchdog: Watchdog | None = None
        self.uptime_s = 0
        self._out = 0
        self._states = 0
        self._latch = 0
        sensors = board.sensors
        self._pulsed = isinstance(board.outputs.relay, PulsedRelay)
        required = [sensors.probes is not None, True, sensors.air is not None, self._pulsed]
        self._start = ticks()  # grid of probe rounds and scans
        self.beats = Beats(self._start, required)

    def on_exception(self, _loop: object, context: "dict[str, object]") -> None:
        """Off first, without allocating; the control task ends the loop at its next step."""
        self.board.outputs.off()
        self.failed = context["exception"]
        self.watchdog = None  # never fed again

    async def probes(self, bus: ProbeBus) -> None:
        """A round of the 1-wire probes each second or two, in step with the scans."""
        due = self._start
        while True:
            await bus.measure(ticks)
            self.beats.beat(beats.PROBES, ticks())
            due = timekeeping.ticks_add(due, self.board.probe_s * 1000)
            wait_ms = timekeeping.ticks_diff(due, ticks())
            while wait_ms < 0:  # held up: whole rounds are left out
                due = timekeeping.ticks_add(due, SCAN_MS)
                wait_ms += SCAN_MS
            await asyncio.sleep_ms(wait_ms)

    async def air(self, chip: "AirChip") -> None:
        """The air chip each two seconds."""
        while True:
            await chip.measure(ticks)
            self.beats.beat(beats.AIR, ticks())
            await asyncio.sleep_ms(AIR_MS)

    async def relay(self) -> None:
        """Half waves of the pulsed relay."""
        while True:
            now = ticks()
            self.board.outputs.relay.beat(now)
            self.beats.beat(beats.RELAY, now)
            await asyncio.sleep_ms(PulsedRelay.BEAT_MS)

    async def panel(self) -> None:
        """Contacts, buttons, light and sounder each 200 ms."""
        board = self.board
        panel = board.panel
        phase = 0
        presses = 0
        while True:
            board.sensors.sample_contacts()
            panel.sample()
            if panel.button.presses != presses:
                presses = panel.button.presses
                board.outputs.muted = True
                board.owner.acknowledge()
            step = panel.target_step()
            if step:
                board.owner.nudge_target(step)
            panel.light.show(phase)
            board.outputs.beep(phase)
            phase = (phase + 1) % 1000
            self.beats.beat(beats.CONTACTS, ticks())
            await asyncio.sleep_ms(SAMPLE_MS)

    def _check(self, now: int) -> None:
        """Everything off and out if a task has raised or is silent."""
        if self.failed is not None:
            raise TaskFailed(blackbox.RAISED, repr(self.failed))
        late = self.beats.late(now)
        if late != beats.NONE_LATE:
            self.board.outputs.off()
            raise TaskFailed(blackbox.SILENT + late, "silent")

    def _feed(self) -> None:
        if self.watchdog is not None:
            self.watchdog.feed()

    async def settle(self) -> int:
        """Wait, all off, until the contacts have settled; returns the tick of the first scan.

        Contacts start in trouble: a scan before they were sampled often enough would latch a
        flood, however the loop was held up.
        """
        due = timekeeping.ticks_add(self._start, _FIRST_SCAN_MS)
        await sleep_until(due)
        while self.board.sensors.unsettled:
            now = ticks()
            self._check(now)
            if timekeeping.ticks_diff(now, self._start) > _SETTLE_MS:
                raise TaskFailed(blackbox.UNSETTLED, "contacts not settled")
            self._feed()
            due = timekeeping.ticks_add(due, SCAN_MS)
            await sleep_until(due)
        return due

    async def control(self) -> None:
        """A scan a second; the only place that feeds the watchdog."""
        board = self.board
        due = await self.settle()
        scans = 0
        while True:
            now = ticks()
            self._check(now)
            out = board.scanner.run(now)
            self._feed()
            self.uptime_s += 1
            try:
                self._record(out)
            except MemoryError:  # this second goes unreported, the board is controlled all the same
                board.shortages = min(board.shortages + 1, 9999)
                scans = 0
            if scans % _COLLECT_SCANS == 0 or gc.mem_free() < _FREE_LEAST:
                gc.collect()
            scans += 1
            if board.owner.reset != NO_RESET:
                return
            due = timekeeping.ticks_add(due, SCAN_MS)
            if timekeeping.ticks_diff(due, ticks()) < 0:  # late: lost scans are not made up for
                due = timekeeping.ticks_add(ticks(), SCAN_MS)
            await sleep_until(due)

    def _record(self, out: int) -> None:
        """Report, black box, light: after the outputs are driven."""
        board = self.board
        memory = board.scanner.memory
        board.link.limit.second()
        board.panel.light.code = board.scanner.light_code(board.proven)
        states = memory[cell.STORE_STATE] << 4 | memory[cell.ROOM_STATE]
        if out != self._out or states != self._states or memory[cell.LATCH] != self._latch:
            self._out, self._states, self._latch = out, states, memory[cell.LATCH]
            board.note(blackbox.TRANSITION, 0, self.uptime_s)
        board.note_changes(self.uptime_s)
        if self.uptime_s % 60 == 0:
            board.note(blackbox.MINUTE, min(gc.mem_free() >> 4, 0xFFFF), self.uptime_s)
        if self.uptime_s % _BATCH_S == 0:
            board.box.flush()  # between two sensor frames: writing flash holds up everything
        board.boots.lived(self.uptime_s, board.scanner.kept.survived)
        self._end_trial()
        self._keep_time()
        if board.test.second(self.uptime_s):
            board.note_test(self.uptime_s)
        if self.uptime_s % board.report_s == 0 and not board.console.busy():
            board.console.start(board.line(self.uptime_s))

    def _end_trial(self) -> None:
        """A version that has run for its time becomes the current one."""
        trial = self.board.trial
        if trial.state == RUNNING and self.uptime_s >= LENGTH_S and self.uptime_s % 60 == 0:
            if trial.keep():
                self.board.note(blackbox.TRIAL, blackbox.KEPT, self.uptime_s)

    def _keep_time(self) -> None:
        """Clock and clock chip: what the owner sets goes before what the chip says."""
        owner, sensors = self.board.owner, self.board.sensors
        if owner.clock_set:
            owner.clock_set = False
            self.board.note(blackbox.CLOCK, 0, self.uptime_s)
            clock = owner.clock
            if sensors.rtc is not None and not sensors.rtc.write(clock.utc_min, clock.second):
                sensors.rtc = None  # it would bring the old time back
        elif self.uptime_s % _RTC_S == 0 and sensors.rtc is not None:
            utc_min, second = sensors.rtc.read()
            owner.clock.believe(utc_min, second)

    async def run(self) -> None:
        """Run until a reset is asked for; whatever else ends it has turned everything off."""
        asyncio.get_event_loop().set_exception_handler(self.on_exception)
        self._start = ticks()
        sensors = self.board.sensors
        if sensors.probes is not None:
            asyncio.create_task(self.probes(sensors.probes))
        if sensors.air is not None:
            asyncio.create_task(self.air(sensors.air))
        if self._pulsed:
            asyncio.create_task(self.relay())
        asyncio.create_task(self.panel())
        asyncio.create_task(self.board.talk.run())
        await self.control()

"""Puts the board together and runs it; every way out passes through `outputs.off`."""

import asyncio
import gc
import json
import os
import sys
import time
from binascii import hexlify

import machine

from springhouse import blackbox, cause, parts, report, setting
from springhouse.blackbox import BlackBox
from springhouse.boots import ASKED, FAULTED, SERVICE, Boots
from springhouse.clock import Clock
from springhouse.drivers.console import Console
from springhouse.drivers.contact import SAMPLE_MS
from springhouse.drivers.light import SAFE
from springhouse.kept import Kept
from springhouse.link import Link
from springhouse.loop import Loop, TaskFailed, ticks
from springhouse.once import forget
from springhouse.owner import NO_RESET, Owner
from springhouse.owner import SERVICE as ASKED_SERVICE
from springhouse.record import Record, proven_sha256
from springhouse.scan import Scanner
from springhouse.selftest import SelfTest, failed
from springhouse.storage import Files, TwoSlots
from springhouse.talk import Talk
from springhouse.trial import FAILED, NONE, RUNNING, Trial

TYPE_CHECKING = False
if TYPE_CHECKING:
    from springhouse.display.screen import Screen
    from springhouse.kinds import Profile
    from springhouse.net.online import Online
    from springhouse.wiring import Wiring

_HELD_SAMPLES = 5


def load_profile(name: str) -> "Profile":
    """The board profile; the wiring has checked the name."""
    full = "springhouse.boards." + name
    __import__(full)
    profile: Profile = sys.modules[full]
    return profile


def read_text(path: str) -> str:
    """A small file's text, "" if it cannot be read. Takes its size and no more."""
    try:
        with open(path) as f:
            text: str = f.read(os.stat(path)[6])
            return text
    except (OSError, ValueError):
        return ""


class Wired:
    """The values of wiring.py's class, without its code."""

    def __init__(self, wiring: "Wiring") -> None:
        self.number = wiring.number
        self.choice = wiring.choice
        self.serials = wiring.serials
        self.room_from_air = wiring.room_from_air
        self.offsets = wiring.offsets
        self.fault = wiring.fault


def read_wiring(home: str) -> Wired:
    """What wiring.json says."""
    from springhouse.wiring import Wiring

    made = Wired(Wiring(read_text(home + "wiring.json")))
    forget("wiring")
    return made


def verify(folder: str) -> "tuple[bytes, str]":
    """See code.py."""
    from springhouse import code

    found = code.verify(folder)
    forget("code")
    return found


def cause_of_start(profile: "Profile", left: int) -> int:
    """Why the board started, by cause.py; `left` is what the last run left behind."""
    reason = bits = -1
    pin = sag = 0
    if profile.RESET:
        at, bits_at, pin, sag = profile.RESET
        reason, bits = machine.mem32[at], machine.mem32[bits_at]
    return cause.tell(machine.reset_cause(), reason, bits, pin, sag, left)


class Board:
    """All parts by name."""

    def __init__(self, folder: str) -> None:
        home = folder + "/" if folder else ""
        self.wiring = read_wiring(home)
        self.home = home
        self.trial = Trial(folder)
        self.online: Online | None = None
        self.network = ""  # what there is to say while it is None
        self.screen: Screen | None = None
        self.loop: Loop | None = None
        self.profile = load_profile(self.wiring.choice["board"])
        self.outputs = parts.build_outputs(self.profile)
        self.panel = parts.Panel(self.profile, self.wiring)
        files = Files()
        self.boots = Boots("boot", files)
        self.cause = cause_of_start(self.profile, self.boots.reason)
        self.locked = self.boots.begin()
        self.firmware, self.fault = verify(folder)
        gc.collect()
        # Code and settings change places together.
        self.slots = slots = TwoSlots(home + "settings", files)
        self.record = Record()
        body = slots.load()
        if body is not None:
            self.record.decode(body)
        self.fault = self.fault or self.wiring.fault or self.record.fault
        self.proven = self.record.proven(self.firmware)
        number = self.wiring.number
        local = self.wiring.choice["tariff_clock"] == "local"
        clock = Clock(self.wiring.offsets, number["standard_offset_min"], local)
        self.owner = Owner(clock, self.record, slots)
        if self.record.settings[setting.ADVISED]:
            from springhouse.ahead import Plan

            self.owner.plan = Plan(TwoSlots("plan", files))
        self.report_s = number["report_s"]
        self.probe_s = number["probe_s"]
        self.box = BlackBox("log", files)
        self.link = Link(self.owner)
        self.console = Console()
        self.talk = Talk(self.console, self.link, self.owner, self.box, self.identity)
        self.sensors = parts.Sensors(self.profile, self.wiring)
        self.kept = Kept("kept", files)
        self.scanner = Scanner(self.sensors, self.outputs, self.owner, self.kept, number["pump_pm"])
        self.test = SelfTest(self)
        self.safe = ""  # why the board is in safe mode
        self.shortages = 0  # records of a scan given up because memory was short

    def identity(self) -> "dict[str, object]":
        """Which board, code, settings and proof run, and how it is; for `get-state`."""
        gc.collect()
        self.proven = self.record.proven(self.firmware)  # what the owner changed since is in it
        proof = proven_sha256(self.record.settings, self.record.ranges)
        trial = self.trial.word(self.scanner_s())
        state: dict[str, object] = {
            "board": self.profile.NAME,
            "firmware": hexlify(self.firmware[:8]).decode(),
            "settings": hexlify(proof[:8]).decode(),
            "unproven": 0 if self.proven else 1,
            "boots": self.boots.count,
            "cause": self.cause,
            "safe": self.safe,
            "late": self.scanner.late_stops,
            "gap": self.scanner.take_gap_ms(),
            "lost": self.lost(),
            "free": gc.mem_free(),
            "net": self.online.words() if self.online else self.network,
        }
        if trial != NONE:
            state["trial"] = trial
        return state

    def line(self, uptime_s: int) -> str:
        """The record of the latest scan."""
        unproven, trial = not self.proven, self.trial.word(uptime_s)
        return report.line(
            self.scanner, self.owner, uptime_s, unproven, trial, self.cause, self.test.word
        )

    def ice_days(self) -> int:
        """Days since the ice points of the probes were last checked, -1 if that is not known."""
        day = self.wiring.number["ice_point_day"]
        utc_min = self.owner.clock.utc_min
        return max(0, utc_min // 1440 - day) if day and utc_min >= 0 else -1

    def scanner_s(self) -> int:
        """Seconds since the first scan, 0 without one."""
        return self.loop.uptime_s if self.loop is not None else 0

    def lost(self) -> "list[int]":
        """Writes to flash, commands over the rate, unread lines, frames retried, display, memory.

        The last counts what was given up because memory was short.
        """
        probes = self.sensors.probes
        retried = probes.retried if probes is not None else 0
        dark = self.screen.failures if self.screen is not None else 0
        short = self.shortages + self.slots.shortages + self.owner.shortages + self.talk.shortages
        if self.online is not None:
            short += self.online.shortages()
        failures = self.box.failures + self.kept.failures
        return [failures, self.link.dropped, self.console.cut, retried, dark, short]

    def light_up(self, loop: "Loop | None") -> None:
        """Start the display, if one is wired; without a loop it shows the safe mode."""
        if not self.wiring.choice["display"] or self.sensors.i2c is None:
            return
        try:
            from springhouse.display.rows import running, safe
            from springhouse.display.screen import Screen

            def picture() -> "list[str]":
                if loop is None:
                    return safe(self.safe)
                up_s, word = loop.uptime_s, self.test.word
                return running(self.scanner, self.proven, up_s, self.cause, word)

            self.screen = Screen(self.sensors.i2c, picture)
            asyncio.create_task(self.screen.run())
        except Exception:  # files missing, no memory: the store is looked after without it
            self.screen = None

    def _values(self, kind: int, detail: int, uptime_s: int) -> "tuple[int, ...]":
        return report.box_values(
            kind, self.boots.serial, detail, uptime_s, self.scanner, self.owner, self.box.dropped
        )

    def note(self, kind: int, detail: int, uptime_s: int) -> None:
        """Add a black-box record."""
        self.box.note(self._values(kind, detail, uptime_s))

    def note_changes(self, uptime_s: int) -> None:
        """Add a record for each setting that the owner has changed since the last call."""
        for slot, old, new in self.owner.news:
            values = self._values(blackbox.SETTING, slot, uptime_s)
            self.box.note(report.setting_values(values, old, new, ticks()))
        self.owner.news.clear()

    def note_test(self, uptime_s: int) -> None:
        """Add a record of the self-test that has just ended."""
        test = self.test
        values = self._values(blackbox.TEST, failed(test.word), uptime_s)
        self.box.note(report.setting_values(values, test.ice_days, test.word, ticks()))

    def held(self) -> bool:
        """Whether the button is down at power-up and stays so for a second."""
        for _ in range(_HELD_SAMPLES):
            if not self.panel.button.down():
                return False
            time.sleep_ms(SAMPLE_MS)
        return True

    def boots_fault(self) -> str:
        """Which row of boots ended in safe mode."""
        if not self.boots.stored:
            return "boots: the count cannot be stored"
        if self.kept.struck:
            return "boots: resets when the freezer starts"
        return "boots: three short runs"

    def why_safe(self) -> str:
        """Reason for the safe mode, "" to run."""
        if self.boots.reason == SERVICE:
            return "service"
        if self.held():
            return "button"
        if self.locked:
            return self.boots_fault()
        return self.fault


async def stay_safe(board: Board) -> None:
    """Safe mode: outputs off, no watchdog, link alive; ends by `reset` or a long press."""
    board.panel.light.code = SAFE
    board.light_up(None)
    asyncio.create_task(board.talk.run())
    presses = board.panel.button.long_presses
    seconds = 0
    while board.owner.reset == NO_RESET:
        for phase in range(5):
            board.outputs.off()
            board.panel.sample()
            board.panel.light.show(phase)
            await asyncio.sleep_ms(SAMPLE_MS)
        board.link.limit.second()
        board.note_changes(seconds)
        seconds += 1
        if seconds % 5 == 1 and not board.console.busy():
            board.console.start(json.dumps({"safe": board.safe, "up": seconds, "rst": board.cause}))
        if board.panel.button.long_presses != presses:
            return


async def work(board: Board) -> None:
    """Normal running: clock, black box, watchdog, loop."""
    if board.sensors.rtc is not None:
        utc_min, second = board.sensors.rtc.read()
        board.owner.clock.believe(utc_min, second)
    board.note(blackbox.BOOT, board.cause << 8 | board.boots.count, 0)
    if board.trial.state != NONE:
        known = blackbox.FAILED if board.trial.state == FAILED else blackbox.BEGUN
        board.note(blackbox.TRIAL, known, 0)
    gc.collect()
    board.loop = loop = Loop(board)
    board.light_up(loop)
    network = read_text(board.home + "network.json")
    if network:
        try:
            from springhouse.net.online import Online

            board.online = Online(loop, network)
            asyncio.create_task(board.online.run())
        except Exception:  # files missing, no memory: the store is looked after without it
            board.network = "failed"
    gc.collect()
    gc.threshold(-1)  # from here on the control task says when, so that it is not inside a step
    loop.watchdog = machine.WDT(timeout=board.profile.WATCHDOG_MS)
    await loop.run()


def leave(board: Board, reason: int, detail: int) -> None:
    """Outputs are off: write what is known, then reset."""
    try:
        board.note_changes(0)
        board.note(blackbox.FAULT if reason == FAULTED else blackbox.COMMAND, detail, 0)
        board.box.flush()
        board.boots.ask(reason)
    finally:
        machine.reset()


def run(folder: str) -> None:
    """Never returns but by KeyboardInterrupt, which leaves everything off."""
    gc.collect()
    board = Board(folder)
    try:
        board.safe = board.why_safe()
        if board.fault and board.trial.state == RUNNING:
            leave(board, FAULTED, blackbox.RAISED)  # the old version is better than a safe mode
        asyncio.run(stay_safe(board) if board.safe else work(board))
        board.outputs.off()
        asked = SERVICE if board.owner.reset == ASKED_SERVICE else ASKED
        leave(board, asked, board.owner.reset)
    except Exception as problem:
        board.outputs.off()
        board.console.start(json.dumps({"fault": repr(problem)[:160]}))
        board.console.push()
        fault = problem.args[0] if isinstance(problem, TaskFailed) else blackbox.RAISED
        leave(board, FAULTED, fault)
    finally:
        board.outputs.off()

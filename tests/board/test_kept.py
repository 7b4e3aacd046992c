"""What outlives a reset, what late scans leave, and when the alarm sounds again."""

from __future__ import annotations

import contextlib
from array import array

import pytest
from fakes import FakePin, FakePwm
from springhouse import controller, latch, mode, output, reading, setting, timekeeping
from springhouse import memory as cell
from springhouse.boots import CLEAR_S, QUIET_S, Boots
from springhouse.drivers.outputs import LevelRelay, Outputs, PulsedRelay
from springhouse.kept import SURVIVED_MS, Kept
from springhouse.scan import Scanner
from torn_files import PowerCut, TornFiles


class Probes:
    def __init__(self) -> None:
        self.mc = [9000, 9000, 26000, 9000, 26000]
        self.at_ms = [0] * 5
        self.fault_of = [0] * 5


class Well:
    ok = 1


class Sensors:
    air = flow = tach = battery = None
    room_from_air = False

    def __init__(self) -> None:
        self.probes = Probes()
        self.mains = self.tray = self.level = self.floor = self.relay = Well()


class Clock:
    def week_min(self) -> int:
        return -1

    def advance(self, now: int) -> None:
        pass


class Owner:
    def __init__(self) -> None:
        self.clock = Clock()
        self.plan = None
        self.changed = False
        self.ack_seq = self.mode = self.mode_min = self.mode_seq = 0
        self.record = type("Record", (), {})()
        self.record.settings = array("i", [0] * setting.SIZE)
        setting.fill_defaults(self.record.settings)
        self.record.fault = ""

    def ask(self, wanted: int, minutes: int) -> None:
        self.mode, self.mode_min, self.mode_seq = wanted, minutes, self.mode_seq + 1


class Board:
    """A scanner with its outputs, on files that outlive it."""

    def __init__(self, files: TornFiles, now: int = 0, pulsed: bool = False) -> None:
        self.now = now
        self.sensors, self.owner = Sensors(), Owner()
        self.pin = FakePin()
        self.relay = PulsedRelay(self.pin) if pulsed else LevelRelay(self.pin)
        self.outputs = Outputs(self.relay, FakePwm(), FakePwm(), FakePin())
        self.kept = Kept("kept", files)
        self.scanner = Scanner(self.sensors, self.outputs, self.owner, self.kept, 1000)
        self.memory = self.scanner.memory
        self.out = 0

    def scan(self, gap_ms: int = 1000, beating: bool = True) -> int:
        if beating and isinstance(self.relay, PulsedRelay):
            for ms in range(20, gap_ms, 20):
                self.relay.beat(timekeeping.ticks_add(self.now, ms))
        self.now = timekeeping.ticks_add(self.now, gap_ms)
        for i in range(5):
            self.sensors.probes.at_ms[i] = self.now
        before = self.out
        self.out = self.scanner.run(self.now)
        return self.out & ~before

    def seconds(self, n: int) -> list[int]:
        """Scan so often; the seconds at which the compressor started."""
        return [k for k in range(n) if self.scan() & output.COMPRESSOR]


def ready(files: TornFiles, **more: object) -> Board:
    board = Board(files, **more)
    board.seconds(660)
    assert board.out == output.COMPRESSOR | output.PUMP | output.FAN | output.FAN_FULL
    return board


@pytest.mark.parametrize("now", [0, timekeeping.LAST - 300_000])
def test_starts_of_the_last_hour_outlive_a_reset_storm(now: int) -> None:
    """The supply dips the moment the relay closes, each time: four starts, then an hour's wait."""
    files = TornFiles(True)
    starts = []
    elapsed = 0
    while elapsed < 2 * 3600:
        board = Board(files, now)
        for _ in range(3600):
            elapsed += 1
            if board.scan() & output.COMPRESSOR:
                starts.append(elapsed)
                break
        now = board.now
    assert len(starts) >= 4
    for first, fifth in zip(starts, starts[4:], strict=False):
        assert fifth - first >= 3600


def test_a_storm_of_resets_at_the_start_of_the_freezer_ends_in_safe_mode_with_its_reason() -> None:
    files = TornFiles(True)
    runs = 0
    while True:
        boots = Boots("boot", files)
        if boots.begin():
            break
        runs += 1
        board = Board(files)
        for up_s in range(1, 5000):
            started = board.scan() & output.COMPRESSOR
            boots.lived(up_s, board.kept.survived)
            if started:
                break
        assert runs < 9
    assert runs == 2
    assert Kept("kept", files).struck


def test_the_count_is_cleared_by_a_survived_start_or_a_quiet_day_and_not_before() -> None:
    files = TornFiles(True)
    boots = Boots("boot", files)
    boots.begin()
    for up_s in (1, CLEAR_S, CLEAR_S + 60, QUIET_S - 1):
        boots.lived(up_s, False)
        assert boots.count == 1
    boots.lived(CLEAR_S - 1, True)
    assert boots.count == 1
    boots.lived(CLEAR_S, True)
    assert boots.count == 0
    boots = Boots("boot", files)
    boots.begin()
    boots.lived(QUIET_S, False)
    assert boots.count == 0


def test_a_start_is_survived_after_a_minute() -> None:
    board = ready(TornFiles(True))
    started = board.memory[cell.ON_T] - board.owner.record.settings[setting.MIN_ON_S] * 1000
    while not board.kept.survived:
        board.scan()
    assert board.now - started == SURVIVED_MS


def test_a_boot_that_cannot_be_counted_is_safe_mode() -> None:
    class Full(TornFiles):
        def open(self, path: str, mode: str):
            if "w" in mode:
                raise OSError(28)
            return super().open(path, mode)

    boots = Boots("boot", Full(True))
    assert boots.begin()
    assert not boots.stored


@pytest.mark.parametrize(("wanted", "minutes"), [(mode.OFF, 600), (mode.SERVICE, 120)])
def test_an_owner_s_stop_outlives_reset_and_power_cut_for_its_time_and_no_longer(
    wanted: int, minutes: int
) -> None:
    files = TornFiles(True)
    board = ready(files)
    board.owner.ask(wanted, minutes)
    board.seconds(40 * 60)
    board = Board(files, board.now + 5000)
    for _ in range(minutes * 60 - 40 * 60):
        assert board.scan() == 0
        assert not board.out
    board.seconds(31 * 60)  # what is stored may be half an hour old
    assert board.memory[cell.MODE] == mode.AUTOMATIC
    assert board.out & output.COMPRESSOR


def test_other_modes_end_with_the_run() -> None:
    for wanted in (mode.CHARGE_NOW, mode.COOL_NOW, mode.QUIET, mode.PURGE, mode.FIRST_PULL_DOWN):
        files = TornFiles(True)
        board = ready(files)
        board.owner.ask(wanted, 20)
        board.seconds(3)
        assert board.memory[cell.MODE] == wanted
        board = Board(files)
        board.seconds(3)
        assert board.memory[cell.MODE] == mode.AUTOMATIC


def test_latches_and_counts_outlive_a_power_cut() -> None:
    files = TornFiles(True)
    board = ready(files)
    board.memory[cell.LATCH] = latch.NO_COOLING | latch.STILL
    for n in range(4):
        board.memory[cell.DRY_COUNT + n] = n
    board.scan()
    board = Board(files)
    board.scan()
    assert board.memory[cell.LATCH] == latch.NO_COOLING | latch.STILL
    assert [board.memory[cell.DRY_COUNT + n] for n in range(4)] == [0, 1, 2, 3]
    for day in (cell.TRAY_DAY_T, cell.REST_DAY_T, cell.STILL_DAY_T, cell.REST_T, cell.COIL_T):
        assert timekeeping.waiting(board.memory, day)
    board.seconds(700)
    assert not board.out & ~output.ALARM
    board.owner.ack_seq += 1
    board.seconds(2)
    assert board.memory[cell.LATCH] == 0
    assert Board(files).memory[cell.LATCH] == 0


def test_a_torn_write_leaves_the_old_or_the_new_and_a_record_that_cannot_be_meant_nothing() -> None:
    seen = set()
    for cut in range(0, 60):
        files = TornFiles(True)
        board = ready(files)
        files.power(cut)
        board.memory[cell.LATCH] = latch.DRY
        with contextlib.suppress(PowerCut):
            board.scan()
        files.power(None)
        fresh = Board(files)
        assert sum(timekeeping.due(fresh.memory, cell.START_1_T + n) for n in range(4)) == 1
        seen.add(fresh.memory[cell.LATCH])
    assert seen == {0, latch.DRY}
    for slot in range(12):
        for value in (0x80, 0xFF):
            files = TornFiles(True)
            kept = Kept("kept", files)
            body = bytearray([1, 60, 0, mode.OFF, *[0] * 8])
            body[slot] = value
            assert kept._slots.save(bytes(body))
            memory = array("i", [0] * cell.SIZE)
            controller.power_up(memory)
            Kept("kept", files).put(memory)
            assert memory[cell.MODE] in (mode.AUTOMATIC, mode.OFF)
            assert memory[cell.MODE_LEFT_MS] <= mode.LIMIT_MIN[memory[cell.MODE]] * 60000
            assert memory[cell.LATCH] & ~(latch.STORE | latch.ROOM) == 0


def test_the_record_is_written_rarely() -> None:
    """Three writes for a start an hour or more apart, none while nothing happens."""
    files = TornFiles(True)
    board = ready(files)
    writes = board.kept._slots.seq
    assert writes <= 2
    board.seconds(3700)
    assert board.kept._slots.seq - writes <= 2
    quiet = board.kept._slots.seq
    board.seconds(1800)
    assert board.kept._slots.seq == quiet


def test_two_late_scans_stop_the_motors_and_forget_nothing() -> None:
    board = ready(TornFiles(True))
    board.memory[cell.LATCH] = latch.NO_COOLING
    board.memory[cell.DRY_COUNT] = 2
    starts = [board.memory[cell.START_1_T + n] for n in range(4)]
    board.scan(2600)
    assert board.scan(2600) == 0
    assert board.out == 0
    assert board.outputs.bits == 0
    board.scan()
    assert board.memory[cell.LATCH] == latch.NO_COOLING
    assert board.memory[cell.DRY_COUNT] == 2
    assert [board.memory[cell.START_1_T + n] for n in range(4)] == starts
    board.owner.ack_seq += 1
    assert board.seconds(800) in ([597], [598], [599], [600])  # the whole off-time


@pytest.mark.parametrize("wanted", [mode.OFF, mode.SERVICE])
def test_no_motor_starts_in_off_or_service_however_late_the_scans(wanted: int) -> None:
    board = ready(TornFiles(True))
    board.owner.ask(wanted, 120)
    board.seconds(3)
    for gap_ms in (2600, 2600, 1000, 3000, 3000, 3000, 1000):
        board.scan(gap_ms)
    for _ in range(3600):
        board.scan()
        assert board.out == 0
    assert board.memory[cell.MODE] == wanted


@pytest.mark.parametrize(
    ("gap_ms", "beating"), [(2600, True), (2600, False), (1400, False), (900, False)]
)
def test_a_relay_that_dropped_by_itself_stays_off_for_the_whole_off_time(
    gap_ms: int, beating: bool
) -> None:
    board = ready(TornFiles(True), pulsed=True)
    assert board.out & output.COMPRESSOR
    before = len(board.pin.written)
    board.scan(gap_ms, beating)
    at = board.now
    board.scan()  # the relay finds out, at the latest with the next beat
    assert not board.out & output.COMPRESSOR
    assert not board.pin.level
    assert len(board.pin.written) - before <= PulsedRelay.WORTH + 5  # writes of 0 included
    while not board.out & output.COMPRESSOR:
        board.scan()
    assert board.now - at >= board.owner.record.settings[setting.MIN_OFF_S] * 1000 - 1000


def test_a_held_up_beat_shorter_than_the_drive_s_own_store_drops_nothing() -> None:
    board = ready(TornFiles(True), pulsed=True)
    for _ in range(20):
        board.scan(240, beating=False)
        board.scan(1000)
        assert board.out & output.COMPRESSOR


def test_a_new_latch_sounds_although_the_last_one_was_muted() -> None:
    board = ready(TornFiles(True))
    board.memory[cell.LATCH] = latch.DRY
    board.seconds(2)
    board.outputs.muted = True
    board.seconds(5)
    assert board.outputs.muted
    board.sensors.floor.ok = 0
    board.owner.record.settings[setting.FITTED] |= 1 << 7
    board.scan()
    assert board.memory[cell.LATCH] & latch.FLOOR
    assert not board.outputs.muted
    board.outputs.muted = True
    board.owner.ack_seq += 1  # still wet: the same latch again, which was heard
    board.seconds(3)
    assert board.memory[cell.LATCH] == latch.FLOOR
    assert board.outputs.muted


def test_what_stops_does_not_wait_for_the_flash() -> None:
    files = TornFiles(True)
    board = ready(files)
    board.memory[cell.LATCH] = latch.FLOOD
    files.power(0)
    with pytest.raises(PowerCut):
        board.scan()
    assert board.outputs.bits & (output.COMPRESSOR | output.PUMP | output.FAN) == 0


def test_a_start_is_on_flash_before_the_relay_closes() -> None:
    files = TornFiles(True)
    board = Board(files)
    board.owner.record.settings[setting.RESTART_STAGGER_S] = 100
    while True:
        files.power(0)
        try:
            board.scan()
        except PowerCut:
            if timekeeping.waiting(board.memory, cell.START_1_T):
                break
            files.power(None)
    assert board.pin.level == 0


def test_the_drop_counter_wraps() -> None:
    board = ready(TornFiles(True))
    board.scanner.readings[reading.DROP_SEQ] = board.memory[cell.DROP_SEEN] = 0xFFFF
    board.scan(2600)
    board.scan(2600)
    board.scan()
    assert board.memory[cell.DROP_SEEN] == board.scanner.readings[reading.DROP_SEQ] == 0
    assert not board.out & output.COMPRESSOR

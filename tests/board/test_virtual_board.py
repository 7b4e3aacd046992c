"""The flashed files, main.py included, on the real interpreter against a scripted plant."""

import pytest
from rig import FITTED, Rig, record
from springhouse import beats, blackbox, fault, fitted, latch, setting, statechart
from springhouse.boards import pico_w
from springhouse_sim.virtual_board.inputs import POWER_ON_PAD, onewire_crc, serial

WATCHDOG_S = pico_w.WATCHDOG_MS // 1000


@pytest.fixture
def rig(tmp_path):
    made = Rig(tmp_path).power()
    yield made
    made.close()


def test_stand_in_checksum_agrees_with_the_datasheet_vector() -> None:
    # S6: maker's application note 27.
    assert onewire_crc(bytes.fromhex("021CB801000000")) == 0xA2


def test_starts_charges_and_delivers(rig: Rig) -> None:
    rig.run(299)
    assert rig.motors()[0] == 0, "compressor before its off-time"
    rig.run(20)
    assert rig.motors()[0] == 1
    assert rig.last()["st"][0] == statechart.CHARGE
    assert rig.last()["lat"] == 0
    rig.run(320)
    assert rig.last()["mc"][:3] == [12000, 12313, 27000]  # 12.3 °C rounds to 197/16
    assert all(rig.motors()), "store charging, room 27 °C: all three run after the tray's wait"
    assert 1000 <= rig.last()["ml"] <= 1300
    assert rig.resets == []
    assert all(len(line) <= 256 for line in rig.board.lines)


def test_same_across_the_tick_wrap(tmp_path) -> None:
    seen = []
    for n, tick in enumerate((0, (1 << 30) - 330_000)):
        folder = tmp_path / str(n)
        folder.mkdir()
        made = Rig(folder).power(tick).run(700)
        seen.append([c for c in made.history if c[1] != pico_w.LIGHT])
        made.close()
    assert seen[0] == seen[1]
    assert len(seen[0]) > 6


def test_a_stall_at_boot_latches_no_flood(rig: Rig) -> None:
    rig.board.inputs.trouble("idle", "slow")  # 2.6 s in which no contact is sampled
    rig.run(330)
    assert rig.last()["lat"] == 0
    assert rig.out(pico_w.RELAY) == 1
    assert rig.resets == []


def fault_codes(rig: Rig) -> list[int]:
    """What the black box says of runs that ended by a fault."""
    rig.board.send('{"cmd":"get-log"}\n')
    rig.run(10)
    log = [blackbox.fields(bytes.fromhex(r["log"]), 0) for r in rig.records() if r.get("log")]
    return [entry[2] for entry in log if entry[0] == blackbox.FAULT]


def test_contacts_that_never_settle_are_a_fault(rig: Rig) -> None:
    for _ in range(20):
        rig.board.inputs.trouble("idle", "slow")
        rig.run(1)
    assert [r.watchdog for r in rig.resets] == [False], "waiting feeds the watchdog, not for ever"
    assert 12_000 < rig.resets[0].at_ms < 16_000
    assert any("contacts not settled" in r.get("fault", "") for r in rig.records())
    assert fault_codes(rig) == [blackbox.UNSETTLED]
    assert not any(
        value for _, pin, value in rig.history if pin in (pico_w.RELAY, pico_w.PUMP, pico_w.FAN)
    )


def test_a_hang_while_contacts_settle_is_ended_by_the_watchdog(rig: Rig) -> None:
    rig.board.inputs.trouble("idle", "hang")
    rig.run(WATCHDOG_S + 2)
    assert [r.watchdog for r in rig.resets] == [True]


@pytest.mark.parametrize(
    ("condition", "code"),
    [("absent", fault.ABSENT), ("short", fault.ALL_ZERO), ("high", fault.ABSENT)],
)
def test_bus_fault_stops_the_compressor_within_10_s(rig: Rig, condition: str, code: int) -> None:
    rig.run(330)
    assert rig.out(pico_w.RELAY) == 1
    rig.board.inputs.bus(condition)
    fault_ms = rig.board.now_ms
    rig.run(12)
    assert rig.last()["bad"][:2] == [code, code]
    assert rig.last()["mc"][:2] != [0, 0], "a dead bus must not read as 0.00 °C"
    assert rig.off_since(pico_w.RELAY) - fault_ms <= 11_000
    assert rig.out(pico_w.RELAY) == 0


def test_power_on_value_is_reported_not_believed(rig: Rig) -> None:
    rig.run(330)
    for n in (1, 2):
        rig.board.inputs.pad(serial(n), POWER_ON_PAD)
    rig.run(4)
    assert rig.last()["bad"][:2] == [fault.POWER_ON] * 2
    assert rig.last()["mc"][0] == 12000
    assert rig.out(pico_w.RELAY) == 1, "one odd frame stops nothing"
    rig.run(8)
    assert rig.out(pico_w.RELAY) == 0


@pytest.mark.parametrize(
    ("pin", "stopped"),
    [
        (pico_w.TRAY, (pico_w.PUMP, pico_w.FAN)),
        (pico_w.LEVEL, (pico_w.RELAY, pico_w.PUMP, pico_w.FAN)),
        (pico_w.FLOOR, (pico_w.RELAY, pico_w.PUMP)),
    ],
)
def test_open_loop_stops_within_two_seconds(rig: Rig, pin: int, stopped: tuple[int, ...]) -> None:
    rig.run(650)
    assert all(rig.motors())
    opened_ms = rig.board.now_ms + 130
    rig.board.inputs.edge(pin, 1, 130)
    rig.run(3)
    for out in stopped:
        assert rig.out(out) == 0
        assert rig.off_since(out) - opened_ms <= 2000
    if pin != pico_w.TRAY:
        assert rig.last()["lat"] in (latch.LEVEL, latch.FLOOR)


def test_bouncing_loop_trips_nothing(rig: Rig) -> None:
    rig.run(650)
    for _ in range(20):
        for k in range(10):  # 20 ms of bounce, 2 ms apart
            rig.board.inputs.edge(pico_w.TRAY, 1 - k % 2, 137 + 2 * k)
        rig.run(1)
    assert all(rig.motors())


def test_dry_pump_stops(rig: Rig) -> None:
    rig.run(650)
    rig.flows = False
    dry_ms = rig.board.now_ms
    rig.run(10)
    assert rig.out(pico_w.PUMP) == 0
    assert rig.off_since(pico_w.PUMP) - dry_ms <= 8000
    assert rig.last()["st"][1] == statechart.DRY_RUN_STOP


def test_mains_loss_stops_the_compressor_at_once(rig: Rig) -> None:
    rig.run(330)
    rig.board.inputs.level(pico_w.MAINS, 1)
    rig.run(2)
    assert rig.out(pico_w.RELAY) == 0


def test_button_acknowledges(rig: Rig) -> None:
    rig.run(330)
    rig.board.inputs.level(pico_w.FLOOR, 1)
    rig.run(3)
    rig.board.inputs.level(pico_w.FLOOR, 0)
    rig.run(5)
    assert rig.last()["lat"] == latch.FLOOR
    assert rig.out(pico_w.RELAY) == 0
    rig.board.inputs.level(pico_w.BUTTON, 0)
    rig.run(1)
    rig.board.inputs.level(pico_w.BUTTON, 1)
    rig.run(2)
    assert rig.last()["lat"] == 0


PLACES = ("onewire", "pin", "drive", "pwm", "idle")


@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize("what", ["RuntimeError", "MemoryError", "hang"])
def test_injected_fault_leaves_outputs_off(rig: Rig, place: str, what: str) -> None:
    rig.run(650)
    assert all(rig.motors())
    rig.board.inputs.trouble(place, what)
    fault_ms = rig.board.now_ms
    rig.run(WATCHDOG_S + 3)
    assert rig.motors() == (0, 0, 0)
    assert len(rig.resets) == 1
    assert rig.resets[0].watchdog == (what == "hang")
    limit_ms = (WATCHDOG_S + 1) * 1000
    for out in (pico_w.RELAY, pico_w.PUMP, pico_w.FAN):
        assert rig.off_since(out) - fault_ms <= limit_ms
    rig.run(320)
    assert rig.out(pico_w.RELAY) == 1, "and it starts again by itself after the off-time"


@pytest.mark.parametrize("at_ms", range(0, 2000, 119))
def test_interrupt_at_any_moment_leaves_outputs_off(tmp_path, at_ms: int) -> None:
    rig = Rig(tmp_path).power()
    try:
        rig.run(330)
        assert rig.out(pico_w.RELAY) == 1
        hit_ms = rig.board.now_ms + at_ms
        rig.board.inputs.interrupt(at_ms)
        rig.run(3)
        assert rig.motors() == (0, 0, 0)
        assert rig.off_since(pico_w.RELAY) - hit_ms <= 5, "off at once, not by the watchdog"
        assert "interrupted" in rig.board.lines
        rig.run(10)
        assert [r.watchdog for r in rig.resets] == [True], "the armed watchdog still resets"
    finally:
        rig.close()


def test_the_black_box_says_what_ended_a_run(tmp_path) -> None:
    rig = Rig(tmp_path)
    rig.edit("loop.py", "self.beats.beat(beats.PROBES, ticks())", "self.uptime_s += 0")
    rig.power()
    try:
        rig.run(5)
        rig.board.inputs.trouble("onewire", "RuntimeError")
        rig.run(25)
        assert [r.watchdog for r in rig.resets] == [False, False], "the third run locks"
        assert fault_codes(rig) == [blackbox.RAISED, blackbox.SILENT + beats.PROBES]
    finally:
        rig.close()


def test_what_is_lost_is_counted(rig: Rig) -> None:
    rig.run(3)
    for _ in range(9):
        rig.board.send('{"cmd":"ack"}\n')
    rig.run(62)
    rig.board.send('{"cmd":"get-state"}\n')
    rig.run(2)
    state = next(r for r in reversed(rig.records()) if "lost" in r)
    assert state["lost"] == [0, 3, 0, 0, 0, 0]
    assert state["gap"] == 1000


def test_two_late_scans_turn_all_off_and_forget_nothing(rig: Rig) -> None:
    rig.run(650)
    rig.board.inputs.trouble("idle", "slow")
    rig.run(5)
    assert all(rig.motors()), "one late scan is forgiven"
    rig.board.send('{"cmd":"mode","mode":5,"minutes":60}\n')
    rig.run(3)
    assert rig.motors() == (0, 0, 0)
    for _ in range(2):
        rig.board.inputs.trouble("idle", "slow")
        rig.run(3)
    for _ in range(15):
        rig.run(60)
        assert rig.motors() == (0, 0, 0), "service stays"
    assert rig.last()["md"][0] == 5
    assert rig.resets == []
    rig.board.send('{"cmd":"get-state"}\n')
    rig.run(3)
    assert next(r for r in rig.records() if "late" in r)["late"] >= 1
    rig.board.power_cut()
    for _ in range(15):
        rig.run(60)
        assert rig.motors() == (0, 0, 0), "and over a power cut"


@pytest.mark.parametrize("phase_ms", range(50, 1000, 150))
def test_a_stall_is_not_taken_for_a_silent_task(rig: Rig, phase_ms: int) -> None:
    rig.run(20)
    rig.board.run_slice(phase_ms)
    rig.board.inputs.trouble("idle", "slow")
    rig.run(8)
    assert rig.resets == []


@pytest.mark.parametrize("pointer", [b"\xff\xfe", b"c", b""])
def test_a_pointer_that_is_damaged_points_nowhere(tmp_path, pointer: bytes) -> None:
    rig = Rig(tmp_path)
    (tmp_path / "current").write_bytes(pointer)
    rig.power()
    try:
        rig.run(5)
        assert rig.last()["up"] >= 3
    finally:
        rig.close()


def test_third_short_run_locks_and_a_long_press_unlocks(rig: Rig) -> None:
    for _ in range(3):
        rig.run(60)
        rig.board.power_cut()
    rig.run(400)
    assert rig.motors() == (0, 0, 0)
    assert "three short runs" in rig.records()[-1]["safe"]
    rig.board.inputs.level(pico_w.BUTTON, 0)
    rig.run(6)
    rig.board.inputs.level(pico_w.BUTTON, 1)
    rig.run(5)
    assert "out" in rig.records()[-1]


def test_safe_mode_has_no_watchdog_and_no_outputs(tmp_path) -> None:
    rig = Rig(tmp_path).power()
    rig.board.inputs.level(pico_w.BUTTON, 0)
    try:
        rig.run(60)
        assert rig.records()[-1]["safe"] == "button"
        rig.board.inputs.level(pico_w.BUTTON, 1)
        rig.board.inputs.trouble("idle", "slow")
        rig.run(600)
        assert rig.resets == []
        assert rig.motors() == (0, 0, 0)
    finally:
        rig.close()


def test_service_command_reboots_into_safe_mode_without_watchdog(rig: Rig) -> None:
    rig.run(330)
    rig.board.send('{"cmd":"service"}\n')
    rig.run(20)
    assert rig.records()[-1]["safe"] == "service"
    assert rig.motors() == (0, 0, 0)
    assert [r.watchdog for r in rig.resets] == [False]
    rig.board.send('{"cmd":"reset"}\n')
    rig.run(10)
    assert "out" in rig.records()[-1]


@pytest.mark.parametrize("body", [None, b"garbage", b""])
def test_no_valid_settings_means_off_and_says_so(tmp_path, body: bytes | None) -> None:
    rig = Rig(tmp_path, body=body or b"")
    if body is None:
        (tmp_path / "settings.0").unlink()
    rig.power()
    try:
        rig.run(700)
        assert rig.motors() == (0, 0, 0)
        assert "settings" in rig.records()[-1]["safe"] or "record" in rig.records()[-1]["safe"]
    finally:
        rig.close()


@pytest.mark.parametrize(
    ("key", "value", "said"),
    [
        ("flow_pulses_l", "many", "flow_pulses_l"),
        ("spare", 1, "unknown key spare"),
        ("probes", {"store_low": "28000000000000ff"}, "store_low"),
        ("room_target", 21, "unknown key"),
        ("board", "pico_9", "board: one of"),
    ],
)
def test_bad_wiring_means_off_and_says_so(tmp_path, key: str, value: object, said: str) -> None:
    rig = Rig(tmp_path, **{key: value}).power()
    try:
        rig.run(30)
        assert said in rig.records()[-1]["safe"]
    finally:
        rig.close()


def test_pulsed_relay_alternates_and_stops_with_the_scan(tmp_path) -> None:
    rig = Rig(tmp_path)
    rig.edit("boards/pico_w.py", "RELAY_PULSED = False", "RELAY_PULSED = True")
    rig.power()
    try:
        rig.run(330)
        edges = [at for at, pin, _ in rig.board.changes if pin == pico_w.RELAY]
        assert 45 <= len(edges) <= 50  # each 20 ms
        rig.board.inputs.trouble("onewire", "hang")
        hang_ms = rig.board.now_ms
        rig.run(5)
        last = max(at for at, pin, _ in rig.history if pin == pico_w.RELAY)
        assert last - hang_ms <= 3000, "the relay drops long before the watchdog acts"
    finally:
        rig.close()


def test_fitted_but_unwired_never_runs(tmp_path) -> None:
    made = record()
    made.settings[setting.FITTED] = FITTED | fitted.BATTERY
    rig = Rig(tmp_path, body=made.encode()).power()
    try:
        rig.board.inputs.level(pico_w.MAINS, 1)
        rig.run(700)
        assert rig.motors() == (0, 0, 0)
    finally:
        rig.close()

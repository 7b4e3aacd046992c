"""Each fault of the catalogue does to the readings, or to the plant, what it says."""

from datetime import datetime

import pytest
from bench_rig import bench
from springhouse import fault, reading
from springhouse_sim import sense
from springhouse_sim.plant import given as given_slot
from springhouse_sim.plant import state
from springhouse_sim.world.faults import CATALOGUE, PROBES, Acts, Fault
from springhouse_sim.world.outage import Outage
from springhouse_sim.world.owner import Acknowledge, AskMode, EmptyTray, MopFloor

ONSET_S = 20
QUIET = sense.Sensors(noise_mk=0)


def after(*actors: object, seconds: int = 30, **options: object) -> tuple[list[int], list[float]]:
    """Readings and given record after so many seconds."""
    b = bench(*actors, sensors=QUIET, **options)  # type: ignore[arg-type]
    b.run(seconds / 86_400)
    return list(b.board.readings), list(b.tank.given)


@pytest.fixture(scope="module")
def healthy() -> list[int]:
    return after()[0]


def test_healthy_readings(healthy: list[int]) -> None:
    """Plant at 6 °C store, 26 °C room, 22 °C coil at rest; S4: one count is 62.5 m°C."""
    assert healthy[reading.NOW_MS] == 29_000
    assert healthy[reading.WEEK_MIN] == 0
    assert healthy[reading.STORE_LOW_MC : reading.STORE_LOW_MC + 5] == pytest.approx(
        [6000, 6000, 26000, 22000, 22000], abs=63
    )
    assert healthy[reading.STORE_LOW_AT_MS : reading.STORE_LOW_AT_MS + 5] == [29_000] * 5
    assert healthy[reading.STORE_LOW_FAULT : reading.STORE_LOW_FAULT + 5] == [fault.NONE] * 5
    assert healthy[reading.FLOW_ML_MIN] == healthy[reading.FAN_RPM] == 0
    assert healthy[reading.MAINS_OK : reading.SETTINGS_OK + 1] == [1] * 5


@pytest.mark.parametrize("i", range(5))
@pytest.mark.parametrize(
    ("kind", "code", "mc"),
    [
        ("probe_open", fault.ABSENT, None),
        ("probe_shorted", fault.ALL_ZERO, 0),
        ("probe_checksum", fault.CRC, None),
        ("probe_power_on", fault.POWER_ON, 85_000),
    ],
)
def test_bad_frames(kind: str, code: int, mc: int | None, i: int, healthy: list[int]) -> None:
    """S3: power-on register is 85 °C; S8: a shorted bus answers zeros that pass the CRC."""
    readings, _ = after(Fault(kind, ONSET_S, probe=PROBES[i]))
    for k in range(5):
        hit = k == i
        assert readings[reading.STORE_LOW_FAULT + k] == (code if hit else fault.NONE)
        value = mc if hit and mc is not None else healthy[reading.STORE_LOW_MC + k]
        assert readings[reading.STORE_LOW_MC + k] == value
        assert readings[reading.STORE_LOW_AT_MS + k] == 29_000  # bad frames arrive, too


def test_stuck_probe_repeats_itself() -> None:
    """The coil probes cool from 22 °C once the pump runs; a stuck one does not."""
    ask = AskMode(5, 6, 20)  # purge: the pump runs
    moved, _ = after(ask, seconds=900)
    stuck, _ = after(ask, Fault("probe_stuck", 1, probe="coil_in"), seconds=900)
    assert stuck[reading.COIL_IN_MC] == 22_000
    assert moved[reading.COIL_IN_MC] < 15_000
    assert stuck[reading.COIL_IN_AT_MS] == 899_000


def test_silent_probe_ages(healthy: list[int]) -> None:
    readings, _ = after(Fault("probe_silent", ONSET_S, probe="room"))
    assert readings[reading.ROOM_AT_MS] == (ONSET_S - 1) * 1000
    assert readings[reading.ROOM_MC] == healthy[reading.ROOM_MC]


def test_offset_at_once_and_drift_by_and_by(healthy: list[int]) -> None:
    at_once, _ = after(Fault("probe_offset", ONSET_S, probe="store_low", value=-500))
    assert at_once[reading.STORE_LOW_MC] == healthy[reading.STORE_LOW_MC] - 500
    drift = Fault("probe_drift", 10, probe="store_low", value=2000, over_s=40)
    # 19 s and then 49 s after its onset: 19/40 of 2 K, and all of it; within one count
    assert after(drift)[0][reading.STORE_LOW_MC] == pytest.approx(6000 + 950, abs=63)
    assert after(drift, seconds=60)[0][reading.STORE_LOW_MC] == 8000


@pytest.mark.parametrize(
    ("kind", "slot", "value"),
    [
        ("tray_float_open", reading.TRAY_OK, 0),
        ("level_float_open", reading.LEVEL_OK, 0),
        ("floor_wet", reading.FLOOR_DRY, 0),
        ("mains_sense_dead", reading.MAINS_OK, 0),
        ("settings_bad", reading.SETTINGS_OK, 0),
        ("clock_lost", reading.WEEK_MIN, -1),
        ("clock_wrong", reading.WEEK_MIN, 60),
        ("flow_jammed", reading.FLOW_ML_MIN, 1000),
    ],
)
def test_inputs(kind: str, slot: int, value: int, healthy: list[int]) -> None:
    assert healthy[slot] != value
    readings, _ = after(Fault(kind, ONSET_S))
    assert readings[slot] == value
    mended, _ = after(Fault(kind, ONSET_S - 10, duration_s=5))
    assert mended[slot] == healthy[slot]


def test_flow_and_fan_sensors() -> None:
    """From 14:00 a room of 26 °C is cooled; boot 11 min before, so that the boot wait is over."""
    afternoon = {"start": datetime(2025, 7, 7, 13, 49), "seconds": 700}
    running, _ = after(**afternoon)
    assert running[reading.FLOW_ML_MIN] > 1000
    assert running[reading.FAN_RPM] > 800
    assert after(Fault("flow_dead", 697), **afternoon)[0][reading.FLOW_ML_MIN] == 0
    assert after(Fault("tach_dead", 697), **afternoon)[0][reading.FAN_RPM] == 0
    assert after(Fault("fan_stalled", 697), **afternoon)[0][reading.FAN_RPM] == 0
    assert after(Fault("prime_lost", 690), **afternoon)[0][reading.FLOW_ML_MIN] < 300
    low, _ = after(Fault("low_flow", 600), **afternoon)
    assert low[reading.FLOW_ML_MIN] == pytest.approx(0.7 * running[reading.FLOW_ML_MIN], rel=0.02)


def test_stuck_float_hides_a_full_tray() -> None:
    """3.2 L open the float; 5 L/min for one minute."""
    fill = Fault("tray_filled", 0, value=5.0 / 60.0)
    assert after(fill, seconds=60)[0][reading.TRAY_OK] == 0
    hidden = Fault("tray_float_stuck", 0)
    assert after(fill, hidden, seconds=60)[0][reading.TRAY_OK] == 1


def test_spill_wets_the_floor_until_mopped() -> None:
    """The tray holds 4 L: 10 L in a minute run over."""
    fill = Fault("tray_filled", 0, duration_s=60, value=10.0 / 60.0)
    assert after(fill, seconds=200)[0][reading.FLOOR_DRY] == 0
    assert after(fill, MopFloor(190), seconds=200)[0][reading.FLOOR_DRY] == 1


def test_leak_lowers_the_level() -> None:
    """150 L on 0.315 m2 stand 0.476 m high; 10 L less, 0.444 m."""
    sensors = sense.Sensors(noise_mk=0, level_low_mm=460)
    b = bench(Fault("leak", 0, value=0.1), sensors=sensors)
    b.run(100 / 86_400)
    assert b.board.readings[reading.LEVEL_OK] == 0
    assert b.board.readings[reading.FLOOR_DRY] == 0
    b = bench(sensors=sensors)
    b.run(100 / 86_400)
    assert b.board.readings[reading.LEVEL_OK] == 1


def test_relays() -> None:
    """A welded relay runs the motor although the board has barred it; a dead one never does."""
    _, given = after(Fault("relay_welded", ONSET_S))
    assert given[given_slot.COMPRESSOR_RELAY] == 1.0
    warm = {"settings": None, "seconds": 700}
    assert after(**warm)[1][given_slot.COMPRESSOR_RELAY] == 1.0
    assert after(Fault("relay_dead", 0), **warm)[1][given_slot.COMPRESSOR_RELAY] == 0.0


def test_cut_out_stops_a_welded_relay() -> None:
    opens = sense.Sensors(noise_mk=0, cut_out_opens_mc=6500, cut_out_closes_mc=8000)
    b = bench(Fault("relay_welded", 0), sensors=opens)
    b.run(60 / 86_400)
    assert b.tank.given[given_slot.COMPRESSOR_RELAY] == 0.0


@pytest.mark.parametrize("kind", [k for k, entry in CATALOGUE.items() if entry.acts is Acts.PLANT])
def test_plant_faults_write_their_slot_and_mend(kind: str) -> None:
    entry = CATALOGUE[kind]
    untouched = after()[1][entry.slot]
    assert after(Fault(kind, ONSET_S))[1][entry.slot] == entry.value != untouched
    assert after(Fault(kind, 10, duration_s=5))[1][entry.slot] == untouched


def test_outage_takes_mains_away_and_brings_it_back() -> None:
    away, given = after(Outage(ONSET_S, 100))
    assert away[reading.MAINS_OK] == 0
    assert given[given_slot.MAINS] == 0.0
    back, _ = after(Outage(5, 10))
    assert back[reading.MAINS_OK] == 1


def test_owner() -> None:
    readings, _ = after(Acknowledge(10), Acknowledge(12), AskMode(15, 4, 90))
    assert readings[reading.ACK_SEQ] == 2
    assert readings[reading.MODE : reading.MODE_SEQ + 1] == [4, 90, 1]
    # at 15 s, 75 s and 135 s
    assert after(AskMode(15, 4, 1, again=True), seconds=150)[0][reading.MODE_SEQ] == 3
    assert after(AskMode(15, 4, 1), seconds=150)[0][reading.MODE_SEQ] == 1


def test_tray_is_emptied() -> None:
    """2 L in; poured out but for the last film of 0.05 L, which clings."""
    fill = Fault("tray_filled", 0, duration_s=20, value=0.1)
    b = bench(fill, EmptyTray(30, acknowledge=True))
    b.run(0.004)
    assert 0.0 < b.tank.state[state.TRAY_L] < 0.05
    assert b.board.readings[reading.ACK_SEQ] == 1


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ({"kind": "gremlin", "onset_s": 0}, "Fault.kind: 'gremlin' is not one of"),
        ({"kind": "probe_open", "onset_s": 0}, "Fault.probe: '' is not one of"),
        ({"kind": "leak", "onset_s": 0, "probe": "room"}, "Fault.probe: leak acts on no probe"),
        ({"kind": "flow_dead", "onset_s": 0, "value": 1}, "Fault.value: flow_dead takes no value"),
        ({"kind": "leak", "onset_s": -1}, "Fault: onset_s"),
    ],
)
def test_bad_fault_is_refused(arguments: dict[str, object], message: str) -> None:
    with pytest.raises(ValueError, match="Fault") as caught:
        Fault(**arguments)  # type: ignore[arg-type]
    assert str(caught.value).startswith(message)

"""1-wire probe driver against datasheet values (ids of the project's list of check values)."""

import asyncio

import pytest
from fakes import FakeBus
from springhouse import fault
from springhouse.drivers import crc8, probe

SERIAL = bytes.fromhex("021CB801000000A2")  # S6: maker's application note 27


def frame(text: str) -> bytearray:
    return bytearray(bytes.fromhex(text))


# S7: whole scratchpads with their sums; the last one is a real read.
POWER_ON = frame("5005 4B46 7FFF 0C10 1C")
REAL_25 = frame("9101 4B46 7FFF 0C10 70")
REAL_22 = frame("6D01 4B46 7FFF 0C10 68")


def with_sum(eight: bytes) -> bytearray:
    return bytearray(eight + bytes([crc8.onewire(eight, 8)]))


@pytest.mark.parametrize(
    ("data", "crc"),
    [
        (bytes.fromhex("021CB801000000"), 0xA2),  # S6
        (b"123456789", 0xA1),  # S7
        (POWER_ON[:8], 0x1C),
        (REAL_25[:8], 0x70),
        (REAL_22[:8], 0x68),
        (b"\xff" * 8, 0xC9),  # S8
    ],
)
def test_onewire_sum(data: bytes, crc: int) -> None:
    assert crc8.onewire(data, len(data)) == crc
    assert crc8.onewire(data + bytes([crc]), len(data) + 1) == 0


# S4: datasheet table 1, raw word to °C; one step is 62.5 m°C, so integers are within 1 m°C.
@pytest.mark.parametrize(
    ("raw", "celsius"),
    [
        (0x07D0, 125.0),
        (0x0550, 85.0),
        (0x0191, 25.0625),
        (0x00A2, 10.125),
        (0x0008, 0.5),
        (0x0000, 0.0),
        (0xFFF8, -0.5),
        (0xFF5E, -10.125),
        (0xFE6F, -25.0625),
        (0xFC90, -55.0),
    ],
)
def test_datasheet_table_1(raw: int, celsius: float) -> None:
    pad = with_sum(bytes([raw & 0xFF, raw >> 8]) + bytes.fromhex("4B467FFF0C10"))
    assert abs(probe.to_mc(pad) - celsius * 1000) <= 1


def test_coarser_resolutions_drop_the_undefined_bits() -> None:
    # Datasheet, configuration register: at 9 bit the lowest three bits are undefined.
    nine_bit = with_sum(bytes.fromhex("97014B461FFF0C10"))
    assert probe.check(nine_bit) == fault.NONE
    assert probe.to_mc(nine_bit) == 25000


@pytest.mark.parametrize(
    ("pad", "code"),
    [
        (REAL_25, fault.NONE),
        (REAL_22, fault.NONE),
        (POWER_ON, fault.POWER_ON),  # S3
        (bytearray(9), fault.ALL_ZERO),  # S8: passes the sum and would read 0.00 °C
        (bytearray(b"\xff" * 9), fault.ALL_ONE),
        (with_sum(bytes.fromhex("91014B4600FF0C10")), fault.CONFIG),
        (with_sum(bytes.fromhex("91014B467F000C10")), fault.CONFIG),
    ],
)
def test_check(pad: bytearray, code: int) -> None:
    assert probe.check(pad) == code


def test_all_zero_frame_passes_the_sum() -> None:
    assert crc8.onewire(bytes(9), 9) == 0  # why ALL_ZERO must be looked for by itself


def test_every_single_bit_flip_is_rejected() -> None:
    for bit in range(72):
        pad = bytearray(REAL_25)
        pad[bit // 8] ^= 1 << bit % 8
        assert probe.check(pad) != fault.NONE, bit


def measure(bus: FakeBus, serials: list[bytes | None]) -> probe.ProbeBus:
    probes = probe.ProbeBus(bus, serials)
    asyncio.run(probes.measure(lambda: 4711))
    return probes


def test_a_round_converts_all_and_reads_by_serial() -> None:
    other = bytes.fromhex("28FF640000000001")
    bus = FakeBus({SERIAL: [REAL_25], other: [REAL_22]})
    probes = measure(bus, [other, SERIAL, None])
    assert list(probes.mc) == [22813, 25063, 0]
    assert list(probes.fault_of) == [fault.NONE, fault.NONE, fault.ABSENT]
    assert list(probes.at_ms) == [4711, 4711, 0]
    assert b"\xcc\x44" in bus.log
    assert not any(sent[:1] == b"\xf0" for sent in bus.log), "the bus was searched"


def test_garbled_frames_are_asked_for_again_twice() -> None:
    garbled = bytearray(REAL_25)
    garbled[0] ^= 4
    probes = measure(FakeBus({SERIAL: [garbled, garbled, REAL_25]}), [SERIAL])
    assert probes.fault_of[0] == fault.NONE
    assert probes.mc[0] == 25063
    assert probes.retried == 2
    probes = measure(FakeBus({SERIAL: [garbled]}), [SERIAL])
    assert probes.fault_of[0] == fault.CRC
    assert probes.mc[0] == 0


def test_a_rejected_frame_leaves_the_number_alone() -> None:
    bus = FakeBus({SERIAL: [REAL_25]})
    probes = measure(bus, [SERIAL])
    for pad, code in (
        (bytearray(9), fault.ALL_ZERO),
        (POWER_ON, fault.POWER_ON),
        (bytearray(b"\xff" * 9), fault.ALL_ONE),
    ):
        bus.frames[SERIAL] = [pad]
        asyncio.run(probes.measure(lambda: 5000))
        assert probes.fault_of[0] == code
        assert probes.mc[0] == 25063


def test_an_unplugged_bus_says_absent_with_a_fresh_stamp() -> None:
    bus = FakeBus({SERIAL: [REAL_25]})
    bus.present = False
    probes = measure(bus, [SERIAL, None])
    assert list(probes.fault_of) == [fault.ABSENT, fault.ABSENT]
    assert probes.at_ms[0] == 4711

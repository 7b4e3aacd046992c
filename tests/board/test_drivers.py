"""Other drivers under CPython (ids of the project's list of check values)."""

import asyncio
import random
from fractions import Fraction

import pytest
from fakes import FakeI2c, FakePin, FakePwm
from springhouse import fault, output
from springhouse.drivers import crc8, humidity, outputs, pulses, rtc
from springhouse.drivers.battery import Battery
from springhouse.drivers.contact import Button, Contact
from springhouse.drivers.light import LOCKED, SAFE, Light

SMALL_INT = 1 << 30


@pytest.mark.parametrize(
    ("data", "crc"),
    [  # S9
        (b"\xbe\xef", 0x92),
        (b"\xab\xab", 0x72),
        (b"123456789", 0xF7),
        (b"\x00", 0xAC),
        # S10: sums of two captured AHT20 frames
        (bytes([28, 184, 245, 165, 156, 208]), 163),
        (bytes([28, 185, 16, 149, 156, 83]), 112),
    ],
)
def test_humidity_chip_sum(data: bytes, crc: int) -> None:
    assert crc8.humidity(data, 0, len(data)) == crc


def test_aht20_captured_frame() -> None:
    chip = humidity.Aht20(FakeI2c({}))
    assert chip.decode(bytes([28, 184, 245, 165, 156, 208, 163])) == fault.NONE
    assert abs(chip.mc - 20157) <= 1  # S10: 20.157 °C, 72.25 %
    assert abs(chip.rh_cpc - 7225) <= 1


def test_aht20_busy_uncalibrated_and_garbled() -> None:
    chip = humidity.Aht20(FakeI2c({}))
    for status, code in ((0x9C, fault.ABSENT), (0x14, fault.CONFIG)):
        body = bytes([status, 184, 245, 165, 156, 208])
        assert chip.decode(body + bytes([crc8.humidity(body, 0, 6)])) == code
    assert chip.decode(bytes([28, 184, 245, 165, 156, 209, 163])) == fault.CRC
    assert chip.decode(bytes(7)) == fault.CRC
    assert chip.decode(b"\xff" * 7) == fault.CRC


def test_sht4x_scaling() -> None:
    assert humidity.sht4x_mc(0x6666) == 25000  # S12, scaling from memory
    assert humidity.sht4x_rh_cpc(0x6666) == 4400
    assert humidity.sht4x_rh_cpc(0) == 0
    assert humidity.sht4x_rh_cpc(0xFFFF) == 10000


def test_integer_scalings_follow_the_exact_fractions() -> None:
    for raw in (*range(0, 65536, 97), 65535):
        assert abs(humidity.sht4x_mc(raw) - (Fraction(175000 * raw, 65535) - 45000)) <= 1
        rh = Fraction(12500 * raw, 65535) - 600
        assert abs(humidity.sht4x_rh_cpc(raw) - max(0, min(10000, rh))) <= 1
    for raw in (*range(0, 1 << 20, 4099), (1 << 20) - 1):
        assert abs(humidity.aht20_mc(raw) - (Fraction(200000 * raw, 1 << 20) - 50000)) <= 1
        assert abs(humidity.aht20_rh_cpc(raw) - Fraction(10000 * raw, 1 << 20)) <= 1
        assert raw * 200 < SMALL_INT
        assert SMALL_INT > 0xFFFFF * 1000


def test_sht4x_over_the_bus() -> None:
    i2c = FakeI2c({0x44: [b"\x66\x66\x93\x66\x66\x93"]})
    chip = humidity.Sht4x(i2c)
    body = b"\x66\x66"
    i2c.answers[0x44] = [(body + bytes([crc8.humidity(body, 0, 2)])) * 2]
    asyncio.run(chip.measure(lambda: 77))
    assert (chip.fault_code, chip.mc, chip.at_ms) == (fault.NONE, 25000, 77)
    i2c.answers.clear()
    asyncio.run(chip.measure(lambda: 99))
    assert (chip.fault_code, chip.mc, chip.at_ms) == (fault.ABSENT, 25000, 99)


# S13, S14: 450 pulses a litre at 1 L/min are 133.3 ms apart; the small type gives 3900 a litre.
@pytest.mark.parametrize(
    ("pulses_l", "spacing_ms", "ml_min"),
    [(450, 133.33, 1000), (3900, 10.256, 1500), (5880, 5.102, 2000)],
)
def test_flow_of_a_steady_train(pulses_l: int, spacing_ms: float, ml_min: int) -> None:
    pin = FakePin()
    flow = pulses.Flow(pulses.EdgeCount(pin), pulses_l)
    seen = []
    at_ms = 0.0
    for second in range(60):
        while at_ms < (second + 1) * 1000:
            pin.handler(pin)
            at_ms += spacing_ms
        seen.append(flow.update(1000))
    step = 60000 / pulses_l  # one pulse a second
    assert all(abs(ml - ml_min) <= step + 1 for ml in seen)
    assert abs(sum(seen) / 60 - ml_min) < 0.02 * ml_min


def test_flow_stays_inside_small_integers_at_any_noise() -> None:
    pin = FakePin()
    flow = pulses.Flow(pulses.EdgeCount(pin), 450)
    for _ in range(100000):
        pin.handler(pin)
    assert 0 < flow.update(1000) <= 300000
    assert pulses._MOST * 60000 < SMALL_INT
    assert pulses._MOST * 60000 // 100 * 1000 < SMALL_INT


def test_edge_counter_wraps() -> None:
    pin = FakePin()
    count = pulses.EdgeCount(pin)
    count._count[0] = count._taken = 0x3FFFFFFE
    for _ in range(5):
        pin.handler(pin)
    assert count.take() == 5


def test_hardware_counter_of_16_bits_wraps() -> None:
    values = iter([65530, 4])
    counter = type("Counter", (), {"value": lambda self: next(values)})()
    assert pulses.HardwareCount(counter).take() == 10


def test_tach() -> None:
    pin = FakePin()
    tach = pulses.Tach(pulses.EdgeCount(pin), 2)
    for _ in range(40):
        pin.handler(pin)
    assert tach.update(1000) == 1200


def samples(contact: Contact, pin: FakePin, levels: str) -> str:
    out = ""
    for level in levels:
        pin.level = int(level)
        out += str(contact.sample())
    return out


def test_contact_starts_in_trouble_and_clears_on_five_good_of_seven() -> None:
    pin = FakePin()
    assert samples(Contact(pin, 0), pin, "0000000") == "0000111"


def test_contact_trips_on_two_of_three_and_ignores_one() -> None:
    pin = FakePin()
    contact = Contact(pin, 0)
    samples(contact, pin, "0" * 10)
    assert samples(contact, pin, "1000100010001000") == "1" * 16
    assert samples(contact, pin, "101") == "110"


def test_contact_clears_only_on_five_of_seven() -> None:
    pin = FakePin()
    contact = Contact(pin, 0)
    samples(contact, pin, "1111111")
    assert samples(contact, pin, "0101010101010") == "0" * 13
    samples(contact, pin, "1111111")
    assert samples(contact, pin, "0001000") == "0000011"  # two bad ones left in the last seven


def test_random_bounce_never_clears_an_open_loop() -> None:
    # Hazard: bounce of 20 ms about a change. Sampled each 200 ms, at most one sample is wild.
    rng = random.Random(5)
    pin = FakePin()
    contact = Contact(pin, 0)
    for _ in range(500):
        samples(contact, pin, "0" * 8)
        assert contact.ok == 1
        trip = samples(contact, pin, str(rng.randrange(2)) + "1" * 6)
        assert trip[2:] == "00000", trip  # tripped within three samples = 0.6 s


def test_button_press_and_hold() -> None:
    pin = FakePin(0)
    button = Button(pin, 0)
    for _ in range(100):
        button.sample()
    assert (button.presses, button.long_presses) == (0, 0)  # held at power-up is no press
    for level in "1" + "0" + "1" + "00" + "1":
        pin.level = int(level)
        button.sample()
    assert (button.presses, button.long_presses) == (1, 0)  # one sample is noise
    pin.level = 0
    for _ in range(60):
        button.sample()
    assert (button.presses, button.long_presses) == (2, 1)


class FakeAdc:
    def __init__(self, *raws: int) -> None:
        self.raws = list(raws)

    def read_u16(self) -> int:
        return self.raws.pop(0)


def test_battery() -> None:
    # 13.2 V through 10:1 is 1.32 V, 0.4 of 3.3 V full scale = raw 26214.
    assert abs(Battery(FakeAdc(26214, 60000, 26214), 3300, 10000).update() - 13200) <= 10
    assert Battery(FakeAdc(65535, 65535, 65535), 3300, 10000).update() == 0
    assert SMALL_INT > 64999 * 3300
    assert SMALL_INT > 3300 * 25000


def build() -> tuple[outputs.Outputs, FakePin, FakePwm, FakePwm, FakePin]:
    relay, sounder, pump, fan = FakePin(), FakePin(), FakePwm(), FakePwm()
    return outputs.Outputs(outputs.LevelRelay(relay), pump, fan, sounder), relay, pump, fan, sounder


def test_outputs_follow_the_bits_and_off_drops_all() -> None:
    out, relay, pump, fan, sounder = build()
    out.write(output.COMPRESSOR | output.PUMP | output.FAN | output.ALARM, 1000, 600, 900)
    out.beep(0)
    assert (relay.level, pump.duty, fan.duty, sounder.level) == (1, 65535, 39321, 1)
    out.write(output.PUMP | output.FAN | output.FAN_FULL, 500, 600, 900)
    assert (relay.level, pump.duty, fan.duty) == (0, 32767, 58981)
    out.write(output.COMPRESSOR | output.PUMP | output.FAN | output.ALARM, 1000, 600, 900)
    out.off()
    assert (relay.level, pump.duty, fan.duty, sounder.level, out.bits) == (0, 0, 0, 0, 0)
    out.write(output.FAN_FULL, 1000, 600, 900)
    assert fan.duty == 0


def test_pulsed_relay_drops_without_fresh_orders() -> None:
    pin = FakePin()
    relay = outputs.PulsedRelay(pin)
    relay.set(1)
    for n in range(500):
        relay.beat(20 * n)
    edges = sum(a != b for a, b in zip(pin.written, pin.written[1:], strict=False))
    assert edges == relay.WORTH - 1
    assert pin.level == 0
    beats = len(pin.written)
    relay.set(1)
    relay.beat(10_000)
    assert len(pin.written) == beats, "it stays open until the controller was told"
    assert relay.take_drop()
    assert not relay.take_drop()
    relay.set(1)
    relay.beat(10_020)
    assert pin.level == 1
    relay.set(0)
    relay.beat(10_040)
    assert pin.level == 0
    assert not relay.take_drop()


@pytest.mark.parametrize(("gap_ms", "drops"), [(300, False), (301, True)])
@pytest.mark.parametrize("at", [0, (1 << 30) - 100])
def test_pulsed_relay_drops_between_half_waves_too_far_apart(
    gap_ms: int, drops: bool, at: int
) -> None:
    relay = outputs.PulsedRelay(FakePin())
    relay.set(1)
    relay.beat(at)
    relay.beat((at + gap_ms) % (1 << 30))
    assert relay.take_drop() is drops


def test_light_flashes_its_code() -> None:
    pin = FakePin()
    light = Light(pin)
    light.code = LOCKED
    for phase in range(20):
        light.show(phase)
    rises = sum(b > a for a, b in zip([0, *pin.written], pin.written, strict=False))
    assert rises == LOCKED == 4
    light.code = SAFE
    light.show(3)
    assert pin.level == 1


# Days since 1970-01-01 from the Unix time of known dates (POSIX: 86400 s a day):
# 2000-03-01 951868800, 2024-02-29 1709164800, 2026-12-31 1798675200, 2038-01-19 2147472000.
@pytest.mark.parametrize(
    ("date", "unix_s"),
    [
        ((2000, 3, 1), 951868800),
        ((2024, 2, 29), 1709164800),
        ((2026, 12, 31), 1798675200),
        ((2038, 1, 19), 2147472000),
    ],
)
def test_days(date: tuple[int, int, int], unix_s: int) -> None:
    assert rtc.days_since_1970(*date) * 86400 == unix_s


def test_clock_chip_round_trip_and_stop_flag() -> None:
    i2c = FakeI2c({})
    i2c.registers[0x68] = bytearray(0x13)
    i2c.registers[0x68][0x0F] = 0x80
    chip = rtc.Ds3231(i2c)
    assert chip.read() == (-1, 0)
    rng = random.Random(1)
    assert not chip.write(0, 0)  # 1970 cannot be written in two digits
    for n in range(700):
        minute = rng.randrange(rtc.days_since_1970(2025, 1, 1), rtc.days_since_1970(2099, 1, 1))
        if n < 80:
            minute = rtc.days_since_1970(2020 + n, 1, 1) - n % 2  # around each new year
        minute = minute * 1440 + rng.randrange(1440)
        assert chip.write(minute, 42)
        assert chip.read() == (minute, 42)
    # Datasheet, timekeeping registers: BCD, day of the week 1 ... 7; 29 February 2024, 13:45:59.
    chip.write(1709164800 // 60 + 13 * 60 + 45, 59)
    assert i2c.registers[0x68][:7] == bytes.fromhex("59451304290224")
    i2c.registers.clear()
    assert chip.read() == (-1, 0)
    assert not chip.write(minute, 0)

"""Facts of sensors and interpreter that the board's program relies on.

S2, S5: datasheet of the 1-Wire probe, seen; S11: humidity-chip drivers, seen; S15, S17: the
interpreter's documentation and headers, seen.
"""

from springhouse import setting, timekeeping
from springhouse.drivers import crc8, humidity, probe


def test_s2_a_conversion_is_given_its_longest_time() -> None:
    """S2: 12 bit takes 750 ms at most."""
    assert 750 <= probe.CONVERT_MS <= 1000


def remainder(data: bytes) -> int:
    """Return the sum by long division: bits, low one of each byte first, by x8 + x5 + x4 + 1."""
    bits = [byte >> n & 1 for byte in data for n in range(8)] + [0] * 8
    for i in range(len(bits) - 8):
        if bits[i]:
            for power in (8, 5, 4, 0):
                bits[i + 8 - power] ^= 1
    return sum(bit << n for n, bit in enumerate(bits[-8:]))


def test_s5_sum_of_every_single_byte_and_some_frames() -> None:
    """S5, datasheet: x8 + x5 + x4 + 1, low bit first, from 0; here by polynomial division."""
    frames = [bytes([n]) for n in range(256)]
    frames += [b"123456789", bytes(9), bytes(range(9)), b"\xff" * 8]
    for frame in frames:
        assert crc8.onewire(frame, len(frame)) == remainder(frame)


def test_s11_scaling_of_the_humidity_chip() -> None:
    """S11: RH = raw / 2**20 x 100, t = raw / 2**20 x 200 - 50; within a unit of rounding."""
    for raw in (0, 1 << 18, 1 << 19, 700_001, (1 << 20) - 1):
        assert abs(humidity.aht20_mc(raw) - 1000.0 * (raw / 2**20 * 200.0 - 50.0)) <= 1.0
        assert abs(humidity.aht20_rh_cpc(raw) - 100.0 * (raw / 2**20 * 100.0)) <= 1.0


def test_s15_period_of_the_ticks() -> None:
    """S15: 2**30 ms on 32-bit boards, 12.43 days."""
    assert timekeeping.LAST + 1 == 2**30
    assert (timekeeping.LAST + 1) / 86_400_000 == 12.427567407407407


def test_s17_every_setting_is_a_small_integer() -> None:
    """S17: 31 bits signed, -2**30 to 2**30 - 1; beyond it a board allocates."""
    for _, low, high, default in setting.BOUNDS:
        assert -(2**30) <= low <= default <= high <= 2**30 - 1

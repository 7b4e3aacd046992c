"""What the board's pins and buses see, in the words of the pipe."""

from collections.abc import Iterable
from dataclasses import dataclass, field


def onewire_crc(data: Iterable[int]) -> int:
    """Checksum of the 1-wire bus, table-free and MSB-first on reflected bits.

    Deliberately not the firmware's code: the plant's side must not share its mistakes.
    """
    crc = 0
    for byte in data:
        for bit in range(8):
            mix = (crc >> 7) ^ (byte >> bit & 1)
            crc = (crc << 1) & 0xFF
            if mix:
                crc ^= 0x31
    return int(f"{crc:08b}"[::-1], 2)


def scratchpad(temperature_c: float) -> bytes:
    """Nine bytes of a 12-bit probe at a temperature in °C (-55 ... 125), rounded to 1/16 K."""
    raw = round(temperature_c * 16) & 0xFFFF
    head = raw.to_bytes(2, "little") + bytes.fromhex("4B467FFF")
    eight = head + bytes([0x10 - (raw & 0x0F), 0x10])
    return eight + bytes([onewire_crc(eight)])


POWER_ON_PAD = bytes.fromhex("50054B467FFF0C101C")  # datasheet: 85 °C before the first conversion


def serial(number: int) -> bytes:
    """A well-formed serial number of the probe family for tests, by a small number."""
    seven = bytes([0x28]) + number.to_bytes(6, "little")
    return seven + bytes([onewire_crc(seven)])


@dataclass
class Inputs:
    """Collects changes for the next slice; only what changed goes over the pipe."""

    _sent: dict[str, str] = field(default_factory=dict)
    _words: list[str] = field(default_factory=list)

    def _put(self, key: str, value: str) -> None:
        if self._sent.get(key) != value:
            self._sent[key] = value
            self._words.append(f"{key}={value}")

    def forget(self) -> None:
        """The board has restarted and knows nothing."""
        self._words = [f"{key}={value}" for key, value in self._sent.items()]

    def level(self, pin: int, level: int) -> None:
        """Level of an input pin."""
        self._put(f"p{pin}", str(level))

    def edge(self, pin: int, level: int, in_ms: int) -> None:
        """A change of a pin so many ms into the next slice."""
        self._sent[f"p{pin}"] = str(level)
        self._words.append(f"p{pin}={level}@{in_ms}")

    def pulses(self, pin: int, per_s: float) -> None:
        """Rate of a pulse train in 1/s."""
        self._put(f"f{pin}", str(round(per_s * 1000)))

    def adc(self, pin: int, raw: int) -> None:
        """16-bit reading of a converter."""
        self._put(f"a{pin}", str(raw))

    def pad(self, serial_number: bytes, frame: bytes | None) -> None:
        """Scratchpad of a probe, None while it is unplugged."""
        self._put(f"s{serial_number.hex()}", "-" if frame is None else frame.hex())

    def bus(self, condition: str) -> None:
        """Condition of the 1-wire bus: ok, absent, short, high."""
        self._put("b", condition)

    def wifi(self, there: bool) -> None:
        """Whether the access point is in reach."""
        self._put("w", "1" if there else "0")

    def chip(self, address: int, answer: bytes | None) -> None:
        """Answer of an I2C chip, None while it is unplugged."""
        self._put(f"i{address}", "-" if answer is None else answer.hex())

    def hold_bus(self, address: int) -> None:
        """Let an I2C chip hold its bus when it is spoken to, until it answers again."""
        self._put(f"i{address}", "held")

    def trouble(self, place: str, what: str) -> None:
        """Inject once a fault at `place`.

        Places: onewire, pin, drive, pwm, adc, i2c, radio, join, connect, send, idle, any.
        `what` is hang, slow, or the name of an exception.
        """
        self._words.append(f"t{place}={what}")

    def interrupt(self, in_ms: int) -> None:
        """A Ctrl-C so many ms into the next slice."""
        self._words.append(f"k={in_ms}")

    def take(self) -> str:
        """Words for the next slice."""
        words, self._words = " ".join(self._words), []
        return words

"""Which chip a virtual board has: what it says of itself, and what its registers say of a reset.

The registers are those of the datasheets (RP2040: VREG_AND_CHIP_RESET, WATCHDOG; RP2350: POWMAN,
WATCHDOG), from memory; the RP2040's WATCHDOG as in the emulator rp2040js 1.4.1 too.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum


class Because(Enum):
    """What resets a chip."""

    POWER = "power"
    SAG = "sag"
    PIN = "pin"
    WATCHDOG = "watchdog"
    ASKED = "asked"  # machine.reset()


@dataclass(frozen=True)
class Registers:
    """Where the watchdog's reason and the chip's own reset register lie; what it has in the latter.

    A reset through the watchdog leaves the chip's own register as it was.
    """

    reason: int
    chip: int
    bits: Mapping[Because, int]


_RP2040 = Registers(
    0x4005_8000 + 0x08,
    0x4006_4000 + 0x08,
    {Because.POWER: 0x100, Because.SAG: 0x100, Because.PIN: 0x10000},
)
_RP2350 = Registers(
    0x400D_8000 + 0x08,
    0x4010_0000 + 0x2C,
    {Because.POWER: 0x10000, Because.SAG: 0x20000, Because.PIN: 0x40000},
)
# machine.reset_cause() of the two ports, from memory of their sources.
_PICO_CAUSE = {Because.WATCHDOG: 3, Because.ASKED: 3}
_ESP32_CAUSE = {Because.WATCHDOG: 3, Because.ASKED: 2}
_POWER_CAUSE = 1


@dataclass(frozen=True)
class Chip:
    """What a board says of itself (`os.uname`) and the room of its file system."""

    sysname: str = "rp2"
    release: str = "1.28.0"
    machine: str = "Raspberry Pi Pico W with RP2040"
    flash_kib: int = 848
    registers: Registers | None = field(default=_RP2040)

    def environment(self) -> dict[str, str]:
        """Return it as the stand-in of `os` reads it."""
        return {
            "BOARD_SYSNAME": self.sysname,
            "BOARD_RELEASE": self.release,
            "BOARD_MACHINE": self.machine,
            "BOARD_FLASH_KIB": str(self.flash_kib),
        }

    def cause(self, because: Because) -> int:
        """Return what machine.reset_cause() says."""
        known = _PICO_CAUSE if self.sysname == "rp2" else _ESP32_CAUSE
        return known.get(because, _POWER_CAUSE)

    def words(self, because: Because, before: Mapping[int, int]) -> dict[int, int]:
        """Return the registers by address after a reset, from what they were before."""
        r = self.registers
        if r is None:
            return {}
        if because in r.bits:
            return {r.reason: 0, r.chip: r.bits[because]}
        return {r.reason: 1 if because is Because.WATCHDOG else 2, r.chip: before.get(r.chip, 0)}


PICO_W = Chip()
PICO_2W = Chip(machine="Raspberry Pi Pico 2 W with RP2350", registers=_RP2350)
ESP32 = Chip("esp32", machine="Generic ESP32 module with ESP32", registers=None)
BY_BOARD = {"pico_w": PICO_W, "pico_2w": PICO_2W, "esp32": ESP32}

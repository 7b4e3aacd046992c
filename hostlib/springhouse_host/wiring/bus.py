"""What shares the I2C bus, by the board's wiring file or else by what the site lets expect."""

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from ..site.site import Site

AIR, CLOCK, DISPLAY = "air sensor", "clock", "display"


@dataclass(frozen=True)
class Device:
    """One part on the bus. ``address`` has 7 bits; None: its kind is not known yet."""

    word: str  # for a person
    address: int | None
    most_ma: float  # from 3.3 V


# By the words of the wiring file. Addresses are those that the firmware's drivers ask for; currents
# are of the data sheets, from memory, the display's with every point lit.
DEVICES = {
    "sht4x": Device(AIR, 0x44, 0.5),
    "aht20": Device(AIR, 0x38, 1.0),
    "ds3231": Device(CLOCK, 0x68, 0.7),
    "ssd1306": Device(DISPLAY, 0x3C, 40.0),
}
EITHER_AIR = Device(AIR, None, 1.0)


@dataclass(frozen=True)
class Wired:
    """What a wiring file says of the board and no site file does."""

    devices: tuple[Device, ...] = ()
    target_buttons: bool = False


def read(path: Path) -> tuple[str, Wired]:
    """Return (board, what is wired to it) of a wiring file, checked as the board will check it.

    Raises:
        KnownError: naming the file and what is wrong.
    """
    from springhouse.wiring import Wiring

    from ..flashing.flash import read_wiring

    board, text, _ = read_wiring(path)
    wiring = Wiring(text.decode())
    named = (wiring.choice[key] for key in ("air", "rtc", "display"))
    devices = tuple(DEVICES[word] for word in named if word)
    return board, Wired(devices, bool(wiring.number["target_buttons"]))


def on_bus(site: "Site", wired: Wired | None) -> tuple[Device, ...]:
    """Return what shares the bus; ``wired`` None: what the site lets expect."""
    if wired is not None:
        return wired.devices
    return (EITHER_AIR, DEVICES["ds3231"]) if site.file.sensors.humidity == "fitted" else ()


def words(devices: tuple[Device, ...]) -> str:
    """Return what is there in words, what could be if nothing is."""
    *first, last = [device.word for device in devices] or (AIR, CLOCK, DISPLAY)
    return f"{', '.join(first)} and {last}" if first else last

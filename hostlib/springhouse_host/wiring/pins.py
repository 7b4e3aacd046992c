"""The pin table: one line a signal, from the very profile that the firmware imports."""

from collections.abc import Iterator
from dataclasses import dataclass
from importlib import import_module
from typing import TYPE_CHECKING, Literal

from springhouse import fitted as fitted_bits

from ..site.tables import PROBES
from . import bus

if TYPE_CHECKING:
    from springhouse.kinds import Profile

    from ..site.site import Site

BOARDS = ("pico_w", "pico_2w", "esp32")
BOARD_NAMES = {
    "pico_w": "Raspberry Pi Pico W",
    "pico_2w": "Raspberry Pi Pico 2 W",
    "esp32": "ESP32, classic",
}

Way = Literal["out", "in", "analogue", "bus"]


@dataclass(frozen=True)
class Signal:
    """One signal. ``name`` is the profile's; ``fitted`` whether this site uses it."""

    name: str
    gpio: int
    way: Way
    word: str  # for a person
    circuit: str  # what stands between pin and part
    idle: str  # what the pin sees with nothing connected, and what that means
    fitted: bool


def load_profile(board: str) -> "Profile":
    """Return a board's profile, a module of ``springhouse.boards``."""
    profile: Profile = import_module(f"springhouse.boards.{board}")
    return profile


_DRIVER = "logic-level N-channel transistor, 100 ohm into its gate, 8.2 kohm from gate to ground"
_OFF = "gate at ground: off"
_LOOP = "normally closed loop to ground, 4.7 kohm to 3.3 V, 1 kohm and 100 nF into the pin"
_OPEN = "open loop: high, which is trouble"
_BUTTON = "push button to ground, 10 kohm to 3.3 V"
_OUTPUTS = {
    "RELAY": ("freezer relay", f"{_DRIVER}; coil with a diode across it"),
    "PUMP": ("pump", f"{_DRIVER}; motor with a diode across it"),
    "FAN": (
        "fans",
        "N-channel transistor (100 ohm, 8.2 kohm to ground) that pulls the gate of a P-channel "
        "transistor in the fans' plus; diode, 100 uH and 470 uF behind it",
    ),
    "SOUNDER": ("alarm sounder", f"{_DRIVER}"),
    "LIGHT": ("status light", "470 ohm and a light-emitting diode to ground"),
}
_CONTACTS = {
    "TRAY": ("tray float", fitted_bits.TRAY),
    "LEVEL": ("level float of the store", fitted_bits.LEVEL),
    "FLOOR": ("floor contact", fitted_bits.FLOOR),
    "RELAY_CONTACT": ("contact behind the freezer relay", fitted_bits.RELAY),
}
_COUNTED = {
    "FLOW": ("flow sensor", fitted_bits.FLOW),
    "TACH": ("fan tachometer", fitted_bits.FAN_TACH),
}
_BUTTONS = {
    "BUTTON": "acknowledge button",
    "BUTTON_UP": "room warmer button",
    "BUTTON_DOWN": "room cooler button",
}


def signals(site: "Site", board: str, wired: bus.Wired | None = None) -> tuple[Signal, ...]:
    """Return every signal of a board, fitted here or not."""
    return tuple(signals_of(site, load_profile(board), wired))


def signals_of(
    site: "Site", profile: "Profile", wired: bus.Wired | None = None
) -> Iterator[Signal]:
    """Yield every signal of a profile."""
    fitted = site.fitted
    for name, (word, circuit) in _OUTPUTS.items():
        idle = "dark" if name == "LIGHT" else _OFF
        if name == "RELAY" and profile.RELAY_PULSED:
            circuit = f"10 uF in series, two diodes, 1 uF and 100 kohm to ground; {circuit}"
            idle = "a level that stands still, high or low: off"
        yield Signal(name, getattr(profile, name), "out", word, circuit, idle, True)
    probes = any(fitted & fitted_bits.STORE_LOW << i for i in range(len(PROBES)))
    yield Signal(
        "PROBES",
        profile.PROBES,
        "bus",
        "temperature probes, 1-wire",
        "pull-up to 3.3 V by the length of the bus; three wires a probe, one twisted pair for "
        "data and ground",
        "bus held high: no answer, nobody is believed",
        probes,
    )
    for name, (word, bit) in _CONTACTS.items():
        yield Signal(name, getattr(profile, name), "in", word, _LOOP, _OPEN, bool(fitted & bit))
    yield Signal(
        "MAINS",
        profile.MAINS,
        "in",
        "mains sense",
        "optocoupler to ground, 4.7 kohm to 3.3 V; its diode on a plug-in 5 V supply beside the "
        "freezer",
        "high, which is no mains",
        bool(fitted & fitted_bits.MAINS),
    )
    for name, (word, bit) in _COUNTED.items():
        yield Signal(
            name,
            getattr(profile, name),
            "in",
            word,
            "open collector, 4.7 kohm to 3.3 V, 1 kohm and 1 nF into the pin",
            "no edges, which is standstill",
            bool(fitted & bit),
        )
    more = wired is not None and wired.target_buttons
    for name, word in _BUTTONS.items():
        there = more or name == "BUTTON"
        yield Signal(name, getattr(profile, name), "in", word, _BUTTON, "not pressed", there)
    yield Signal(
        "BATTERY",
        profile.BATTERY,
        "analogue",
        "battery voltage",
        "divider, 100 nF across its lower resistor",
        "0 V, which is flat",
        bool(fitted & fitted_bits.BATTERY),
    )
    devices = bus.on_bus(site, wired)
    for name, word in (("I2C_SDA", "I2C data"), ("I2C_SCL", "I2C clock")):
        yield Signal(
            name,
            getattr(profile, name),
            "bus",
            f"{word}: {bus.words(devices)}",
            "4.7 kohm to 3.3 V, 0.5 m of cable at most",
            "no answer, not believed",
            bool(devices),
        )

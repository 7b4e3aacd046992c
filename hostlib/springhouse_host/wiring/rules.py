"""What must hold of a board's pins and of the parts on them. Each rule says what it found wrong.

Sources: data sheets of RP2040, RP2350 and ESP32, all from memory. GPIO numbers throughout.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from . import bus, sums
from .pins import Signal

if TYPE_CHECKING:
    from springhouse.kinds import Profile

    from ..site.site import Site

LEAST_FLOW_L_MIN = 1.0  # below it ordinary half-inch flow sensors may read zero


@dataclass(frozen=True)
class Chip:
    """What the pins of a microcontroller can do."""

    pins: frozenset[int]
    taken: Mapping[int, str]  # pin: what else it does
    analogue: frozenset[int]
    input_only: frozenset[int] = frozenset()
    lively: frozenset[int] = frozenset()  # pulse or float high while the chip starts
    shares_pwm: bool = False  # two pins next to each other share one frequency
    i2c_data: frozenset[int] | None = None  # pins on which I2C 0 may carry data, None: any


_RP2_TAKEN = {
    0: "console",
    1: "console",
    **dict.fromkeys((23, 24, 25, 29), "the radio"),
}
_RP2 = Chip(
    pins=frozenset(range(30)),
    taken=_RP2_TAKEN,
    analogue=frozenset((26, 27, 28)),
    shares_pwm=True,
    i2c_data=frozenset(range(0, 29, 4)),
)
_ESP32 = Chip(
    pins=frozenset((*range(20), *range(21, 24), *range(25, 28), *range(32, 40))),
    taken={
        **dict.fromkeys((0, 2, 5, 12, 15), "read at power-up to choose how to start"),
        **dict.fromkeys((1, 3), "console"),
        **dict.fromkeys(range(6, 12), "the flash chip"),
    },
    analogue=frozenset(range(32, 40)),  # the other converter is busy while the radio is on
    input_only=frozenset(range(34, 40)),
    lively=frozenset((0, 1, 3, 5, 14, 15)),
)
CHIPS = {"pico_w": _RP2, "pico_2w": _RP2, "esp32": _ESP32}


@dataclass(frozen=True)
class Bought:
    """What is known of the parts at hand; defaults are what the parts list asks for."""

    run_m: float | None = None  # cable from board to coil, None: half the tube
    least_flow_l_min: float = LEAST_FLOW_L_MIN
    drives_v: Mapping[str, float] = field(default_factory=dict)  # signal: volts it puts on a pin
    wired: bus.Wired | None = None  # what the board's wiring file says, None: not known


def pin_faults(board: str, signals: tuple[Signal, ...]) -> Iterator[str]:
    """Yield what is wrong with the pins of a board."""
    chip = CHIPS[board]
    used: dict[int, str] = {}
    for signal in signals:
        at = f"GPIO {signal.gpio}"
        if signal.gpio not in chip.pins:
            yield f"{signal.word}: {at} does not exist"
        if signal.gpio in chip.taken:
            yield f"{signal.word}: {at} belongs to: {chip.taken[signal.gpio]}"
        if signal.gpio in used:
            yield f"{signal.word}: {at} is taken by: {used[signal.gpio]}"
        used.setdefault(signal.gpio, signal.word)
        if signal.way in ("out", "bus") and signal.gpio in chip.input_only:
            yield f"{signal.word}: {at} can only read"
        if signal.way == "out" and signal.gpio in chip.lively:
            yield f"{signal.word}: {at} pulses while the chip starts"
        if signal.way == "analogue" and signal.gpio not in chip.analogue:
            yield f"{signal.word}: {at} has no converter that works beside the radio"


def shared_faults(board: str, profile: "Profile") -> Iterator[str]:
    """Yield what is wrong with things that pins share: PWM frequency, I2C pairs, the off list."""
    chip = CHIPS[board]
    same_slice = profile.PUMP >> 1 & 7 == profile.FAN >> 1 & 7
    if chip.shares_pwm and same_slice and profile.PUMP_HZ != profile.FAN_HZ:
        yield (
            f"pump and fans: GPIO {profile.PUMP} and {profile.FAN} share one PWM frequency, "
            f"{profile.PUMP_HZ} and {profile.FAN_HZ} Hz are wanted"
        )
    if chip.i2c_data is not None and (
        profile.I2C_SDA not in chip.i2c_data or profile.I2C_SCL != profile.I2C_SDA + 1
    ):
        yield f"I2C: GPIO {profile.I2C_SDA} and {profile.I2C_SCL} are no pair of I2C 0"
    outputs = (profile.RELAY, profile.PUMP, profile.FAN, profile.SOUNDER, profile.LIGHT)
    if set(profile.OUTPUTS) != set(outputs):
        yield "OUTPUTS: must list every output, for they are switched off first at power-up"


def circuit_faults(signals: tuple[Signal, ...]) -> Iterator[str]:
    """Yield outputs without a pull to off and loops without a pull-up."""
    for signal in signals:
        drives = signal.way == "out" and signal.name != "LIGHT"
        if drives and "kohm" not in signal.circuit:
            yield f"{signal.word}: nothing pulls it to off while the board starts"
        loop = signal.way == "in"
        if loop and "kohm to 3.3 V" not in signal.circuit:
            yield f"{signal.word}: nothing pulls it up: a broken wire would not read as trouble"


def part_faults(site: "Site", signals: tuple[Signal, ...], bought: Bought) -> Iterator[str]:
    """Yield what is wrong with the parts on the pins."""
    fitted = {signal.name: signal for signal in signals if signal.fitted}
    for name, volts in bought.drives_v.items():
        if name in fitted and volts > sums.LOGIC_V:
            instead = "take one with an open collector, or a divider"
            if fitted[name].way == "bus":
                instead = f"supply it and its pull-ups from {sums.LOGIC_V:g} V"
            yield f"{fitted[name].word}: puts {volts:g} V on a {sums.LOGIC_V:g} V pin: {instead}"
    if "FLOW" in fitted and site.weakest_l_min < bought.least_flow_l_min:
        yield (
            f"flow sensor: reads from {bought.least_flow_l_min:g} L/min, the weakest reading of "
            f"the labels gives {site.weakest_l_min:.2f} L/min: it may read zero while water flows"
        )


def bus_faults(site: "Site", wired: bus.Wired | None) -> Iterator[str]:
    """Yield what is wrong with what shares the I2C bus."""
    used: dict[int, str] = {}
    devices = bus.on_bus(site, wired)
    for device in devices:
        if device.address in used:
            yield (
                f"{device.word}: I2C address 0x{device.address:02X} is taken by: "
                f"{used[device.address]}"
            )
        elif device.address is not None:
            used[device.address] = device.word
    humid = site.file.sensors.humidity == "fitted"
    if humid and not any(device.word == bus.AIR for device in devices):
        yield f"{bus.AIR}: fitted by the site file, not named by the wiring file: it is never read"


def check(
    site: "Site", board: str, profile: "Profile", signals: tuple[Signal, ...], bought: Bought
) -> list[str]:
    """Return everything that is wrong, empty if nothing is."""
    return [
        *pin_faults(board, signals),
        *shared_faults(board, profile),
        *circuit_faults(signals),
        *part_faults(site, signals, bought),
        *bus_faults(site, bought.wired),
    ]

"""Parts by specification, never by brand, each with the sum that says why.

A part that no cord, fuse or divider of the tables fits is a fault, not a guess.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from springhouse import fitted as fitted_bits

from ..site.tables import PROBES
from ..site.words import trips
from . import bus, sums
from .rules import Bought

if TYPE_CHECKING:
    from springhouse.kinds import Profile

    from ..site.site import Site

LEAST_PROBES = 2  # room and one in the store
LEAST_5_V_A = 1.0  # what the boards draw for a moment when the radio starts, twice over


@dataclass(frozen=True)
class Part:
    """One line. ``least`` marks what must be there; without the rest something is unguarded."""

    name: str
    count: int
    must: str
    why: str
    least: bool


class PartsError(ValueError):
    """Nothing in the tables fits; the text says what to change."""


def parts(
    site: "Site", profile: "Profile", bought: Bought
) -> tuple[tuple[Part, ...], tuple[str, ...]]:
    """Return (parts list, what of it nothing in the tables fits)."""
    found: list[Part] = []
    faults: list[str] = []
    for make in (
        *(_mains, _battery, _fuse, _cable, _drivers, _divider, _probes, _pull_up, _sensors),
        _on_bus,
    ):
        try:
            found.extend(make(site, profile, bought))
        except PartsError as error:
            faults.append(str(error))
    return tuple(found), tuple(faults)


def run_m(site: "Site", bought: Bought) -> float:
    """Return the cable from board to coil, one way [m]."""
    return site.file.loop.tube_length_m / 2.0 if bought.run_m is None else bought.run_m


def load_w(site: "Site") -> tuple[float, float]:
    """Return (pump and fans, board) at full drive [W]."""
    file = site.file
    return file.loop.pump_w + file.coil.fans * file.coil.fan_w, file.battery.board_w


def probes_fitted(site: "Site") -> int:
    """Return how many probes share the bus."""
    return sum(1 for i in range(len(PROBES)) if site.fitted & fitted_bits.STORE_LOW << i)


def probe_pull_up_ohm(site: "Site", bought: Bought) -> int:
    """Return the pull-up of the probe bus.

    Raises:
        PartsError: the bus is too long.
    """
    probes, length = probes_fitted(site), run_m(site, bought)
    ohm = sums.pull_up_ohm(length, probes)
    if ohm is None:
        raise PartsError(f"probe bus: {length:g} m is too long for {probes} probes: shorten it")
    return ohm


def battery_v(site: "Site") -> tuple[float, float]:
    """Return the (highest, lowest) voltage of battery or supply."""
    battery = site.file.battery
    high, low = sums.SPREADS[battery.kind]
    return battery.nominal_v * high, battery.nominal_v * low


def divider_ohm(site: "Site", profile: "Profile") -> int:
    """Return the lower resistor of the battery's divider.

    Raises:
        PartsError: the battery's voltage is too high for those listed.
    """
    highest_v = battery_v(site)[0]
    bottom = sums.divider_ohm(highest_v, profile.ADC_FULL_MV)
    if bottom is None:
        raise PartsError(f"battery: {highest_v:.1f} V is too high for the dividers listed")
    return bottom


def fuse_a(site: "Site") -> float:
    """Return the fuse at the battery's post or the supply's plus [A].

    Raises:
        PartsError: the load is too great for one fuse.
    """
    all_w, lowest_v = sum(load_w(site)), battery_v(site)[1]
    size = sums.fuse_a(all_w, lowest_v)
    if size is None:
        raise PartsError(f"battery: {all_w:g} W at {lowest_v:.1f} V is too much for one fuse")
    return size


def _mains(site: "Site", _profile: "Profile", _bought: Bought) -> Iterator[Part]:
    watts = site.file.freezer.label_input_w
    mains_v = site.file.freezer.mains_v
    running_a, start_a = sums.motor_a(watts, mains_v)
    yield Part(
        "relay for the freezer",
        1,
        f"motor rated, {start_a:.0f} A or more for a moment, {mains_v:g} V, coil isolated "
        "from the contact, off without drive",
        f"{watts:g} W / ({mains_v:g} V x {sums.POWER_FACTOR:g}) = {running_a:.1f} A "
        f"running, x {sums.START_FACTOR:g} at the start = {start_a:.1f} A",
        True,
    )
    yield Part(
        "freeze cut-out",
        1,
        "normally closed, opens on cold at the wall, own sensor, in series with the relay",
        "the one thing left when a relay contact welds",
        True,
    )
    yield Part(
        "residual-current device", 1, f"trips: {trips(site.file)}", "wet hands, wet floor", True
    )


def _battery(site: "Site", _profile: "Profile", _bought: Bought) -> Iterator[Part]:
    battery = site.file.battery
    if battery.kind == "none":
        return
    all_w, lowest_v = sum(load_w(site)), battery_v(site)[1]
    yield Part(
        "battery",
        1,
        f"{battery.nominal_v:g} V nominal, {battery.usable_wh:g} Wh that can be used, charger "
        "matched to its cells",
        f"{battery.usable_wh:g} Wh / {all_w:g} W = {battery.usable_wh / all_w:.1f} h; "
        f"{battery.usable_wh:g} Wh / {lowest_v:.1f} V = "
        f"{sums.bank_ah(battery.usable_wh, lowest_v):.0f} Ah",
        False,
    )


def _fuse(site: "Site", _profile: "Profile", _bought: Bought) -> Iterator[Part]:
    all_w, lowest_v = sum(load_w(site)), battery_v(site)[1]
    yield Part(
        "fuse",
        1,
        f"{fuse_a(site):g} A, at the battery's post or the supply's plus",
        f"{all_w:g} W / {lowest_v:.1f} V x {sums.FUSE_FACTOR:g} = "
        f"{all_w / lowest_v * sums.FUSE_FACTOR:.2f} A, next size up; never above what the thinnest "
        "cable behind it carries",
        True,
    )


def _cable(site: "Site", _profile: "Profile", bought: Bought) -> Iterator[Part]:
    moved_w, lowest_v, length = load_w(site)[0], battery_v(site)[1], run_m(site, bought)
    fuse = fuse_a(site)
    cord = sums.cord(moved_w, lowest_v, length, fuse)
    if cord is None:
        raise PartsError(
            f"cable to the coil: {length:g} m loses more than {sums.DROP_V:g} V at "
            f"{moved_w:g} W, or none listed carries {fuse:g} A: put the supply nearer"
        )
    area_mm2, drop_v = cord
    yield Part(
        "cable from board to coil",
        1,
        f"two cores of {area_mm2:g} mm2, {length:g} m",
        f"2 x {length:g} m x {moved_w:g} W / {lowest_v:.1f} V: {drop_v:.2f} V lost of "
        f"{sums.DROP_V:g} V allowed; carries the {fuse:g} A of its fuse",
        True,
    )


def _drivers(site: "Site", profile: "Profile", _bought: Bought) -> Iterator[Part]:
    moved_w, board_w = load_w(site)
    highest_v, lowest_v = battery_v(site)
    supply_a = max(LEAST_5_V_A, 2.0 * board_w / 5.0)
    yield Part(
        "step-down converter for the board",
        1,
        f"{1.2 * highest_v:.0f} V in or more, 5 V out, {supply_a:g} A",
        f"{highest_v:.1f} V at most from the battery, a fifth more; the board draws {board_w:g} W, "
        "more for a moment when its radio starts",
        True,
    )
    drivers_v = 2.0 * highest_v
    yield Part(
        "switching transistors, N-channel",
        4,
        f"fully on at 2.5 V at the gate, {drivers_v:.0f} V or more, "
        f"{max(2.0, 2.0 * moved_w / lowest_v):.0f} A or more",
        "a 3.3 V pin drives them; twice the voltage and current they see; for relay, pump, "
        "sounder and the fans' switch",
        True,
    )
    yield Part(
        "fan switch: P-channel transistor, diode, 100 uH, 470 uF",
        1,
        f"{drivers_v:.0f} V or more; coil and diode for the fans' current",
        f"fans follow their voltage, chopped at {profile.FAN_HZ / 1000:g} kHz and smoothed; a "
        "four-wire fan runs at full speed when its speed wire hangs free, so its plus is switched",
        True,
    )
    yield Part(
        "diode across relay coil and pump",
        2,
        f"{drivers_v:.0f} V or more, quick",
        "what a coil gives back when it is switched off disturbs the probes",
        True,
    )


def _divider(site: "Site", profile: "Profile", _bought: Bought) -> Iterator[Part]:
    if not site.fitted & fitted_bits.BATTERY:
        return
    highest_v = battery_v(site)[0]
    bottom = divider_ohm(site, profile)
    ratio_pm = sums.ratio_pm(bottom)
    yield Part(
        "divider at the battery",
        1,
        f"{sums.DIVIDER_TOP_OHM // 1000} kohm and {bottom / 1000:g} kohm, 1 %; "
        f"battery_ratio_pm {ratio_pm} in the wiring file",
        f"{highest_v:.1f} V / {ratio_pm / 1000:.2f} = {1000 * highest_v / ratio_pm:.2f} V at "
        f"most of {profile.ADC_FULL_MV / 1000:g} V",
        False,
    )


def _probes(site: "Site", _profile: "Profile", _bought: Bought) -> Iterator[Part]:
    must = "12 bit, 0.5 K or better, three wires, serial number on its label"
    yield Part(
        "temperature probe, 1-wire: room, store",
        LEAST_PROBES,
        must,
        "the one in the store near the surface, 20 mm from the coldest wall at most: ice starts "
        "there",
        True,
    )
    more = probes_fitted(site) - LEAST_PROBES
    if more > 0:
        yield Part(
            "temperature probe, 1-wire: others",
            more,
            must,
            "second in the store: more cold from the same water; at the coil: dry run, coil freeze",
            False,
        )


def _pull_up(site: "Site", _profile: "Profile", bought: Bought) -> Iterator[Part]:
    length, probes = run_m(site, bought), probes_fitted(site)
    ohm = probe_pull_up_ohm(site, bought)
    yield Part(
        "pull-up of the probe bus",
        1,
        f"{ohm / 1000:g} kohm to 3.3 V",
        f"{length:g} m of pair and {probes} probes rise in "
        f"{sums.rise_us(ohm, length, probes):.1f} us, {sums.RISE_US:g} us at most",
        True,
    )


def _sensors(site: "Site", _profile: "Profile", _bought: Bought) -> Iterator[Part]:
    fitted = site.fitted
    drain = site.file.tray.open_drain
    if fitted & fitted_bits.TRAY or not drain:
        yield Part(
            "tray float",
            1,
            "normally closed, opens on rising water",
            "a full tray runs over; with an open drain it may be left out",
            not drain,
        )
    for bit, name, must, why in (
        (fitted_bits.LEVEL, "level float", "normally closed, opens on falling water", "a leak"),
        (
            fitted_bits.FLOOR,
            "floor contact",
            "normally closed, opens when wet",
            "water on the floor",
        ),
        (
            fitted_bits.FLOW,
            "flow sensor",
            f"open collector, reads at {site.weakest_l_min:.1f} L/min and below",
            "a dry pump is noticed in 10 s instead of 3 min",
        ),
        (fitted_bits.MAINS, "plug-in 5 V supply and optocoupler", "isolated", "tells an outage"),
        (
            fitted_bits.RELAY,
            "small mains relay across the freezer's socket, behind the freezer relay",
            "normally closed contact, coil for the mains voltage, reinforced insulation",
            "a welded freezer relay is noticed in 5 s instead of 35 min",
        ),
    ):
        if fitted & bit:
            yield Part(name, 1, must, why, False)
    yield Part(
        "siphon break",
        1,
        "hole or vent in the return above the water line",
        "a stopped pump does not stop a siphon",
        True,
    )
    yield Part("acknowledge button", 1, "push button, closes", "latched faults wait for it", True)
    yield Part("sounder and status light", 1, "12 V sounder, light", "says what is wrong", True)


_AT = f"I2C, {sums.LOGIC_V:g} V, {sums.I2C_M:g} m from the board at most"
_ON_BUS = {
    bus.AIR: (
        "air temperature and humidity sensor",
        f"one of the two kinds with a driver; {_AT}",
        "condensate by the room's own dew point",
    ),
    bus.CLOCK: (
        "clock chip with its own cell",
        f"kind ds3231; {_AT}",
        "the hours of tariff and schedule, known again after an outage",
    ),
    bus.DISPLAY: (
        "text display",
        "128 x 64 points, controller SSD1306, address 0x3C (0x78 where the write bit is counted); "
        f"{_AT}",
        "says at the board how store and room are and what waits for a person",
    ),
}


def _on_bus(site: "Site", _profile: "Profile", bought: Bought) -> Iterator[Part]:
    devices = bus.on_bus(site, bought.wired)
    if not devices:
        return
    rail_ma = sum(d.most_ma for d in devices) + sums.PROBE_MA * probes_fitted(site)
    sink_ma, rise_us = sums.i2c_sink_ma(len(devices)), sums.i2c_rise_us(len(devices))
    if rail_ma > sums.RAIL_MA:
        raise PartsError(f"3.3 V: {rail_ma:.0f} mA, a board gives {sums.RAIL_MA:g} mA")
    if sink_ma > sums.I2C_SINK_MA:
        raise PartsError(f"I2C: pull-ups of so many modules want {sink_ma:.1f} mA of a chip")
    for device in devices:
        name, must, why = _ON_BUS[device.word]
        why = f"{why}; {device.most_ma:g} mA at most"
        if device is devices[-1]:
            why = f"{why}, all on 3.3 V {rail_ma:.0f} of {sums.RAIL_MA:g} mA"
        yield Part(name, 1, must, why, False)
    yield Part(
        "pull-ups of the I2C bus",
        2,
        f"{sums.I2C_OHM / 1000:g} kohm to {sums.LOGIC_V:g} V, data and clock",
        f"a chip sinks {sink_ma:.1f} of {sums.I2C_SINK_MA:g} mA if each of {len(devices)} modules "
        f"brings its own; without those the line rises in {rise_us:.2f} of {sums.I2C_RISE_US:g} us",
        False,
    )

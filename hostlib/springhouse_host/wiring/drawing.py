"""The low-voltage side as a schematic, the mains side as blocks that stop at licensed practice.

One row a signal: what is read on the left of the board, what is driven on its right. SVG text, so
that a screen reader and a search find the words.
"""

from collections.abc import Sequence
from itertools import pairwise
from typing import TYPE_CHECKING, Any, Literal, TypeAlias

from .bus import Device
from .pins import BOARD_NAMES, Signal

if TYPE_CHECKING:
    import schemdraw

Align: TypeAlias = Literal["center", "left", "right"]

ROW = 3.4
BOARD_W = 5.0
FONT = 11
LINE = "#333333"
LEFT, RIGHT = -1.0, 1.0
INPUTS = ("in", "bus", "analogue")


def schematic(
    board: str,
    signals: Sequence[Signal],
    pulsed: bool,
    supply_v: float,
    pull_up_ohm: int,
    bottom_ohm: int,
    devices: Sequence[Device],
) -> bytes:
    """Return the low-voltage side of what is fitted, as SVG.

    ``pulsed``: the relay is driven by alternating pulses; ``supply_v``: what relay, pump and fans
    run on; ``pull_up_ohm`` of the probe bus,
    ``bottom_ohm`` of the battery's divider; ``devices`` that share the I2C bus.
    """
    fitted = [signal for signal in signals if signal.fitted]
    read = [signal for signal in fitted if signal.way in INPUTS]
    driven = [signal for signal in fitted if signal.way == "out"]
    drawing = _blank()
    rows = max(len(read), len(driven) + 1)  # the fans' switch takes two
    _board(drawing, board, rows)
    for i, signal in enumerate(read):
        y = -ROW * i
        _pin(drawing, signal, -BOARD_W / 2, y, LEFT)
        if signal.name == "PROBES":
            _probe_bus(drawing, y, pull_up_ohm)
        elif signal.way == "bus":
            _bus(drawing, signal, y, devices)
        elif signal.way == "analogue":
            _divider(drawing, y, bottom_ohm)
        elif signal.name == "MAINS":
            _mains_sense(drawing, y)
        else:
            _loop(drawing, signal, y)
    plus = f"+{supply_v:g} V"
    y = 0.0
    for signal in driven:
        y -= ROW if signal.name == "FAN" else 0.0
        _pin(drawing, signal, BOARD_W / 2, y, RIGHT)
        if signal.name == "LIGHT":
            _light(drawing, y)
        elif signal.name == "FAN":
            _fan(drawing, y, plus)
        else:
            _low_side(drawing, signal, y, plus, pulsed and signal.name == "RELAY")
        y -= ROW + (0.8 if signal.name == "FAN" else 0.0)
    return bytes(drawing.get_imagedata("svg"))


def mains_blocks(mains_v: float, protector: str, trips: str) -> bytes:
    """Return the mains side as blocks, as SVG: it says what there is, not how to wire it.

    ``protector`` of people on these mains, which ``trips`` at a current.
    """
    from schemdraw import elements as elm

    drawing = _blank()
    blocks = (
        f"socket outlet, {mains_v:g} V, on its\n{protector},\n{trips}",
        "fuse to the\nflexible cord's size",
        "independent freeze cut-out,\nits sensor in the water at the wall",
        "relay, motor rated,\ncontact only",
        "freezer, its own\nthermostat at coldest",
    )
    for i, text in enumerate(blocks):
        y = -2.6 * i
        box = elm.Rect(corner1=(-3.6, y - 0.8), corner2=(3.6, y + 0.8))
        drawing.add(box.theta(0).at((0.0, 0.0)).color(LINE))
        _word(drawing, 0.0, y, text, "center")
        if i:
            drawing.add(elm.Line(arrow="->").at((0.0, y + 1.8)).to((0.0, y + 0.8)).color(LINE))
    y = -2.6 * 3
    drawing.add(elm.Line(arrow="->").at((7.4, y)).to((3.6, y)).linestyle("--").color(LINE))
    label = "isolated drive from the board,\n12 V or less"
    _word(drawing, 7.6, y, label, "left")
    note = (
        "mains side\nBlocks, not a wiring plan: what stands in them is\n"
        "work for licensed practice, by local codes.\n"
        "All of it in a closed box above every water line."
    )
    _word(drawing, 0.0, 2.6, note, "center")
    return bytes(drawing.get_imagedata("svg"))


def _blank() -> "schemdraw.Drawing":
    import schemdraw

    schemdraw.use("svg")
    drawing = schemdraw.Drawing(show=False)
    drawing.config(fontsize=FONT, lw=1.4, color=LINE, bgcolor="white", margin=1.2)
    return drawing


def _board(drawing: "schemdraw.Drawing", board: str, rows: int) -> None:
    from schemdraw import elements as elm

    top, bottom = 1.6, -ROW * (rows - 1) - 1.2
    box = elm.Rect(corner1=(-BOARD_W / 2, bottom), corner2=(BOARD_W / 2, top))
    drawing.add(box.theta(0).at((0.0, 0.0)).color(LINE))
    drawing.add(
        elm.Label().at((0.0, top + 0.4)).label(BOARD_NAMES[board], "top", fontsize=FONT + 2)
    )
    note = "low-voltage side; pins by GPIO number"
    drawing.add(elm.Label().at((0.0, top + 0.05)).label(note, "top", fontsize=FONT - 1))


def _pin(drawing: "schemdraw.Drawing", signal: Signal, x: float, y: float, side: float) -> None:
    text = f"GPIO{signal.gpio} {signal.name.lower().replace('_', ' ')}"
    _word(drawing, x - 0.2 * side, y, text, "left" if side < 0 else "right")


def _line(drawing: "schemdraw.Drawing", *points: tuple[float, float]) -> None:
    from schemdraw import elements as elm

    for a, b in pairwise(points):
        drawing.add(elm.Line().at(a).to(b).color(LINE))


def _two_ended(
    drawing: "schemdraw.Drawing",
    element: Any,
    a: tuple[float, float],
    b: tuple[float, float],
    text: str,
    loc: str = "top",
) -> None:
    element.at(a).to(b).color(LINE)
    if text:
        element.label(text, loc, fontsize=FONT - 1)
    drawing.add(element)


def _rail(drawing: "schemdraw.Drawing", x: float, y: float, text: str) -> None:
    from schemdraw import elements as elm

    drawing.add(elm.Vdd().at((x, y)).label(text, fontsize=FONT - 1).color(LINE))


def _ground(drawing: "schemdraw.Drawing", x: float, y: float) -> None:
    from schemdraw import elements as elm

    drawing.add(elm.Ground().at((x, y)).color(LINE))


def _word(drawing: "schemdraw.Drawing", x: float, y: float, text: str, halign: Align) -> None:
    from schemdraw import elements as elm

    # schemdraw gives an element without extent a box of 0.1 to the right and above
    label = elm.Label().theta(0).at((x - 0.1, y - 0.18))
    drawing.add(label.label(text, "center", halign=halign, valign="center", ofst=0, fontsize=FONT))


def _pulled_up(
    drawing: "schemdraw.Drawing", y: float, ohm: str, series: str, farad: str = ""
) -> float:
    """Draw series resistor, capacitor and pull-up left of the board; return where it goes on."""
    from schemdraw import elements as elm

    x = -BOARD_W / 2
    if series:
        _two_ended(drawing, elm.Resistor(), (x - 1.0, y), (x - 2.6, y), series)
    else:
        _line(drawing, (x - 1.0, y), (x - 2.6, y))
    _line(drawing, (x, y), (x - 1.0, y))
    if farad:
        _two_ended(drawing, elm.Capacitor(), (x - 0.7, y), (x - 0.7, y - 1.2), farad)
        _ground(drawing, x - 0.7, y - 1.2)
    _two_ended(drawing, elm.Resistor(), (x - 2.9, y), (x - 2.9, y + 1.3), ohm)
    _rail(drawing, x - 2.9, y + 1.3, "3.3 V")
    _line(drawing, (x - 2.6, y), (x - 4.2, y))
    return x - 4.2


def _loop(drawing: "schemdraw.Drawing", signal: Signal, y: float) -> None:
    """A contact or an open collector that pulls the pin to ground."""
    from schemdraw import elements as elm

    button = signal.name.startswith("BUTTON")
    counted = signal.name in ("FLOW", "TACH")
    series, farad = ("", "") if button else ("1 kΩ", "1 nF" if counted else "100 nF")
    x = _pulled_up(drawing, y, "10 kΩ" if button else "4.7 kΩ", series, farad)
    if counted:
        _line(drawing, (x, y), (x - 0.6, y))
        _word(drawing, x - 0.8, y, f"{signal.word}\nopen collector, its ground to ours", "right")
        return
    switch = elm.Button() if button else elm.Switch(action="open", nc=True)
    _two_ended(drawing, switch, (x, y), (x - 1.8, y), "")
    _line(drawing, (x - 1.8, y), (x - 1.8, y - 0.5))
    _ground(drawing, x - 1.8, y - 0.5)
    text = signal.word if button else f"{signal.word}\nnormally closed, opens on trouble"
    _word(drawing, x - 2.2, y, text, "right")


def _probe_bus(drawing: "schemdraw.Drawing", y: float, ohm: int) -> None:
    x = _pulled_up(drawing, y, f"{ohm / 1000:g} kΩ", "")
    _line(drawing, (x, y), (x - 0.6, y))
    text = "temperature probes, 1-wire\n3.3 V, data, ground; data twisted with ground"
    _word(drawing, x - 0.8, y, text, "right")


def _bus(drawing: "schemdraw.Drawing", signal: Signal, y: float, devices: Sequence[Device]) -> None:
    """One line of the bus; what shares it stands between data and clock, a row below."""
    from schemdraw import elements as elm

    x = _pulled_up(drawing, y, "4.7 kΩ", "")
    below = signal.name == "I2C_SDA"
    for device in devices:
        middle, half = x - 1.5, ROW / 2 - 0.7
        edge = y - ROW / 2 + (half if below else ROW - half)
        _line(drawing, (x, y), (x - 3.0, y))
        _line(drawing, (middle, y), (middle, edge))
        if below:
            box = elm.Rect(corner1=(middle - 1.3, edge - 2 * half), corner2=(middle + 1.3, edge))
            drawing.add(box.theta(0).at((0.0, 0.0)).color(LINE))
            address = "" if device.address is None else f"\n0x{device.address:02X}"
            _word(drawing, middle, y - ROW / 2, f"{device.word}{address}", "center")
        x -= 3.0
    _line(drawing, (x, y), (x - 0.6, y))
    _word(drawing, x - 0.8, y, f"{signal.word}\n3.3 V, 0.5 m at most", "right")


def _divider(drawing: "schemdraw.Drawing", y: float, bottom_ohm: int) -> None:
    from schemdraw import elements as elm

    x = -BOARD_W / 2
    _line(drawing, (x, y), (x - 2.9, y))
    bottom = f"{bottom_ohm / 1000:g} kΩ"
    _two_ended(drawing, elm.Resistor(), (x - 2.2, y), (x - 2.2, y - 1.2), bottom)
    _ground(drawing, x - 2.2, y - 1.2)
    _two_ended(drawing, elm.Capacitor(), (x - 0.45, y), (x - 0.45, y - 1.2), "100 nF")
    _ground(drawing, x - 0.45, y - 1.2)
    _two_ended(drawing, elm.Resistor(), (x - 2.9, y), (x - 4.8, y), "100 kΩ")
    _word(drawing, x - 5.0, y, "battery plus,\nbehind its fuse", "right")


def _mains_sense(drawing: "schemdraw.Drawing", y: float) -> None:
    from schemdraw import elements as elm

    x = _pulled_up(drawing, y, "4.7 kΩ", "1 kΩ", "100 nF")
    opto = elm.Optocoupler(box=True).theta(0).at((x, y)).anchor("collector").color(LINE)
    drawing.add(opto)
    emitter = opto.absanchors["emitter"]
    _line(drawing, emitter, (emitter[0] + 0.4, emitter[1]))
    _ground(drawing, emitter[0] + 0.4, emitter[1])
    for name, word in (("anode", "+5 V through 1 kΩ"), ("cathode", "its ground")):
        at = opto.absanchors[name]
        _line(drawing, at, (at[0] - 0.4, at[1]))
        _word(drawing, at[0] - 0.6, at[1], word, "right")
    at = opto.absanchors["cathode"]
    _word(drawing, at[0] - 0.6, at[1] - 0.7, "plug-in supply beside the freezer", "right")


def _gate(drawing: "schemdraw.Drawing", x: float, y: float) -> Any:
    """Draw a switching transistor with its resistors; return the element."""
    from schemdraw import elements as elm

    _two_ended(drawing, elm.Resistor(), (x, y), (x + 1.7, y), "100 Ω")
    _two_ended(drawing, elm.Resistor(), (x + 1.7, y), (x + 1.7, y - 1.5), "8.2 kΩ", "bottom")
    _ground(drawing, x + 1.7, y - 1.5)
    _line(drawing, (x + 1.7, y), (x + 2.4, y))
    transistor = elm.NFet().right().at((x + 2.4, y)).anchor("gate").reverse().color(LINE)
    drawing.add(transistor)
    source = transistor.absanchors["source"]
    _line(drawing, source, (source[0], y - 1.2))
    _ground(drawing, source[0], y - 1.2)
    return transistor


def _low_side(
    drawing: "schemdraw.Drawing", signal: Signal, y: float, plus: str, pulsed: bool
) -> None:
    from schemdraw import elements as elm

    x = BOARD_W / 2
    if pulsed:
        _two_ended(drawing, elm.Capacitor(), (x, y), (x + 1.3, y), "10 µF")
        _word(drawing, x + 1.5, y + 0.7, "two diodes, 1 µF, 470 kΩ", "left")
        x += 1.3
    drain = _gate(drawing, x, y).absanchors["drain"]
    _line(drawing, drain, (drain[0], y + 0.9), (drain[0] + 1.2, y + 0.9))
    a, b = (drain[0] + 1.2, y + 0.9), (drain[0] + 4.4, y + 0.9)
    loads = {"PUMP": elm.Motor(), "SOUNDER": elm.ResistorIEC(), "RELAY": elm.Inductor2()}
    load = loads[signal.name]
    _two_ended(drawing, load, a, b, "")
    if signal.name != "SOUNDER":
        _line(drawing, a, (a[0], y + 0.1))
        _line(drawing, b, (b[0], y + 0.1))
        _two_ended(drawing, elm.Diode(), (a[0], y + 0.1), (b[0], y + 0.1), "")
    _line(drawing, b, (b[0] + 0.5, b[1]))
    _word(drawing, b[0] + 0.6, b[1], f"{plus}   {_LOADS[signal.name]}", "left")


_LOADS = {
    "RELAY": "coil of the freezer relay",
    "PUMP": "pump",
    "SOUNDER": "alarm sounder",
}


def _fan(drawing: "schemdraw.Drawing", y: float, plus: str) -> None:
    """A switch in the fans' plus, smoothed: they follow the voltage, and stand without drive."""
    from schemdraw import elements as elm

    drain = _gate(drawing, BOARD_W / 2, y).absanchors["drain"]
    gate = (drain[0] + 1.6, y + 0.9)
    _line(drawing, drain, (drain[0], gate[1]), gate)
    upper = elm.PFet().theta(0).at(gate).anchor("gate").reverse().color(LINE)
    drawing.add(upper)
    source, out = upper.absanchors["source"], upper.absanchors["drain"]
    top = y + 2.2
    _two_ended(drawing, elm.Resistor(), (drain[0] + 0.5, gate[1]), (drain[0] + 0.5, top), "1 kΩ")
    _line(drawing, (drain[0] + 0.5, top), (source[0], top), source)
    _rail(drawing, source[0], top, plus)
    line = out[1] - 0.3
    _line(drawing, out, (out[0], line))
    _two_ended(drawing, elm.Diode(), (out[0], line - 1.5), (out[0], line), "")
    _ground(drawing, out[0], line - 1.5)
    _two_ended(drawing, elm.Inductor2(), (out[0], line), (out[0] + 2.0, line), "100 µH")
    _two_ended(
        drawing, elm.Capacitor(), (out[0] + 2.0, line), (out[0] + 2.0, line - 1.5), "470 µF", "top"
    )
    _ground(drawing, out[0] + 2.0, line - 1.5)
    _line(drawing, (out[0] + 2.0, line), (out[0] + 3.6, line))
    _two_ended(drawing, elm.Motor(), (out[0] + 3.6, line), (out[0] + 3.6, line - 1.5), "")
    _ground(drawing, out[0] + 3.6, line - 1.5)
    _word(drawing, out[0] + 4.2, line - 0.75, "fans", "left")


def _light(drawing: "schemdraw.Drawing", y: float) -> None:
    from schemdraw import elements as elm

    x = BOARD_W / 2
    _two_ended(drawing, elm.Resistor(), (x, y), (x + 2.0, y), "470 Ω")
    _two_ended(drawing, elm.LED(), (x + 2.0, y), (x + 4.0, y), "")
    _line(drawing, (x + 4.0, y), (x + 4.0, y - 0.4))
    _ground(drawing, x + 4.0, y - 0.4)
    _word(drawing, x + 4.5, y, "status light", "left")

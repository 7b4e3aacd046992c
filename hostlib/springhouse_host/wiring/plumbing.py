"""The water side as a sketch with heights: what must sit above what, and why."""

from collections.abc import Sequence
from itertools import pairwise
from typing import TYPE_CHECKING

from .drawing import LINE, _blank, _word

if TYPE_CHECKING:
    import schemdraw

    from ..site.site import Site

WATER = "#1f77b4"
LEADER = "#999999"
SCALE = 6.0  # of the drawing, a metre of height
WIDE = 7.0  # of the store
RETURN_X, DRAW_X, PUMP_X, COIL_X = 1.5, 5.5, WIDE + 1.8, WIDE + 9.0
ABOVE_M = 0.15  # of the siphon break over the water line, of the bleed over the coil
LEFT_X = -0.8
OVER_RIM, VALVE = 0.4, 1.2
APART = 1.2  # between two words one above the other

Point = tuple[float, float]


def heights_m(site: "Site") -> dict[str, float]:
    """Return the heights of the sketch above the floor of the store [m], by what is there."""
    store = site.plant().store
    surface_m = store.water_l / 1000.0 / store.area_m2
    break_m = surface_m + ABOVE_M
    coil_m = max(surface_m + site.file.loop.lift_m, break_m + ABOVE_M)
    return {
        "drain": 0.0,
        "draw": store.draw_m,
        "return": store.return_m,
        "water line": surface_m,
        "siphon break": break_m,
        "coil": coil_m,
        "bleed point": coil_m + ABOVE_M,
    }


def spread(wanted: Sequence[float], apart: float) -> list[float]:
    """Return rising heights near the wanted rising ones, no two nearer than ``apart``."""
    at = list(wanted)
    for i in range(1, len(at)):
        at[i] = max(at[i], at[i - 1] + apart)
    return at


def sketch(site: "Site") -> bytes:
    """Return the plumbing as SVG."""
    drawing = _blank()
    metres = heights_m(site)
    at = {name: SCALE * height for name, height in metres.items()}
    rim = at["water line"] + 0.5
    back = max(at["coil"] + 0.6, rim + OVER_RIM + VALVE + 2.0)
    out, bleed_y = back - 1.0, back + 0.6
    _pipe(drawing, (0.0, rim), (0.0, 0.0), (WIDE, 0.0), (WIDE, rim), color=LINE)
    _pipe(drawing, (0.0, at["water line"]), (WIDE, at["water line"]))
    _out(drawing, site, at, rim, out)
    _pipe(drawing, (COIL_X, back), (RETURN_X, back), (RETURN_X, at["return"]))
    _pipe(drawing, (COIL_X - 2.0, back), (COIL_X - 2.0, bleed_y))
    _coil(drawing, out - 0.8, back + 0.6, metres["coil"])
    protected = site.file.protection
    metres_of = {name: f"{name} {height:.2f} m" for name, height in metres.items()}
    siphon = f"{metres_of['siphon break']}:\nvent hole in the return,\nover the water, in the store"
    if not protected.siphon_break:
        siphon = f"NO siphon break; it belongs at\n{metres['siphon break']:.2f} m, a vent hole"
    words = (
        ("drain", 0.0, "drain: plug sealed; empty by pump\nor hose, never drill the cabinet"),
        ("draw", DRAW_X, f"{metres_of['draw']},\nover sediment"),
        ("return", RETURN_X, f"{metres_of['return']},\nunder the surface"),
        ("water line", 0.0, f"{metres_of['water line']};\nlid and sheet over it"),
        ("siphon break", RETURN_X, siphon),
    )
    for (name, x, text), y in zip(words, spread([at[w[0]] for w in words], APART), strict=True):
        _pipe(drawing, (x, at[name]), (0.0, at[name]), (LEFT_X + 0.2, y), color=LEADER)
        _word(drawing, LEFT_X, y, text, "right")
    _dot(drawing, (RETURN_X, at["siphon break"]), "white" if protected.siphon_break else LEADER)
    _dot(drawing, (COIL_X - 2.0, bleed_y), "white")
    bleed = f"{metres_of['bleed point']}, the highest of all"
    _word(drawing, COIL_X - 2.5, bleed_y + 0.1, bleed, "right")
    loop = site.file.loop
    note = (
        "Plumbing: heights above the floor of the store, not to scale sideways\n"
        f"tube {loop.tube_bore_mm:g} mm, {loop.tube_length_m:g} m out and back, insulated "
        f"{loop.insulation_mm:g} mm without gaps;\nit falls back to the store everywhere"
    )
    _word(drawing, 0.5 * COIL_X, bleed_y + 2.2, note, "center")
    return bytes(drawing.get_imagedata("svg"))


def _out(
    drawing: "schemdraw.Drawing", site: "Site", at: dict[str, float], rim: float, out: float
) -> None:
    """Draw from the draw by pump and check valve to the coil."""
    from schemdraw import elements as elm

    loop = site.file.loop
    over, sunk = rim + OVER_RIM, loop.pump_in_water
    x, low = (DRAW_X, at["draw"]) if sunk else (PUMP_X, 0.3 * at["water line"])
    pump = elm.Source().at((x, low)).to((x, low + 1.0)).color(WATER)
    drawing.add(pump)
    if sunk:
        _pipe(drawing, (x, low + 1.0), (x, over), (PUMP_X, over))
        _word(drawing, x - 0.7, low + 0.5, "pump, in\nthe water", "right")
    else:
        _pipe(drawing, (DRAW_X, at["draw"]), (DRAW_X, over), (PUMP_X - 1.0, over),
              (PUMP_X - 1.0, low - 0.3), (x, low - 0.3), (x, low))  # fmt: skip
        _pipe(drawing, (x, low + 1.0), (x, over))
        text = "pump, dry, under the water line;\nits suction tube without a hole"
        _word(drawing, x + 0.8, low + 0.5, text, "left")
    _pipe(drawing, (PUMP_X, over + VALVE), (PUMP_X, out), (COIL_X, out))
    if loop.valves:
        drawing.add(
            elm.Diode().at((PUMP_X, over)).to((PUMP_X, over + VALVE)).color(WATER).fill(WATER)
        )
        _word(drawing, PUMP_X + 0.8, over + 0.6, "check valve, opens upwards", "left")
    else:
        _pipe(drawing, (PUMP_X, over), (PUMP_X, over + VALVE))
        text = "NO check valve: the loop\nempties when the pump rests"
        _word(drawing, PUMP_X + 0.8, over + 0.6, text, "left")


def _coil(drawing: "schemdraw.Drawing", low: float, high: float, coil_m: float) -> None:
    """Draw the coil over its tray."""
    far = COIL_X + 4.0
    _pipe(drawing, (COIL_X, low), (far, low), (far, high), (COIL_X, high), (COIL_X, low),
          color=LINE)  # fmt: skip
    _word(drawing, 0.5 * (COIL_X + far), 0.5 * (low + high), f"coil {coil_m:.2f} m", "center")
    left, right, floor = COIL_X - 0.5, far + 0.5, low - 0.7
    _pipe(drawing, (left, floor + 0.4), (left, floor), (right, floor), (right, floor + 0.4),
          color=LINE)  # fmt: skip
    _word(drawing, 0.5 * (COIL_X + far), floor - 0.5, "tray with its float", "center")


def _dot(drawing: "schemdraw.Drawing", at: Point, fill: str) -> None:
    from schemdraw import elements as elm

    drawing.add(elm.Dot(radius=0.18).at(at).color(WATER).fill(fill))


def _pipe(drawing: "schemdraw.Drawing", *points: Point, color: str = WATER) -> None:
    from schemdraw import elements as elm

    for begin, end in pairwise(points):
        if begin != end:
            drawing.add(elm.Line().at(begin).to(end).color(color))

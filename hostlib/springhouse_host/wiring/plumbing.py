"""The water side as a sketch with heights: what must sit above what, and why."""

from itertools import pairwise
from typing import TYPE_CHECKING

from .drawing import LINE, _blank, _word

if TYPE_CHECKING:
    import schemdraw

    from ..site.site import Site

WATER = "#1f77b4"
SCALE = 6.0  # of the drawing, a metre of height
WIDE = 7.0
ABOVE_M = 0.15  # of the siphon break over the water line, of the bleed over the coil


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


def sketch(site: "Site") -> bytes:
    """Return the plumbing as SVG."""
    drawing = _blank()
    at = {name: SCALE * metres for name, metres in heights_m(site).items()}
    metres = heights_m(site)
    loop, far = site.file.loop, WIDE + 9.0
    rim = at["water line"] + 0.5
    _pipe(drawing, (0.0, rim), (0.0, 0.0), (WIDE, 0.0), (WIDE, rim), color=LINE)
    _pipe(drawing, (0.0, at["water line"]), (WIDE, at["water line"]))
    # Out: draw, pump, check valve, up to the coil; back over the siphon break.
    out = at["coil"] - 0.4
    _pipe(drawing, (1.5, at["draw"]), (1.5, at["siphon break"] - 0.3),
          (WIDE + 1.5, at["siphon break"] - 0.3), (WIDE + 1.5, out), (far, out))  # fmt: skip
    back = at["coil"] + 0.6
    _pipe(drawing, (far, back), (WIDE - 1.5, back), (WIDE - 1.5, at["return"]))
    _pipe(drawing, (WIDE + 4.0, back), (WIDE + 4.0, at["bleed point"] + 0.6))
    _pipe(drawing, (far, out - 0.8), (far + 4.0, out - 0.8), (far + 4.0, back + 0.6),
          (far, back + 0.6), (far, out - 0.8), color=LINE)  # fmt: skip
    pump = "pump, in the water" if loop.pump_in_water else "pump, dry, under the water line"
    valve = "check valve" if loop.valves else "NO check valve: the loop empties when the pump rests"
    for name, x, text in (
        ("draw", -0.4, f"draw {metres['draw']:.2f} m, over sediment; {pump}"),
        ("return", -0.4, f"return {metres['return']:.2f} m, under the surface"),
        ("water line", -0.4, f"water line {metres['water line']:.2f} m; lid and sheet over it"),
        ("drain", -0.4, "drain: plug sealed; empty by pump or hose, never drill the cabinet"),
        ("siphon break", -0.4,
         f"siphon break {metres['siphon break']:.2f} m: vent hole in the return alone, over water"),
        ("coil", -0.4, f"coil {metres['coil']:.2f} m; {valve} behind the pump"),
        ("bleed point", -0.4, f"bleed point {metres['bleed point']:.2f} m, the highest of all"),
    ):  # fmt: skip
        _word(drawing, x, at[name], text, "right")
    _word(drawing, far + 2.0, 0.5 * (out + back), "coil\nover its tray", "center")
    tube = (
        f"tube {loop.tube_bore_mm:g} mm, {loop.tube_length_m:g} m out and back, "
        f"insulated {loop.insulation_mm:g} mm without gaps; falls back to the store everywhere"
    )
    _word(drawing, 0.5 * far, at["bleed point"] + 1.6, tube, "center")
    note = "Plumbing: heights above the floor of the store, not to scale sideways"
    _word(drawing, 0.5 * far, at["bleed point"] + 2.4, note, "center")
    return bytes(drawing.get_imagedata("svg"))


def _pipe(drawing: "schemdraw.Drawing", *points: tuple[float, float], color: str = WATER) -> None:
    import schemdraw.elements as e

    for begin, end in pairwise(points):
        drawing.add(e.Line().at(begin).to(end).color(color))

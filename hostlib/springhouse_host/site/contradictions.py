"""What an owner's numbers say against each other, one line each."""

from collections.abc import Mapping

from .. import units
from . import capacity, coil_sides
from .known import Known
from .read import SiteFile


def contradictions(file: SiteFile, known: Mapping[str, Known], us: bool = False) -> list[str]:
    """Return one line for each pair of numbers that cannot both be right; both are still used."""
    return [line for line in (_coil(file, us), _freezer(file, known)) if line]


def _coil(file: SiteFile, us: bool) -> str:
    """A conductance above what the tubes let through to the water."""
    coil, given = file.coil, file.coil.ua_w_k
    if given is None or coil.kind == "flat-tube":
        return ""
    most = coil_sides.water_side_w_k(coil)[2]
    if given.value < most:
        return ""

    def conductance(value: float) -> str:
        return units.show(value, "W/K", us=us)

    return (
        f"coil.ua_w_k: {conductance(given.value)} is more than the {conductance(most)} that its "
        f"tubes let through at {units.show(coil.rated_l_min, 'L/min', us=us)}: look at "
        "coil.rated_l_min, tube_bore_mm, circuits, rows and the face again, or measure again"
    )


def _freezer(file: SiteFile, known: Mapping[str, Known]) -> str:
    """Two figures of one label whose ranges do not meet."""
    freezer = file.freezer
    by_kg = capacity.from_kg_w(freezer, known["freezer.cabinet_ua_w_k"].mid)
    if by_kg is None:
        return ""
    by_input = capacity.from_input_w(freezer)
    if by_kg[0] < by_input[2] and by_input[0] < by_kg[2]:
        return ""
    return (
        f"freezer.freezing_capacity_kg_24h: {freezer.freezing_capacity_kg_24h:g} kg asks for "
        f"{by_kg[0]:.0f} to {by_kg[2]:.0f} W of capacity, freezer.label_input_w: "
        f"{freezer.label_input_w:g} W gives {by_input[0]:.0f} to {by_input[2]:.0f} W: read the "
        "label again; time a first charge (freezer.pull_down_h)"
    )

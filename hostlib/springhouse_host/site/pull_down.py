"""The freezer's capacity from a pull-down that the owner has timed."""

from collections.abc import Mapping

from springhouse_sim.plant.pull_down import capacity_from_pull_down_w

from . import plant_parts
from .known import Known
from .read import SiteFile

SPREAD = 0.1  # of a temperature read at both ends and water that is not all alike


def measured_capacity(file: SiteFile, known: Mapping[str, Known]) -> Known:
    """Return the capacity at the rating point that explains the pull-down in the file.

    Args:
        file: a file whose pull-down is complete.
        known: everything else about store and freezer, and the label's capacity to start from.

    Raises:
        ValueError: when no capacity explains it.
    """
    freezer = file.freezer
    hours, from_c, to_c, place_c = (
        freezer.pull_down_h,
        freezer.pull_down_from_c,
        freezer.pull_down_to_c,
        freezer.pull_down_place_c,
    )
    assert hours is not None
    assert from_c is not None
    assert to_c is not None
    assert place_c is not None
    picked = {key: value.mid for key, value in known.items()}
    watts = capacity_from_pull_down_w(
        plant_parts.store(file, picked),
        plant_parts.freezer(file, picked),
        hours,
        from_c,
        to_c,
        place_c,
    )
    source = f"pull-down from {from_c:g} to {to_c:g} °C in {hours:g} h, ±10 %"
    low, high = watts * (1.0 - SPREAD), watts * (1.0 + SPREAD)
    return Known(low, watts, high, "W", "measured", source, 1)

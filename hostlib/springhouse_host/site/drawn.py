"""One plausible installation: the plant, panes and probes of a draw of every doubtful number."""

from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, TypeAlias

from . import capacity, derive_room, doubt
from .known import Known
from .tables import PROBES

if TYPE_CHECKING:
    from springhouse_sim.plant.plant import Plant
    from springhouse_sim.world.sun import Glazing

    from .site import Site

Draw: TypeAlias = tuple[tuple[str, float], ...]  # values by the keys of `doubt.py`

OUTER_FILM_W_M2_K = 23.0  # of wall and wind in summer; common practice


def draws(site: "Site", count: int, seed: int) -> list[Draw]:
    """Return ``count`` plausible installations, a power of two, scrambled Sobol points.

    Raises:
        ValueError: when an entry of the table is none.
    """
    from scipy.stats import qmc

    table = doubt.doubts(site)
    points = qmc.Sobol(len(table), seed=seed).random_base2(count.bit_length() - 1)
    return [
        tuple((d.key, d.at(float(u))) for d, u in zip(table, point, strict=True))
        for point in points
    ]


def plant(site: "Site", draw: Draw) -> "Plant":
    """Return the plant of a draw.

    Raises:
        ValueError: when a part refuses what was drawn.
    """
    from . import plant_parts

    drawn = dict(draw)
    known = {}
    for key, value in site.known.items():
        v = drawn.get(key, value.mid)
        known[key] = replace(value, low=v, mid=v, high=v)
    if doubt.EFFICIENCY in drawn:
        capacity_w, efficiency = known["freezer.capacity_w"].mid, drawn[doubt.EFFICIENCY]
        v = capacity.input_share(site.file.freezer, capacity_w, efficiency)
        known[doubt.INPUT_FACTOR] = Known(v, v, v, "", "label", "capacity over a drawn efficiency")
    made = plant_parts.build(site.file, known, "mid")
    freezer = replace(
        made.freezer,
        capillary_factor=drawn.get(doubt.CAPILLARY, made.freezer.capillary_factor),
    )
    store = replace(made.store, film_factor=drawn[doubt.FILM])
    room = made.room
    if doubt.NEXT_DOOR in drawn:
        ua_w_k = drawn.get(doubt.BEYOND, room.house_ua_w_k)
        room = replace(room, house_ua_w_k=ua_w_k, house_c=drawn[doubt.NEXT_DOOR])
    return replace(made, freezer=freezer, store=store, room=room)


def panes(site: "Site", draw: Draw) -> "tuple[Glazing, ...]":
    """Return the windows of a draw, and its outside walls and roof as panes that let little in.

    Of the sun that a surface absorbs, U over the outer film reaches the room (sol-air temperature);
    what the wall holds back for hours is left out, which is the worse way in an afternoon. Walls
    look where the window looks, and west where there is none.
    """
    from springhouse_sim.world.sun import Glazing

    from .site import COMPASS

    drawn: Mapping[str, float] = dict(draw)
    room = site.file.room
    azimuth = 45.0 * COMPASS.index("w" if room.window_side == "none" else room.window_side)
    found = []
    if room.window_side != "none":
        share = drawn.get("room.sun_share_percent", site.known["room.sun_share_percent"].mid)
        found.append(Glazing(room.window_area_m2, min(1.0, share / 100.0), azimuth))
    absorbed = drawn.get(doubt.ABSORBED, 0.0) / OUTER_FILM_W_M2_K
    wall_m2 = room.outside_wall_m2 - room.window_area_m2
    if absorbed > 0.0 and wall_m2 > 0.0:
        found.append(
            Glazing(
                min(100.0, wall_m2), derive_room.WALL_W_M2_K[room.construction] * absorbed, azimuth
            )
        )
    if absorbed > 0.0 and room.outside_roof:
        roof_m2 = min(100.0, room.length_m * room.width_m)
        share = derive_room.ROOF_W_M2_K[room.construction] * absorbed
        found.append(Glazing(roof_m2, share, azimuth, tilt_deg=0.0))
    return tuple(found)


def offsets_mk(draw: Draw) -> list[int]:
    """Return by how much each probe reads too high [mK], in the order of the readings."""
    drawn = dict(draw)
    return [round(drawn.get(f"sensors.{probe}", 0.0)) for probe in PROBES]

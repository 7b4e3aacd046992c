"""What follows from the room's measures: walls, glass, mass, tightness, what is beside it."""

from springhouse import setting

from . import owner_settings
from .fields import Given
from .known import Known, derived, put
from .read import SiteFile

PARTITION_W_M2_K = 1.7  # board on studs, both films; common practice, no source
WALL_W_M2_K = {"light": 0.45, "medium": 0.8, "heavy": 1.4}  # insulated frame, cavity, solid
ROOF_W_M2_K = {"light": 0.35, "medium": 0.45, "heavy": 0.6}
WINDOW_W_M2_K = {1: 5.7, 2: 2.8, 3: 1.0}
WINDOW_G = {1: 0.85, 2: 0.76, 3: 0.55}
SHADE = {"none": 1.0, "inside": 0.6, "outside": 0.2}
FRAME = 0.8  # glass over opening
# kJ/K per m2 of floor: classes light, medium, heavy of EN ISO 13790 table 12, from memory.
MASS_KJ_M2_K = {"light": 110.0, "medium": 165.0, "heavy": 260.0}
AIR_CHANGES = {"tight": 0.3, "average": 0.6, "leaky": 1.2}  # common practice
HOUSE_GUESSED_K, HOUSE_READ_K = 1.0, 0.3  # about a temperature stated, and one read there


def next_door(given: Given) -> Known:
    """Return how warm the house is beside the room, which may help or hurt by the hour.

    So the readings of the labels take the middle of it; the sample of a proof draws it.
    """
    off_k = HOUSE_GUESSED_K if given.grade == "label" else HOUSE_READ_K
    low = given.value - off_k if given.low is None else given.low
    high = given.value + off_k if given.high is None else given.high
    source = f"stated in the site file; ±{off_k:g} K, a guess"
    if given.grade != "label":
        source = f"a thermometer there on a hot day; ±{off_k:g} K, from memory"
    return Known(low, given.value, high, "°C", given.grade, source)


def towards_house_m2(file: SiteFile) -> float:
    """Return the walls, floor and ceiling that are not said to be outside [m2]."""
    room = file.room
    floor_m2 = room.length_m * room.width_m
    sides_m2 = 2.0 * (room.length_m + room.width_m) * room.height_m
    flat_m2 = floor_m2 * (1.0 if room.outside_roof else 2.0)
    return max(0.0, sides_m2 - room.outside_wall_m2) + flat_m2


def room(file: SiteFile, known: dict[str, Known]) -> None:
    """File what the room's conductances, mass, tightness and window follow from."""
    table = file.room
    floor_m2 = table.length_m * table.width_m
    wall_m2 = max(0.0, table.outside_wall_m2 - table.window_area_m2)
    roof_m2 = floor_m2 if table.outside_roof else 0.0
    envelope_w_k = (
        WALL_W_M2_K[table.construction] * wall_m2
        + ROOF_W_M2_K[table.construction] * roof_m2
        + WINDOW_W_M2_K[table.window_panes] * table.window_area_m2
    )
    put(
        known,
        "room.envelope_ua_w_k",
        table.envelope_ua_w_k,
        lambda: derived(
            envelope_w_k,
            "W/K",
            "outside walls, roof and window by construction; common practice, no source, ±40 %",
            better=-1,
            spread=(0.6, 1.4),
        ),
    )
    if table.house_c is not None:
        default_mc = setting.row(setting.ROOM_TARGET_MC)[3]
        known["room.house_c"] = next_door(table.house_c)
        house_mc = 1000.0 * table.house_c.value
        warmer = house_mc >= owner_settings.stated(file.settings).get(
            setting.ROOM_TARGET_MC, default_mc
        )
        put(
            known,
            "room.inside_ua_w_k",
            table.inside_ua_w_k,
            lambda: derived(
                PARTITION_W_M2_K * table.inside_m2,
                "W/K",
                "inside walls, floor and ceiling at 1.7 W/(m2 K); common practice, no source",
                better=-1 if warmer else 1,
                spread=(0.6, 1.5),
            ),
        )
    put(
        known,
        "room.heat_capacity_kj_k",
        table.heat_capacity_kj_k,
        lambda: derived(
            MASS_KJ_M2_K[table.construction] * floor_m2,
            "kJ/K",
            "per floor area by construction, EN ISO 13790 table 12, from memory",
            better=1,
            spread=(0.7, 1.3),
        ),
    )
    put(
        known,
        "room.infiltration_per_h",
        table.infiltration_per_h,
        lambda: derived(
            AIR_CHANGES[table.tightness],
            "1/h",
            "by tightness; common practice",
            better=-1,
            spread=(0.6, 1.6),
        ),
    )
    if table.window_side != "none":
        put(
            known,
            "room.sun_share_percent",
            table.sun_share_percent,
            lambda: derived(
                100.0 * WINDOW_G[table.window_panes] * SHADE[table.window_shade] * FRAME,
                "%",
                "glass by panes, shade and frame; common practice, no source, ±20 %",
                better=-1,
                spread=(0.8, 1.2),
            ),
        )

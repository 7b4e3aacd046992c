"""Rules across keys about what stands there: sensors, protection, sizes and heights."""

from .capacity import RATED_COP
from .derive import AIR_SPREAD, EFFICIENCY_SPREAD, inner_box_m
from .fields import Given
from .known import stated
from .rules import Found, Said, rule

WALL_PROBE_MM = 20.0  # the high probe sees the wall only this near
MODEL_EFFICIENCY = (0.2, 0.8)  # isentropic to electric, what the freezer model accepts
THIN_ICE_KG = 2.0  # more than wall ice that melts back by itself
ICE_SWELLS = 0.0907  # litres of level a kilogram of ice adds: 1/0.9167 - 1


@rule("place.is_cooled_room", "place.ua_w_k")
def _place_is_room(is_room: bool, ua: Given | None) -> Found:
    if is_room and ua is not None:
        yield "place.ua_w_k", ua.value, "nothing while place.is_cooled_room = true"


@rule("place.is_cooled_room", "place.ground")
def _room_in_ground(is_room: bool, ground: str) -> Found:
    if is_room and ground != "none":
        yield "place.ground", ground, "none while place.is_cooled_room = true"


@rule("place.ground", "place.ground_ua_w_k", "place.ground_wall_m2", "place.ground_c")
def _no_ground(
    ground: str, ua: Given | None, wall_m2: float | None, ground_c: float | None
) -> Found:
    if ground != "none":
        return
    stated_ua = None if ua is None else ua.value
    for key, value in (("ua_w_k", stated_ua), ("wall_m2", wall_m2), ("c", ground_c)):
        if value is not None:
            yield f"place.ground_{key}", value, 'nothing while place.ground = "none"'


# Sensors and protection.


@rule("sensors.store_low", "sensors.store_high")
def _store_probe(low: str, high: str) -> Found:
    if low == high == "absent":
        yield "sensors.store_low", low, "at least one store probe must be fitted"


@rule("sensors.room")
def _room_probe(room: str) -> Found:
    if room == "absent":
        yield "sensors.room", room, "fitted: without a room probe nothing decides on cooling"


@rule("sensors.tray", "tray.open_drain")
def _tray(tray: str, open_drain: bool) -> Found:
    if tray == "absent" and not open_drain:
        yield "sensors.tray", tray, "fitted, or tray.open_drain = true"


@rule("sensors.battery", "battery.kind")
def _battery(sensor: str, kind: str) -> Found:
    if sensor == "fitted" and kind == "none":
        yield "sensors.battery", sensor, 'absent while battery.kind = "none"'


@rule("sensors.mains", "battery.kind")
def _mains(sensor: str, kind: str) -> Found:
    """A board on its battery sees a blink of the mains only by a sensor."""
    if sensor == "absent" and kind != "none":
        allowed = 'fitted unless battery.kind = "none": the board outlives the mains, and without '
        yield "sensors.mains", sensor, allowed + "it the freezer restarts seconds after a blink"


@rule("battery.kind", "battery.usable_wh", "battery.cell_mah")
def _battery_size(kind: str, usable_wh: float, cell_mah: float | None) -> Found:
    if cell_mah is not None and kind != "power_bank":
        yield "battery.cell_mah", cell_mah, 'nothing unless battery.kind = "power_bank"'
    elif cell_mah is not None and usable_wh > 0.0:
        yield "battery.cell_mah", cell_mah, "nothing while battery.usable_wh is given"
    elif cell_mah is None and kind != "none" and usable_wh < 1.0:
        yield "battery.usable_wh", usable_wh, 'from 1 to 100000 Wh unless battery.kind = "none"'


@rule("battery.kind", "battery.least_load_w", "battery.drops_on_changeover")
def _power_bank(kind: str, least_w: float, drops: bool) -> Found:
    if kind != "power_bank" and least_w > 0.0:
        yield "battery.least_load_w", least_w, '0 unless battery.kind = "power_bank"'
    if kind == "none" and drops:
        yield "battery.drops_on_changeover", drops, 'false while battery.kind = "none"'


@rule(
    "store.ice_bank",
    "sensors.store_high",
    "store.probe_high_wall_mm",
    "protection.independent_freeze_cutout",
)
def _ice_bank(bank: bool, high: str, wall_mm: float, cutout: bool) -> Found:
    if not bank:
        return
    if high == "absent":
        yield "store.ice_bank", bank, 'false, or sensors.store_high = "fitted" at the wall'
    elif wall_mm > WALL_PROBE_MM:
        yield (
            "store.probe_high_wall_mm",
            wall_mm,
            f"at most {WALL_PROBE_MM:g} mm from the wall for an ice bank",
        )
    if not cutout:
        yield "store.ice_bank", bank, "false, or protection.independent_freeze_cutout = true"


@rule("store.ice_bank", "store.ice_limit_kg")
def _thin_ice(bank: bool, limit_kg: float) -> Found:
    if not bank and limit_kg > THIN_ICE_KG:
        yield (
            "store.ice_limit_kg",
            limit_kg,
            f"at most {THIN_ICE_KG:g} kg, or store.ice_bank = true",
        )


@rule("store.ice_limit_kg", "store.water_litres")
def _ice_share(limit_kg: float, water_litres: float) -> Found:
    if limit_kg > 0.5 * water_litres:
        yield "store.ice_limit_kg", limit_kg, f"at most half the water, {water_litres / 2:g} kg"


@rule("store.start_ice_kg", "store.ice_limit_kg")
def _ice_at_start(start_kg: float, limit_kg: float) -> Found:
    if start_kg > limit_kg:
        yield "store.start_ice_kg", start_kg, f"at most store.ice_limit_kg, {limit_kg:g} kg"


# Sizes and heights.


_BOX = (
    "freezer.cabinet_litres",
    "freezer.inner_length_m",
    "freezer.inner_width_m",
    "freezer.inner_depth_m",
)


@rule("store.water_litres", "store.ice_limit_kg", *_BOX)
def _water_fits(
    litres: float,
    ice_kg: float,
    cabinet_litres: float,
    *tape_m: float | None,
) -> Found:
    length_m, width_m, depth_m = inner_box_m(cabinet_litres, tape_m)
    holds = min(cabinet_litres, 1000.0 * length_m * width_m * depth_m)
    most = holds - ICE_SWELLS * ice_kg
    if litres > most:
        yield (
            "store.water_litres",
            litres,
            f"at most {most:.4g} L: what the freezer holds, less headroom for ice_limit_kg",
        )


@rule(
    "store.water_litres",
    "store.probe_low_m",
    "store.probe_high_m",
    "store.draw_m",
    "store.return_m",
    "sensors.store_low",
    "sensors.store_high",
    *_BOX,
)
def _heights(
    litres: float,
    probe_low_m: float,
    probe_high_m: float | None,
    draw_m: float,
    return_m: float | None,
    low: str,
    high: str,
    cabinet_litres: float,
    *tape_m: float | None,
) -> Found:
    length_m, width_m, depth_m = inner_box_m(cabinet_litres, tape_m)
    surface_m = litres / 1000.0 / (length_m * width_m)
    heights = {"draw_m": draw_m}
    if low == "fitted":
        heights["probe_low_m"] = probe_low_m
    if high == "fitted" and probe_high_m is not None:
        heights["probe_high_m"] = probe_high_m
    for key, value in heights.items():
        if value > surface_m:
            yield f"store.{key}", value, f"below the water surface, {surface_m:.2f} m"
    if return_m is not None and return_m > depth_m:
        yield "store.return_m", return_m, f"at most the inner depth, {depth_m:.2f} m"
    if low == high == "fitted" and probe_high_m is not None and probe_high_m <= probe_low_m:
        yield "store.probe_high_m", probe_high_m, f"above probe_low_m, {probe_low_m:g} m"


@rule("freezer.evaporator_from_m", "freezer.evaporator_to_m", *_BOX)
def _evaporator(
    from_m: float | None, to_m: float | None, cabinet_litres: float, *tape_m: float | None
) -> Found:
    depth_m = inner_box_m(cabinet_litres, tape_m)[2]
    if to_m is not None and to_m > depth_m:
        yield "freezer.evaporator_to_m", to_m, f"at most the inner depth, {depth_m:.2f} m"
    if from_m is not None and from_m >= (0.9 * depth_m if to_m is None else to_m):
        yield "freezer.evaporator_from_m", from_m, "below evaporator_to_m"


@rule("freezer.capacity_w", "freezer.label_input_w", "freezer.refrigerant")
def _capacity(capacity: Given | None, input_w: float, refrigerant: str) -> Found:
    if capacity is None:
        return
    ends = stated(capacity, "W", 1, EFFICIENCY_SPREAD)
    least, most = (share * RATED_COP[refrigerant] * input_w for share in MODEL_EFFICIENCY)
    if ends.low < least or ends.high > most:
        yield (
            "freezer.capacity_w",
            capacity.value,
            f"from {least:.0f} to {most:.0f} W for a label input of {input_w:g} W, its range "
            f"{ends.low:.0f} to {ends.high:.0f} W included",
        )


_PULL_DOWN = ("pull_down_h", "pull_down_from_c", "pull_down_to_c", "pull_down_place_c")


@rule("freezer.capacity_w", *(f"freezer.{key}" for key in _PULL_DOWN))
def _pull_down(capacity: Given | None, *values: float | None) -> Found:
    hours, from_c, to_c, _ = values
    if hours is None:
        for key, value in zip(_PULL_DOWN[1:], values[1:], strict=True):
            if value is not None:
                yield f"freezer.{key}", value, "nothing unless pull_down_h is given"
        return
    if capacity is not None:
        yield "freezer.pull_down_h", hours, "nothing while freezer.capacity_w is given"
    for key, value in zip(_PULL_DOWN[1:], values[1:], strict=True):
        if value is None:
            yield f"freezer.{key}", Said("missing"), "a temperature while pull_down_h is given"
    if from_c is not None and to_c is not None and from_c <= to_c:
        yield "freezer.pull_down_from_c", from_c, f"above pull_down_to_c, {to_c:g} °C"


_POLYNOMIAL = ("capacity_coefficients", "input_coefficients", "evaporating_c", "condensing_c")


@rule(*(f"freezer.{key}" for key in _POLYNOMIAL))
def _polynomial(*values: tuple[float, ...] | None) -> Found:
    if all(value is None for value in values):
        return
    for key, value in zip(_POLYNOMIAL, values, strict=True):
        if value is None:
            others = ", ".join(other for other in _POLYNOMIAL if other != key)
            yield f"freezer.{key}", Said("missing"), f"a list beside {others}"
    for key, ends in zip(_POLYNOMIAL[2:], values[2:], strict=True):
        if ends is not None and not ends[0] < ends[1]:
            yield f"freezer.{key}", list(ends), "lowest and highest of the rated envelope"


@rule("coil.air_m3_h", "coil.fan_m3_h", "coil.fans", "coil.fans_in_series")
def _air(air: Given | None, fan_m3_h: float, fans: int, in_series: bool) -> Found:
    if air is None:
        return
    ends = stated(air, "m3/h", 1, AIR_SPREAD)
    fans = 1 if in_series else fans
    if ends.high >= fans * fan_m3_h:
        yield (
            "coil.air_m3_h",
            air.value,
            f"its range {ends.low:.0f} to {ends.high:.0f} m3/h below the fans' free air, "
            f"{fans * fan_m3_h:g} m3/h",
        )


@rule("tray.float_opens_litres", "tray.capacity_litres")
def _float(opens: float, capacity: float) -> Found:
    if opens >= capacity:
        yield "tray.float_opens_litres", opens, f"below tray.capacity_litres, {capacity:g} L"


@rule("room.window_side", "room.window_area_m2", "room.outside_wall_m2")
def _window(side: str, area_m2: float, wall_m2: float) -> Found:
    if (side == "none") != (area_m2 == 0.0):
        yield "room.window_area_m2", area_m2, 'above 0, or window_side = "none" and 0'
    if side != "none" and area_m2 > wall_m2:
        yield "room.window_area_m2", area_m2, f"within outside_wall_m2, {wall_m2:g} m2"


@rule("room.inside_m2", "room.inside_ua_w_k", "room.house_c")
def _house(inside_m2: float, ua: Given | None, house_c: Given | None) -> Found:
    if (inside_m2 > 0.0 or ua is not None) and house_c is None:
        yield "room.house_c", Said("missing"), "a temperature while inside_m2 is given"
    if inside_m2 == 0.0 and ua is None and house_c is not None:
        yield "room.inside_m2", inside_m2, "above 0 while house_c is given"


RULES = (
    _place_is_room,
    _room_in_ground,
    _no_ground,
    _store_probe,
    _room_probe,
    _tray,
    _battery,
    _mains,
    _battery_size,
    _power_bank,
    _ice_bank,
    _thin_ice,
    _ice_share,
    _ice_at_start,
    _water_fits,
    _heights,
    _evaporator,
    _capacity,
    _pull_down,
    _polynomial,
    _air,
    _float,
    _window,
    _house,
)

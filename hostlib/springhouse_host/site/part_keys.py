"""A part's refusal in the words of the site file: by the keys that its parameter comes from."""

from springhouse_sim.plant.check import PartError

from ..errors import SiteError
from .read import Fault, SiteFile, shown

# Parameter of a part: the key that states it, then those it is worked out from without that.
_BOX = ("freezer.cabinet_litres",)
_FROM: dict[str, tuple[str, ...]] = {
    "Store.water_l": ("store.water_litres", *_BOX),
    "Store.inner_length_m": ("freezer.inner_length_m", *_BOX),
    "Store.inner_width_m": ("freezer.inner_width_m", *_BOX),
    "Store.inner_depth_m": ("freezer.inner_depth_m", *_BOX),
    "Store.cabinet_ua_w_k": ("freezer.cabinet_ua_w_k", "freezer.foam_mm", "freezer.label_kwh_year"),
    "Store.lid_ua_w_k": ("freezer.cabinet_ua_w_k", "freezer.foam_mm", "freezer.label_kwh_year"),
    "Store.evaporator_from_m": ("freezer.evaporator_from_m", *_BOX),
    "Store.evaporator_to_m": ("freezer.evaporator_to_m", *_BOX),
    "Store.evaporator_wall_w_m2_k": ("freezer.evaporator_wall_w_m2_k", *_BOX),
    "Store.evaporator_j_k": ("freezer.evaporator_wall_w_m2_k", *_BOX),
    "Store.draw_m": ("store.draw_m", *_BOX),
    "Store.return_m": ("store.return_m", "store.water_litres", *_BOX),
    "Store.probe_low_m": ("store.probe_low_m", *_BOX),
    "Store.probe_high_m": ("store.probe_high_m", "store.water_litres", *_BOX),
    "Store.probe_high_wall_mm": ("store.probe_high_wall_mm",),
    "Store.initial_c": ("store.start_c", "settings.shallow_target_c"),
    "Store.initial_ice_kg": ("store.start_ice_kg",),
    "Store.return_bore_mm": ("loop.tube_bore_mm",),
    "Store.supercooling_k": ("store.supercooling_k",),
    "Freezer.rated_input_w": ("freezer.input_factor", "freezer.label_input_w"),
    "Freezer.rated_capacity_w": (
        "freezer.capacity_w",
        "freezer.pull_down_h",
        "freezer.label_input_w",
        "freezer.freezing_capacity_kg_24h",
    ),
    "Freezer.condenser_ua_w_k": (
        "freezer.condenser_ua_w_k",
        "freezer.capacity_w",
        "freezer.label_input_w",
    ),
    "Freezer.condenser_j_k": (
        "freezer.condenser_ua_w_k",
        "freezer.capacity_w",
        "freezer.label_input_w",
    ),
    "Freezer.refrigerant": ("freezer.refrigerant",),
    "Freezer.polynomial": ("freezer.capacity_coefficients",),
    "Freezer.pull_down_h": ("freezer.pull_down_h",),
    "Freezer.standby_w": ("freezer.standby_w",),
    "Freezer.envelope_evaporating_c low": ("freezer.evaporating_c",),
    "Freezer.envelope_condensing_c low": ("freezer.condensing_c",),
    "Place.ua_w_k": ("place.ua_w_k", "place.length_m", "place.width_m", "place.height_m"),
    "Place.heat_capacity_j_k": ("place.ua_w_k", "place.length_m", "place.width_m"),
    "Place.initial_c": ("place.start_c",),
    "Loop.tube_in_place_fraction": ("loop.share_at_freezer_percent",),
    "Loop.fittings_k": ("loop.elbows", "loop.valves"),
    "Loop.static_lift_m": ("loop.lift_m",),
    "Loop.pump_power_w": ("loop.pump_w",),
    "Loop.coil_bore_mm": ("coil.tube_bore_mm",),
    "Loop.coil_length_m": ("coil.rows", "coil.face_width_m", "coil.face_height_m"),
    "Loop.coil_circuits": ("coil.circuits",),
    "Coil.ua_w_k": ("coil.ua_w_k", "coil.rows", "coil.face_width_m", "coil.face_height_m"),
    "Coil.tube_pass_m": ("coil.face_width_m",),
    "Coil.fin_parameter": ("coil.fin_gap_mm", "coil.tube_bore_mm", "coil.fan_m3_h"),
    "Coil.rated_air_m3_h": ("coil.air_m3_h", "coil.fan_m3_h", "coil.fan_pa", "coil.fans"),
    "Coil.rated_water_l_min": ("coil.rated_l_min",),
    "Coil.free_air_m3_h": ("coil.fan_m3_h",),
    "Coil.fan_power_w": ("coil.fan_w",),
    "Coil.heat_capacity_j_k": ("coil.rows", "coil.face_width_m", "coil.face_height_m"),
    "Coil.fin_area_m2": ("coil.rows", "coil.face_width_m", "coil.face_height_m", "coil.fin_gap_mm"),
    "Room.floor_m2": ("room.length_m", "room.width_m"),
    "Room.envelope_ua_w_k": ("room.envelope_ua_w_k", "room.outside_wall_m2"),
    "Room.heat_capacity_j_k": ("room.heat_capacity_kj_k", "room.length_m", "room.width_m"),
    "Room.infiltration_ach": ("room.infiltration_per_h",),
    "Room.air_mass_coupling_w_k": ("room.length_m", "room.width_m"),
    "Room.air_capacity_factor": ("room.height_m", "room.infiltration_per_h", "room.length_m"),
    "Room.initial_c": ("room.start_c", "settings.room_target_c"),
    "Room.initial_humidity_ratio": ("room.start_c", "settings.room_target_c"),
    "Tray.capacity_l": ("tray.capacity_litres",),
    "Tray.float_opens_l": ("tray.float_opens_litres",),
    "Battery.usable_wh": ("battery.usable_wh", "battery.cell_mah"),
    "Battery.controller_w": ("battery.board_w",),
    "Battery.min_load_w": ("battery.least_load_w",),
}


def refusal(file: SiteFile, error: ValueError, reading: str, path: str) -> SiteError:
    """Return a part's refusal as one of the site file's keys.

    Args:
        file: the tables.
        error: what the part said.
        reading: of the labels that was tried.
        path: of the site, as the user named it.
    """
    if not isinstance(error, PartError):
        return SiteError(f"{path}: {reading} reading of the labels: {error}")
    same = f"{error.part.lower()}.{error.name}"
    keys = _FROM.get(f"{error.part}.{error.name}", (same,))
    first, values = keys[0], [(key, _value(file, key)) for key in keys]
    given = next((value for key, value in values if key == first), None)
    if given is not None:
        return SiteError(
            Fault(first, shown(given), f"{reading} reading of it: {error.why}").line(path)
        )
    named = ", ".join(f"{key} = {shown(value)}" for key, value in values if value is not None)
    made = f"what {named} make of it" if named else "what follows for it"
    return SiteError(
        Fault(first, "not given", f"{made}, {reading} reading: {error.why}; give it").line(path)
    )


def _value(file: SiteFile, key: str) -> object:
    """Return what the file or a default says under "table.key", None where nothing does."""
    table, _, name = key.partition(".")
    value = getattr(getattr(file, table, None), name, None)
    return getattr(value, "value", value)

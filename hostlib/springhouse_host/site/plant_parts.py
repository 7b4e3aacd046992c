"""The plant model of a site, for the weakest, the middle or the strongest reading of its labels."""

import math
from collections.abc import Mapping
from typing import Any

from springhouse_sim.plant import moist_air
from springhouse_sim.plant.battery import Battery
from springhouse_sim.plant.coil import Coil
from springhouse_sim.plant.freezer import Freezer
from springhouse_sim.plant.place import Place
from springhouse_sim.plant.plant import Plant
from springhouse_sim.plant.room import Room
from springhouse_sim.plant.store import Store
from springhouse_sim.plant.tray import Tray

from . import coil_sides, derive_room, owner_settings
from .fan_air import FIN_MM, ROW_DEPTH_M
from .known import Known, Variant
from .loop_part import loop
from .read import SiteFile

START_HUMIDITY = 0.5  # relative, of the room at the start
ROOM_MASS_W_M2_K = 9.2  # per floor area: 3.45 × 4.5 and 9.1 × 2.5 in series, EN ISO 13790, memory
PLACE_KJ_M2_K = 165.0
LEAST_PLACE_J_K = 2e4  # as little as the plant's place accepts
PLACE_IS_ROOM_W_K = 500.0  # the freezer stands in the cooled room: in effect one node
MOISTURE_FACTOR = 10.0  # furnishings hold so much more than the air; common practice 10 to 20
COIL_KG_M3 = 350.0  # metal in the coil's volume
METAL_J_KG_K = 600.0


def build(file: SiteFile, known: Mapping[str, Known], variant: Variant) -> Plant:
    """Return all parts.

    Raises:
        ValueError: when a part refuses what the labels lead to.
    """
    picked = {key: value.pick(variant) for key, value in known.items()}
    return Plant(
        store=store(file, picked),
        freezer=freezer(file, picked),
        place=_place(file, picked),
        loop=loop(file, known, variant),
        coil=coil(file, picked),
        room=room(file, picked),
        tray=Tray(
            capacity_l=file.tray.capacity_litres,
            float_opens_l=file.tray.float_opens_litres,
            open_drain=file.tray.open_drain,
        ),
        battery=Battery(
            kind=file.battery.kind,
            usable_wh=picked.get("battery.usable_wh", file.battery.usable_wh),
            nominal_v=file.battery.nominal_v,
            charger_w=file.battery.charger_w,
            controller_w=file.battery.board_w,
            min_load_w=file.battery.least_load_w,
            drops_on_changeover=file.battery.drops_on_changeover,
        ),
    )


def _setting(file: SiteFile, key: str) -> float:
    value = getattr(file.settings, key)
    return owner_settings.default(key) if value is None else float(value)


def store(file: SiteFile, picked: Mapping[str, float]) -> Store:
    """Return water and box; ``picked`` holds what is known loosely."""
    table, box = file.store, file.freezer
    length_m, width_m = picked["freezer.inner_length_m"], picked["freezer.inner_width_m"]
    depth_m = picked["freezer.inner_depth_m"]
    lid_m2 = length_m * width_m
    lid_share = lid_m2 / (2.0 * (lid_m2 + (length_m + width_m) * depth_m))
    ua_w_k = picked["freezer.cabinet_ua_w_k"]
    surface_m = table.water_litres / 1000.0 / lid_m2
    start_c = _setting(file, "shallow_target_c") if table.start_c is None else table.start_c
    high_m = 0.9 * surface_m if table.probe_high_m is None else table.probe_high_m
    from_m, to_m = box.evaporator_from_m, box.evaporator_to_m
    return Store(
        water_l=table.water_litres,
        inner_length_m=length_m,
        inner_width_m=width_m,
        inner_depth_m=depth_m,
        cabinet_ua_w_k=ua_w_k * (1.0 - lid_share),
        lid_ua_w_k=max(0.01, ua_w_k * lid_share),
        evaporator_from_m=0.1 * depth_m if from_m is None else from_m,
        evaporator_to_m=0.9 * depth_m if to_m is None else to_m,
        evaporator_wall_w_m2_k=picked["freezer.evaporator_wall_w_m2_k"],
        draw_m=table.draw_m,
        return_m=0.95 * surface_m if table.return_m is None else table.return_m,
        probe_low_m=min(table.probe_low_m, surface_m),
        probe_high_m=min(high_m, surface_m),
        probe_high_wall_mm=table.probe_high_wall_mm,
        covered=table.covered,
        initial_c=0.0 if table.start_ice_kg > 0.0 else max(0.0, start_c),
        initial_ice_kg=table.start_ice_kg,
        return_bore_mm=file.loop.tube_bore_mm,
        supercooling_k=table.supercooling_k,
    )


def freezer(file: SiteFile, picked: Mapping[str, float]) -> Freezer:
    """Return the refrigeration machine."""
    table = file.freezer
    capacity, power = table.capacity_coefficients, table.input_coefficients
    envelope: dict[str, Any] = {}
    if capacity is not None and power is not None:
        envelope = {
            "polynomial": (capacity, power),
            "envelope_evaporating_c": table.evaporating_c,
            "envelope_condensing_c": table.condensing_c,
        }
    return Freezer(
        **envelope,
        rated_input_w=file.freezer.label_input_w * picked.get("freezer.input_factor", 1.0),
        rated_capacity_w=picked["freezer.capacity_w"],
        refrigerant=file.freezer.refrigerant,
        condenser_ua_w_k=picked["freezer.condenser_ua_w_k"],
        standby_w=file.freezer.standby_w,
    )


def _place(file: SiteFile, picked: Mapping[str, float]) -> Place:
    place = file.place
    start_c = 25.0 if place.start_c is None else place.start_c
    floor_m2 = 0.0 if place.is_cooled_room else place.length_m * place.width_m
    return Place(
        ua_w_k=picked["place.ua_w_k"],
        ground_ua_w_k=picked.get("place.ground_ua_w_k", 0.0),
        heat_capacity_j_k=max(LEAST_PLACE_J_K, 1000.0 * PLACE_KJ_M2_K * floor_m2),
        initial_c=start_c,
        room_ua_w_k=PLACE_IS_ROOM_W_K if place.is_cooled_room else 0.0,
    )


def coil(file: SiteFile, picked: Mapping[str, float]) -> Coil:
    """Return coil and fans."""
    coil = file.coil
    volume_m3 = coil.face_width_m * coil.face_height_m * coil.rows * ROW_DEPTH_M
    water_kg = 1000.0 * math.pi / 4.0 * (coil.tube_bore_mm / 1000.0) ** 2 * coil_sides.tube_m(coil)
    fin_area_m2 = 2.0 * volume_m3 / ((coil.fin_gap_mm + FIN_MM) / 1000.0)
    ua_w_k, air_m3_h = picked["coil.ua_w_k"], picked["coil.air_m3_h"]
    return Coil(
        ua_w_k=ua_w_k,
        rated_air_m3_h=air_m3_h,
        air_side_fraction=coil_sides.air_share(coil, air_m3_h, ua_w_k),
        tube_pass_m=0.0 if coil.kind == "flat-tube" else coil_sides.pass_m(coil),
        fin_parameter=coil_sides.fin_parameter(coil, air_m3_h),
        rated_water_l_min=coil.rated_l_min,
        free_air_m3_h=coil.fan_m3_h,
        fan_power_w=coil.fan_w,
        fans=coil.fans,
        fans_in_series=coil.fans_in_series,
        arrangement=coil.arrangement,
        heat_capacity_j_k=max(100.0, COIL_KG_M3 * METAL_J_KG_K * volume_m3 + 4190.0 * water_kg),
        fin_area_m2=max(0.05, fin_area_m2),
        fin_gap_mm=coil.fin_gap_mm,
    )


def room(file: SiteFile, picked: Mapping[str, float]) -> Room:
    """Return the cooled room."""
    room = file.room
    floor_m2 = room.length_m * room.width_m
    start_c = _setting(file, "room_target_c") if room.start_c is None else room.start_c
    glass_w_k = derive_room.WINDOW_W_M2_K[room.window_panes] * room.window_area_m2
    envelope_w_k = picked["room.envelope_ua_w_k"]
    glass_share = min(1.0, glass_w_k / envelope_w_k) if envelope_w_k > 0.0 else 0.0
    saturated = moist_air.saturation_pressure_pa(start_c)
    return Room(
        floor_m2=floor_m2,
        height_m=room.height_m,
        envelope_ua_w_k=envelope_w_k,
        heat_capacity_j_k=1000.0 * picked["room.heat_capacity_kj_k"],
        air_mass_coupling_w_k=ROOM_MASS_W_M2_K * floor_m2,
        infiltration_ach=picked["room.infiltration_per_h"],
        moisture_buffer_factor=MOISTURE_FACTOR,
        initial_c=start_c,
        initial_humidity_ratio=moist_air.humidity_ratio(START_HUMIDITY * saturated, 101325.0),
        envelope_to_mass_fraction=1.0 - glass_share,
        house_ua_w_k=picked.get("room.inside_ua_w_k", 0.0),
        house_c=picked.get("room.house_c", start_c),
    )

"""An installation for the tests of bench, world and compiled code: parameters of no real house."""

from datetime import datetime
from functools import cache
from typing import Any

from springhouse import setting, week
from springhouse_sim.bench import Bench, World
from springhouse_sim.plant.battery import Battery
from springhouse_sim.plant.coil import Coil
from springhouse_sim.plant.freezer import Freezer
from springhouse_sim.plant.loop import Loop
from springhouse_sim.plant.place import Place
from springhouse_sim.plant.plant import Plant
from springhouse_sim.plant.room import Room
from springhouse_sim.plant.store import Store
from springhouse_sim.plant.tray import Tray
from springhouse_sim.world import tariff
from springhouse_sim.world.outdoors import Outdoors
from springhouse_sim.world.people import Equipment, Occupancy, People
from springhouse_sim.world.stage import Actor, Calendar
from springhouse_sim.world.sun import Glazing
from springhouse_sim.world.weather import Weather
from springhouse_sim.world.weather_files import read, shipped
from springhouse_sim.world.windows import Window

MONDAY = datetime(2025, 7, 7)


def plant(store_c: float = 6.0, room_c: float = 26.0, ice_kg: float = 0.0) -> Plant:
    return Plant(
        store=Store(
            water_l=150.0,
            inner_length_m=0.75,
            inner_width_m=0.42,
            inner_depth_m=0.6,
            cabinet_ua_w_k=0.9,
            lid_ua_w_k=0.25,
            evaporator_from_m=0.1,
            evaporator_to_m=0.5,
            evaporator_wall_w_m2_k=60.0,
            draw_m=0.05,
            return_m=0.42,
            probe_low_m=0.06,
            probe_high_m=0.4,
            covered=True,
            initial_c=store_c,
            initial_ice_kg=ice_kg,
        ),
        freezer=Freezer(
            rated_input_w=110.0,
            rated_capacity_w=150.0,
            refrigerant="R600a",
            condenser_ua_w_k=14.0,
        ),
        place=Place(ua_w_k=40.0, heat_capacity_j_k=2e6, initial_c=22.0),
        loop=Loop(
            tube_bore_mm=8.0,
            tube_wall_mm=1.0,
            tube_length_m=12.0,
            tube_in_place_fraction=0.4,
            insulation_mm=13.0,
            insulation_w_m_k=0.036,
            fittings_k=8.0,
            static_lift_m=0.8,
            pump_head_m=5.0,
            pump_free_l_min=8.0,
            pump_power_w=8.0,
            pump_to_water_fraction=0.6,
            coil_bore_mm=7.0,
            coil_length_m=8.0,
            prime_air_ml=150.0,
            primed=True,
        ),
        coil=Coil(
            ua_w_k=45.0,
            rated_air_m3_h=160.0,
            rated_water_l_min=1.5,
            free_air_m3_h=150.0,
            fan_power_w=2.5,
            fans=2,
        ),
        room=Room(
            floor_m2=11.0,
            height_m=2.4,
            envelope_ua_w_k=20.0,
            heat_capacity_j_k=3e6,
            air_mass_coupling_w_k=60.0,
            infiltration_ach=0.3,
            moisture_buffer_factor=5.0,
            initial_c=room_c,
            initial_humidity_ratio=0.0105,
        ),
        tray=Tray(capacity_l=4.0, float_opens_l=3.2, evaporation_g_h=5.0),
        battery=Battery(kind="lifepo4", usable_wh=240.0, charger_w=40.0),
    )


def settings(**changes: int) -> list[int]:
    """Every sensor fitted; cool from 14 to 18 h, deep charging from 23 to 7 h."""
    s = [0] * setting.SIZE
    setting.fill_defaults(s)
    s[setting.FITTED] = 4095
    window = setting.WINDOW_1_KIND
    s[window : window + 4] = [week.CHARGE, 127, 23 * 60, 7 * 60]
    s[window + 4 : window + 8] = [week.WANTED, 31, 14 * 60, 18 * 60]
    for name, value in changes.items():
        s[getattr(setting, name)] = value
    assert setting.first_fault(s) == -1
    return s


def world(
    *actors: Actor,
    start: datetime = MONDAY,
    rates: tariff.Tariff | None = None,
    weather: bool = False,
) -> World:
    """Mild constant air unless ``weather``, then Greensboro with a west window and a person."""
    afternoon = (Window(14 * 60, 18 * 60, 0b0011111),)
    around: tuple[Actor, ...] = ()
    if weather:
        around = (
            Outdoors(greensboro(), (Glazing(1.5, 0.5, 270.0),)),
            People((Occupancy(1, "seated", afternoon),), (Equipment(100.0, afternoon),)),
        )
    return World(Calendar(start), (*around, *actors), rates or tariff.flat(0.30))


@cache
def greensboro() -> Weather:
    return read(shipped("723170TYA.CSV"), 2025)


def bench(*actors: Actor, compile_ticks: bool = False, **options: Any) -> Bench:
    """A bench on the plant above, interpreted unless said otherwise."""
    kept = {k: options.pop(k) for k in ("start", "rates", "weather") if k in options}
    parts = options.pop("plant", None) or plant()
    return Bench(
        parts,
        options.pop("settings", None) or settings(),
        world(*actors, **kept),
        compile_ticks=compile_ticks,
        **options,
    )

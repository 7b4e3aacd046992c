"""A complete small installation for the tests: the parts of the common-practice ranges.

90 L of water in a small chest freezer, a fan coil in a room of 30 m3.
"""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from springhouse_sim import compiled
from springhouse_sim.plant import given, state, tap
from springhouse_sim.plant.battery import Battery
from springhouse_sim.plant.coil import Coil
from springhouse_sim.plant.freezer import Freezer
from springhouse_sim.plant.integrate import work_size
from springhouse_sim.plant.loop import Loop
from springhouse_sim.plant.place import Place
from springhouse_sim.plant.plant import Plant
from springhouse_sim.plant.room import Room
from springhouse_sim.plant.store import Store
from springhouse_sim.plant.tray import Tray

Array = NDArray[np.float64]
DOORS = (("springhouse_sim.plant.integrate", "advance"),)

PLANT = Plant(
    store=Store(
        water_l=90.0,
        inner_length_m=0.45,
        inner_width_m=0.40,
        inner_depth_m=0.78,
        cabinet_ua_w_k=0.65,
        lid_ua_w_k=0.15,
        evaporator_from_m=0.10,
        evaporator_to_m=0.60,
        evaporator_wall_w_m2_k=60.0,
        draw_m=0.03,
        return_m=0.45,
        probe_low_m=0.05,
        probe_high_m=0.45,
        covered=True,
        initial_c=7.0,
    ),
    freezer=Freezer(
        rated_input_w=80.0, rated_capacity_w=100.0, refrigerant="R600a", condenser_ua_w_k=12.0
    ),
    place=Place(ua_w_k=40.0, heat_capacity_j_k=2e6, initial_c=22.0),
    loop=Loop(
        tube_bore_mm=8.0,
        tube_wall_mm=1.0,
        tube_length_m=8.0,
        tube_in_place_fraction=0.5,
        insulation_mm=13.0,
        insulation_w_m_k=0.036,
        fittings_k=12.0,
        static_lift_m=0.5,
        pump_head_m=3.0,
        pump_free_l_min=8.0,
        pump_power_w=8.0,
        pump_to_water_fraction=0.7,
        coil_bore_mm=8.0,
        coil_length_m=6.0,
        prime_air_ml=300.0,
    ),
    coil=Coil(
        ua_w_k=60.0,
        rated_air_m3_h=200.0,
        rated_water_l_min=2.0,
        free_air_m3_h=300.0,
        fan_power_w=5.0,
    ),
    room=Room(
        floor_m2=12.0,
        height_m=2.5,
        envelope_ua_w_k=30.0,
        heat_capacity_j_k=3e6,
        air_mass_coupling_w_k=150.0,
        infiltration_ach=0.4,
        moisture_buffer_factor=8.0,
        initial_c=25.0,
        initial_humidity_ratio=0.010,
    ),
    tray=Tray(capacity_l=4.0, float_opens_l=3.0),
    battery=Battery(kind="lifepo4", usable_wh=120.0, charger_w=20.0),
)


def with_store(**change: object) -> Plant:
    """Return the installation with another store."""
    return replace(PLANT, store=replace(PLANT.store, **change))  # type: ignore[arg-type]


class Run:
    """The records of one plant and the time."""

    def __init__(self, plant: Plant = PLANT, dt_s: float = 5.0) -> None:
        self.p = plant.params()
        self.x = plant.initial()
        self.u = given.neutral_given()
        self.t = np.zeros(tap.SIZE)
        self.work = np.zeros(work_size())
        self.step = compiled.load(True, DOORS).sim("plant.integrate").advance
        self.dt_s = dt_s
        self.now_s = 0.0

    def advance(self, seconds: float) -> None:
        """Advance by whole steps with the given record as it stands."""
        steps = round(seconds / self.dt_s)
        self.step(self.x, self.u, self.p, self.work, self.t, self.dt_s, steps)
        self.now_s += steps * self.dt_s


def busy_day(u: Array, now_s: float) -> None:
    """Write a varied day into the given record: weather, people, duties, an outage."""
    hour = now_s / 3600.0 % 24.0
    u[given.OUTDOOR_C] = 25.0 - 7.0 * np.cos((hour - 3.0) * np.pi / 12.0)
    u[given.OUTDOOR_HUMIDITY_RATIO] = 0.012 + 0.002 * np.sin(hour * np.pi / 12.0)
    u[given.SUN_W] = max(0.0, 300.0 * np.sin((hour - 6.0) * np.pi / 12.0))
    there = 1.0 if 13.0 <= hour < 17.0 else 0.0
    u[given.PEOPLE_SENSIBLE_W] = 70.0 * there
    u[given.PEOPLE_MOISTURE_KG_S] = 1.8e-5 * there
    u[given.EQUIPMENT_W] = 100.0 * there
    u[given.PLACE_GAIN_W] = 30.0
    u[given.COMPRESSOR_RELAY] = 1.0 if hour < 7.0 or 18.5 <= hour < 18.52 or hour > 23.0 else 0.0
    u[given.PUMP_DUTY] = there
    u[given.FAN_DUTY] = there * (1.0 if hour < 15.0 else 0.5)
    u[given.MAINS] = 0.0 if 14.0 <= hour < 15.5 else 1.0


Script = Callable[[Array, float], None]


def play(run: Run, script: Script, seconds: float, every_s: float = 60.0) -> None:
    """Advance with the given record rewritten by ``script`` every ``every_s``."""
    for _ in range(round(seconds / every_s)):
        script(run.u, run.now_s)
        run.advance(every_s)


def ice_kg(x: Array) -> float:
    """Return all ice in the store."""
    return float(np.sum(x[state.ICE_KG : state.ICE_KG + state.LAYERS]))

"""Slots of the given record ``u``: what acts on the plant, float64, units in the names.

The world and the controller write it; the plant only reads it.  ``neutral_given`` fills the
fault slots with the values that change nothing.
"""

import numpy as np
from numpy.typing import NDArray

(
    # commands
    COMPRESSOR_RELAY,  # 0 or 1
    PUMP_DUTY,  # 0..1
    FAN_DUTY,  # 0..1
    # world
    MAINS,  # 0 or 1
    OUTDOOR_C,  # when it was written; see ``now``
    OUTDOOR_HUMIDITY_RATIO,  # kg/kg dry air, likewise
    SUN_W,  # through the window, already in the room, likewise
    OUTDOOR_K_S,  # how fast these three have changed since, each a second
    OUTDOOR_HUMIDITY_RATIO_1_S,
    SUN_W_S,
    PRESSURE_PA,
    PEOPLE_SENSIBLE_W,
    PEOPLE_MOISTURE_KG_S,
    EQUIPMENT_W,
    PLACE_GAIN_W,  # other heat where the freezer stands
    GROUND_C,  # behind the walls of its place, as far as they are below ground
    # faults and tolerances
    CAPACITY_FACTOR,  # compressor capacity, 1
    FLOW_FACTOR,  # loop flow, 1
    FAN_FACTOR,  # air flow, 1
    AIR_IN_LOOP,  # 0 or 1: prime lost, the pump turns without flow
    LEAK_L_S,  # water leaving the store
    TRAY_FILL_L_S,  # water poured into the tray from outside
    TRAY_EMPTY_L_S,  # water carried away from the tray by a person
    CABINET_FACTOR,  # heat gain through the cabinet, 1
    CHECK_VALVE_OPEN,  # 0 or 1: the check valve no longer shuts
    SIZE,
) = range(26)
WEATHER = OUTDOOR_C  # first of three slots that run along a straight line
SLOPES = OUTDOOR_K_S - OUTDOOR_C


def now(u: NDArray[np.float64], slot: int, age_s: float) -> float:
    """Return what a slot gives ``age_s`` after the weather was written (state.WEATHER_AGE_S)."""
    if WEATHER <= slot < WEATHER + SLOPES:
        return float(u[slot] + age_s * u[slot + SLOPES])
    return float(u[slot])


def neutral_given() -> NDArray[np.float64]:
    """Return a given record, shape (SIZE,): everything off, mains on, mild weather, no fault."""
    u = np.zeros(SIZE)
    u[MAINS] = 1.0
    u[OUTDOOR_C] = u[GROUND_C] = 20.0
    u[OUTDOOR_HUMIDITY_RATIO] = 0.008
    u[PRESSURE_PA] = 101325.0
    u[CAPACITY_FACTOR] = 1.0
    u[FLOW_FACTOR] = 1.0
    u[FAN_FACTOR] = 1.0
    u[CABINET_FACTOR] = 1.0
    return u

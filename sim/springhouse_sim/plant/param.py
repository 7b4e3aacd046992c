"""Slots of the parameter record ``p``: what the part classes computed, float64, units in names.

Scalars first, then the tables with their axes.  A table of two axes is stored row by row, the
first axis slowest.  Axes are equidistant, so a table needs only its first point and its step.
"""

(
    # store
    STORE_AREA_M2,  # plan
    STORE_PERIMETER_M,
    STORE_DEPTH_M,  # floor to brim
    CABINET_BAND_UA_W_K,  # place to evaporator wall
    CABINET_SIDE_UA_W_K,  # place to water through the rest of the sides
    CABINET_FLOOR_UA_W_K,
    LID_UA_W_K,
    EVAPORATOR_FROM_M,
    EVAPORATOR_TO_M,
    EVAPORATOR_WALL_W_M2_K,
    EVAPORATOR_J_K,
    LINER_W_M_K,  # liner conductivity times its cross-section, vertical
    DRAW_M,
    RETURN_M,
    JET_ENTRAINMENT,  # entrained over pumped flow
    PROBE_LOW_M,
    PROBE_HIGH_M,
    PROBE_HIGH_WALL_M,
    STORE_PROBE_S,
    SUPERCOOL_K,  # 0: ice grows as soon as a surface is below 0 °C
    # freezer
    CONDENSER_UA_W_K,
    CONDENSER_J_K,
    SPREAD_S,
    EQUALISE_S,
    START_HEAD,
    WINDING_J_K,
    WINDING_UA_W_K,
    SHELL_J_K,
    SHELL_UA_W_K,
    WINDING_LOSS_FRACTION,
    SHELL_GAIN_FRACTION,
    STALL_W,
    OVERLOAD_TRIP_C,
    OVERLOAD_RESET_C,
    FREEZER_STANDBY_W,
    RATED_EVAPORATING_LOW_C,
    RATED_EVAPORATING_HIGH_C,
    RATED_CONDENSING_LOW_C,
    RATED_CONDENSING_HIGH_C,
    # place
    PLACE_UA_W_K,
    PLACE_GROUND_UA_W_K,
    PLACE_TO_ROOM_UA_W_K,
    PLACE_J_K,
    # loop
    FLOW_LAG_S,
    PRIME_AIR_L,
    STATIC_LIFT_M,
    CHECK_VALVE,  # 1 the loop keeps its water while the pump rests, 0 it falls back
    PUMP_HEAD_M,
    PUMP_POWER_W,
    PUMP_TO_WATER_FRACTION,
    TUBE_PLACE_UA_W_K,  # of one of the two runs
    TUBE_ROOM_UA_W_K,  # of one of the two runs
    TUBE_KG,  # water-equivalent of one run
    # coil
    COIL_J_K,
    COIL_AIR_W_K,  # air-side conductance at rated air flow
    COIL_WATER_W_K,  # water-side conductance at rated water flow
    RATED_AIR_M3_H,
    FREE_AIR_M3_H,
    STILL_AIR_M3_H,
    COUNTERFLOW,  # 1 counterflow, 0 cross-flow with both streams unmixed
    FIN_AREA_M2,
    FIN_PARAMETER,  # m r phi of dry fins at rated air
    FIN_GAP_M,
    FROST_KG_M3,
    FAN_POWER_W,
    COIL_IN_PROBE_S,
    COIL_AIR_PROBE_S,
    # room
    ROOM_AIR_KG,
    ROOM_AIR_J_K,
    ROOM_MASS_J_K,
    ENVELOPE_AIR_UA_W_K,
    ENVELOPE_MASS_UA_W_K,
    AIR_MASS_UA_W_K,
    INFILTRATION_M3_S,
    MOISTURE_KG,  # dry air times buffer factor
    SUN_AIR_FRACTION,
    GAIN_AIR_FRACTION,
    ROOM_PROBE_S,
    HOUSE_UA_W_K,  # room's mass to the rest of the house
    HOUSE_C,
    # tray
    TRAY_CAPACITY_L,
    TRAY_FLOAT_L,
    TRAY_EVAPORATION_KG_S,
    TRAY_OPEN_DRAIN,
    # battery
    BATTERY_KIND,
    BATTERY_USABLE_WH,
    BATTERY_NOMINAL_V,
    BATTERY_OHM,
    BATTERY_RATED_W,  # load at which the usable energy was stated
    BATTERY_PEUKERT,
    CHARGER_W,
    CHARGE_EFFICIENCY,
    DISCHARGE_EFFICIENCY,
    SUPPLY_EFFICIENCY,
    BATTERY_MIN_LOAD_W,
    BATTERY_LOW_LOAD_LIMIT_S,
    BATTERY_DROPS_ON_CHANGEOVER,
    BOARD_W,
    SCALARS,
) = range(99)

# Natural convection at the dry evaporator wall, W/m2: water C by evaporator C.
FILM_WATER_FROM_C = 0.0
FILM_WATER_STEP_C = 0.5
FILM_WATER_POINTS = 81
FILM_WALL_FROM_C = -40.0
FILM_WALL_STEP_C = 1.0
FILM_WALL_POINTS = 81
DRY_WALL_W_M2 = SCALARS
# Film coefficient of water against ice at 0 C, W/(m2 K): water C.
ICE_FILM_W_M2_K = DRY_WALL_W_M2 + FILM_WATER_POINTS * FILM_WALL_POINTS

# Compressor capacity and input, W: evaporating C by condensing C.
CYCLE_EVAPORATING_FROM_C = -45.0
CYCLE_EVAPORATING_STEP_C = 2.5
CYCLE_EVAPORATING_POINTS = 29
CYCLE_CONDENSING_FROM_C = 0.0
CYCLE_CONDENSING_STEP_C = 5.0
CYCLE_CONDENSING_POINTS = 17
CAPACITY_W = ICE_FILM_W_M2_K + FILM_WATER_POINTS
INPUT_W = CAPACITY_W + CYCLE_EVAPORATING_POINTS * CYCLE_CONDENSING_POINTS

# Loop flow, L/min: water C by pump duty.
FLOW_WATER_FROM_C = 0.0
FLOW_WATER_STEP_C = 5.0
FLOW_WATER_POINTS = 9
FLOW_DUTY_STEP = 0.05
FLOW_DUTY_POINTS = 21
FLOW_L_MIN = INPUT_W + CYCLE_EVAPORATING_POINTS * CYCLE_CONDENSING_POINTS

# Water-side conductance of the coil over its rated value: flow in L/min.
COIL_WATER_STEP_L_MIN = 0.1
COIL_WATER_POINTS = 101
COIL_WATER_RATIO = FLOW_L_MIN + FLOW_WATER_POINTS * FLOW_DUTY_POINTS

SIZE = COIL_WATER_RATIO + COIL_WATER_POINTS

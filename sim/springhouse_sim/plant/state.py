"""Slots of the state record ``x``: everything the plant remembers, float64, units in the names.

Slots below ``TOTALS`` are the physical state.  From ``TOTALS`` on they are running totals whose
rates are the heat and water flows themselves, so that balances can be closed exactly.
``MOTOR``, ``OVERLOAD_OPEN``, ``BATTERY_CUT``, ``MAINS_WAS_ON`` and ``COMPRESSOR_STARTS`` are
discrete: their rate is zero and only ``rates.switch`` changes them.
"""

LAYERS = 6  # layers of equal water mass, number 0 at the bottom

WATER_0_C, WATER_1_C, WATER_2_C, WATER_3_C, WATER_4_C, WATER_5_C = range(6)
WATER_C = 0  # first of LAYERS slots
ICE_KG = LAYERS  # first of LAYERS slots
_AFTER_ICE = ICE_KG + LAYERS

MOTOR_OFF = 0.0
MOTOR_RUNS = 1.0
MOTOR_STALLED = 2.0

(
    # store
    STORE_KG,  # liquid and ice together
    NUCLEI,  # 0 supercooled water stays liquid .. 1 ice grows at 0 °C
    STORE_LOW_PROBE_C,
    STORE_HIGH_PROBE_C,
    # freezer and the place where it stands
    EVAPORATOR_C,
    CONDENSER_C,
    WINDING_C,
    SHELL_C,
    REFRIGERANT_SPREAD,  # 0 just started .. 1 charge where it belongs
    PRESSURE_HEAD,  # 1 running .. 0 equalised
    MOTOR,  # MOTOR_OFF, MOTOR_RUNS, MOTOR_STALLED
    OVERLOAD_OPEN,  # 0 or 1
    PLACE_C,
    # loop and coil
    FLOW_L_MIN,
    LOOP_AIR,  # 0 primed .. 1 the whole prime volume is air
    SUPPLY_C,  # water in the tube to the coil
    RETURN_C,  # water in the tube back to the store
    COIL_C,  # effective surface of the coil
    FROST_KG,
    COIL_IN_PROBE_C,
    COIL_AIR_PROBE_C,
    # room
    ROOM_AIR_C,
    ROOM_MASS_C,
    ROOM_HUMIDITY_RATIO,  # kg of vapour per kg of dry air
    ROOM_PROBE_C,
    WEATHER_AGE_S,  # since the weather was written; it runs along straight lines meanwhile
    # tray
    TRAY_L,
    # battery
    BATTERY_WH,
    BATTERY_LOW_LOAD_S,  # how long the load has been under the power bank's threshold
    BATTERY_CUT,  # 0 or 1
    MAINS_WAS_ON,  # 0 or 1
    COMPRESSOR_STARTS,
    # totals: electricity, J
    MAINS_J,  # drawn from the socket, freezer included
    FREEZER_J,
    PUMP_J,
    FAN_J,
    BOARD_J,
    # totals: heat that crosses the boundary of the whole, J, positive inward
    OUTDOOR_TO_PLACE_J,
    GROUND_TO_PLACE_J,
    OUTDOOR_TO_ROOM_J,  # through walls and glass, from the rest of the house too
    INFILTRATION_SENSIBLE_J,
    INFILTRATION_LATENT_J,
    SUN_J,
    PEOPLE_SENSIBLE_J,
    PEOPLE_LATENT_J,
    EQUIPMENT_J,
    PLACE_GAIN_J,
    LEAK_J,  # enthalpy that left with leaked water, positive outward
    # totals: heat that moves inside, J, in the direction of the name
    CABINET_TO_STORE_J,  # place to water and evaporator wall
    LID_TO_STORE_J,
    EVAPORATOR_J,  # taken up by the refrigerant
    CONDENSER_TO_PLACE_J,
    SHELL_TO_PLACE_J,
    PUMP_TO_WATER_J,
    PLACE_TO_TUBE_J,
    ROOM_TO_TUBE_J,
    ROOM_TO_COIL_SENSIBLE_J,
    ROOM_TO_COIL_LATENT_J,
    COIL_TO_WATER_J,
    PLACE_TO_ROOM_J,
    BATTERY_LOSS_J,  # to the place
    # totals: water, kg
    CONDENSATE_KG,  # left the coil for the tray, melted frost included
    PEOPLE_MOISTURE_KG,
    INFILTRATION_MOISTURE_KG,  # net inward
    TRAY_EVAPORATED_KG,
    TRAY_FILLED_KG,
    TRAY_EMPTIED_KG,
    DRAINED_KG,
    LEAKED_KG,
    SPILL_L,  # over the rim of the tray
    # totals: time, s
    COMPRESSOR_RUN_S,
    OUTSIDE_RATED_S,  # of these, outside the rated envelope of the compressor's data
    SIZE,
) = range(_AFTER_ICE, _AFTER_ICE + 73)

TOTALS = MAINS_J

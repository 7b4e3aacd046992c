"""Slots of the tap record ``t``: algebraic results of the last ``rates`` call, units in names.

For sensors, logs and balances; within one call later parts read what earlier ones left here.
"""

from .state import LAYERS

DENSITY_KG_M3 = 0  # of the liquid, first of LAYERS slots

(
    # store
    LEVEL_M,  # water surface above the floor of the store, ice displacement included
    STORE_L,  # volume under the surface, ice included
    ICE_KG,
    STORE_MEAN_C,  # liquid, mass-weighted
    STORE_MIN_C,  # coldest liquid layer
    WALL_MIN_C,  # coldest inner wall or ice-to-wall surface
    DRAW_C,
    WALL_TO_EVAPORATOR_W,  # heat the evaporator takes from water and ice
    CABINET_W,
    LID_W,
    # freezer
    COMPRESSOR_RUNS,  # 0 or 1
    CAPACITY_W,
    FREEZER_W,
    OUTSIDE_RATED,  # 1 while evaporating or condensing lies outside the rated envelope
    # loop
    COIL_IN_C,
    COIL_OUT_C,
    PUMP_W,
    # coil
    AIR_M3_H,
    AIR_OFF_C,
    AIR_OFF_HUMIDITY_RATIO,
    COIL_SENSIBLE_W,
    COIL_LATENT_W,
    COIL_TO_WATER_W,
    CONDENSATE_KG_S,  # leaving the coil for the tray
    FAN_W,
    # tray
    FLOAT_OPEN,  # 0 or 1
    SPILL_L_S,
    # power
    POWERED,  # 1 while board, pump and fans have a supply
    MAINS_W,
    BATTERY_V,
    SIZE,
) = range(LAYERS, LAYERS + 31)

"""Where each figure of the sheet comes from: its formula and the source of the formula."""

from dataclasses import dataclass

ENERGY = "energy balance"
COIL = (
    "effectiveness-NTU, wet by enthalpy potential (Threlkeld; Braun, Klein and Mitchell 1989); "
    "fins: Gray and Webb 1986, Schmidt 1949; water in the tubes: Hausen, Gnielinski"
)
MOIST = "ASHRAE Fundamentals 2017, chapter 1"
CYCLE = (
    "isobutane or R134a cycle from CoolProp scaled to the label; AHRI 540 where coefficients are"
)


@dataclass(frozen=True)
class Figure:
    """One figure: ``field`` of the sheet (dotted), how it is worked out, after whom."""

    field: str
    label: str
    formula: str
    source: str


FIGURES = (
    Figure("gain.wanted_w", "heat gain, sensible", "UA (To - Ti); n V rho cp (To - Ti); g A I; "
           "people; watts; mean over the wanted hours at the room target", "two-node room, "
           "EN ISO 13790 in kind; sun: Hay and Davies 1980; people: ASHRAE Fundamentals 2009"),
    Figure("gain.latent_w", "heat gain, latent", "m (Wo - Wi) h; people", MOIST),
    Figure("gain.peak_w", "hottest ten minutes", "the same, greatest in the wanted hours", ENERGY),
    Figure("gain.day_w", "mean over 24 h", "the same, mean of the day", ENERGY),
    Figure("flow_l_min", "water flow", "pump head H0 (1 - (Q/Q0)2) = friction of tube, fittings, "
           "coil", "Hagen-Poiseuille, Colebrook by Clamond (fluids); K values of handbooks"),
    Figure("loop", "operating point", "where both curves cross, water at 5 °C", "as water flow"),
    Figure("air_off_c", "air-off temperature", "Ta - q_sensible / (m cp)", COIL),
    Figure("cooling_w", "room cooling, store full", "coil sensible + tubes in room - fans", COIL),
    Figure("coil_duty", "coil duty at three store temperatures", "eps C_min (Ta - Tw), air side "
           "times total over sensible where it is wet", COIL),
    Figure("cold_stored_kwh", "cold stored", "m (h(T_end) - h(T_deep)) + ice x 333.43 kJ/kg",
           "IAPWS-95, R10-06; Kell 1975"),
    Figure("cold_in_ice_kwh", "of that in ice", "ice limit x 333.43 kJ/kg", "IAPWS-95, R10-06"),
    Figure("second_probe_kwh", "a second probe buys", "m (h(4 °C + error) - h(T_deep)): below it a "
           "low probe alone cannot see ice", "density of water, Kell 1975"),
    Figure("discharge_h", "hours of discharge", "cold spent on the mean gain, 5 min a step, the "
           "room's moisture following", ENERGY),
    Figure("held_h", "one charge holds the room", "hours until full delivery no longer covers the "
           "mean gain; 0 where it never does", ENERGY),
    Figure("useful_h", "one charge cools at all", "the same, at full delivery from then on until "
           "the store is of no use", ENERGY),
    Figure("discharge_end_c", "store at the end", "where full delivery no longer covers the gain",
           COIL),
    Figure("condensate_l_day", "condensate a day", "m_air (1 - BF) (W_room - W_surface) over the "
           "wanted hours", COIL),
    Figure("tray_full_h", "hours until the tray is full", "litres at the float / condensate per h",
           "arithmetic"),
    Figure("pull_down_h", "pull-down", "sum of m cp dT / net cooling at each temperature, place at "
           "the charging hours' mean", CYCLE),
    Figure("first_chill_h", "first chill from 20 °C", "the same, with the owner's rests", CYCLE),
    Figure("battery_h", "battery hours", "usable Wh / drain at full duty, Peukert above the 20 h "
           "rate", "Peukert's law in the form that keeps its rating"),
    Figure("coil_share", "mean gain covered, store full", "room cooling at the deep target / mean "
           "gain, at most 1", COIL),
    Figure("dry_store_c", "store temperature that keeps the coil dry", "least water at which the "
           "coil's surface is at the room's dew point", COIL),
    Figure("surfaces", "surfaces that sweat", "Ts = Ta - q'/(h 2 pi r) against the dew point; bare "
           "metal as cold as the water", "radial conduction, film 9 W/(m2 K); " + MOIST),
    Figure("at_work", "compressor at work", "evaporating and condensing temperature where wall, "
           "machine and condenser balance, at the middle of the charge", CYCLE),
    Figure("mean_day", "always on, mean summer day", "water where cooling = coil + tubes + pump "
           "+ cabinet; room moisture where people + fresh air = condensate", ENERGY),
    Figure("worst_day", "always on, design day", "the same on the design day", ENERGY),
    Figure("design_day", "run fraction and cost of a day", "heat into the store / net cooling / "
           "24 h; kWh x mean price of the hours it falls in + standing charge", ENERGY),
    Figure("mean_use", "run fraction, mean summer day", "the same for a mean summer day", ENERGY),
    Figure("hold_days", "days held, all off", "sum of m cp dT / heat through cabinet and lid, "
           "place at the day's mean", "Newton's law of cooling"),
    Figure("power_cut", "through a power cut", "the shorter of battery hours and hours of "
           "discharge", "arithmetic"),
    Figure("sun_h", "sun on the panel", "label W x 0.75 x sun on a plane of 30° / load",
           "Hay and Davies 1980; 0.75 common practice"),
    Figure("water", "other amounts of water", "the same sums, gains by litres to the power 2/3",
           ENERGY),
    Figure("fan_ways", "fans", "straight line from the label's free air to its static pressure, "
           "laminar fins; air side by air to the power 0.6", COIL),
    Figure("sound_db", "sound, full fans", "L + 10 log n - 20 log d", "energy sum, free field"),
    Figure("quiet_db", "sound, quiet fans", "the same + 50 log duty", "fan law, from memory"),
    Figure("brines", "antifreeze and salt", "rho cp; Nu k / D; 1/(1/Ga + 1/Gw)",
           "CoolProp incompressibles; Hausen, Gnielinski"),
    Figure("open_lid", "lid off", "A (pw - pa) 0.089 / Y", "Carrier's equation, ASHRAE, from "
           "memory"),
    Figure("limits", "what limits first", "what there is over what is needed, least first",
           "arithmetic on the figures above"),
)  # fmt: skip

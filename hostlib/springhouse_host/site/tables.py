"""The tables of a site file that describe what stands there.

Every key that is a number carries its unit at its end; ``suffix_of`` says which. A key annotated
``Gradeable`` may be left out: ``derive.py`` then works it out from what a person can know.
"""

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict
from springhouse_sim.world.windows import Window

from .fields import (
    Day,
    Given,
    Gradeable,
    Numbers,
    Quantity,
    RealYear,
    Text,
    TimeOfDay,
    Whole,
    Windows,
    Word,
    Words,
    YesNo,
)

Flag = Annotated[bool, YesNo()]
SensorWord = Annotated[Literal["fitted", "absent"], Word(("fitted", "absent"))]

PROBES = ("store_low", "store_high", "room", "coil_in", "coil_air")
CLIMATE_CLASSES = ("SN", "N", "ST", "T", "SN-N", "SN-ST", "SN-T", "N-ST", "N-T", "ST-T")
SIDES = ("none", "n", "ne", "e", "se", "s", "sw", "w", "nw")
GROUNDS = ("none", "clay", "sand", "rock")
PLAN_DECIDES = ("nothing", "charging", "charging and wanted hours")  # as in advice.py
WEATHER_WORDS = ("greensboro-tmy3", "miami-tmy2", "sand-point-tmy3")


class Table(BaseModel):
    """Strict: nothing is coerced and no key is passed over."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


class SiteTable(Table):
    """What the installation is called."""

    name: Annotated[str, Text(80, 1)]
    currency: Annotated[str, Text(8)] = ""
    notes: Annotated[str, Text(2000)] = ""


class PlaceTable(Table):
    """Where the freezer stands; all its rejected heat lands there."""

    length_m: Annotated[float, Quantity("m", 0.8, 50)]
    width_m: Annotated[float, Quantity("m", 0.8, 50)]
    height_m: Annotated[float, Quantity("m", 1.5, 8)]
    vented: Annotated[str, Word(("closed", "door-open", "window-open"))]
    is_cooled_room: Flag = False
    ua_w_k: Annotated[Given | None, Gradeable("W/K", 0.1, 5000)] = None
    # A cellar: what soil lies behind its walls, how deep its floor, how much of its walls it covers
    ground: Annotated[str, Word(GROUNDS)] = "none"
    floor_depth_m: Annotated[float, Quantity("m", 0.3, 8)] = 2.0
    ground_wall_m2: Annotated[float | None, Quantity("m2", 0, 1000)] = None  # None: all four
    ground_ua_w_k: Annotated[Given | None, Gradeable("W/K", 0.1, 5000)] = None
    ground_c: Annotated[float | None, Quantity("°C", -10, 30)] = None  # measured at its walls
    start_c: Annotated[float | None, Quantity("°C", -20, 55)] = None


class FreezerTable(Table):
    """The chest freezer, from its label."""

    cabinet_litres: Annotated[float, Quantity("L", 20, 2000)]
    label_input_w: Annotated[float, Quantity("W", 20, 1500)]
    label_kwh_year: Annotated[float, Quantity("kWh/year", 30, 3000)]
    freezing_capacity_kg_24h: Annotated[float | None, Quantity("kg/24 h", 0.5, 200)] = None
    mains_v: Annotated[float, Quantity("V", 90, 260)] = 230.0  # as its label says
    climate_class: Annotated[str, Word(CLIMATE_CLASSES)]
    refrigerant: Annotated[str, Word(("R600a", "R134a"))]
    foam_mm: Annotated[float | None, Quantity("mm", 10, 200)] = None
    inner_length_m: Annotated[float | None, Quantity("m", 0.2, 3)] = None
    inner_width_m: Annotated[float | None, Quantity("m", 0.2, 2)] = None
    inner_depth_m: Annotated[float | None, Quantity("m", 0.2, 2)] = None
    cabinet_ua_w_k: Annotated[Given | None, Gradeable("W/K", 0.05, 20)] = None
    capacity_w: Annotated[Given | None, Gradeable("W", 20, 3000)] = None
    input_factor: Annotated[Given | None, Gradeable("", 0.3, 3)] = None  # electric input over label
    condenser_ua_w_k: Annotated[Given | None, Gradeable("W/K", 1, 500)] = None
    evaporator_wall_w_m2_k: Annotated[Given | None, Gradeable("W/(m2 K)", 5, 2000)] = None
    evaporator_from_m: Annotated[float | None, Quantity("m", 0, 2)] = None
    evaporator_to_m: Annotated[float | None, Quantity("m", 0.05, 2)] = None
    standby_w: Annotated[float, Quantity("W", 0, 50)] = 0.0
    # A pull-down the owner has timed says more about the capacity than the label.
    pull_down_h: Annotated[float | None, Quantity("h", 0.1, 500)] = None
    pull_down_from_c: Annotated[float | None, Quantity("°C", 1, 40)] = None
    pull_down_to_c: Annotated[float | None, Quantity("°C", 0, 39)] = None
    pull_down_place_c: Annotated[float | None, Quantity("°C", -10, 45)] = None
    # Ten coefficients each for capacity and input [W], suction and discharge dew in °C, and where
    # they hold; in place of the label.
    capacity_coefficients: Annotated[tuple[float, ...] | None, Numbers(10, 1e6)] = None
    input_coefficients: Annotated[tuple[float, ...] | None, Numbers(10, 1e6)] = None
    evaporating_c: Annotated[tuple[float, ...] | None, Numbers(2, 80)] = None
    condensing_c: Annotated[tuple[float, ...] | None, Numbers(2, 80)] = None


class StoreTable(Table):
    """The water and what hangs in it; heights are above the floor of the store."""

    water_litres: Annotated[float, Quantity("L", 5, 2000)]
    covered: Flag
    ice_bank: Flag = False
    ice_limit_kg: Annotated[float, Quantity("kg", 0.05, 500)] = 0.3
    probe_low_m: Annotated[float, Quantity("m", 0, 2)] = 0.05
    probe_high_m: Annotated[float | None, Quantity("m", 0, 2)] = None
    probe_high_wall_mm: Annotated[float, Quantity("mm", 0, 500)] = 15.0
    draw_m: Annotated[float, Quantity("m", 0, 2)] = 0.08
    return_m: Annotated[float | None, Quantity("m", 0, 2)] = None
    start_c: Annotated[float | None, Quantity("°C", 0, 40)] = None
    start_ice_kg: Annotated[float, Quantity("kg", 0, 500)] = 0.0
    supercooling_k: Annotated[float, Quantity("K", 0, 8)] = 0.0


class LoopTable(Table):
    """Pump and tube; the length is out and back together."""

    tube_bore_mm: Annotated[float, Quantity("mm", 2, 50)]
    tube_length_m: Annotated[float, Quantity("m", 0.5, 100)]
    tube_wall_mm: Annotated[float, Quantity("mm", 0.3, 10)] = 1.5
    share_at_freezer_percent: Annotated[float, Quantity("%", 0, 100)] = 50.0
    insulation_mm: Annotated[float, Quantity("mm", 0, 100)]
    insulation_w_m_k: Annotated[float, Quantity("W/(m K)", 0.015, 0.3)] = 0.036
    elbows: Annotated[int, Whole(0, 60)] = 6
    valves: Annotated[int, Whole(0, 10)] = 1
    lift_m: Annotated[float, Quantity("m", 0, 10)]
    pump_head_m: Annotated[Given, Gradeable("m", 0.2, 60)]
    pump_free_l_min: Annotated[Given, Gradeable("L/min", 0.2, 60)]
    pump_w: Annotated[float, Quantity("W", 0.5, 300)]
    pump_in_water: Flag
    primed: Flag = True


class CoilTable(Table):
    """The water-to-air coil and its fans; a row of a flat-tube core is one core."""

    kind: Annotated[str, Word(("finned-tube", "flat-tube"))] = "finned-tube"
    face_width_m: Annotated[float, Quantity("m", 0.05, 2)]
    face_height_m: Annotated[float, Quantity("m", 0.05, 2)]
    rows: Annotated[int, Whole(1, 12)]
    tube_bore_mm: Annotated[float, Quantity("mm", 2, 50)] = 8.0
    circuits: Annotated[int, Whole(1, 20)] = 1
    fin_gap_mm: Annotated[float, Quantity("mm", 0.5, 20)] = 1.8
    arrangement: Annotated[str, Word(("cross", "counter"))] = "cross"
    fans: Annotated[int, Whole(1, 12)]
    fan_m3_h: Annotated[float, Quantity("m3/h", 10, 10000)]
    fan_pa: Annotated[float | None, Quantity("Pa", 2, 2000)] = None  # of one against no air, label
    fan_w: Annotated[float, Quantity("W", 0.1, 500)]
    fan_db_a: Annotated[float | None, Quantity("", 0, 90)] = None  # of one fan, label, at 1 m
    listener_m: Annotated[float, Quantity("m", 0.2, 20)] = 2.0
    fans_in_series: Flag = False  # one behind the other instead of side by side
    air_m3_h: Annotated[Given | None, Gradeable("m3/h", 10, 5000)] = None
    ua_w_k: Annotated[Given | None, Gradeable("W/K", 1, 2000)] = None
    rated_l_min: Annotated[float, Quantity("L/min", 0.1, 10)] = 1.0


class RoomTable(Table):
    """The cooled room by tape measure, and what warms it."""

    length_m: Annotated[float, Quantity("m", 1, 50)]
    width_m: Annotated[float, Quantity("m", 1, 50)]
    height_m: Annotated[float, Quantity("m", 1.5, 8)]
    outside_wall_m2: Annotated[float, Quantity("m2", 0, 500)]
    outside_roof: Flag
    # Inside walls, floor and ceiling towards the rest of the house, and how warm that is.
    inside_m2: Annotated[float, Quantity("m2", 0, 500)] = 0.0
    house_c: Annotated[Given | None, Gradeable("°C", 5, 45)] = None
    construction: Annotated[str, Word(("light", "medium", "heavy"))]
    tightness: Annotated[str, Word(("tight", "average", "leaky"))]
    window_side: Annotated[str, Word(SIDES)]
    window_area_m2: Annotated[float, Quantity("m2", 0, 100)] = 0.0
    window_panes: Annotated[int, Whole(1, 3)] = 2
    window_shade: Annotated[str, Word(("none", "inside", "outside"))] = "none"
    people: Annotated[float, Quantity("", 0, 30)]
    people_hours: Annotated[tuple[Window, ...], Windows()]
    people_activity: Annotated[str, Word(("seated", "office", "asleep"))] = "seated"
    equipment_w: Annotated[float, Quantity("W", 0, 10000)]
    equipment_hours: Annotated[tuple[Window, ...], Windows()]
    idle_w: Annotated[float, Quantity("W", 0, 5000)] = 0.0
    sun_share_percent: Annotated[Given | None, Gradeable("%", 0, 100)] = None
    envelope_ua_w_k: Annotated[Given | None, Gradeable("W/K", 0, 2000)] = None
    inside_ua_w_k: Annotated[Given | None, Gradeable("W/K", 0, 2000)] = None
    heat_capacity_kj_k: Annotated[Given | None, Gradeable("kJ/K", 100, 1e6)] = None
    infiltration_per_h: Annotated[Given | None, Gradeable("1/h", 0, 20)] = None
    start_c: Annotated[float | None, Quantity("°C", 5, 45)] = None


class TrayTable(Table):
    """The condensate tray under the coil."""

    capacity_litres: Annotated[float, Quantity("L", 0.1, 100)]
    float_opens_litres: Annotated[float, Quantity("L", 0.05, 100)]
    open_drain: Flag = False


class BatteryTable(Table):
    """What carries pump, fans and board through an outage."""

    kind: Annotated[str, Word(("none", "lifepo4", "lead_acid", "power_bank"))]
    usable_wh: Annotated[float, Quantity("Wh", 0, 1e5)] = 0.0
    cell_mah: Annotated[float | None, Quantity("", 1000, 1e6)] = None  # as a power bank prints it
    least_load_w: Annotated[float, Quantity("W", 0, 50)] = 0.0  # switches off below it
    drops_on_changeover: Flag = False
    solar_w: Annotated[float, Quantity("W", 0, 5000)] = 0.0  # of panels, by their label
    nominal_v: Annotated[float, Quantity("V", 4, 60)] = 12.8
    charger_w: Annotated[float, Quantity("W", 0, 2000)] = 0.0
    board_w: Annotated[float, Quantity("W", 0, 50)] = 1.0


class SensorsTable(Table):
    """Which sensors there are. A wire that has come off is not an absent sensor."""

    store_low: SensorWord
    store_high: SensorWord
    room: SensorWord
    coil_in: SensorWord
    coil_air: SensorWord
    tray: SensorWord
    level: SensorWord
    floor: SensorWord
    flow: SensorWord
    fan_tach: SensorWord
    mains: SensorWord
    battery: SensorWord
    humidity: SensorWord
    relay_feedback: SensorWord = "absent"
    ice_point_checked: Annotated[tuple[str, ...], Words(PROBES)] = ()


class ProtectionTable(Table):
    """Hardware no software can stand in for, declared by the owner."""

    independent_freeze_cutout: Flag
    siphon_break: Flag
    residual_current_device: Flag


class CommissionedTable(Table):
    """When what the proof takes for granted was last tested; `springhouse commission` fills it."""

    ice_point_on: Annotated[str | None, Day()] = None
    residual_current_on: Annotated[str | None, Day()] = None
    siphon_on: Annotated[str | None, Day()] = None
    cut_out_on: Annotated[str | None, Day()] = None


class TariffTable(Table):
    """What a kilowatt-hour costs: one price, two, or an hourly file; and a day by itself."""

    price_per_kwh: Annotated[float | None, Quantity("", 0, 1e6)] = None
    prices_csv: Annotated[str | None, Text(400, 1)] = None
    standing_per_day: Annotated[float, Quantity("", 0, 1e6)] = 0.0
    cheap_price_per_kwh: Annotated[float | None, Quantity("", 0, 1e6)] = None
    cheap_hours: Annotated[tuple[Window, ...], Windows()] = ()


class WeatherTable(Table):
    """A typical year by a word or a file, an hourly file of one's own, or a design day."""

    source: Annotated[str | None, Word(WEATHER_WORDS)] = None
    csv: Annotated[str | None, Text(400, 1)] = None
    file: Annotated[str | None, Text(400, 1)] = None  # TMY3, TMY2 (.tm2), PVGIS
    # Of several years of real hours: "hottest" or its number. Beside an hourly series without
    # humidity: a typical year of the same place.
    year: Annotated[int | None, RealYear()] = None
    moisture_file: Annotated[str | None, Text(400, 1)] = None
    design_highest_c: Annotated[float | None, Quantity("°C", -10, 55)] = None
    design_range_k: Annotated[float, Quantity("K", 0, 30)] = 10.0
    design_dew_point_c: Annotated[float | None, Quantity("°C", -30, 35)] = None
    design_month: Annotated[int, Whole(1, 12)] = 7
    design_day: Annotated[int, Whole(1, 31)] = 21
    latitude_degrees: Annotated[float | None, Quantity("°", -66, 66)] = None
    longitude_degrees: Annotated[float | None, Quantity("°", -180, 180)] = None
    altitude_m: Annotated[float, Quantity("m", -400, 5000)] = 0.0
    utc_offset_h: Annotated[float | None, Quantity("h", -12, 14)] = None
    clock_ahead_min: Annotated[float, Quantity("min", 0, 180)] = 60.0  # summer time


class ScheduleTable(Table):
    """When to charge, when the compressor keeps quiet, when the room matters."""

    charging: Annotated[tuple[Window, ...], Windows()] = ()
    no_start: Annotated[tuple[Window, ...], Windows()] = ()
    wanted: Annotated[tuple[Window, ...], Windows()] = ()
    full_by: Annotated[int | None, TimeOfDay()] = None
    plan_decides: Annotated[str, Word(PLAN_DECIDES)] = PLAN_DECIDES[0]


class PromisesTable(Table):
    """What the owner wants kept; a promise left out is not made."""

    room_below_c: Annotated[float, Quantity("°C", 16, 45)]
    room_share_percent: Annotated[float, Quantity("%", 1, 100)] = 100.0
    ice_at_most_kg: Annotated[float | None, Quantity("kg", 0, 500)] = None
    ice_gone_daily: Flag = True
    spill_at_most_litres: Annotated[float, Quantity("L", 0, 100)] = 0.0
    dry_run_at_most_s: Annotated[float, Quantity("s", 1, 600)] = 12.0
    starts_per_hour_at_most: Annotated[int, Whole(1, 4)] = 4
    off_gap_at_least_s: Annotated[float, Quantity("s", 300, 3600)] = 600.0
    cost_per_day_at_most: Annotated[float | None, Quantity("", 0, 1e6)] = None
    plausible_share_percent: Annotated[float, Quantity("%", 50, 100)] = 95.0


class WorthTable(Table):
    """What things cost besides electricity; keys left out are our own neutral defaults."""

    parts_low: Annotated[float | None, Quantity("", 0, 1e6)] = None
    parts_mid: Annotated[float | None, Quantity("", 0, 1e6)] = None
    parts_high: Annotated[float | None, Quantity("", 0, 1e6)] = None
    lasts_years: Annotated[float | None, Quantity("", 1, 50)] = None
    cooler_price: Annotated[float | None, Quantity("", 0, 1e6)] = None
    cooler_w_per_w: Annotated[float | None, Quantity("", 0.5, 15)] = None  # heat moved over input
    night_air_per_h: Annotated[float | None, Quantity("1/h", 0, 20)] = None  # windows open
    night_fan_w: Annotated[float | None, Quantity("W", 0, 500)] = None  # 0: windows alone
    night_hours: Annotated[tuple[Window, ...], Windows()] = ()

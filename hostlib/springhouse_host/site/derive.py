"""What follows from labels and tape measure, each number with its source, range and grade.

A person can know litres, watts and metres; the plant model needs conductances. Each function here
bridges one gap. Where the spread is marked "common practice" there is no source to quote and the
range is meant to be wide enough; a measured or fitted value in the site file replaces it.
"""

import math
from collections.abc import Mapping, Sequence

from springhouse_sim.plant.envelope import box_w_k

from . import capacity
from .capacity import EFFICIENCY
from .coil_sides import overall_w_k
from .derive_room import PARTITION_W_M2_K, room
from .fan_air import free_air_share, one_fan_shares
from .ground import Basement
from .known import Known, derived, put, ratios, stated
from .pull_down import measured_capacity
from .read import SiteFile
from .tables import CoilTable

EFFICIENCY_SPREAD = ratios(*EFFICIENCY)
LABEL_TEST_K = 25.0 - -18.0  # ambient and storage temperature of the energy label's test
LABEL_COP = (1.0, 1.4, 1.8)  # seasonal, at the label's test; common practice
AIR_WH_M3_K = 0.34  # 1.2 kg/m3 at 1006 J/(kg K)

# Interior of a 140 L chest, m; other sizes are taken in proportion. Common practice.
CHEST_M = (0.45, 0.40, 0.78)

LEAST_PLACE_W_K = 0.1  # as little as the plant's place accepts
VENT_PER_H = {"closed": 0.5, "door-open": 4.0, "window-open": 8.0}  # common practice

FREE_AIR_LEFT = (0.571, 0.667, 0.788)  # air one axial fan still moves through a coil
AIR_SPREAD = ratios(0.40, 0.50, 0.65)  # the same of two side by side: what a label's air may mean
# Overall transfer units of a core 26 mm deep of flat tubes 10 mm apart, louvred fins 1.3 mm apart:
# 2.2 by the j-factor of Chang and Wang 1997 (from memory) with a laminar water side; less where it
# is fouled or air passes beside it.
CORE_NTU = (1.2, 2.0, 2.8)
FACE_M_S = 0.6  # face velocity at which they hold
AIR_POWER = 0.6  # of the conductance over air flow, as in the plant's coil

CELL_V = 3.7  # the cells whose mAh a power bank prints
BANK_SHARE = (0.55, 0.65, 0.75)  # of the cells' energy that leaves a power bank; common practice
FOAM_AGED = 1.5  # conductance of foam whose cells have filled with air, edges included, over fresh


def inner_box_m(
    cabinet_litres: float, stated_m: Sequence[float | None]
) -> tuple[float, float, float]:
    """Return length, width and depth of the inside [m].

    Missing ones keep the proportions of a usual chest and make up the label's volume.
    """
    missing = [i for i in range(3) if stated_m[i] is None]
    known = math.prod(value for value in stated_m if value is not None)
    usual = math.prod(CHEST_M[i] for i in missing)
    scale = (cabinet_litres / 1000.0 / (known * usual)) ** (1.0 / len(missing)) if missing else 1.0
    box = [CHEST_M[i] * scale if value is None else value for i, value in enumerate(stated_m)]
    return box[0], box[1], box[2]


def derive(file: SiteFile) -> dict[str, Known]:
    """Return every number of the plant that the file states loosely or not at all."""
    known: dict[str, Known] = {}
    for part in (_box, _freezer, _place, room, _coil, _pump, _battery):
        part(file, known)
    return known


def _box(file: SiteFile, known: dict[str, Known]) -> None:
    freezer = file.freezer
    tape_m = [freezer.inner_length_m, freezer.inner_width_m, freezer.inner_depth_m]
    box = inner_box_m(freezer.cabinet_litres, tape_m)
    names = ("inner_length_m", "inner_width_m", "inner_depth_m")
    for name, given_m, size_m in zip(names, tape_m, box, strict=True):
        guess = derived(
            size_m, "m", "label litres in the proportions of a usual chest; common practice"
        )
        tape = Known(size_m, size_m, size_m, "m", "measured", "tape measure, in the site file")
        known[f"freezer.{name}"] = guess if given_m is None else tape


def _cabinet(file: SiteFile, known: Mapping[str, Known]) -> Known:
    freezer = file.freezer
    if freezer.foam_mm is not None:
        length, width, depth = (
            known[f"freezer.inner_{side}_m"].mid for side in ("length", "width", "depth")
        )
        return derived(
            box_w_k(length, width, depth, freezer.foam_mm / 1000.0),
            "W/K",
            "foam of 0.022 W/(m K) between films of 8 W/(m2 K), mean of inner and outer area",
            better=-1,
            spread=(1.0, FOAM_AGED),
        )
    return derived(
        freezer.label_kwh_year * 1000.0 / 8760.0 * LABEL_COP[1] / LABEL_TEST_K,
        "W/K",
        "label kWh/year as mean power times a COP of 1.0 to 1.8 over 25 − (−18) K",
        better=-1,
        spread=ratios(*LABEL_COP),
    )


def _capacity(file: SiteFile, known: Mapping[str, Known]) -> Known:
    freezer = file.freezer
    if freezer.capacity_w is not None:
        return stated(freezer.capacity_w, "W", 1, EFFICIENCY_SPREAD)
    said = "label input at −23.3/54.4 °C times the ideal cycle's COP times 0.4 to 0.6"
    by_label_w = capacity.at_its_word_w(freezer)
    if freezer.freezing_capacity_kg_24h is not None:
        said = "kilograms frozen in 24 h and input, both of the label"
        by_label_w = capacity.by_label_w(freezer, known["freezer.cabinet_ua_w_k"].mid)
    label = Known(*by_label_w, "W", "label", said, 1)
    if freezer.pull_down_h is None:
        return label

    return measured_capacity(file, {**known, "freezer.capacity_w": label})


def _freezer(file: SiteFile, known: dict[str, Known]) -> None:
    freezer = file.freezer
    put(known, "freezer.cabinet_ua_w_k", freezer.cabinet_ua_w_k, lambda: _cabinet(file, known))
    given = freezer.capacity_w
    told = capacity.on_the_label(freezer) and freezer.freezing_capacity_kg_24h is not None
    capacity_w = capacity.at_its_word_w(freezer)[1] if given is None else given.value
    input_w = freezer.label_input_w
    if told:
        capacity_w = capacity.by_label_w(freezer, known["freezer.cabinet_ua_w_k"].mid)[1]
        input_w *= capacity.input_share(freezer, capacity_w, EFFICIENCY[1])
    put(
        known,
        "freezer.condenser_ua_w_k",
        freezer.condenser_ua_w_k,
        lambda: derived(
            (capacity_w + input_w) / 15.0,
            "W/K",
            "heat rejected at the rating over 12 to 20 K above the place; common practice",
            better=1,
            spread=(15.0 / 20.0, 15.0 / 12.0),
        ),
    )
    put(
        known,
        "freezer.evaporator_wall_w_m2_k",
        freezer.evaporator_wall_w_m2_k,
        lambda: derived(
            70.0,
            "W/(m2 K)",
            "tubes behind a sheet liner, per area of cooled wall; common practice",
            better=1,
            spread=ratios(40.0, 70.0, 120.0),
        ),
    )
    if freezer.input_factor is not None:
        known["freezer.input_factor"] = stated(freezer.input_factor, "", -1, (1.0, 1.0))
    # Last, for a measured pull-down needs all of the above.
    known["freezer.capacity_w"] = _capacity(file, known)
    if told and freezer.input_factor is None:
        found = known["freezer.capacity_w"]
        low, mid, high = (
            capacity.input_share(freezer, w, EFFICIENCY[1])
            for w in (found.low, found.mid, found.high)
        )
        said = "what a machine of that capacity draws at an efficiency of 0.5, at most the label's"
        known["freezer.input_factor"] = Known(low, mid, high, "", "label", said, 1)


def _place(file: SiteFile, known: dict[str, Known]) -> None:
    place = file.place
    if place.is_cooled_room:
        why = "the place is the cooled room, whose envelope counts once"
        least = LEAST_PLACE_W_K
        known["place.ua_w_k"] = Known(least, least, least, "W/K", "measured", why)
        return
    floor_m2 = place.length_m * place.width_m
    walls_m2 = 2.0 * (place.length_m + place.width_m) * place.height_m + floor_m2
    air_w_k = AIR_WH_M3_K * floor_m2 * place.height_m * VENT_PER_H[place.vented]
    cellar = basement(file)
    if cellar is not None:
        walls_m2 -= cellar.wall_m2
        put(
            known,
            "place.ground_ua_w_k",
            place.ground_ua_w_k,
            lambda: derived(
                cellar.steady_w_k(),
                "W/K",
                "floor and walls against ground by EN ISO 13370, from memory; soil ±40 %",
                better=1,
                spread=(0.7, 1.4),
            ),
        )
    put(
        known,
        "place.ua_w_k",
        place.ua_w_k,
        lambda: derived(
            PARTITION_W_M2_K * walls_m2 + air_w_k,
            "W/K",
            "walls and ceiling at 1.7 W/(m2 K) to surroundings as warm as outdoors, plus venting",
            better=1,
            spread=(0.6, 1.5),
        ),
    )


def basement(file: SiteFile) -> Basement | None:
    """Return the part of the place that lies in the ground, None where nothing does."""
    place = file.place
    if place.ground == "none" or place.is_cooled_room:
        return None
    deep_m = min(place.height_m, place.floor_depth_m)
    most_m2 = 2.0 * (place.length_m + place.width_m) * deep_m
    wall_m2 = most_m2 if place.ground_wall_m2 is None else min(most_m2, place.ground_wall_m2)
    return Basement(place.length_m * place.width_m, wall_m2, deep_m, place.ground)


def _coil(file: SiteFile, known: dict[str, Known]) -> None:
    coil = file.coil
    free_m3_h = coil.fan_m3_h * (1 if coil.fans_in_series else coil.fans)
    ones, said = FREE_AIR_LEFT, "one fan keeps 0.57 to 0.79 of its free air; common practice"
    if coil.fan_pa is not None:
        ones = one_fan_shares(coil, coil.fan_pa)
        said = "straight line between the label's free air and pressure; trade practice"
    shares = [free_air_share(one, coil.fans, coil.fans_in_series) for one in ones]
    put(
        known,
        "coil.air_m3_h",
        coil.air_m3_h,
        lambda: derived(
            shares[1] * free_m3_h,
            "m3/h",
            f"{said}; fans share the fins",
            better=1,
            spread=ratios(*shares),
        ),
    )
    put(known, "coil.ua_w_k", coil.ua_w_k, lambda: _coil_ua(coil, known["coil.air_m3_h"].mid))


def _coil_ua(coil: CoilTable, air_m3_h: float) -> Known:
    if coil.kind == "finned-tube":
        low, mid, high = overall_w_k(coil, air_m3_h)
        said = (
            "plain fins by Gray and Webb 1986, laminar or turbulent water in the tubes, in series"
        )
        return Known(low, mid, high, "W/K", "label", said, 1)
    face_m3_h = 3600.0 * coil.face_width_m * coil.face_height_m * FACE_M_S
    core_w_k = CORE_NTU[1] * AIR_WH_M3_K * face_m3_h * (air_m3_h / face_m3_h) ** AIR_POWER
    said = "1.2 to 2.8 transfer units a core at 0.6 m/s over the face; louvred-fin j-factor"
    spread = ratios(*CORE_NTU)
    return derived(coil.rows * core_w_k, "W/K", said, better=1, spread=spread)


def _battery(file: SiteFile, known: dict[str, Known]) -> None:
    if file.battery.cell_mah is not None:
        known["battery.usable_wh"] = derived(
            file.battery.cell_mah / 1000.0 * CELL_V * BANK_SHARE[1],
            "Wh",
            "printed mAh are those of 3.7 V cells; 0.55 to 0.75 of that energy reaches the load",
            better=1,
            spread=ratios(*BANK_SHARE),
        )


def _pump(file: SiteFile, known: dict[str, Known]) -> None:
    # Small pumps rarely reach their label: 0.7 to 1.0 of what the owner copies from it.
    known["loop.pump_head_m"] = stated(file.loop.pump_head_m, "m", 1, (0.7, 1.0))
    known["loop.pump_free_l_min"] = stated(file.loop.pump_free_l_min, "L/min", 1, (0.7, 1.0))

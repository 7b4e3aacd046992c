"""Pump and tube of a site, apart from the other parts: the settings need their flow."""

import math
from collections.abc import Mapping

from springhouse_sim.plant.loop import Loop

from . import coil_sides
from .known import Known, Variant
from .read import SiteFile

ELBOW_K, VALVE_K, ENTRANCE_K, EXIT_K = 1.2, 5.0, 0.5, 1.0  # handbook tables; valve: swing check
PRIME_AIR_SHARE = 1.2  # air to push out after a fill, of the tube's own volume
IN_WATER_SHARE = (0.25, 0.85)  # of the pump's input that warms the water: dry motor, in the water


def loop(file: SiteFile, known: Mapping[str, Known], variant: Variant) -> Loop:
    """Return pump, tube and fittings.

    Raises:
        ValueError: when the part refuses what the labels lead to.
    """
    table, coil = file.loop, file.coil
    bore_m = table.tube_bore_mm / 1000.0
    tube_ml = math.pi / 4.0 * bore_m**2 * table.tube_length_m * 1e6
    return Loop(
        tube_bore_mm=table.tube_bore_mm,
        tube_wall_mm=table.tube_wall_mm,
        tube_length_m=table.tube_length_m,
        tube_in_place_fraction=table.share_at_freezer_percent / 100.0,
        insulation_mm=table.insulation_mm,
        insulation_w_m_k=table.insulation_w_m_k,
        fittings_k=ENTRANCE_K + EXIT_K + ELBOW_K * table.elbows + VALVE_K * table.valves,
        static_lift_m=table.lift_m,
        pump_head_m=known["loop.pump_head_m"].pick(variant),
        pump_free_l_min=known["loop.pump_free_l_min"].pick(variant),
        pump_power_w=table.pump_w,
        pump_to_water_fraction=IN_WATER_SHARE[table.pump_in_water],
        coil_bore_mm=coil.tube_bore_mm,
        coil_length_m=max(0.1, coil_sides.tube_m(coil)),
        coil_circuits=coil_sides.circuits(coil),
        prime_air_ml=min(5000.0, PRIME_AIR_SHARE * tube_ml),
        primed=table.primed,
        check_valve=table.valves > 0,
    )

"""The water loop: pump, tube to the coil and back, fittings, priming.

The operating point (pump curve against tube, fittings and coil) is solved at construction over
water temperature and duty; the running plant interpolates.
"""

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from . import falling, hydraulics, lookup, param, state, water
from .check import within

ROOT_L_MIN = 1e-6  # how exactly an operating point is found


@dataclass(frozen=True, kw_only=True)
class Loop:
    """Pump, tubes and fittings.

    ``tube_length_m`` is out and back together, each run insulated alike.  The pump curve is the
    parabola through ``pump_head_m`` at no flow and ``pump_free_l_min`` at no head, scaled with
    duty by the affinity laws.  ``prime_air_ml`` is the air the pump must push out after a fill;
    while any is left the siphon is open and ``static_lift_m`` counts.

    Raises:
        ValueError: on a parameter outside its range.
    """

    tube_bore_mm: float
    tube_wall_mm: float
    tube_length_m: float
    tube_in_place_fraction: float
    insulation_mm: float
    insulation_w_m_k: float
    fittings_k: float
    static_lift_m: float
    pump_head_m: float
    pump_free_l_min: float
    pump_power_w: float
    pump_to_water_fraction: float
    coil_bore_mm: float
    coil_length_m: float
    prime_air_ml: float
    coil_circuits: int = 1
    roughness_um: float = 1.5
    tube_w_m_k: float = 0.25
    outer_film_w_m2_k: float = 9.0
    flow_lag_s: float = 3.0
    primed: bool = False
    check_valve: bool = True  # without one the raised part empties whenever the pump stops

    def __post_init__(self) -> None:
        within("Loop", "tube_bore_mm", self.tube_bore_mm, 2.0, 50.0, "mm")
        within("Loop", "tube_wall_mm", self.tube_wall_mm, 0.3, 10.0, "mm")
        within("Loop", "tube_length_m", self.tube_length_m, 0.5, 100.0, "m")
        within("Loop", "tube_in_place_fraction", self.tube_in_place_fraction, 0.0, 1.0)
        within("Loop", "insulation_mm", self.insulation_mm, 0.0, 100.0, "mm")
        within("Loop", "insulation_w_m_k", self.insulation_w_m_k, 0.015, 0.3, "W/(m K)")
        within("Loop", "fittings_k", self.fittings_k, 0.0, 200.0)
        within("Loop", "static_lift_m", self.static_lift_m, 0.0, 10.0, "m")
        within("Loop", "pump_head_m", self.pump_head_m, 0.2, 60.0, "m")
        within("Loop", "pump_free_l_min", self.pump_free_l_min, 0.2, 60.0, "L/min")
        within("Loop", "pump_power_w", self.pump_power_w, 0.5, 300.0, "W")
        within("Loop", "pump_to_water_fraction", self.pump_to_water_fraction, 0.0, 1.0)
        within("Loop", "coil_bore_mm", self.coil_bore_mm, 2.0, 50.0, "mm")
        within("Loop", "coil_length_m", self.coil_length_m, 0.1, 100.0, "m")
        within("Loop", "prime_air_ml", self.prime_air_ml, 0.0, 5000.0, "mL")
        within("Loop", "coil_circuits", self.coil_circuits, 1, 20)
        within("Loop", "roughness_um", self.roughness_um, 0.0, 200.0, "um")
        within("Loop", "tube_w_m_k", self.tube_w_m_k, 0.1, 400.0, "W/(m K)")
        within("Loop", "outer_film_w_m2_k", self.outer_film_w_m2_k, 2.0, 50.0, "W/(m2 K)")
        within("Loop", "flow_lag_s", self.flow_lag_s, 3.0, 60.0, "s")

    def loss_m(self, flow_l_min: Any, t_c: Any) -> Any:
        """Return the friction head of tube, fittings and coil [m], element by element."""
        bore_m = self.tube_bore_mm / 1000.0
        rough_m = self.roughness_um * 1e-6
        drop = hydraulics.tube_drop_pa(flow_l_min, bore_m, self.tube_length_m, rough_m, t_c)
        drop += self.fittings_k * hydraulics.velocity_head_pa(flow_l_min, bore_m, t_c)
        drop += hydraulics.tube_drop_pa(
            flow_l_min / self.coil_circuits,
            self.coil_bore_mm / 1000.0,
            self.coil_length_m / self.coil_circuits,
            rough_m,
            t_c,
        )
        drop += self.coil_ends_pa(flow_l_min, t_c)
        return drop / (water.density_kg_m3(t_c) * hydraulics.GRAVITY_M_S2)

    def coil_ends_pa(self, flow_l_min: Any, t_c: Any) -> Any:
        """Return the drop where the bore changes into and out of the coil [Pa]."""
        tube_m, coil_m = self.tube_bore_mm / 1000.0, self.coil_bore_mm / 1000.0
        circuit_l_min = flow_l_min / self.coil_circuits
        tube_pa = hydraulics.velocity_head_pa(flow_l_min, tube_m, t_c)
        coil_pa = hydraulics.velocity_head_pa(circuit_l_min, coil_m, t_c)
        enters = hydraulics.contraction_k(tube_m, coil_m) * coil_pa
        enters += hydraulics.enlargement_k(tube_m, coil_m) * tube_pa
        leaves = hydraulics.contraction_k(coil_m, tube_m) * tube_pa
        leaves += hydraulics.enlargement_k(coil_m, tube_m) * coil_pa
        return enters + leaves

    def operating_l_min(self, t_c: Any, duty: Any) -> Any:
        """Return the primed steady flow [L/min] where pump curve and system curve cross.

        Takes numbers, or arrays of temperatures and duties.
        """

        def surplus_m(flow_l_min: Any) -> Any:
            head = hydraulics.pump_head_m(flow_l_min, self.pump_head_m, self.pump_free_l_min, duty)
            return head - self.loss_m(flow_l_min, t_c)

        return falling.root(surplus_m, np.maximum(0.0, duty) * self.pump_free_l_min, ROOT_L_MIN)

    def tube_ua_w_k(self) -> float:
        """Return the heat gain of both runs together [W/K]."""
        bore = self.tube_bore_mm / 2000.0
        per_m = hydraulics.tube_gain_w_m_k(
            bore,
            bore + self.tube_wall_mm / 1000.0,
            self.tube_w_m_k,
            self.insulation_mm / 1000.0,
            self.insulation_w_m_k,
            self.outer_film_w_m2_k,
        )
        return per_m * self.tube_length_m

    def put(self, p: NDArray[np.float64]) -> None:
        """Write the slots of this part into the parameter record ``p``."""
        table = flow_table(self)
        p[param.FLOW_L_MIN : param.FLOW_L_MIN + table.size] = table.ravel()
        run_ua = 0.5 * self.tube_ua_w_k()
        p[param.TUBE_PLACE_UA_W_K] = run_ua * self.tube_in_place_fraction
        p[param.TUBE_ROOM_UA_W_K] = run_ua * (1.0 - self.tube_in_place_fraction)
        area_m2 = math.pi / 4.0 * (self.tube_bore_mm / 1000.0) ** 2
        water_kg = 1000.0 * area_m2 * self.tube_length_m / 2.0
        # Pump body, fittings and tube wall carry heat too; and a run is never renewed in less
        # than three seconds, so that an explicit step of 5 s stays stable.
        p[param.TUBE_KG] = max(1.5 * water_kg, 3.0 * float(table.max()) / 60.0)
        p[param.FLOW_LAG_S] = self.flow_lag_s
        p[param.PRIME_AIR_L] = self.prime_air_ml / 1000.0
        p[param.STATIC_LIFT_M] = self.static_lift_m
        p[param.CHECK_VALVE] = float(self.check_valve)
        p[param.PUMP_HEAD_M] = self.pump_head_m
        p[param.PUMP_POWER_W] = self.pump_power_w
        p[param.PUMP_TO_WATER_FRACTION] = self.pump_to_water_fraction

    def start(self, x: NDArray[np.float64]) -> None:
        """Write the initial state of this part into ``x``: still, as warm as the place."""
        x[state.FLOW_L_MIN] = 0.0
        x[state.LOOP_AIR] = 0.0 if self.primed or self.prime_air_ml == 0.0 else 1.0
        x[state.SUPPLY_C] = x[state.PLACE_C]
        x[state.RETURN_C] = x[state.PLACE_C]


def steady_l_min(p: NDArray[np.float64], water_c: float, duty: float) -> float:
    """Return the primed steady flow [L/min] from the table."""
    return lookup.bilinear(
        p,
        param.FLOW_L_MIN,
        param.FLOW_WATER_FROM_C,
        param.FLOW_WATER_STEP_C,
        param.FLOW_WATER_POINTS,
        0.0,
        param.FLOW_DUTY_STEP,
        param.FLOW_DUTY_POINTS,
        water_c,
        duty,
    )


def lift_factor(p: NDArray[np.float64], duty: float, air: float) -> float:
    """Return the flow with an open siphon over that without [-].

    While air is left the pump also lifts ``STATIC_LIFT_M`` times the air's share; flow falls with
    the root of the head that remains, and stops where none does.
    """
    head_m = p[param.PUMP_HEAD_M] * duty * duty
    if head_m <= 0.0:
        return 0.0
    left = 1.0 - p[param.STATIC_LIFT_M] * air / head_m
    return float(math.sqrt(max(0.0, left)))


def pump_w(p: NDArray[np.float64], duty: float) -> float:
    """Return the electric input of the pump [W]: affinity law, the cube of duty."""
    return float(p[param.PUMP_POWER_W] * duty**3)


@lru_cache(maxsize=16)
def flow_table(loop: Loop) -> NDArray[np.float64]:
    """Return the operating flow [L/min] over water temperature and duty, on the axes of ``param``.

    Kept, for it takes as long as some days of the plant, and most changes leave the loop alone.
    """
    waters_c = (
        param.FLOW_WATER_FROM_C + np.arange(param.FLOW_WATER_POINTS) * param.FLOW_WATER_STEP_C
    )
    duties = np.arange(param.FLOW_DUTY_POINTS) * param.FLOW_DUTY_STEP
    table: NDArray[np.float64] = loop.operating_l_min(waters_c[:, np.newaxis], duties)
    table.flags.writeable = False
    return table

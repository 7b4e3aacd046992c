"""The freezer's refrigeration machine: compressor, condenser, motor and its protector.

Capacity and input come from a table over evaporating and condensing temperature, built at
construction from the ideal cycle scaled to the label, or from a compressor polynomial.  Both are
limited by the capillary tube, which passes little more than it was sized for however warm the
water: the compressor then pumps the evaporator down to where its flow equals that of the tube.
"""

from dataclasses import astuple, dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from . import lookup, param, state
from .check import PartError, ordered, slow_enough, within
from .refrigerant import KEPT, Cycle, ideal_cycle, ten_coefficients, volumetric_efficiency

REFRIGERANTS = ("R600a", "R134a")
RATED_GAS_C = 32.2  # suction gas and liquid at the household-compressor rating point
MIN_INPUT_FRACTION = 0.3  # of the rated input: friction and iron losses of an unloaded motor
LABEL_EFFICIENCY = (0.2, 0.8)  # isentropic to electric, small hermetic machines
START_HEAD = 0.1  # of the running pressure difference, above which the motor cannot start


@dataclass(frozen=True, kw_only=True)
class Freezer:
    """A hermetic capillary-tube machine known by its label, or by a compressor polynomial.

    ``rated_input_w`` and ``rated_capacity_w`` hold at ``rated_evaporating_c`` and
    ``rated_condensing_c`` with suction gas and liquid at 32.2 °C.  ``polynomial`` replaces the
    label, there too: ten coefficients for capacity [W] and ten for input [W].

    Raises:
        ValueError: on a parameter outside its range, or a capacity and an input at the rating
            point that would need an isentropic-to-electric efficiency outside 0.2 to 0.8, as
            coefficients for another unit would.
    """

    rated_input_w: float
    rated_capacity_w: float
    refrigerant: str
    condenser_ua_w_k: float
    rated_evaporating_c: float = -23.3
    rated_condensing_c: float = 54.4
    polynomial: tuple[tuple[float, ...], tuple[float, ...]] | None = None
    capillary_factor: float = 1.6  # most mass flow the tube passes over that at the rating point
    clearance: float = 0.03  # dead volume over swept volume
    condenser_j_k: float = 4000.0
    spread_s: float = 60.0  # time constant of the charge finding its place after a start
    equalise_s: float = 180.0  # stop needed before the motor can start again
    winding_j_k: float = 500.0
    winding_rise_k: float = 12.0  # winding over shell at rated input
    shell_j_k: float = 4500.0
    shell_rise_k: float = 40.0  # shell over place at rated input
    motor_loss_fraction: float = 0.25  # of the input, in the winding
    shell_gain_fraction: float = 0.2  # of the input, from gas and friction into the shell
    stall_factor: float = 6.0  # locked-rotor over rated input
    overload_trip_c: float = 120.0
    overload_reset_c: float = 70.0
    standby_w: float = 0.0
    envelope_evaporating_c: tuple[float, float] = (-35.0, -5.0)
    envelope_condensing_c: tuple[float, float] = (30.0, 65.0)

    def __post_init__(self) -> None:
        within("Freezer", "rated_input_w", self.rated_input_w, 5.0, 1500.0, "W")
        within("Freezer", "rated_capacity_w", self.rated_capacity_w, 5.0, 3000.0, "W")
        if self.refrigerant not in REFRIGERANTS:
            raise PartError(
                "Freezer",
                "refrigerant",
                f"{self.refrigerant!r} is not one of {', '.join(REFRIGERANTS)}",
            )
        within("Freezer", "condenser_ua_w_k", self.condenser_ua_w_k, 1.0, 500.0, "W/K")
        within("Freezer", "rated_evaporating_c", self.rated_evaporating_c, -45.0, 15.0, "°C")
        within("Freezer", "rated_condensing_c", self.rated_condensing_c, 20.0, 75.0, "°C")
        if self.polynomial is not None and [len(c) for c in self.polynomial] != [10, 10]:
            raise PartError("Freezer", "polynomial", "two tuples of 10 coefficients are needed")
        within("Freezer", "capillary_factor", self.capillary_factor, 0.5, 20.0)
        within("Freezer", "clearance", self.clearance, 0.0, 0.08)
        within("Freezer", "condenser_j_k", self.condenser_j_k, 200.0, 1e5, "J/K")
        within("Freezer", "spread_s", self.spread_s, 5.0, 900.0, "s")
        within("Freezer", "equalise_s", self.equalise_s, 10.0, 1800.0, "s")
        within("Freezer", "winding_j_k", self.winding_j_k, 50.0, 1e4, "J/K")
        within("Freezer", "winding_rise_k", self.winding_rise_k, 2.0, 80.0, "K")
        within("Freezer", "shell_j_k", self.shell_j_k, 500.0, 1e5, "J/K")
        within("Freezer", "shell_rise_k", self.shell_rise_k, 5.0, 90.0, "K")
        within("Freezer", "motor_loss_fraction", self.motor_loss_fraction, 0.05, 0.6)
        within("Freezer", "shell_gain_fraction", self.shell_gain_fraction, 0.0, 0.4)
        within("Freezer", "stall_factor", self.stall_factor, 2.0, 12.0)
        within("Freezer", "overload_trip_c", self.overload_trip_c, 80.0, 180.0, "°C")
        within("Freezer", "overload_reset_c", self.overload_reset_c, 40.0, 150.0, "°C")
        within("Freezer", "standby_w", self.standby_w, 0.0, 50.0, "W")
        ordered("Freezer", "overload_reset_c", self.overload_reset_c, "trip", self.overload_trip_c)
        slow_enough("Freezer", "condenser_j_k", self.condenser_j_k, self.condenser_ua_w_k)
        slow_enough("Freezer", "winding_j_k", self.winding_j_k, self.winding_ua_w_k)
        shell_w_k = self.winding_ua_w_k + self.shell_ua_w_k
        slow_enough("Freezer", "shell_j_k", self.shell_j_k, shell_w_k)
        for name in ("envelope_evaporating_c", "envelope_condensing_c"):
            low, high = getattr(self, name)
            ordered("Freezer", f"{name} low", low, "high", high)
        low, high = LABEL_EFFICIENCY
        capacity_w, input_w = self.at_rating()
        if not (input_w > 0.0 and low <= self.label_efficiency() <= high):
            name = "rated_capacity_w" if self.polynomial is None else "polynomial"
            raise PartError(
                "Freezer",
                name,
                f"{capacity_w:.4g} W of capacity from {input_w:.4g} W of input at "
                f"the rating point means an efficiency outside {low:g} to {high:g}",
            )

    @property
    def winding_ua_w_k(self) -> float:
        """Conductance from winding to shell [W/K] that gives ``winding_rise_k``."""
        return self.motor_loss_fraction * self.rated_input_w / self.winding_rise_k

    @property
    def shell_ua_w_k(self) -> float:
        """Conductance from shell to place [W/K] that gives ``shell_rise_k``."""
        fraction = self.motor_loss_fraction + self.shell_gain_fraction
        return fraction * self.rated_input_w / self.shell_rise_k

    def rated_cycle(self) -> Cycle:
        """Return the ideal cycle at the rating point."""
        return ideal_cycle(
            self.refrigerant,
            self.rated_evaporating_c,
            self.rated_condensing_c,
            RATED_GAS_C,
            RATED_GAS_C,
        )

    def at_rating(self) -> tuple[float, float]:
        """Return capacity and input [W] at the rating point, of label or polynomial.

        The polynomial is held at the edge of its envelope.
        """
        if self.polynomial is None:
            return self.rated_capacity_w, self.rated_input_w
        low, high = self.envelope_evaporating_c
        suction_c = min(high, max(low, self.rated_evaporating_c))
        low, high = self.envelope_condensing_c
        discharge_c = min(high, max(low, self.rated_condensing_c))
        capacity, power = self.polynomial
        return (
            ten_coefficients(capacity, suction_c, discharge_c),
            ten_coefficients(power, suction_c, discharge_c),
        )

    def label_efficiency(self) -> float:
        """Return isentropic work over electric input at the rating point [-]."""
        cycle = self.rated_cycle()
        capacity_w, input_w = self.at_rating()
        return capacity_w / cycle.refrigerating_j_kg * cycle.work_j_kg / input_w

    def tables(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Return capacity and input [W], each (evaporating, condensing) on the axes of param."""
        evaporating, condensing = _axes()
        cycles = service_cycles(self.refrigerant)
        effect = cycles[2]
        if self.polynomial is None:
            flow, demand = self._by_label(cycles)
        else:
            flow, demand = self._by_polynomial(effect)
        tubes = self.capillary_factor * self._rated_flow_kg_s()
        tubes = tubes * np.sqrt(cycles[1][0] / self.rated_cycle().condensing_pa)
        # Where the compressor would outrun the tube, both work at the evaporating temperature at
        # which their flows are equal.
        flow = np.maximum.accumulate(flow, axis=0)
        capacity = np.minimum(flow, tubes)
        power = np.zeros_like(capacity)
        for j in range(condensing.size):
            starved = np.minimum(evaporating, np.interp(tubes[j], flow[:, j], evaporating))
            capacity[:, j] *= np.interp(starved, evaporating, effect[:, j])
            power[:, j] = np.interp(starved, evaporating, demand[:, j])
        return capacity, np.maximum(power, MIN_INPUT_FRACTION * self.rated_input_w)

    def _rated_flow_kg_s(self) -> float:
        return self.at_rating()[0] / self.rated_cycle().refrigerating_j_kg

    def _by_label(self, cycles: NDArray[np.float64]) -> tuple[Any, Any]:
        """Return mass flow [kg/s] and input [W]: one displacement and one efficiency."""
        rated = self.rated_cycle()
        ratio = rated.condensing_pa / rated.evaporating_pa
        displacement = self._rated_flow_kg_s() / (
            rated.suction_kg_m3 * volumetric_efficiency(ratio, self.clearance)
        )
        low_pa, high_pa, _, work, suction_kg_m3 = cycles
        flow = (
            displacement * suction_kg_m3 * volumetric_efficiency(high_pa / low_pa, self.clearance)
        )
        return flow, flow * work / self.label_efficiency()

    def _by_polynomial(self, effect: NDArray[np.float64]) -> tuple[Any, Any]:
        """Return mass flow [kg/s] and input [W] of the polynomial, held at its envelope's edge.

        A cubic says nothing beyond the points it was fitted to, so outside the rated envelope
        the nearest rated state is used; ``OUTSIDE_RATED`` reports it.
        """
        assert self.polynomial is not None
        evaporating, condensing = _axes()
        s: Any = np.clip(evaporating, *self.envelope_evaporating_c)[:, np.newaxis]
        d: Any = np.clip(condensing, *self.envelope_condensing_c)
        capacity, power = (ten_coefficients(c, s, d) for c in self.polynomial)
        return np.maximum(0.0, capacity) / effect, np.maximum(0.0, power)

    def put(self, p: NDArray[np.float64]) -> None:
        """Write the slots of this part into the parameter record ``p``."""
        p[param.CONDENSER_UA_W_K] = self.condenser_ua_w_k
        p[param.CONDENSER_J_K] = self.condenser_j_k
        p[param.SPREAD_S] = self.spread_s
        p[param.EQUALISE_S] = self.equalise_s
        p[param.START_HEAD] = START_HEAD
        p[param.WINDING_J_K] = self.winding_j_k
        p[param.WINDING_UA_W_K] = self.winding_ua_w_k
        p[param.SHELL_J_K] = self.shell_j_k
        p[param.SHELL_UA_W_K] = self.shell_ua_w_k
        p[param.WINDING_LOSS_FRACTION] = self.motor_loss_fraction
        p[param.SHELL_GAIN_FRACTION] = self.shell_gain_fraction
        p[param.STALL_W] = self.stall_factor * self.rated_input_w
        p[param.OVERLOAD_TRIP_C] = self.overload_trip_c
        p[param.OVERLOAD_RESET_C] = self.overload_reset_c
        p[param.FREEZER_STANDBY_W] = self.standby_w
        p[param.RATED_EVAPORATING_LOW_C], p[param.RATED_EVAPORATING_HIGH_C] = (
            self.envelope_evaporating_c
        )
        p[param.RATED_CONDENSING_LOW_C], p[param.RATED_CONDENSING_HIGH_C] = (
            self.envelope_condensing_c
        )
        capacity, power = tables_of(self)
        p[param.CAPACITY_W : param.CAPACITY_W + capacity.size] = capacity.ravel()
        p[param.INPUT_W : param.INPUT_W + power.size] = power.ravel()

    def start(self, x: NDArray[np.float64]) -> None:
        """Write the initial state into ``x``: at rest, as warm as place and water (set before)."""
        x[state.EVAPORATOR_C] = x[state.WATER_C]
        x[state.CONDENSER_C] = x[state.PLACE_C]
        x[state.WINDING_C] = x[state.PLACE_C]
        x[state.SHELL_C] = x[state.PLACE_C]
        x[state.MOTOR] = state.MOTOR_OFF


@lru_cache(maxsize=16)
def tables_of(machine: Freezer) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return ``machine.tables()``; kept, for it takes half a second."""
    return machine.tables()


def service_cycle(refrigerant: str, evaporating_c: float, condensing_c: float) -> Cycle:
    """Return the ideal cycle as it runs in a freezer.

    The suction line lies against the capillary: gas returns 8 K under the condensing
    temperature, never above the rated 32.2 °C; liquid leaves the condenser 2 K subcooled.
    """
    suction = max(evaporating_c + 5.0, min(RATED_GAS_C, condensing_c - 8.0))
    return ideal_cycle(refrigerant, evaporating_c, condensing_c, suction, condensing_c - 2.0)


@lru_cache(maxsize=len(REFRIGERANTS))
def service_cycles(refrigerant: str) -> NDArray[np.float64]:
    """Return `service_cycle` over the axes of param, shape (5, evaporating, condensing).

    The five are both pressures [Pa], refrigerating effect and isentropic work [J/kg] and the
    density of the suction gas [kg/m3].
    """
    evaporating, condensing = _axes()
    cycles = [
        [service_cycle(refrigerant, float(e), float(c)) for c in condensing] for e in evaporating
    ]
    KEPT.write()
    return np.array([[astuple(cycle)[:5] for cycle in row] for row in cycles]).transpose(2, 0, 1)


def _axes() -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    evaporating = axis(
        param.CYCLE_EVAPORATING_FROM_C,
        param.CYCLE_EVAPORATING_STEP_C,
        param.CYCLE_EVAPORATING_POINTS,
    )
    condensing = axis(
        param.CYCLE_CONDENSING_FROM_C, param.CYCLE_CONDENSING_STEP_C, param.CYCLE_CONDENSING_POINTS
    )
    return evaporating, condensing


def axis(low: float, step: float, points: int) -> NDArray[np.float64]:
    """Return the points of an equidistant table axis, shape (points,)."""
    return np.array([low + step * n for n in range(points)])


def capacity_w(p: NDArray[np.float64], evaporating_c: float, condensing_c: float) -> float:
    """Return the steady cooling capacity of the running compressor [W]."""
    return lookup.bilinear(
        p,
        param.CAPACITY_W,
        param.CYCLE_EVAPORATING_FROM_C,
        param.CYCLE_EVAPORATING_STEP_C,
        param.CYCLE_EVAPORATING_POINTS,
        param.CYCLE_CONDENSING_FROM_C,
        param.CYCLE_CONDENSING_STEP_C,
        param.CYCLE_CONDENSING_POINTS,
        evaporating_c,
        condensing_c,
    )


def input_w(p: NDArray[np.float64], evaporating_c: float, condensing_c: float) -> float:
    """Return the electric input of the running compressor [W]."""
    return lookup.bilinear(
        p,
        param.INPUT_W,
        param.CYCLE_EVAPORATING_FROM_C,
        param.CYCLE_EVAPORATING_STEP_C,
        param.CYCLE_EVAPORATING_POINTS,
        param.CYCLE_CONDENSING_FROM_C,
        param.CYCLE_CONDENSING_STEP_C,
        param.CYCLE_CONDENSING_POINTS,
        evaporating_c,
        condensing_c,
    )


def outside_rated(p: NDArray[np.float64], evaporating_c: float, condensing_c: float) -> float:
    """Return 1 where the state lies outside the rated envelope, else 0."""
    if evaporating_c < p[param.RATED_EVAPORATING_LOW_C]:
        return 1.0
    if evaporating_c > p[param.RATED_EVAPORATING_HIGH_C]:
        return 1.0
    if condensing_c < p[param.RATED_CONDENSING_LOW_C]:
        return 1.0
    if condensing_c > p[param.RATED_CONDENSING_HIGH_C]:
        return 1.0
    return 0.0

"""The plant's own equations solved for the state in which nothing that is left free changes.

Implicit steps that grow from a second to years carry the free slots to rest (pseudo-transient
continuation: Kelley and Keyes, SIAM J. Numer. Anal. 35 (1998) 508), so no step is too long for a
light coil or a quick loop; where they do not arrive, LSODA integrates in full. What comes out is
then held against the first and the second law.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from springhouse_sim import compiled
from springhouse_sim.plant import param, tap, water
from springhouse_sim.plant import state as state_slot

DOORS = (("springhouse_sim.plant.rates", "rates"), ("springhouse_sim.plant.slopes", "slopes"))
LOOP = (
    state_slot.FLOW_L_MIN,
    state_slot.LOOP_AIR,
    state_slot.SUPPLY_C,
    state_slot.RETURN_C,
    state_slot.COIL_C,
)
MACHINE = (
    state_slot.EVAPORATOR_C,
    state_slot.CONDENSER_C,
    state_slot.WINDING_C,
    state_slot.SHELL_C,
    state_slot.REFRIGERANT_SPREAD,
    state_slot.PRESSURE_HEAD,
)
FREE = (*LOOP, *MACHINE, state_slot.PLACE_C)

LONG_S = 1e8  # of integration; the slowest place settles in days
MOST_RATES = 100_000  # asked for before it is given up; a usual solution takes a thousand
FIRST_STEP_S, GROWTH, LAST_STEP_S = 1.0, 20.0, 1e12
STEPS, MOST_MOVED = 40, 20.0  # tried in all; K, or L/min, in one step: further is a step too long
REST_SHARE, REST = 1e-7, 1e-9  # of a slot, or this much: moved by less in the last step
TILT = 1e-6  # of a slot, for its column of the Jacobian
GROWS_1_S = 1e-12  # a state that departs faster is no rest
BALANCE_W, BALANCE_SHARE = 0.05, 1e-3  # heat that may be left over: this or that share of it
BALANCE_K = 1e-3  # air may come off so much beyond the water's end of the range

Array = NDArray[np.float64]


class UnsteadyError(ValueError):
    """No steady state was found, or one that breaks a law; its text says which and by how much."""


@dataclass(frozen=True)
class Balance:
    """The heat of coil, machine and place, each seen from both of its sides [W]."""

    air_w: float  # taken from the air, sensible and latent, frost included
    metal_w: float  # handed on by the coil's metal
    water_w: float  # gained by the water around the loop, less tubes and pump
    drawn_w: float  # by the machine: evaporator and mains
    rejected_w: float  # by condenser and shell
    place_w: float  # what still warms the place

    def fault(self) -> str | None:
        """Return what does not balance, None where all does."""
        for what, one_w, other_w in (
            ("coil, air against metal", self.air_w, self.metal_w),
            ("coil, metal against water", self.metal_w, self.water_w),
            ("machine, drawn against rejected", self.drawn_w, self.rejected_w),
            ("place, heat left over", self.place_w, 0.0),
        ):
            size_w = max(abs(one_w), abs(other_w), abs(self.rejected_w) if not other_w else 0.0)
            if not abs(one_w - other_w) <= BALANCE_W + BALANCE_SHARE * size_w:
                return f"{what}: {one_w:.2f} and {other_w:.2f} W"
        return None


def balance(x: Array, dx: Array, t: Array, p: Array) -> Balance:
    """Return both sides of every exchange, from state, rates and taps that belong together."""
    flow_kg_s = x[state_slot.FLOW_L_MIN] / 60.0
    around_w = flow_kg_s * (
        water.enthalpy_j_kg(float(x[state_slot.RETURN_C]))
        - water.enthalpy_j_kg(float(t[tap.DRAW_C]))
    )
    tubes_w = (
        dx[state_slot.PLACE_TO_TUBE_J]
        + dx[state_slot.ROOM_TO_TUBE_J]
        + dx[state_slot.PUMP_TO_WATER_J]
    )
    return Balance(
        air_w=float(
            t[tap.COIL_SENSIBLE_W]
            + t[tap.COIL_LATENT_W]
            + water.LATENT_FUSION_J_KG * dx[state_slot.FROST_KG]
        ),
        metal_w=float(t[tap.COIL_TO_WATER_W]),
        water_w=float(around_w - tubes_w),
        drawn_w=float(dx[state_slot.EVAPORATOR_J] + dx[state_slot.FREEZER_J]),
        rejected_w=float(dx[state_slot.CONDENSER_TO_PLACE_J] + dx[state_slot.SHELL_TO_PLACE_J]),
        place_w=float(dx[state_slot.PLACE_C] * p[param.PLACE_J_K]),
    )


def fault(x: Array, dx: Array, t: Array, p: Array, free: Sequence[int] = FREE) -> str | None:
    """Return which law a state that should be steady breaks, None where it breaks none.

    First law: ``Balance``, as far as the slots it needs were ``free``. Second law: air leaves the
    coil between the room's temperature and that of the water that enters.
    """
    if not (np.all(np.isfinite(x)) and np.all(np.isfinite(dx)) and np.all(np.isfinite(t))):
        return "a state that is no number"
    found = balance(x, dx, t, p)
    if state_slot.CONDENSER_C not in free:
        found = Balance(found.air_w, found.metal_w, found.water_w, 0.0, 0.0, found.place_w)
    if state_slot.PLACE_C not in free:
        found = Balance(
            found.air_w, found.metal_w, found.water_w, found.drawn_w, found.rejected_w, 0.0
        )
    broken = found.fault()
    if broken is not None:
        return broken
    ends_c = sorted((float(x[state_slot.ROOM_AIR_C]), float(x[state_slot.SUPPLY_C])))
    off_c = float(t[tap.AIR_OFF_C])
    if not ends_c[0] - BALANCE_K <= off_c <= ends_c[1] + BALANCE_K:
        return (
            f"air off the coil at {off_c:.2f} °C, water in at {x[state_slot.SUPPLY_C]:.2f} °C, "
            f"room at {x[state_slot.ROOM_AIR_C]:.2f} °C"
        )
    return None


def compiled_rates() -> Callable[[Array, Array, Array, Array, Array], None]:
    """Return the plant's right-hand side, compiled: state, given, parameters, rates, taps."""
    found: Callable[[Array, Array, Array, Array, Array], None]
    found = compiled.load(True, DOORS).sim("plant.rates").rates
    return found


def settle(x: Array, u: Array, p: Array, free: Sequence[int] = FREE) -> tuple[Array, Array, Array]:
    """Return state, rates and taps with the free slots at rest and all others as they are.

    Args:
        x: state, shape (state.SIZE,), left as it is.
        u: given, shape (given.SIZE,), held constant.
        p: parameters, shape (param.SIZE,).
        free: slots of the state that may settle.

    Raises:
        UnsteadyError: where there is no rest, or one that breaks the first or second law by more
            than BALANCE_W plus BALANCE_SHARE of the heat, or BALANCE_K.
    """
    from springhouse_sim.plant.rates import switch

    rates, slopes = compiled_rates(), compiled.load(True, DOORS).sim("plant.slopes").slopes
    x, t, dx = x.copy(), np.zeros(tap.SIZE), np.zeros(state_slot.SIZE)
    slots = np.array(free, np.int64)
    if state_slot.CONDENSER_C in free:
        switch(x, u, p, t)  # the motor starts
    asked = 0

    def rates_of(y: Array) -> Array:
        nonlocal asked
        asked += 1
        if asked > MOST_RATES:
            raise UnsteadyError("does not come to rest")
        x[slots] = y
        rates(x, u, p, dx, t)
        return np.array(dx[slots])

    def slope_of(y: Array, r: Array) -> Array:
        slope = np.empty((len(slots), len(slots)))
        x[slots] = y
        slopes(x, u, p, slots, r, TILT, dx, t, slope)
        return slope

    begun = x[slots]
    found = by_steps(rates_of, slope_of, begun)
    if found is not None:
        rates_of(found)
        if fault(x, dx, t, p, free) is None:
            return x, dx, t
    arrived = by_time(rates_of, begun)
    broken = "does not come to rest" if arrived is None else None
    if arrived is not None:
        rates_of(arrived)
        broken = fault(x, dx, t, p, free)
    if broken is not None:
        raise UnsteadyError(broken)
    return x, dx, t


def by_steps(
    rates_of: Callable[[Array], Array], slope_of: Callable[[Array, Array], Array], y: Array
) -> Array | None:
    """Return where implicit Euler steps that grow come to rest, None where they do not.

    ``slope_of`` gives the Jacobian at a state and its rates.

    Rest is where nothing moves any more though the step is longer than LONG_S, and where what is
    disturbed returns: no eigenvalue of the Jacobian has a positive real part.
    """
    step_s = FIRST_STEP_S
    r = rates_of(y)
    still = np.eye(len(y))
    for _ in range(STEPS):
        slope = slope_of(y, r)
        if not np.all(np.isfinite(slope)):
            return None
        try:
            move = np.linalg.solve(still / step_s - slope, r)
        except np.linalg.LinAlgError:
            return None
        if not np.abs(move).max() <= MOST_MOVED:
            step_s /= GROWTH / 2.0
            continue
        y = y + move
        r = rates_of(y)
        if step_s > LONG_S and np.all(np.abs(move) <= REST_SHARE * np.abs(y) + REST):
            return y if float(np.linalg.eigvals(slope).real.max()) <= GROWS_1_S else None
        step_s = min(step_s * GROWTH, LAST_STEP_S)
    return None


def by_time(rates_of: Callable[[Array], Array], y: Array) -> Array | None:
    """Return the state after LONG_S of integration, None where the integrator gives up."""
    from scipy.integrate import ode  # half a second

    solver = ode(lambda _, state: rates_of(state))
    solver.set_integrator("lsoda", rtol=1e-6, atol=1e-8, nsteps=MOST_RATES)
    solver.set_initial_value(y, 0.0)
    arrived = solver.integrate(LONG_S)  # in one call: a step at a time costs more than its rates
    return np.asarray(arrived) if solver.successful() else None

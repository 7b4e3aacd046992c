"""Compressor, condenser, motor and protector: their share of the right-hand side."""

import numpy as np
from numpy.typing import NDArray

from . import freezer, given, param, state, tap


def compressor_runs(x: NDArray[np.float64], u: NDArray[np.float64]) -> float:
    """Return 1 while the motor turns, else 0."""
    if u[given.COMPRESSOR_RELAY] < 0.5 or u[given.MAINS] < 0.5 or x[state.OVERLOAD_OPEN] > 0.5:
        return 0.0
    return 1.0 if x[state.MOTOR] == state.MOTOR_RUNS else 0.0


def compressor_stalled(x: NDArray[np.float64], u: NDArray[np.float64]) -> float:
    """Return 1 while the motor is energised and does not turn, else 0."""
    if u[given.COMPRESSOR_RELAY] < 0.5 or u[given.MAINS] < 0.5 or x[state.OVERLOAD_OPEN] > 0.5:
        return 0.0
    return 1.0 if x[state.MOTOR] == state.MOTOR_STALLED else 0.0


def machine(
    x: NDArray[np.float64],
    u: NDArray[np.float64],
    p: NDArray[np.float64],
    dx: NDArray[np.float64],
    t: NDArray[np.float64],
) -> None:
    """Compressor, condenser and motor; ``layers.walls`` has already warmed the evaporator."""
    runs = compressor_runs(x, u)
    stalled = compressor_stalled(x, u)
    evaporator_c = x[state.EVAPORATOR_C]
    condenser_c = x[state.CONDENSER_C]
    cooling_w = 0.0
    input_w = p[param.FREEZER_STANDBY_W] * u[given.MAINS]
    motor_w = stalled * p[param.STALL_W]
    if runs > 0.5:
        cooling_w = (
            freezer.capacity_w(p, evaporator_c, condenser_c)
            * u[given.CAPACITY_FACTOR]
            * x[state.REFRIGERANT_SPREAD]
        )
        motor_w = freezer.input_w(p, evaporator_c, condenser_c)
    input_w += motor_w
    winding_w = (stalled + runs * p[param.WINDING_LOSS_FRACTION]) * motor_w
    gas_w = runs * p[param.SHELL_GAIN_FRACTION] * motor_w
    into_shell_w = p[param.WINDING_UA_W_K] * (x[state.WINDING_C] - x[state.SHELL_C])
    shell_w = p[param.SHELL_UA_W_K] * (x[state.SHELL_C] - x[state.PLACE_C])
    condenser_w = p[param.CONDENSER_UA_W_K] * (condenser_c - x[state.PLACE_C])
    rejected_w = cooling_w + motor_w - winding_w - gas_w
    dx[state.EVAPORATOR_C] -= cooling_w / p[param.EVAPORATOR_J_K]
    dx[state.CONDENSER_C] = (rejected_w - condenser_w) / p[param.CONDENSER_J_K]
    dx[state.WINDING_C] = (winding_w - into_shell_w) / p[param.WINDING_J_K]
    dx[state.SHELL_C] = (into_shell_w + gas_w - shell_w) / p[param.SHELL_J_K]
    dx[state.REFRIGERANT_SPREAD] = (runs - x[state.REFRIGERANT_SPREAD]) / p[param.SPREAD_S]
    # A stopped machine equalises by a factor of ten within EQUALISE_S.
    head_s = 20.0 if runs > 0.5 else p[param.EQUALISE_S] / 2.302585
    dx[state.PRESSURE_HEAD] = (runs - x[state.PRESSURE_HEAD]) / head_s
    dx[state.FREEZER_J] = input_w
    dx[state.MAINS_J] += input_w
    dx[state.EVAPORATOR_J] = cooling_w
    dx[state.CONDENSER_TO_PLACE_J] = condenser_w
    dx[state.SHELL_TO_PLACE_J] = shell_w + p[param.FREEZER_STANDBY_W] * u[given.MAINS]
    dx[state.COMPRESSOR_RUN_S] = runs
    dx[state.OUTSIDE_RATED_S] = runs * freezer.outside_rated(p, evaporator_c, condenser_c)
    t[tap.MAINS_W] += input_w
    t[tap.COMPRESSOR_RUNS] = runs
    t[tap.CAPACITY_W] = cooling_w
    t[tap.FREEZER_W] = input_w
    t[tap.OUTSIDE_RATED] = dx[state.OUTSIDE_RATED_S]


def switch_motor(x: NDArray[np.float64], u: NDArray[np.float64], p: NDArray[np.float64]) -> None:
    """Start, stall or stop the motor and move its protector.

    A motor energised against more than START_HEAD of the running pressure difference stalls and
    stays stalled until it is switched off; the winding then heats until the protector opens.
    """
    if x[state.WINDING_C] >= p[param.OVERLOAD_TRIP_C]:
        x[state.OVERLOAD_OPEN] = 1.0
    elif x[state.WINDING_C] <= p[param.OVERLOAD_RESET_C]:
        x[state.OVERLOAD_OPEN] = 0.0
    if u[given.COMPRESSOR_RELAY] < 0.5 or u[given.MAINS] < 0.5 or x[state.OVERLOAD_OPEN] > 0.5:
        x[state.MOTOR] = state.MOTOR_OFF
    elif x[state.MOTOR] == state.MOTOR_OFF:
        if x[state.PRESSURE_HEAD] <= p[param.START_HEAD]:
            x[state.MOTOR] = state.MOTOR_RUNS
            x[state.COMPRESSOR_STARTS] += 1.0
        else:
            x[state.MOTOR] = state.MOTOR_STALLED

"""Compressor, condenser, motor and protector: their share of the right-hand side."""

import numpy as np
from numpy.typing import NDArray

from . import freezer
from . import given as U
from . import param as P
from . import state as X
from . import tap as T


def compressor_runs(x: NDArray[np.float64], u: NDArray[np.float64]) -> float:
    """Return 1 while the motor turns, else 0."""
    if u[U.COMPRESSOR_RELAY] < 0.5 or u[U.MAINS] < 0.5 or x[X.OVERLOAD_OPEN] > 0.5:
        return 0.0
    return 1.0 if x[X.MOTOR] == X.MOTOR_RUNS else 0.0


def compressor_stalled(x: NDArray[np.float64], u: NDArray[np.float64]) -> float:
    """Return 1 while the motor is energised and does not turn, else 0."""
    if u[U.COMPRESSOR_RELAY] < 0.5 or u[U.MAINS] < 0.5 or x[X.OVERLOAD_OPEN] > 0.5:
        return 0.0
    return 1.0 if x[X.MOTOR] == X.MOTOR_STALLED else 0.0


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
    evaporator_c = x[X.EVAPORATOR_C]
    condenser_c = x[X.CONDENSER_C]
    cooling_w = 0.0
    input_w = p[P.FREEZER_STANDBY_W] * u[U.MAINS]
    motor_w = stalled * p[P.STALL_W]
    if runs > 0.5:
        cooling_w = (
            freezer.capacity_w(p, evaporator_c, condenser_c)
            * u[U.CAPACITY_FACTOR]
            * x[X.REFRIGERANT_SPREAD]
        )
        motor_w = freezer.input_w(p, evaporator_c, condenser_c)
    input_w += motor_w
    winding_w = (stalled + runs * p[P.WINDING_LOSS_FRACTION]) * motor_w
    gas_w = runs * p[P.SHELL_GAIN_FRACTION] * motor_w
    into_shell_w = p[P.WINDING_UA_W_K] * (x[X.WINDING_C] - x[X.SHELL_C])
    shell_w = p[P.SHELL_UA_W_K] * (x[X.SHELL_C] - x[X.PLACE_C])
    condenser_w = p[P.CONDENSER_UA_W_K] * (condenser_c - x[X.PLACE_C])
    rejected_w = cooling_w + motor_w - winding_w - gas_w
    dx[X.EVAPORATOR_C] -= cooling_w / p[P.EVAPORATOR_J_K]
    dx[X.CONDENSER_C] = (rejected_w - condenser_w) / p[P.CONDENSER_J_K]
    dx[X.WINDING_C] = (winding_w - into_shell_w) / p[P.WINDING_J_K]
    dx[X.SHELL_C] = (into_shell_w + gas_w - shell_w) / p[P.SHELL_J_K]
    dx[X.REFRIGERANT_SPREAD] = (runs - x[X.REFRIGERANT_SPREAD]) / p[P.SPREAD_S]
    # A stopped machine equalises by a factor of ten within EQUALISE_S.
    head_s = 20.0 if runs > 0.5 else p[P.EQUALISE_S] / 2.302585
    dx[X.PRESSURE_HEAD] = (runs - x[X.PRESSURE_HEAD]) / head_s
    dx[X.FREEZER_J] = input_w
    dx[X.MAINS_J] += input_w
    dx[X.EVAPORATOR_J] = cooling_w
    dx[X.CONDENSER_TO_PLACE_J] = condenser_w
    dx[X.SHELL_TO_PLACE_J] = shell_w + p[P.FREEZER_STANDBY_W] * u[U.MAINS]
    dx[X.COMPRESSOR_RUN_S] = runs
    dx[X.OUTSIDE_RATED_S] = runs * freezer.outside_rated(p, evaporator_c, condenser_c)
    t[T.MAINS_W] += input_w
    t[T.COMPRESSOR_RUNS] = runs
    t[T.CAPACITY_W] = cooling_w
    t[T.FREEZER_W] = input_w
    t[T.OUTSIDE_RATED] = dx[X.OUTSIDE_RATED_S]


def switch_motor(x: NDArray[np.float64], u: NDArray[np.float64], p: NDArray[np.float64]) -> None:
    """Start, stall or stop the motor and move its protector.

    A motor energised against more than START_HEAD of the running pressure difference stalls and
    stays stalled until it is switched off; the winding then heats until the protector opens.
    """
    if x[X.WINDING_C] >= p[P.OVERLOAD_TRIP_C]:
        x[X.OVERLOAD_OPEN] = 1.0
    elif x[X.WINDING_C] <= p[P.OVERLOAD_RESET_C]:
        x[X.OVERLOAD_OPEN] = 0.0
    if u[U.COMPRESSOR_RELAY] < 0.5 or u[U.MAINS] < 0.5 or x[X.OVERLOAD_OPEN] > 0.5:
        x[X.MOTOR] = X.MOTOR_OFF
    elif x[X.MOTOR] == X.MOTOR_OFF:
        if x[X.PRESSURE_HEAD] <= p[P.START_HEAD]:
            x[X.MOTOR] = X.MOTOR_RUNS
            x[X.COMPRESSOR_STARTS] += 1.0
        else:
            x[X.MOTOR] = X.MOTOR_STALLED

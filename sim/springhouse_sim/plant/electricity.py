"""Electricity of pump, fans, board, charger and battery: its share of the right-hand side."""

import numpy as np
from numpy.typing import NDArray

from . import battery, coil, given, loop, param, state, tap

CHARGE_TAPER = 0.03  # of the usable energy: below this missing charge the current tapers


def supplied(x: NDArray[np.float64], u: NDArray[np.float64], p: NDArray[np.float64]) -> float:
    """Return 1 while board, pump and fans have a supply, else 0.

    An empty battery is cut by `switch_battery`: rates that jumped at 0 Wh would bend a long step
    and hide when it ran empty.
    """
    if u[given.MAINS] > 0.5:
        return 1.0
    if p[param.BATTERY_KIND] < 0.5 or x[state.BATTERY_CUT] > 0.5:
        return 0.0
    return 1.0


def charged_w(p: NDArray[np.float64], wh: float) -> float:
    """Return what the charger gives [W] at an energy in the battery; less when nearly full."""
    missing_wh = p[param.BATTERY_USABLE_WH] - wh
    taper_wh = max(1e-3, CHARGE_TAPER * p[param.BATTERY_USABLE_WH])
    return float(p[param.CHARGER_W] * min(1.0, max(0.0, missing_wh / taper_wh)))


def load_w(u: NDArray[np.float64], p: NDArray[np.float64]) -> float:
    """Return what pump, fans and board take [W] while they have a supply."""
    return (
        loop.pump_w(p, u[given.PUMP_DUTY])
        + coil.fan_w(p, u[given.FAN_DUTY])
        + float(p[param.BOARD_W])
    )


def stored_w(
    u: NDArray[np.float64], p: NDArray[np.float64], wh: float, cut: float, load: float
) -> float:
    """Return what goes into the battery [W], negative while it carries the load."""
    if u[given.MAINS] > 0.5:
        return charged_w(p, wh) * float(p[param.CHARGE_EFFICIENCY])
    if p[param.BATTERY_KIND] < 0.5 or cut > 0.5:
        return 0.0
    return -battery.drain_w(
        load / p[param.DISCHARGE_EFFICIENCY], p[param.BATTERY_RATED_W], p[param.BATTERY_PEUKERT]
    )


def terminal_v(p: NDArray[np.float64], wh: float, cut: float, into_w: float) -> float:
    """Return the voltage at the battery's terminals; it rises with energy and with ``into_w``."""
    fraction = wh / max(1e-3, p[param.BATTERY_USABLE_WH])
    volts = p[param.BATTERY_NOMINAL_V] * battery.open_circuit_ratio(p[param.BATTERY_KIND], fraction)
    if p[param.BATTERY_KIND] < 0.5 or cut > 0.5:
        volts = 0.0
    return float(max(0.0, volts + into_w / p[param.BATTERY_NOMINAL_V] * p[param.BATTERY_OHM]))


def power(
    x: NDArray[np.float64],
    u: NDArray[np.float64],
    p: NDArray[np.float64],
    dx: NDArray[np.float64],
    t: NDArray[np.float64],
) -> None:
    """Electricity of pump, fans, board and battery; what is lost warms the place."""
    on = supplied(x, u, p)
    pump_w = on * loop.pump_w(p, u[given.PUMP_DUTY])
    fan_w = on * coil.fan_w(p, u[given.FAN_DUTY])
    board_w = on * p[param.BOARD_W]
    used_w = pump_w + fan_w + board_w
    into_w = stored_w(u, p, x[state.BATTERY_WH], x[state.BATTERY_CUT], used_w)
    mains_w = 0.0
    if u[given.MAINS] > 0.5:
        mains_w = (used_w + charged_w(p, x[state.BATTERY_WH])) / p[param.SUPPLY_EFFICIENCY]
    elif on > 0.5 and used_w < p[param.BATTERY_MIN_LOAD_W]:
        dx[state.BATTERY_LOW_LOAD_S] = 1.0
    lost_w = mains_w - used_w - into_w
    dx[state.BATTERY_WH] = into_w / 3600.0
    dx[state.BATTERY_LOSS_J] = lost_w
    dx[state.MAINS_J] = mains_w
    dx[state.PUMP_J] = pump_w
    dx[state.FAN_J] = fan_w
    dx[state.BOARD_J] = board_w
    t[tap.POWERED] = on
    t[tap.PUMP_W] = pump_w
    t[tap.FAN_W] = fan_w
    t[tap.MAINS_W] = mains_w
    t[tap.BATTERY_V] = terminal_v(p, x[state.BATTERY_WH], x[state.BATTERY_CUT], into_w)


def switch_battery(x: NDArray[np.float64], u: NDArray[np.float64], p: NDArray[np.float64]) -> None:
    """Cut the battery when empty, idle or upset by changeover; mains re-arms it."""
    mains = u[given.MAINS] > 0.5
    if mains:
        x[state.BATTERY_CUT] = 0.0
        x[state.BATTERY_LOW_LOAD_S] = 0.0
    else:
        if (
            x[state.BATTERY_WH] <= 0.0
            or x[state.BATTERY_LOW_LOAD_S] >= p[param.BATTERY_LOW_LOAD_LIMIT_S]
        ):
            x[state.BATTERY_CUT] = 1.0
        if x[state.MAINS_WAS_ON] > 0.5 and p[param.BATTERY_DROPS_ON_CHANGEOVER] > 0.5:
            x[state.BATTERY_CUT] = 1.0
        if load_w(u, p) >= p[param.BATTERY_MIN_LOAD_W]:
            x[state.BATTERY_LOW_LOAD_S] = 0.0
    x[state.MAINS_WAS_ON] = 1.0 if mains else 0.0

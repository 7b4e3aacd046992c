"""Electricity of pump, fans, board, charger and battery: its share of the right-hand side."""

import numpy as np
from numpy.typing import NDArray

from . import battery, coil, loop
from . import given as U
from . import param as P
from . import state as X
from . import tap as T

CHARGE_TAPER = 0.03  # of the usable energy: below this missing charge the current tapers


def supplied(x: NDArray[np.float64], u: NDArray[np.float64], p: NDArray[np.float64]) -> float:
    """Return 1 while board, pump and fans have a supply, else 0.

    An empty battery is cut by `switch_battery`: rates that jumped at 0 Wh would bend a long step
    and hide when it ran empty.
    """
    if u[U.MAINS] > 0.5:
        return 1.0
    if p[P.BATTERY_KIND] < 0.5 or x[X.BATTERY_CUT] > 0.5:
        return 0.0
    return 1.0


def power(
    x: NDArray[np.float64],
    u: NDArray[np.float64],
    p: NDArray[np.float64],
    dx: NDArray[np.float64],
    t: NDArray[np.float64],
) -> None:
    """Electricity of pump, fans, board and battery; what is lost warms the place."""
    on = supplied(x, u, p)
    pump_w = on * loop.pump_w(p, u[U.PUMP_DUTY])
    fan_w = on * coil.fan_w(p, u[U.FAN_DUTY])
    board_w = on * p[P.BOARD_W]
    load_w = pump_w + fan_w + board_w
    mains_w = 0.0
    stored_w = 0.0
    if u[U.MAINS] > 0.5:
        missing_wh = p[P.BATTERY_USABLE_WH] - x[X.BATTERY_WH]
        taper_wh = max(1e-3, CHARGE_TAPER * p[P.BATTERY_USABLE_WH])
        charge_w = p[P.CHARGER_W] * min(1.0, max(0.0, missing_wh / taper_wh))
        stored_w = charge_w * p[P.CHARGE_EFFICIENCY]
        mains_w = (load_w + charge_w) / p[P.SUPPLY_EFFICIENCY]
    elif on > 0.5:
        stored_w = -battery.drain_w(
            load_w / p[P.DISCHARGE_EFFICIENCY], p[P.BATTERY_RATED_W], p[P.BATTERY_PEUKERT]
        )
        if load_w < p[P.BATTERY_MIN_LOAD_W]:
            dx[X.BATTERY_LOW_LOAD_S] = 1.0
    lost_w = mains_w - load_w - stored_w
    dx[X.BATTERY_WH] = stored_w / 3600.0
    dx[X.BATTERY_LOSS_J] = lost_w
    dx[X.MAINS_J] = mains_w
    dx[X.PUMP_J] = pump_w
    dx[X.FAN_J] = fan_w
    dx[X.BOARD_J] = board_w
    t[T.POWERED] = on
    t[T.PUMP_W] = pump_w
    t[T.FAN_W] = fan_w
    t[T.MAINS_W] = mains_w
    fraction = x[X.BATTERY_WH] / max(1e-3, p[P.BATTERY_USABLE_WH])
    volts = p[P.BATTERY_NOMINAL_V] * battery.open_circuit_ratio(p[P.BATTERY_KIND], fraction)
    if p[P.BATTERY_KIND] < 0.5 or x[X.BATTERY_CUT] > 0.5:
        volts = 0.0
    t[T.BATTERY_V] = max(0.0, volts + stored_w / p[P.BATTERY_NOMINAL_V] * p[P.BATTERY_OHM])


def switch_battery(x: NDArray[np.float64], u: NDArray[np.float64], p: NDArray[np.float64]) -> None:
    """Cut the battery when empty, idle or upset by changeover; mains re-arms it."""
    mains = u[U.MAINS] > 0.5
    if mains:
        x[X.BATTERY_CUT] = 0.0
        x[X.BATTERY_LOW_LOAD_S] = 0.0
    else:
        if x[X.BATTERY_WH] <= 0.0 or x[X.BATTERY_LOW_LOAD_S] >= p[P.BATTERY_LOW_LOAD_LIMIT_S]:
            x[X.BATTERY_CUT] = 1.0
        if x[X.MAINS_WAS_ON] > 0.5 and p[P.BATTERY_DROPS_ON_CHANGEOVER] > 0.5:
            x[X.BATTERY_CUT] = 1.0
        load_w = loop.pump_w(p, u[U.PUMP_DUTY]) + coil.fan_w(p, u[U.FAN_DUTY]) + p[P.BOARD_W]
        if load_w >= p[P.BATTERY_MIN_LOAD_W]:
            x[X.BATTERY_LOW_LOAD_S] = 0.0
    x[X.MAINS_WAS_ON] = 1.0 if mains else 0.0
